"""Reading rig files: right ones give the rig, wrong ones give one sentence."""

import math
import time

import numpy as np
import pytest
import rig_strategies
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lightplan.errors import BadInput
from lightplan.rigfiles import load_rig, rig_digest
from lightplan.rigfiles.load import form_of, loaded_from
from lightplan.scene import (
    Camera,
    Card,
    Exposure,
    Grating,
    Lamp,
    Placement,
    Rig,
    Room,
    Sheet,
    Shell,
    Walls,
)


def base(**parts):
    return Rig(
        **{
            "title": "Tag",
            "sheet": Sheet(width_mm=85, height_mm=55),
            "camera": Camera(placement=Placement((0, -200, 400))),
            **parts,
        }
    )


def test_shortest_file_has_the_usual_values_of_the_scene(rig_file):
    assert load_rig(rig_file()).digest == rig_digest(base())


def test_parts_left_short_have_the_usual_values_of_the_scene(rig_file, minimal):
    text = minimal + (
        '[[lamps]]\nname = "key"\nposition_mm = [500, 0, 500]\n'
        '[[cards]]\nname = "sky"\nposition_mm = [0, 200, 400]\nwidth_mm = 300\nheight_mm = 200\n'
        '[[shells]]\nname = "cone"\n[room.walls]\n'
    )
    same = base(
        lamps=(Lamp(name="key", placement=Placement((500, 0, 500))),),
        cards=(Card(name="sky", placement=Placement((0, 200, 400)), width_mm=300, height_mm=200),),
        shells=(Shell(name="cone"),),
        room=Room(walls=Walls()),
    )
    assert load_rig(rig_file(text)).digest == rig_digest(same)


def test_angles_are_degrees_in_the_file_and_radians_inside(rig_file, minimal):
    text = minimal.replace("height_mm = 55", "height_mm = 55\nfoil.brush_deg = 30\nbow_deg = 45")
    text = text.replace("400]", "400]\nroll_deg = 90\npolariser_deg = 60")
    text += "[sheet.foil.grating]\ndirection_deg = -90\n[look]\ndirection_deg = 180\n"
    rig = load_rig(rig_file(text)).rig
    assert rig.sheet.foil.brush_rad == pytest.approx(math.pi / 6, rel=1e-15)
    assert rig.sheet.flatness.bow_rad == pytest.approx(math.pi / 4, rel=1e-15)
    assert rig.camera.placement.roll_rad == pytest.approx(math.pi / 2, rel=1e-15)
    assert rig.camera.polariser_rad == pytest.approx(math.pi / 3, rel=1e-15)
    assert rig.sheet.foil.grating == Grating(direction_rad=-math.pi / 2)
    assert rig.look.direction_rad == pytest.approx(math.pi, rel=1e-15)


@pytest.mark.parametrize(
    ("front", "back", "expected"),
    [
        ("", "", (0.85, 0.85)),
        ('finish = "grey"', "", (0.18, 0.18)),
        ('finish = "grey"', 'back_finish = "white"', (0.18, 0.85)),
        ("reflectance = 0.5", "", (0.5, 0.5)),
        ("reflectance = 0.5", 'back_finish = "grey"', (0.5, 0.18)),
        ("reflectance = 0.5", "back_reflectance = 0.1", (0.5, 0.1)),
        ("transmittance = 0.5", "", (0.4, 0.4)),
        ("transmittance = 0.95", "", (0.0, 0.0)),
    ],
)
def test_card_sides_follow_the_rules_of_the_docs(rig_file, minimal, front, back, expected):
    text = minimal + (
        '[[cards]]\nname = "c"\nposition_mm = [0, 200, 400]\nwidth_mm = 9\nheight_mm = 9\n'
        f"{front}\n{back}\n"
    )
    card = load_rig(rig_file(text)).rig.cards[0]
    assert card.front.reflectance == pytest.approx((expected[0],) * 3, abs=1e-12)
    assert card.back.reflectance == pytest.approx((expected[1],) * 3, abs=1e-12)


