"""The shipped presets are rigs that a photographer would build.

Checked by mirror geometry alone, worked here from the positions in the files: a flat sheet
mirrors the camera to (x, y, -z), and each point of the foil sees along the line from there.
The card rule: card side = sheet side x (1 + card distance / camera distance).
"""

import hashlib
import importlib.util
import io
import math
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lightplan.rigfiles import load_rig, store
from lightplan.scene import Exposure

RIGS = Path(__file__).parents[2] / "rigs"
NAMES = sorted(path.stem for path in RIGS.glob("*.toml"))


def unit(v):
    return np.asarray(v, float) / np.linalg.norm(v)


def frame(thing):
    """(centre, right, up, normal) of a face, by the convention of docs: right = up x normal."""
    centre = np.asarray(thing.placement.position_mm)
    normal = unit(np.subtract(thing.placement.aim_mm, centre))
    straight = abs(normal[2]) > 1 - 1e-9
    reference = np.array([0, 1.0, 0]) if straight else np.array([0, 0, 1.0])
    up = unit(reference - (reference @ normal) * normal)
    right = np.cross(up, normal)
    cosine, sine = math.cos(thing.placement.roll_rad), math.sin(thing.placement.roll_rad)
    return centre, cosine * right + sine * up, cosine * up - sine * right, normal


def sheet_points(rig, n=41):
    steps = (np.arange(n) + 0.5) / n - 0.5
    x, y = np.meshgrid(steps * rig.sheet.width_mm, steps * rig.sheet.height_mm)
    return np.stack([x, y, 0 * x], axis=-1).reshape(-1, 3)


def hits(origins, directions, thing):
    """Distances along lines to a face (inf where they miss it)."""
    centre, right, up, normal = frame(thing)
    slope = directions @ normal
    slope = np.where(np.abs(slope) < 1e-12, 1e-12, slope)
    t = (centre - origins) @ normal / slope
    at = origins + t[:, None] * directions - centre
    inside = (np.abs(at @ right) <= thing.width_mm / 2) & (np.abs(at @ up) <= thing.height_mm / 2)
    hole = getattr(thing, "hole", None)
    if hole is not None:
        x, y = at @ right - hole.offset_mm[0], at @ up - hole.offset_mm[1]
        inside &= np.hypot(x, y) > hole.diameter_mm / 2
    return np.where(inside & (t > 1e-6), t, np.inf)


def seen_by_foil(rig):
    """The name of what each point of a mirror in the sheet's place would show."""
    points = sheet_points(rig)
    mirrored = np.asarray(rig.camera.placement.position_mm) * [1, 1, -1]
    away = points - mirrored
    # A parabola of height b over width w leans by 8 b x / w^2; the reflection swings twice.
    lean = 8 * rig.sheet.flatness.bow_mm * points[:, 0] / rig.sheet.width_mm**2
    away[:, 0] += 2 * lean * np.abs(away[:, 2])
    things = [*rig.cards, *rig.lamps]
    names = np.array([*(thing.name for thing in things), "room"])
    distances = np.stack(
        [*(hits(points, away, thing) for thing in things), np.full(len(points), 1e12)]
    )
    return names[np.argmin(distances, axis=0)], points


def share(names, wanted):
    return float(np.mean(np.isin(names, wanted)))


def lit_in_bright_field(name):
    return {"gold-card-above": ["roof"], "silver-bookplate-bright": ["sky"]}[name]


def test_there_are_twelve_that_differ_in_look_foil_and_artwork():
    rigs = [load_rig(RIGS / f"{name}.toml").rig for name in NAMES]
    assert len(rigs) >= 12
    assert {rig.look.kind for rig in rigs} == {
        "bright field",
        "gradient",
        "dark field",
        "split",
        "rainbow",
        "bright band",
    }
    assert len({rig.sheet.foil.kind for rig in rigs}) >= 6
    assert len({rig.sheet.artwork.tobytes() for rig in rigs}) == len(rigs)
    assert len({rig.title for rig in rigs}) == len(rigs)


@pytest.mark.parametrize("name", NAMES)
def test_each_says_in_words_what_it_does_and_leaves_room_for_planning(name):
    loaded = load_rig(name)
    text = loaded.path.read_text("utf-8")
    assert len(loaded.notes) > 120
    assert len(loaded.rig.freedoms) >= 4
    assert loaded.owned
    assert loaded.shop
    assert text.count("#") >= 4
    assert loaded.rig.sheet.artwork.max() == 1.0


