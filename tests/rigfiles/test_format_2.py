"""What format 2 added, and how files of format 1 become it."""

import dataclasses
import math
import re

import pytest

from lightplan.errors import BadInput
from lightplan.light.emission import lamp_luminances
from lightplan.rigfiles import load_rig, rig_digest, update_rig_file
from lightplan.rigfiles.migrations import migrate
from lightplan.scene import Film, Held, Paper, Relief, Waviness

OLD = """\
# The tag of March.
format = 1 # the first
title = "Tag"

[sheet]
width_mm = 85 # tape
height_mm = 55

[camera]
position_mm = [0, -200, 400] # tripod

[[lamps]] # from the left
name = "key"
position_mm = [-500, 0, 500]
width_mm = 300
height_mm = 300

[[cards]] # the roof
name = "roof"
position_mm = [0, 200, 400]
width_mm = 300
height_mm = 300

# The key may move a little.
[[freedoms]]
element = "key" # in x
dimension = "x_mm"
low = -600
high = -400
"""


PHONE = "sensor_width_mm = 9.8\nsensor_height_mm = 7.3\npixels = [4000, 3000]\n"
KEY = "width_mm = 300\nheight_mm = 300\n\n[[cards]]"


def comments(text):
    return [line.split("#", 1)[1].strip() for line in text.splitlines() if "#" in line]


def test_what_format_1_left_fixed_is_locked_and_its_level_kept(rig_file):
    rig = load_rig(rig_file(OLD)).rig
    assert [lamp.locked for lamp in rig.lamps] == [False]
    assert [card.locked for card in rig.cards] == [True]
    assert rig.camera.locked
    assert rig.camera.exposure.paper_level == 0.7


def test_without_freedoms_nothing_is_locked_and_a_level_of_its_own_stays():
    old = {"format": 1, "camera": {"exposure": {"paper_level": 0.3}}, "cards": [{"name": "a"}]}
    new = migrate(old)
    assert new == {**old, "format": 2}
    settings = {"format": 1, "camera": {"exposure": {"f_number": 8, "time_s": 1, "iso": 100}}}
    assert "paper_level" not in migrate(settings)["camera"]["exposure"]


@pytest.mark.parametrize("spoilt", [{}, {"camera": 3}, {"cards": [1]}, {"freedoms": [{}, 2]}])
def test_faulty_files_pass_the_step_so_that_the_form_may_name_the_fault(spoilt):
    assert migrate({"format": 1, **spoilt})["format"] == 2


def test_an_old_file_is_rewritten_as_new_with_its_comments(rig_file):
    path = rig_file(OLD)
    before = load_rig(path)
    after = update_rig_file(path, {"title": "Tag two"})
    text = path.read_text("utf-8")
    assert comments(text) == comments(OLD)
    assert "format = 2 # the first" in text
    assert after.digest == rig_digest(dataclasses.replace(before.rig, title="Tag two"))
    assert after.rig.cards[0].locked
    kept = set(OLD.splitlines()) & set(text.splitlines())
    assert len(set(OLD.splitlines()) - kept) == 2  # the format and the title
    assert load_rig(path).digest == after.digest


def test_the_digest_of_an_old_rig_has_not_changed_with_the_fields(rig_file):
    # written by the release of format 1 for this very file (stored answer)
    assert load_rig(rig_file(OLD)).digest == (
        "d7791612eb5aa475749c2d0858dbb76e509286d0cb728dced918c0476fefd74b"
    )


def new(extra, camera="", key=""):
    text = OLD.replace("format = 1", "format = 2").replace(KEY, key + KEY)
    text = text.replace("tripod\n", "tripod\n" + camera)
    return text[: text.index("# The key may")] + extra


def test_relief_waviness_and_film_are_read(rig_file):
    rig = load_rig(
        rig_file(
            new(
                "[sheet.foil.relief]\ndepth_mm = -0.2\nflank_mm = 0.3\n"
                "[sheet.paper.waviness]\nslope_deg = 0.5\nwavelength_mm = 12\nseed = 3\n"
                "[sheet.paper.film]\nindex = 1.6\n[room.table]\nreflectance = [0.1, 0.2, 0.3]\n"
            )
        )
    ).rig
    assert rig.sheet.foil.relief == Relief(depth_mm=-0.2, flank_mm=0.3)
    paper = rig.sheet.paper
    assert paper.waviness == Waviness(slope_rad=math.radians(0.5), wavelength_mm=12, seed=3)
    assert paper.film == Film(under=(0.1, 0.2, 0.3), index=1.6, under_is_table=True)
    assert paper.reflectance == (0.1, 0.2, 0.3)
    assert paper.coat_index == 1.6


def test_what_holds_things_has_usual_heights_and_its_own(rig_file):
    text = new("").replace("# the roof\n", '# the roof\nheld = "books"\nhighest_mm = 300\n')
    rig = load_rig(rig_file(text)).rig
    assert rig.cards[0].held == Held(by="books", lowest_mm=0, highest_mm=300)
    assert rig.lamps[0].held is None


def test_a_phone_states_its_equivalent_focal_length(rig_file):
    camera = f"equivalent_focal_length_mm = 26\n{PHONE}"
    loaded = load_rig(rig_file(new("", camera)))
    # the diagonal of 36 x 24 mm is 43.27 mm; 9.8 x 7.3 has 12.22
    assert loaded.rig.camera.focal_length_mm == pytest.approx(26 * 12.22 / 43.267, rel=1e-3)
    half = math.atan(math.hypot(*loaded.rig.camera.half_angles_tan()))
    assert half == pytest.approx(math.atan(math.hypot(18, 12) / 26), rel=1e-12)
    back = update_rig_file(loaded.path, {"title": "b"})
    assert back.rig.camera.focal_length_mm == loaded.rig.camera.focal_length_mm
    assert not loaded.questions