def test_plan_and_things_stand_beside_the_rig(rig_file, minimal):
    plain = load_rig(rig_file())
    text = minimal + (
        '[[owned]]\nkind = "lamp"\nwidth_mm = 400\nheight_mm = 300\ncount = 2\n'
        'output = { value = 1500, unit = "lm" }\n'
        '[[shop]]\nkind = "white board"\nname = "A2"\nwidth_mm = 9\nheight_mm = 9\nprice = 6.5\n'
        '[plan]\nscore = 91.5\nyield_share = 0.8\nmade_with = "0.1.0"\n'
        "[plan.measures]\nfoil_clipped_share = 0.002\n"
        '[[plan.tolerances]]\nelement = "sheet"\ndimension = "bow_mm"\nminus = 0\nplus = 1.5\n'
    )
    loaded = load_rig(rig_file(text))
    assert loaded.digest == plain.digest
    (owned,), (shop,) = loaded.owned, loaded.shop
    assert (owned.kind, owned.count, owned.price, owned.output.value) == ("lamp", 2, None, 1500)
    assert (shop.name, shop.price, shop.output) == ("A2", 6.5, None)
    assert loaded.plan.score == 91.5
    assert loaded.plan.measures == {"foil_clipped_share": 0.002}
    assert loaded.plan.tolerances[0].plus == 1.5


def test_digest_ignores_how_the_file_is_written_and_sees_every_value(rig_file, minimal):
    first = load_rig(rig_file(minimal)).digest
    other_order = "# mine\n" + minimal.replace("width_mm = 85\n", "") + "[room]\n"
    other_order = other_order.replace("height_mm = 55", "height_mm = 55.0 # tape\nwidth_mm = 85.0")
    assert load_rig(rig_file(other_order)).digest == first
    assert load_rig(rig_file(minimal.replace("400]", "400.001]"))).digest != first
    assert load_rig(rig_file(minimal + "[room]\nambient_cd_m2 = 0.001\n")).digest != first