@pytest.mark.parametrize("name", NAMES)
def test_freedoms_hold_where_things_stand_and_stay_within_reach(name):
    rig = load_rig(name).rig
    things = {thing.name: thing for thing in (*rig.lamps, *rig.cards)}
    for freedom in rig.freedoms:
        thing = things[freedom.element]
        place = dict(zip(("x_mm", "y_mm", "z_mm"), thing.placement.position_mm, strict=True))
        aim = zip(("aim_x_mm", "aim_y_mm", "aim_z_mm"), thing.placement.aim_mm, strict=True)
        now = {**place, **dict(aim), "width_mm": thing.width_mm, "height_mm": thing.height_mm}
        now["trim_stops"] = getattr(thing, "trim_stops", None)
        assert freedom.low <= now[freedom.dimension] <= freedom.high, freedom
        if freedom.dimension == "z_mm":
            assert rig.room.reach.lowest_mm <= freedom.low
            assert freedom.high <= rig.room.reach.highest_mm
        if freedom.dimension in ("x_mm", "y_mm"):
            assert max(-freedom.low, freedom.high) <= rig.room.reach.farthest_mm


@pytest.mark.parametrize("name", NAMES)
def test_the_whole_sheet_is_in_the_picture_and_nothing_stands_before_it(name):
    rig = load_rig(name).rig
    lens, right, up, forward = frame(rig.camera)
    points = sheet_points(rig, 21) * [21 / 20, 21 / 20, 1]
    offset = points - lens
    depth = offset @ forward
    tan_x = rig.camera.sensor_width_mm / 2 / rig.camera.focal_length_mm
    tan_y = rig.camera.sensor_height_mm / 2 / rig.camera.focal_length_mm
    assert (np.abs(offset @ right) < depth * tan_x).all()
    assert (np.abs(offset @ up) < depth * tan_y).all()
    for thing in (*rig.lamps, *rig.cards):
        t = hits(np.broadcast_to(lens, offset.shape), offset, thing)
        assert (t > 1.0).all(), thing.name


@pytest.mark.parametrize("name", ["gold-card-above", "silver-bookplate-bright"])
def test_bright_field_foil_sees_its_board_alone(name):
    rig = load_rig(name).rig
    names, points = seen_by_foil(rig)
    hole = max((card.hole.diameter_mm for card in rig.cards if card.hole), default=0.0)
    # A hole as high as the lens shows half as large (closed form: the mirror is half way).
    near = np.hypot(points[:, 0], points[:, 1]) > hole / 2
    assert set(names[near]) == set(lit_in_bright_field(name))


def test_the_hole_shows_as_half_its_width_where_there_is_no_foil():
    rig = load_rig("gold-card-above").rig
    names, points = seen_by_foil(rig)
    dark = np.hypot(*points[names == "room"].T[:2])
    # From the mirrored lens at -280 the hole of 18 mm at 270 is seen through 18 x 280 / 550.
    radius = 9 * 280 / 550
    grid = 148 / 41
    assert radius - grid < dark.max() <= radius
    art = rig.sheet.artwork
    rows, cols = art.shape
    y, x = np.mgrid[:rows, :cols]
    from_middle = np.hypot((x + 0.5 - cols / 2) * 148 / cols, (y + 0.5 - rows / 2) * 105 / rows)
    assert art[from_middle < 3 * radius].max() == 0


def test_the_bar_of_light_shows_as_a_band_aslant_with_the_dark_at_both_sides():
    rig = load_rig("certificate-a4-bowed").rig
    names, points = seen_by_foil(rig)
    lit = names == "bar of light"
    assert 0.14 < lit.mean() < 0.45  # as wide as reads best (seen by eye, docs/measures.md)
    along = np.array([math.cos(rig.look.direction_rad), math.sin(rig.look.direction_rad)])
    across = points[:, :2] @ [-along[1], along[0]]
    assert across[~lit].min() < across[lit].min() - 20
    assert across[~lit].max() > across[lit].max() + 20
    assert np.std(across[lit]) < 0.5 * np.std(points[lit, :2] @ along)
    # A parabola of height b over width w leans 4 b / w at its edge; the reflection swings twice.
    swing = 2 * 4 * rig.sheet.flatness.bow_mm / 297
    assert math.degrees(swing) == pytest.approx(2.3, abs=0.05)


@pytest.mark.parametrize("name", ["silver-bookplate-bright", "brushed-plant-tag"])
def test_bounce_lamps_light_the_board_and_turn_their_back_to_the_sheet(name):
    rig = load_rig(name).rig
    lamp = next(lamp for lamp in rig.lamps if lamp.name == "under light")
    centre, _, _, normal = frame(lamp)
    assert ((sheet_points(rig) - centre) @ normal < 0).all()
    board = next(card for card in rig.cards if card.front.finish == "white")
    _, _, _, facing = frame(board)
    assert np.isfinite(hits(centre[None], normal[None], board)).all()
    assert -normal @ facing > 0.4