def test_watts_are_the_middle_of_their_range(rig_file):
    watts = new("", key="watts = 60\nlumens_per_watt = [50, 200]\n")
    by_watts = load_rig(rig_file(watts)).rig
    by_lumens = load_rig(rig_file(new("", key="output = { value = 6000 }\n"))).rig
    assert lamp_luminances(by_watts) == pytest.approx(lamp_luminances(by_lumens), rel=1e-12)
    assert by_watts.lamps[0].output.unknown_stops() == pytest.approx(1.0)


def test_owned_things_may_be_holders(rig_file):
    owned = load_rig(
        rig_file(
            new(
                '[[owned]]\nkind = "stand"\ncount = 2\nhighest_mm = 1100\n'
                '[[owned]]\nkind = "lamp"\nwidth_mm = 90\nheight_mm = 90\nwatts = 40\n'
                'depth_mm = 60\n[[owned]]\nkind = "diffuser"\nwidth_mm = 500\n'
                "height_mm = 700\ntransmittance = 0.6\n"
            )
        )
    ).owned
    assert owned[0].held == Held(by="stand", lowest_mm=0, highest_mm=1100)
    assert owned[1].output.of_light()[0] == pytest.approx(40 * math.sqrt(50 * 110))
    assert owned[2].transmittance == (0.6, 0.6, 0.6)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (
            new(OLD[OLD.index("[[freedoms]]") :].replace('"key"', '"camera"'), "locked = true\n"),
            r"freedoms\.camera must be left out, as it is locked",
        ),
        (
            new("").replace("# the roof\n", "# the roof\nlowest_mm = 3\n"),
            r"cards\.roof\.held must be given where lowest_mm or highest_mm is",
        ),
        (
            new("").replace("# the roof\n", '# the roof\nheld = "books"\nlowest_mm = 900\n'),
            r"cards\.roof\.lowest_mm must be below highest_mm \(400\) \(got 900",
        ),
        (new("").replace("# the roof\n", '# the roof\nheld = "glue"\n'), "held must be one of"),
        (
            new("", "equivalent_focal_length_mm = 26\nfocal_length_mm = 7\n"),
            "equivalent_focal_length_mm must be left out beside focal_length_mm",
        ),
        (new('[[owned]]\nkind = "lamp"\nheight_mm = 9\n'), r"owned\.1\.width_mm must be given"),
        (
            new('[[owned]]\nkind = "lamp"\nwidth_mm = 9\nheight_mm = 9\nlowest_mm = 3\n'),
            r"owned\.1\.lowest_mm must be given only of what holds",
        ),
        (
            new("", key="watts = 9\noutput = { value = 6 }\n"),
            r"lamps\.key\.watts must be left out beside output",
        ),
        (
            new("", key="lumens_per_watt = [1, 9]\n"),
            r"lamps\.key\.lumens_per_watt must be given only beside watts",
        ),
        (
            new("", key="watts = 9\nlumens_per_watt = [9, 3]\n"),
            r"lumens_per_watt must be the lower figure first",
        ),
        (
            new("[sheet.paper]\nreflectance = 0.8\n[sheet.paper.film]\nindex = 1.5\n"),
            r"sheet\.paper\.reflectance must be left out for clear film",
        ),
        (new("[sheet.foil.relief]\ndepth_mm = 9\n"), r"relief\.depth_mm must be from -2 to 2"),
        (new("[sheet.foil.relief]\nflank_mm = 0\n"), r"relief\.flank_mm must be from 0\.01 to 5"),
        (new("[sheet.paper.waviness]\nslope_deg = -1\n"), r"slope_deg must be from 0 to 5"),
        (new("[sheet.paper.waviness]\nwavelength_mm = 0\n"), r"wavelength_mm must be from 0\.5"),
    ],
)
def test_what_cannot_be_has_its_sentence(rig_file, assert_one_sentence, text, match):
    path = rig_file(text)
    with pytest.raises(BadInput, match=match) as caught:
        load_rig(path)
    assert_one_sentence(caught.value, path)


@pytest.mark.parametrize(
    ("camera", "match"),
    [
        (
            f"focal_length_mm = 26\n{PHONE}",
            r"sees like 92 mm .* write equivalent_focal_length_mm = 26",
        ),
        ("focal_length_mm = 6.8\n", r"6\.8 mm on a sensor of 23\.5 x 15\.6 mm .* wider than any"),
        ("pixels = [4000, 6000]\n", r"do not have the shape of the sensor's .* swap the two"),
        ("pixels = [1000, 1000]\n", r"look both up again"),
    ],
)
def test_odd_pairs_are_asked_about(rig_file, camera, match):
    (question,) = load_rig(rig_file(new("", camera))).questions
    assert re.search(match, question)


def test_usual_cameras_are_not_asked_about():
    from lightplan.rigfiles import list_rigs

    assert [load_rig(r.path).questions for r in list_rigs() if load_rig(r.path).questions] == []


def test_stock_is_shown_as_light_as_it_is():
    from lightplan.scene import Exposure

    # the level of what gives all light back is 1, where it clips: a level is a reflectance
    assert Exposure().level_on(Paper(reflectance=(0.85, 0.8, 0.7))) == 0.85
    assert Exposure().level_on(Paper(reflectance=(0.01, 0.0, 0.0))) == 0.02
    assert Exposure(paper_level=0.5).level_on(Paper()) == 0.5
