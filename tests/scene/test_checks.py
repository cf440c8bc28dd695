"""Parts of a rig refuse what cannot be: NaN, no end, negative, the wrong count."""

import dataclasses
import math

import numpy as np
import pytest

from lightplan.errors import BadInput, RigError
from lightplan.scene import (
    AngularProfile,
    Body,
    Camera,
    Card,
    Conductor,
    Exposure,
    Flatness,
    Foil,
    Freedom,
    Grating,
    Hole,
    Lamp,
    Look,
    Output,
    Paper,
    Placement,
    Probe,
    Prop,
    Reach,
    Rig,
    Room,
    Sheet,
    Shell,
    Side,
    Table,
    Walls,
)

PLACE = Placement((0, -200, 400))
PARTS = [
    Body(),
    Camera(placement=PLACE, white_balance_k=5500, polariser_rad=0.5),
    Card(name="a", placement=PLACE, width_mm=100, height_mm=100, hole=Hole(diameter_mm=9)),
    Conductor(eta=(1, 1, 1), k=(2, 2, 2)),
    Exposure(f_number=8, time_s=0.1, iso=100),
    Flatness(bow_mm=1),
    Foil(),
    Freedom(element="a", dimension="x_mm", low=0, high=1),
    Grating(),
    Hole(diameter_mm=9),
    Lamp(name="a", placement=PLACE, colour_k=5500),
    Look(),
    Output(value=9),
    Paper(coat_index=1.5),
    PLACE,
    Probe(pixels=np.ones((2, 4, 3))),
    Prop(name="a"),
    Reach(),
    Room(),
    Sheet(width_mm=100, height_mm=60),
    Shell(name="a"),
    Side(),
    Table(),
    Walls(),
]
NUMBERS = [
    (part, field.name)
    for part in PARTS
    for field in dataclasses.fields(part)
    if isinstance(getattr(part, field.name), int | float)
    and not isinstance(getattr(part, field.name), bool)
]
TUPLES = [
    (part, field.name)
    for part in PARTS
    for field in dataclasses.fields(part)
    if isinstance(getattr(part, field.name), tuple)
]
WRONG = [math.nan, math.inf, -math.inf, 1e300, -1e300, 10**400, True, "12", None, [1.0]]
OPTIONAL = {"polariser_rad", "white_balance_k", "coat_index", "colour_k"}


def named(pairs):
    return [f"{type(part).__name__}.{name}" for part, name in pairs]


def test_the_lists_hold_every_kind_of_part():
    assert len(NUMBERS) >= 55
    assert len(TUPLES) > 15


@pytest.mark.parametrize(("part", "name"), NUMBERS, ids=named(NUMBERS))
def test_a_number_that_is_none_is_refused(part, name):
    for value in WRONG:
        if value is None and (name in OPTIONAL or isinstance(part, Exposure)):
            continue
        with pytest.raises(RigError, match=r" must be .* \(got ") as caught:
            dataclasses.replace(part, **{name: value})
        assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("part", "name"), TUPLES, ids=named(TUPLES))
def test_a_list_with_a_wrong_number_or_count_is_refused(part, name):
    good = getattr(part, name)
    wrong = [(*good, good[0]), good[:-1], 3.0, None]
    wrong += [(value, *good[1:]) for value in (math.nan, math.inf, 10**400, "x", None)]
    for value in wrong:
        with pytest.raises(RigError, match=r" must be .* \(got "):
            dataclasses.replace(part, **{name: value})


NEGATIVE_IS_FINE = {
    "roll_rad",
    "bow_mm",
    "bow_rad",
    "brush_rad",
    "direction_rad",
    "turn_rad",
    "trim_stops",
    "polariser_rad",
    "low",
}


@pytest.mark.parametrize(("part", "name"), NUMBERS, ids=named(NUMBERS))
def test_negative_sizes_and_shares_are_refused(part, name):
    if name in NEGATIVE_IS_FINE or (name == "high" and isinstance(part, Freedom)):
        assert dataclasses.replace(part, **{name: -0.001 if name != "high" else 0.5})
        return
    with pytest.raises(RigError, match=r" must be "):
        dataclasses.replace(part, **{name: -1.0})