WRONG = {
    "unknown field": (
        lambda t: t.replace("height_mm", "heigth_mm"),
        r"sheet\.heigth_mm must be a field that lightplan knows .*; did you mean height_mm\.",
    ),
    "unknown table": (
        lambda t: t + "[[lapms]]\n",
        r"lapms must be a field that lightplan knows .*; did you mean lamps\.",
    ),
    "unknown field of a named lamp": (
        lambda t: t + '[[lamps]]\nname = "key"\nposition_mm = [0, 9, 900]\ntrim = 1\n',
        r"lamps\.key\.trim must be a field that lightplan knows .*; did you mean trim_stops\.",
    ),
    "negative size": (
        lambda t: t.replace("85", "-85"),
        r"line 5: sheet\.width_mm must be from 5 to 5000 \(got -85\); change it, as ",
    ),
    "not a number": (
        lambda t: t.replace("85", "nan"),
        r"sheet\.width_mm must be a finite number \(got nan\); measure it again\.",
    ),
    "text for a number": (
        lambda t: t.replace("85", '"85"'),
        r"sheet\.width_mm must be a number \(got 85\); write it without quotes",
    ),
    "true for a number": (
        lambda t: t.replace("85", "true"),
        r"sheet\.width_mm must be a number \(got True\)",
    ),
    "two coordinates": (
        lambda t: t.replace("[0, -200, 400]", "[0, 400]"),
        r"camera\.position_mm must be a list of 3 numbers \(got \[0, 400\]\)",
    ),
    "missing field": (
        lambda t: t.replace("height_mm = 55\n", ""),
        r"sheet\.height_mm must be given \(got nothing\); add height_mm to the file\.",
    ),
    "missing table": (
        lambda t: t.split("[camera]")[0],
        r"camera must be given \(got nothing\); add camera to the file\.",
    ),
    "format 99": (
        lambda t: t.replace("format = 2", "format = 99"),
        r"format must be at most 2 \(got 99\); this file needs a newer lightplan",
    ),
    "format missing": (
        lambda t: t.replace("format = 2\n", ""),
        r"format must be given \(got nothing\); write format = 2 as the first line\.",
    ),
    "format of text": (
        lambda t: t.replace("format = 2", "format = true"),
        r"format must be a whole number from 1 to 2 \(got True\)",
    ),
    "unknown look": (
        lambda t: t + '[look]\nkind = "dark feild"\n',
        r"look\.kind must be one of bright field, gradient, dark field, split, rainbow, "
        r"bright band, flat copy \(got dark feild\); did you mean dark field\.",
    ),
    "unknown foil": (
        lambda t: t + '[sheet.foil]\nkind = "tin"\n',
        r"sheet\.foil\.kind must be one of silver foil, .* \(got tin\)",
    ),
    "lamp inside the sheet": (
        lambda t: t + '[[lamps]]\nname = "key"\nposition_mm = [10, 0, 2]\n',
        r"lamps\.key\.position_mm must be clear of the sheet \(got \[10\.0, 0\.0, 2\.0\]\)",
    ),
    "lamp through the table": (
        lambda t: t + '[[lamps]]\nname = "key"\nposition_mm = [0, 300, 50]\naim_mm = [0, 0, 50]\n',
        r"lamps\.key\.position_mm must be such that all of it is above the table "
        r"\(got -250 mm at its lowest\); raise its z by that much, or turn it\.",
    ),
    "card gives more than it gets": (
        lambda t: (
            t + '[[cards]]\nname = "c"\nposition_mm = [0, 0, 900]\nwidth_mm = 9\n'
            "height_mm = 9\nreflectance = 0.7\ntransmittance = 0.5\n"
        ),
        r"cards\.c\.reflectance \+ transmittance must be at most 1 in every channel",
    ),
    "camera under the table": (
        lambda t: t.replace("400]", "-400]"),
        r"camera\.position_mm must be above the table \(z greater than 0\) \(got -400\.0\)",
    ),
    "camera looks away": (
        lambda t: t.replace("400]", "400]\naim_mm = [0, -200, 900]"),
        r"camera\.aim_mm must be where the sheet is in the picture .*; aim at the sheet's middle",
    ),
    "camera aimed at itself": (
        lambda t: t.replace("400]", "400]\naim_mm = [0, -200, 400]"),
        r"camera\.aim_mm must be another point than position_mm",
    ),
    "missing artwork": (
        lambda t: t.replace("55", '55\nartwork = "gone.png"'),
        r"sheet\.artwork gone\.png must be a picture file that exists \(got nothing there\)",
    ),
    "rainbow without grating": (
        lambda t: t + '[look]\nkind = "rainbow"\n',
        r"look\.kind must be another than rainbow for foil without a grating",
    ),
    "half an exposure": (
        lambda t: t + "[camera.exposure]\niso = 100\n",
        r"camera\.exposure must be all of f_number, time_s and iso, or none",
    ),
    "half a metal": (
        lambda t: t + "[sheet.foil]\neta = 0.2\n",
        r"sheet\.foil must be given both eta and k, or neither \(got eta\); add the other one\.",
    ),
    "freedom of nobody": (
        lambda t: t + '[[freedoms]]\nelement = "key"\ndimension = "x_mm"\nlow = 0\nhigh = 1\n',
        r"freedoms\.element must be the name of a lamp, card, shell or camera \(got key\)",
    ),
    "freedom that the camera lacks": (
        lambda t: (
            t + '[[freedoms]]\nelement = "camera"\ndimension = "width_mm"\nlow = 0\nhigh = 1\n'
        ),
        r"freedoms\.camera\.dimension must be one of x_mm, y_mm, z_mm, .* \(got width_mm\)",
    ),
    "broken TOML": (
        lambda t: t + "[[lamps\n",
        r"line 10: content must be TOML text \(got Expected .*\); correct that line",
    ),
    "two of one name": (
        lambda t: t + '[[lamps]]\nname = "a"\nposition_mm = [0, 9, 900]\n' * 2,
        r"name must be given, and different for every lamp, card, shell and prop \(got a\)",
    ),
    "table for a list": (
        lambda t: t + "[lamps]\n",
        r"lamps must be a list in square brackets \(got \{\}\)",
    ),
    "negative price": (
        lambda t: t + '[[shop]]\nkind = "lamp"\nwidth_mm = 1\nheight_mm = 1\nprice = -1\n',
        r"shop\.1\.price must be from 0 to 1e\+09 \(got -1\)",
    ),
}


@pytest.mark.parametrize("fault", WRONG)
def test_each_fault_has_its_sentence(rig_file, minimal, assert_one_sentence, fault):
    spoil, pattern = WRONG[fault]
    path = rig_file(spoil(minimal))
    with pytest.raises(BadInput, match=pattern) as caught:
        load_rig(path)
    assert_one_sentence(caught.value, path)


def test_no_such_preset_offers_the_nearest(assert_one_sentence):
    with pytest.raises(BadInput, match="did you mean gold-card-above") as caught:
        load_rig("gold-card-abvoe")
    assert_one_sentence(caught.value)
    with pytest.raises(BadInput, match="must be a rig file that exists"):
        load_rig("somewhere/else.toml")


