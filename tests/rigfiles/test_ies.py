"""Photometric files, laid out as the standard IES LM-63 says (2002, section 5; from memory
of its field order, which is repeated in every public description of the format)."""

import math

import numpy as np
import pytest

from lightplan.errors import ProfileError
from lightplan.rigfiles import load_rig
from lightplan.rigfiles.ies import output_of, read_ies

HEAD = "IESNA:LM-63-2002\n[TEST] invented\n[MANUFAC] none\n[LAMP] panel\nTILT=NONE\n"


def body(vertical, horizontal, candela, *, multiplier=1, kind=1, ballast=1, future=1, watts=20):
    """The numbers of a file; candela (h, v)."""
    lines = [
        f"1 -1 {multiplier} {len(vertical)} {len(horizontal)} {kind} 2 0.3 0.2 0",
        f"{ballast} {future} {watts}",
        " ".join(map(str, vertical)),
        " ".join(map(str, horizontal)),
        *(" ".join(map(str, row)) for row in candela),
    ]
    return "\n".join(lines) + "\n"


@pytest.fixture
def ies_file(tmp_path):
    def write(text, name="lamp.ies"):
        path = tmp_path / name
        path.write_bytes(text.encode("latin-1"))
        return path

    return write


def test_symmetric_lamp(ies_file):
    vertical = [0, 30, 60, 90]
    profile = read_ies(ies_file(HEAD + body(vertical, [0], [[1000, 800, 400, 0]], multiplier=2)))
    assert profile.vertical_rad == pytest.approx(np.radians(vertical), rel=1e-15)
    assert profile.horizontal_rad.tolist() == [0]
    assert profile.candela.tolist() == [[2000, 1600, 800, 0]]
    assert profile.file == "lamp.ies"
    assert not profile.candela.flags.writeable


def test_multiplier_and_ballast_factor_both_count(ies_file):
    text = HEAD + body([0, 90], [0], [[100, 10]], multiplier=1.5, ballast=0.8)
    assert read_ies(ies_file(text)).candela[0] == pytest.approx([120, 12], rel=1e-15)


@pytest.mark.parametrize(
    ("horizontal", "expected"),
    [
        # Quadrants and halves mirror at their last plane (LM-63: lateral symmetry).
        ([0, 45, 90], [0, 1, 2, 1, 0, 1, 2, 1, 0]),
        ([0, 45, 90, 135, 180], [0, 1, 2, 3, 4, 3, 2, 1, 0]),
        ([0, 90, 180, 270, 360], [0, 1, 2, 3, 4]),
    ],
)
def test_planes_are_unfolded_to_a_full_turn(ies_file, horizontal, expected):
    candela = [[i + 10, i] for i in range(len(horizontal))]
    profile = read_ies(ies_file(HEAD + body([0, 90], horizontal, candela)))
    assert profile.candela[:, 1].tolist() == expected
    assert np.degrees(profile.horizontal_rad) == pytest.approx(np.linspace(0, 360, len(expected)))


def test_numbers_may_run_over_lines_and_be_parted_by_commas(ies_file):
    plain = read_ies(ies_file(HEAD + body([0, 45, 90], [0], [[9, 8, 7]])))
    text = HEAD + "1,-1,1,3\n,1,1,2 0.3\n0.2 0 1 1\n20 0\n45 90 0\n9\n8,\n7\n"
    same = read_ies(ies_file(text.replace("\n", "\r\n"), "b.ies"))
    assert same.candela.tolist() == plain.candela.tolist()
    assert same.vertical_rad.tolist() == plain.vertical_rad.tolist()


@pytest.mark.parametrize("first", ["IESNA91", "IESNA:LM-63-1995", "IES:LM-63-2019", "no keyword"])
def test_all_editions_are_read(ies_file, first):
    text = HEAD.replace("IESNA:LM-63-2002", first) + body([0, 90], [0], [[5, 5]])
    assert read_ies(ies_file(text)).candela.tolist() == [[5, 5]]


def test_lumens_of_known_distributions(ies_file):
    # Closed forms: a matte face of I0 candela sends pi I0 lm; a point that shines evenly all
    # round sends 4 pi I. The trapezium rule on 1 degree steps is good to 2e-4.
    vertical = list(range(91))
    matte = [1000 * math.cos(math.radians(v)) for v in vertical]
    profile = read_ies(ies_file(HEAD + body(vertical, [0], [matte])))
    assert output_of(profile).value == pytest.approx(math.pi * 1000, rel=2e-4)
    assert output_of(profile).unit == "lm"
    round_about = HEAD + body(list(range(181)), [0, 90, 180], [[50] * 181] * 3)
    assert output_of(read_ies(ies_file(round_about))).value == pytest.approx(
        4 * math.pi * 50, rel=1e-4
    )