def test_numpy_numbers_are_numbers():
    assert Table(width_mm=np.float32(9), depth_mm=np.int64(9)).width_mm == 9
    with pytest.raises(RigError, match=r"width_mm must be greater than 0"):
        Table(width_mm=np.bool_(True))


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda: Foil(kind="tin"), r"sheet\.foil\.kind must be one of silver foil,"),
        (lambda: Look(kind="shiny"), r"look\.kind must be one of bright field,"),
        (lambda: Side(finish="pink"), r"finish must be one of white, grey, black, silver"),
        (lambda: Shell(name="a", shape="dome"), r"shape must be one of cone, tent"),
        (lambda: Lamp(name="a", placement=PLACE, shape="ring"), r"shape must be one of rect"),
        (lambda: Output(value=1, unit="watt"), r"output\.unit must be one of cd/m2, lm"),
        (
            lambda: Freedom(element="a", dimension="depth", low=0, high=1),
            r"freedoms\.dimension must be one of x_mm",
        ),
        (
            lambda: Freedom(element="a", dimension="x_mm", low=2, high=1),
            r"freedoms\.a\.x_mm must be low below high \(got \[2, 1\]\)",
        ),
        (lambda: Exposure(iso=100), r"camera\.exposure must be all of f_number, time_s and iso"),
        (lambda: Placement((1, 2, 3), (1, 2, 3)), r"aim_mm must be another point than position_mm"),
        (
            lambda: Look(direction_rad=7),
            r"look\.direction_deg must be from -360 to 360 degrees "
            r"\(got 401\.070457\)",
        ),
        (
            lambda: Side(reflectance=(0.2, 1.2, 0.2)),
            r"reflectance\.g must be from 0 to 1 \(got 1\.2\)",
        ),
        (
            lambda: dataclasses.replace(PARTS[2], transmittance=(0.0, 0.2, 0.0)),
            r"reflectance \+ transmittance must be at most 1 in every channel \(got 1\.05\)",
        ),
        (
            lambda: dataclasses.replace(PARTS[2], hole=Hole(diameter_mm=100)),
            r"hole\.diameter_mm must be small enough to lie inside the card",
        ),
        (
            lambda: dataclasses.replace(PARTS[2], hole=Hole(diameter_mm=20, offset_mm=(45, 0))),
            r"hole\.diameter_mm must be small enough to lie inside the card",
        ),
        (lambda: Shell(name="a", top_width_mm=0), r"top_width_mm must be from 1 to 10000"),
        (lambda: Reach(lowest_mm=500, highest_mm=400), r"lowest_mm must be below highest_mm"),
        (
            lambda: Sheet(width_mm=100, height_mm=60, flatness=Flatness(bow_mm=16)),
            r"sheet\.bow_mm must be at most 15, a quarter of the shorter side \(got 16\)",
        ),
    ],
)
def test_each_message_says_what_was_wanted(make, match):
    with pytest.raises(BadInput, match=match):
        make()


@pytest.mark.parametrize(
    "artwork", [[1.0], [[]], [[[1.0]]], [[math.nan]], [[1.5]], [[-0.1]], [[math.inf]]]
)
def test_artwork_that_is_no_share_of_foil_is_refused(artwork):
    with pytest.raises(BadInput, match=r"artwork must be (a picture with rows|values from 0)"):
        Sheet(width_mm=100, height_mm=60, artwork=np.array(artwork))


@pytest.mark.parametrize(
    "pixels",
    [
        np.ones((2, 3)),
        np.ones((2, 3, 4)),
        -np.ones((1, 2, 3)),
        np.full((1, 2, 3), np.nan),
        np.ones((0, 2, 3)),
    ],
)
def test_a_probe_that_is_no_light_is_refused(pixels):
    with pytest.raises(RigError, match=r"room\.probe must be rows x columns x 3 values of 0"):
        Probe(pixels=pixels)