@pytest.mark.parametrize("name", ["a folder", "a\nb\x1b[31m", "x" * 5000, "a\0b", ""])
def test_what_is_no_file_is_refused(tmp_path, assert_one_sentence, name):
    if name == "a folder":
        (tmp_path / name).mkdir()
        name = str(tmp_path / name)
    with pytest.raises(BadInput) as caught:
        load_rig(name)
    assert_one_sentence(caught.value)


@pytest.mark.parametrize("nonsense", [b"\0", b"[", b"a = '", bytes(range(256))])
def test_ten_megabytes_of_nonsense_are_refused_at_once(tmp_path, assert_one_sentence, nonsense):
    path = tmp_path / "big.toml"
    path.write_bytes((nonsense * (10_000_000 // len(nonsense) + 1))[:10_000_000])
    start = time.process_time()
    with pytest.raises(BadInput, match=r"size must be below 1 MB \(got 10000000\)") as caught:
        load_rig(path)
    assert time.process_time() - start < 0.2  # common practice: what feels immediate
    assert_one_sentence(caught.value, path)


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 20000,
        "a = " + "{b=" * 20000,
        "[" + ".".join("a" * 20000) + "]\n",
        "format = " + "9" * 5000,
        "format = 2\ntitle = " + '"' + "x" * 500_000,
        "\ufeffformat = 2\n",
        "format = 2\nformat = 2\n",
        "format = 1979-05-27\n",
        "format = 2\nlamps = [1]\n",
        "format = 2\nsheet.width_mm = " + "1" * 400 + "\n",
    ],
    ids=[
        "brackets",
        "braces",
        "dots",
        "digits",
        "open text",
        "mark",
        "twice",
        "day",
        "one",
        "long",
    ],
)
def test_traps_for_parsers_are_refused(rig_file, assert_one_sentence, text):
    path = rig_file(text)
    with pytest.raises(BadInput) as caught:
        load_rig(path)
    assert_one_sentence(caught.value, path)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(rig_strategies.rig_documents())
def test_random_valid_files_are_read(document):
    text = rig_strategies.text_of(document)
    loaded = loaded_from(form_of(text), rig_strategies.Path("random.toml"))
    assert loaded.digest == rig_digest(rig_strategies.rig_of(document))
    assert len(loaded.rig.lamps) == len(document["lamps"])
    right, up, normal = loaded.rig.camera.axes()
    assert np.isfinite([right, up, normal]).all()


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(faulty=rig_strategies.faulty_documents())
def test_random_faulty_files_give_one_sentence(faulty, assert_one_sentence, tmp_path_factory):
    document, fault = faulty
    path = tmp_path_factory.getbasetemp() / "faulty.toml"
    path.write_text(rig_strategies.text_of(document), "utf-8")
    with pytest.raises(BadInput) as caught:
        load_rig(path)
    assert fault
    assert_one_sentence(caught.value, path)


SCRAPS = st.sampled_from(
    [
        "[",
        "]",
        "[[",
        '"',
        "'''",
        "=",
        "\n",
        "#",
        "nan",
        "-",
        "1e999",
        "{",
        "}",
        ",",
        ".",
        "\\u",
        "\x00",
    ]
) | st.text(max_size=6)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    document=rig_strategies.rig_documents(most_lamps=1, most_cards=1),
    edits=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 12), SCRAPS), min_size=1, max_size=4),
)
def test_mangled_text_is_read_or_gives_one_sentence(
    document, edits, assert_one_sentence, tmp_path_factory
):
    text = rig_strategies.text_of(document)
    for place, removed, scrap in edits:
        at = int(place * len(text))
        text = text[:at] + scrap + text[at + removed :]
    path = tmp_path_factory.getbasetemp() / "mangled.toml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        loaded = load_rig(path)
    except BadInput as error:
        assert_one_sentence(error, path)
    else:
        assert len(loaded.digest) == 64


@settings(max_examples=150, deadline=None)
@given(content=st.binary(max_size=300))
def test_random_bytes_give_one_sentence(content, assert_one_sentence, tmp_path_factory):
    path = tmp_path_factory.getbasetemp() / "bytes.toml"
    path.write_bytes(content)
    with pytest.raises(BadInput) as caught:
        load_rig(path)
    assert_one_sentence(caught.value, path)


def test_exposure_settings_arrive(rig_file, minimal):
    text = minimal + "[camera.exposure]\nf_number = 8\ntime_s = 0.02\niso = 100\n"
    assert load_rig(rig_file(text)).rig.camera.exposure == Exposure(
        f_number=8.0, time_s=0.02, iso=100.0
    )