@pytest.mark.parametrize("name", NAMES)
def test_the_sheet_fills_the_frame_and_no_example_needs_a_level_set_by_hand(name):
    rig = load_rig(name).rig
    corners = np.array([[x, y, 0] for x in (-1, 1) for y in (-1, 1)]) / 2
    corners = corners * [rig.sheet.width_mm, rig.sheet.height_mm, 0]
    places = rig.camera.project(corners, 1, 1) + 0.5
    filled = np.ptp(places, axis=0).max()
    assert 0.70 <= filled <= 0.85  # as photographers frame goods; common practice, no source
    assert np.abs((places.max(axis=0) + places.min(axis=0)) / 2 - 0.5).max() < 0.05
    assert rig.camera.exposure == Exposure()
    assert not load_rig(name).questions


@pytest.mark.parametrize("name", NAMES)
def test_stamped_foil_has_its_relief_within_usual_ranges(name):
    sheet = load_rig(name).rig.sheet
    if name == "brushed-plant-tag":  # a plate of metal, engraved
        assert sheet.foil.relief is None
        return
    assert 0.02 <= sheet.foil.relief.depth_mm <= 0.3  # ranges of docs/rig-files.md, from memory
    assert 0.05 <= sheet.foil.relief.flank_mm <= 0.3
    assert 0.05 <= math.degrees(sheet.paper.waviness.slope_rad) <= 1
    assert 2 <= sheet.paper.waviness.wavelength_mm <= 20


@pytest.mark.parametrize("name", ["scattered-seeds-run", "thanks-script-run"])
def test_a_lamp_behind_tissue_runs_over_the_sheet_as_the_look_says(name):
    rig = load_rig(name).rig
    names, points = seen_by_foil(rig)
    assert set(names) == {"tracing paper"}
    mirrored = np.asarray(rig.camera.placement.position_mm) * [1, 1, -1]
    diffuser, lamp = rig.cards[0], rig.lamps[0]
    away = points - mirrored
    at = points + hits(points, away, diffuser)[:, None] * away
    source, _, _, axis = frame(lamp)
    _, _, _, facing = frame(diffuser)
    way = at - source
    distance = np.linalg.norm(way, axis=-1)
    light = np.maximum((way @ axis) * (way @ facing), 0) / distance**4
    # Where the lamp itself does not reach, softboxes light the diffuser: 5 stops less, our choice.
    stops = np.log2(np.maximum(light, light.max() / 32))
    towards = [math.cos(rig.look.direction_rad), math.sin(rig.look.direction_rad)]
    along = points[:, :2] @ towards
    slope, _ = np.polyfit(along, stops, 1)
    assert slope * np.ptp(along) > 1.0
    assert np.mean(light > light.max() / 32) > 0.5  # a run over most of the sheet, not a spot


@pytest.mark.parametrize("name", NAMES)
def test_no_lamp_is_mirrored_into_the_lens(name):
    names, _ = seen_by_foil(load_rig(name).rig)
    lamps = {lamp.name for lamp in load_rig(name).rig.lamps}
    assert share(names, list(lamps - {"bar of light"})) == 0  # the bar is what the band is made of


def test_dark_field_sees_black_with_white_at_both_edges():
    names, points = seen_by_foil(load_rig("rose-gold-tag-dark").rig)
    assert 0.5 < share(names, "black card") < 0.95
    assert set(names[points[:, 0] < -0.95 * 42.5]) == {"left edge"}
    assert set(names[points[:, 0] > 0.95 * 42.5]) == {"right edge"}


def test_split_sees_white_on_one_half_and_black_on_the_other():
    names, points = seen_by_foil(load_rig("brushed-plant-tag").rig)
    assert set(names[points[:, 0] > 3]) == {"white half"}
    assert set(names[points[:, 0] < -3]) == {"black half"}


def test_gradient_sees_a_diffuser_lit_most_where_the_far_edge_mirrors():
    rig = load_rig("copper-label-gradient").rig
    names, points = seen_by_foil(rig)
    assert set(names) == {"tracing paper"}
    mirrored = np.asarray(rig.camera.placement.position_mm) * [1, 1, -1]
    diffuser, lamp = rig.cards[0], rig.lamps[0]
    away = points - mirrored
    at = points + hits(points, away, diffuser)[:, None] * away
    source, _, _, axis = frame(lamp)
    _, _, _, facing = frame(diffuser)
    way = at - source
    distance = np.linalg.norm(way, axis=-1)
    # Irradiance of the diffuser's back by inverse square and the two cosines.
    light = (way @ axis) * (way @ facing) / distance**4
    by_row = light.reshape(41, 41).mean(axis=1)
    assert (np.diff(by_row) > 0).all()
    # From the middle on; the softboxes light what the near edge mirrors.
    assert 0.7 < math.log2(by_row[-1] / by_row[20]) < 4