@pytest.mark.parametrize(
    ("vertical", "horizontal", "candela", "match"),
    [
        ([0, 1, 1], [0], [[1, 1, 1]], r"ies\.vertical_rad must be ascending angles"),
        ([0, 1], [1, 0], [[1, 1], [1, 1]], r"ies\.horizontal_rad must be ascending angles"),
        ([], [0], [[]], r"ies\.vertical_rad must be ascending angles"),
        ([0, np.nan], [0], [[1, 1]], r"ies\.vertical_rad must be ascending angles"),
        ([0, 1], [0], [[1, 1, 1]], r"ies\.candela must be 1 x 2 values, not all 0"),
        ([0, 1], [0], [[1, -1]], r"ies\.candela must be 1 x 2 values"),
        ([0, 1], [0], [[1, np.nan]], r"ies\.candela must be 1 x 2 values"),
        ([0, 1], [0], [[0, 0]], r"ies\.candela must be 1 x 2 values"),
    ],
)
def test_a_profile_that_is_none_is_refused(vertical, horizontal, candela, match):
    with pytest.raises(RigError, match=match):
        AngularProfile(
            vertical_rad=np.array(vertical, float),
            horizontal_rad=np.array(horizontal, float),
            candela=np.array(candela, float),
        )


def test_arrays_inside_cannot_be_changed_from_outside():
    artwork, pixels = np.ones((2, 2)), np.ones((2, 4, 3))
    sheet, probe = Sheet(width_mm=9, height_mm=9, artwork=artwork), Probe(pixels=pixels)
    artwork[0, 0] = pixels[0, 0, 0] = 0
    assert sheet.artwork.min() == probe.pixels.min() == 1
    with pytest.raises(ValueError, match="read-only"):
        sheet.artwork[0, 0] = 0
    with pytest.raises(dataclasses.FrozenInstanceError):
        sheet.width_mm = 3


def rig(**parts):
    return Rig(
        **{
            "title": "tag",
            "sheet": Sheet(width_mm=100, height_mm=60),
            "camera": Camera(placement=PLACE),
            **parts,
        }
    )


@pytest.mark.parametrize(
    ("parts", "match"),
    [
        (
            {"camera": Camera(placement=Placement((0, -200, -1)))},
            r"camera\.position_mm must be above the table \(z greater than 0\) \(got -1\.0\)",
        ),
        (
            {"lamps": (Lamp(name="a", placement=Placement((49, 29, 4), (0, 0, 9))),)},
            r"lamps\.a\.position_mm must be clear of the sheet",
        ),
        (
            {"lamps": (Lamp(name="a", placement=Placement((500, 0, -1))),)},
            r"lamps\.a\.position_mm must be above the table",
        ),
        (
            {
                "cards": (
                    Card(
                        name="c", placement=Placement((0, 0, 1), (0, 0, 9)), width_mm=9, height_mm=9
                    ),
                )
            },
            r"cards\.c\.position_mm must be clear of the sheet",
        ),
        ({"shells": (Shell(name="a"), Shell(name="a"))}, r"name must be given, and different"),
        ({"shells": (Shell(name="table"),)}, r"name must be given, and different"),
        ({"shells": (Shell(name=""),)}, r"name must be given, and different"),
        (
            {"freedoms": (Freedom(element="key", dimension="x_mm", low=0, high=1),)},
            r"freedoms\.element must be the name of a lamp, card, shell or camera \(got key\)",
        ),
    ],
)
def test_a_rig_whose_parts_do_not_fit_is_refused(parts, match):
    with pytest.raises(RigError, match=match):
        rig(**parts)


def test_names_come_in_file_order():
    parts = rig(
        lamps=(Lamp(name="b", placement=PLACE), Lamp(name="a", placement=PLACE)),
        shells=(Shell(name="s"),),
    )
    assert parts.element_names() == ["b", "a", "s"]