def test_lumens_weigh_planes_by_the_turn_they_stand_for(ies_file):
    # One plane bright: between 0 and 10 degrees as much light as between 10 and 360 there is.
    text = HEAD + body([0, 90], [0, 10, 350, 360], [[0, 90], [0, 0], [0, 0], [0, 90]])
    # mean over the turn: triangles of 10 degrees on both sides, 90 / 36; sin-weighted: integral
    # of the trapezium rule over 0..90 degrees of I sin is I (pi / 2) / 2.
    expected = 2 * math.pi * (90 / 36) * (math.pi / 4)
    assert output_of(read_ies(ies_file(text))).value == pytest.approx(expected, rel=1e-12)


GOOD = HEAD + body([0, 45, 90], [0], [[9, 8, 7]])
WRONG = {
    "no tilt line": (lambda t: t.replace("TILT=NONE\n", ""), "ies TILT must be a line TILT=NONE"),
    "tilt included": (lambda t: t.replace("NONE", "INCLUDE"), "ies TILT must be NONE .got INCLUDE"),
    "cut in the header": (lambda t: t[: t.index("0.3")], "ies must be at least 13 numbers"),
    "cut in the candela": (lambda t: t[:-2], "ies must be 20 numbers after TILT .got 19"),
    "word": (lambda t: t.replace("0.3", "wide"), "ies width must be a number .got wide"),
    "type B": (
        lambda t: t.replace(" 1 2 0.3", " 2 2 0.3"),
        r"ies photometric type must be 1 \(type C\) .got 2",
    ),
    "no angles": (
        lambda t: t.replace("1 -1 1 3", "1 -1 1 0"),
        "ies number of vertical angles must be a whole number",
    ),
    "half an angle": (
        lambda t: t.replace("1 -1 1 3", "1 -1 1 2.5"),
        "ies number of vertical angles must be a whole number",
    ),
    "angles down": (lambda t: t.replace("0 45 90", "0 95 90"), "ies vertical angles must be asc"),
    "angles short": (lambda t: t.replace("0 45 90", "0 45 80"), "ies vertical angles must be asc"),
    "horizontal": (
        lambda t: t.replace("0 45 90\n0\n", "0 45 90\n15\n"),
        "ies horizontal angles must be asc",
    ),
    "negative": (lambda t: t.replace("9 8 7", "9 -8 7"), "ies candela values must be 0 or more"),
    "not a number": (lambda t: t.replace("9 8 7", "9 nan 7"), "ies candela values must be 0 or"),
    "all dark": (lambda t: t.replace("9 8 7", "0 0 0"), "ies candela values must be 0 or more"),
    "no ballast": (lambda t: t.replace("1 1 20", "0 1 20"), "ies ballast factor must be greater"),
    "empty": (lambda t: "", "ies TILT must be a line TILT=NONE"),
}


@pytest.mark.parametrize("fault", WRONG)
def test_each_fault_has_its_sentence(ies_file, assert_one_sentence, fault):
    spoil, match = WRONG[fault]
    assert spoil(GOOD) != GOOD
    with pytest.raises(ProfileError, match=match) as caught:
        read_ies(ies_file(spoil(GOOD)))
    assert_one_sentence(caught.value)


def test_a_lamp_names_its_file_and_takes_its_lumens(ies_file, rig_file, minimal):
    ies_file(GOOD)
    lamp = '[[lamps]]\nname = "key"\nposition_mm = [0, 500, 600]\nies = "lamp.ies"\n'
    loaded = load_rig(rig_file(minimal + lamp))
    (key,) = loaded.rig.lamps
    assert key.output == output_of(key.profile)
    assert key.profile.file == "lamp.ies"
    assert set(loaded.assets) == {"lamp.ies"}
    given = load_rig(rig_file(minimal + lamp + "output = { value = 5 }\n")).rig.lamps[0]
    assert (given.output.value, given.output.unit) == (5, "lm")


def test_a_bad_file_is_named_with_its_lamp(ies_file, rig_file, minimal, assert_one_sentence):
    ies_file("nonsense")
    lamp = '[[lamps]]\nname = "key"\nposition_mm = [0, 500, 600]\nies = "lamp.ies"\n'
    path = rig_file(minimal + lamp)
    with pytest.raises(ProfileError, match=r"lamps\.key\.ies TILT must be") as caught:
        load_rig(path)
    assert_one_sentence(caught.value, path)