def test_rainbow_sends_all_colours_and_keeps_the_mirror_direction_dark():
    rig = load_rig("rainbow-bookmark").rig
    names, points = seen_by_foil(rig)
    assert set(names) == {"black card"}
    lens, lamp = np.asarray(rig.camera.placement.position_mm), rig.lamps[0]
    out, into = lens - points, np.asarray(lamp.placement.position_mm) - points
    out /= np.linalg.norm(out, axis=-1, keepdims=True)
    into /= np.linalg.norm(into, axis=-1, keepdims=True)
    # Grating equation along y: (out + in)_y = order x wavelength x lines; x is mirrored.
    wavelength = np.abs((out + into)[:, 1]) / rig.sheet.foil.grating.lines_per_mm * 1e6
    assert wavelength.min() < 420
    assert wavelength.max() > 680
    assert abs(np.interp(0, points[20::41, 1], wavelength[20::41]) - 550) < 10
    size = math.degrees(lamp.width_mm / np.linalg.norm(lamp.placement.position_mm))
    assert size <= 3


def test_the_cone_shows_its_opening_beside_the_sheet():
    rig = load_rig("cone-and-phone").rig
    cone, lens = rig.shells[0], np.asarray(rig.camera.placement.position_mm)
    assert cone.centre_mm[1] == lens[1]
    height = cone.centre_mm[2] + cone.height_mm
    assert 0 < lens[2] - height < 20
    # Mirrored, the opening is seen from -lens: its spot on the sheet shrinks by similar triangles.
    spot = cone.top_width_mm / 2 * lens[2] / (lens[2] + height)
    assert lens[1] + spot < -rig.sheet.height_mm / 2
    half_view = rig.camera.sensor_width_mm / 2 / rig.camera.focal_length_mm
    assert cone.top_width_mm / 2 > (lens[2] - height) * half_view


def test_the_window_lights_one_board_of_the_v_and_the_other_has_its_back_to_it():
    rig = load_rig("window-two-boards").rig
    (window,) = rig.lamps
    assert window.is_window
    centre, _, _, normal = frame(window)
    lit = {}
    for card in rig.cards:
        board, _, _, facing = frame(card)
        way = unit(board - centre)
        assert way @ normal > 0.5
        lit[card.name] = -way @ facing
    assert lit["right board"] > lit["left board"] + 0.2
    names, points = seen_by_foil(rig)
    assert set(names[points[:, 0] > 20]) == {"right board"}
    assert set(names[points[:, 0] < -20]) == {"left board"}
    assert not {f.element for f in rig.freedoms} & {window.name}


@pytest.fixture(scope="session")
def drawing():
    spec = importlib.util.spec_from_file_location("draw", RIGS / "artwork" / "draw.py")
    module = importlib.util.module_from_spec(spec)
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(RIGS / "artwork")  # as where a script is run from
        spec.loader.exec_module(module)
    return module


def test_every_picture_is_drawn_by_the_script_and_used(drawing):
    pictures = {path.stem for path in (RIGS / "artwork").glob("*.png")}
    assert pictures == set(drawing.DESIGNS)
    used = {Path(next(iter(load_rig(name).assets))).stem for name in NAMES}
    assert used == pictures


def test_the_script_draws_the_same_twice(drawing):
    first, second = (drawing.DESIGNS["monogram"]().kept() for _ in range(2))
    assert hashlib.sha256(first.tobytes()).digest() == hashlib.sha256(second.tobytes()).digest()


@pytest.mark.parametrize("name", sorted(path.stem for path in (RIGS / "artwork").glob("*.png")))
def test_pictures_are_small_smooth_and_as_the_script_draws_them(drawing, name):
    path = RIGS / "artwork" / f"{name}.png"
    assert path.stat().st_size < 150_000
    kept = np.asarray(Image.open(path), float)
    assert max(kept.shape) == 1200
    assert 0.01 < ((kept > 20) & (kept < 235)).mean() < 0.35  # edges have shades between
    drawn = np.asarray(drawing.DESIGNS[name]().kept(), float)
    # Other versions of Pillow and FreeType may round a pixel differently.
    assert np.abs(drawn - kept).mean() < 1.0
    stream = io.BytesIO(path.read_bytes())
    assert Image.open(stream).mode == "L"


def test_presets_are_found_in_the_checkout():
    assert store.shipped_folder() == RIGS
