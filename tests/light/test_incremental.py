"""An engine that followed many moves says what a fresh one says, and always the same."""

import dataclasses

import numpy as np
import pytest

from lightplan.light import Detail, Engine
from lightplan.light.grating_lamps import GratingLamp
from lightplan.scene import Exposure, Foil, Grating

# one coarse grid for all: a fresh engine would choose the foil's by where things stand
FOLLOWING = dataclasses.replace(
    Detail.quick(camera_rows=30, camera_cols=40), sheet_long_side=13, mirror_spots=3
)
LAYERS = ("sheet_paper", "sheet_foil")
SCENES = (
    "s03_bounce_card",
    "full_rig",
    "diffuser_panel",
    "hole",
    "bulb_room",
    "silver_card",
    "ambient_cards",
    "coated_paper",
    "cone",
    "probe",
)


def moved(thing, random):
    """The same lamp or card a hand's breadth away, aimed a little elsewhere."""
    place, off = thing.placement, random.uniform(-25, 25, 3)
    off[2] = abs(off[2])  # never into the table
    return dataclasses.replace(
        thing,
        placement=dataclasses.replace(
            place,
            position_mm=tuple(float(v) for v in np.add(place.position_mm, off)),
            aim_mm=tuple(float(v) for v in np.add(place.aim_mm, 0.4 * off[::-1])),
        ),
    )


def walk(rig, steps, seed):
    """Rigs of a random walk: one lamp or card moves at a time."""
    random = np.random.default_rng(seed)
    for _ in range(steps):
        kind = "cards" if rig.cards and (not rig.lamps or random.random() < 0.6) else "lamps"
        things = list(getattr(rig, kind))
        if not things:
            return
        index = int(random.integers(len(things)))
        things[index] = moved(things[index], random)
        rig = dataclasses.replace(rig, **{kind: tuple(things)})
        yield rig


def largest_difference(one, two):
    return max(
        float(np.abs(getattr(one, name) - getattr(two, name)).max() / getattr(two, name).max())
        for name in LAYERS
    )


@pytest.mark.parametrize("scene", SCENES)
def test_a_followed_walk_ends_where_a_fresh_engine_begins(scene, scene_rig):
    rig = scene_rig(scene)
    engine = Engine(rig, FOLLOWING)
    grid = engine.grid
    steps = list(walk(rig, 5, seed=4))
    first, *_, layers = [engine.layers(step) for step in steps]
    step = steps[-1]
    assert engine.grid is grid  # it followed and was not begun anew
    fresh = Engine(step, FOLLOWING).layers(step)
    # cells of a moved card light others by reciprocity, which differs for near neighbours
    assert largest_difference(layers, fresh) < 2e-3
    assert not np.array_equal(layers.sees, first.sees) or np.any(
        layers.sheet_paper != first.sheet_paper
    )


@pytest.mark.parametrize("scene", ["s03_bounce_card", "coated_paper", "diffuser_panel"])
def test_following_is_exact_where_no_two_cards_meet(scene, scene_rig):
    rig = scene_rig(scene)
    engine = Engine(rig, FOLLOWING)
    for step in walk(rig, 6, seed=9):
        layers = engine.layers(step)
        assert largest_difference(layers, Engine(step, FOLLOWING).layers(step)) < 1e-4


def test_a_grating_sums_a_lamp_anew_only_where_something_cuts_it_otherwise(scene_rig, monkeypatch):
    rig = scene_rig("flag")
    foil = Foil(grating=Grating())
    rig = dataclasses.replace(rig, sheet=dataclasses.replace(rig.sheet, foil=foil))
    (flag,), summed, real = rig.cards, [], GratingLamp._shown
    aside = dataclasses.replace(flag, name="aside", width_mm=100.0, height_mm=100.0)

    def shown(self, lamp, spots, rows, *rest):
        summed.append(len(rows))
        return real(self, lamp, spots, rows, *rest)

    monkeypatch.setattr(GratingLamp, "_shown", shown)
    engine = Engine(rig, FOLLOWING)

    def follow(flag_at, aside_at):
        """Spots that are summed by the engine that follows, and by a fresh one."""
        cards = []
        for card, at in ((flag, np.add(flag.placement.position_mm, flag_at)), (aside, aside_at)):
            place = dataclasses.replace(card.placement, position_mm=tuple(map(float, at)))
            cards.append(dataclasses.replace(card, placement=place))
        step = dataclasses.replace(rig, cards=tuple(cards))
        summed.clear()
        layers = engine.layers(step)
        following = sum(summed)
        assert largest_difference(layers, Engine(step, FOLLOWING).layers(step)) < 1e-6
        return following, sum(summed) - following

    follow([0.0, 0.0, 0.0], [-700.0, -300.0, 300.0])
    following, fresh = follow([0.0, 0.0, 0.0], [-700.0, -300.0, 310.0])
    assert following == 0 < fresh  # the flag hides as much of the lamp as before
    following, _ = follow([5.0, 0.0, 0.0], [-700.0, -300.0, 310.0])
    assert following > 0


@pytest.mark.parametrize("scene", ["full_rig", "silver_card"])
def test_there_and_back_is_where_one_was(scene, scene_rig):
    rig = scene_rig(scene)
    engine = Engine(rig, FOLLOWING)
    before = engine.layers(rig)
    for step in walk(rig, 4, seed=2):
        engine.layers(step)
    assert largest_difference(engine.layers(rig), before) < 2e-3


def test_power_colour_and_switches_need_no_new_rays(scene_rig):
    """What only scales the light is taken in at once, and exactly."""
    rig = scene_rig("full_rig")
    engine = Engine(rig, FOLLOWING)
    engine.layers(rig)
    first, *rest = rig.lamps
    dimmed = dataclasses.replace(first, trim_stops=-1.5, colour_k=3400.0)
    off = [dataclasses.replace(lamp, on=False) for lamp in rest]
    changed = dataclasses.replace(rig, lamps=(dimmed, *off))
    assert engine.layers(changed).sheet_foil.tobytes() == (
        Engine(changed, FOLLOWING).layers(changed).sheet_foil.tobytes()
    )


def test_other_parts_of_the_rig_are_noticed(scene_rig):
    """Size, finish, camera, sheet, room: anything but a move gives a fresh engine's answer."""
    rig = scene_rig("full_rig")
    engine = Engine(rig, FOLLOWING)
    card = dataclasses.replace(rig.cards[0], width_mm=rig.cards[0].width_mm * 0.7)
    dull = dataclasses.replace(
        rig.cards[0], front=dataclasses.replace(rig.cards[0].front, reflectance=(0.1, 0.2, 0.3))
    )
    camera = dataclasses.replace(rig.camera, focal_length_mm=70.0, exposure=Exposure())
    sheet = dataclasses.replace(rig.sheet, width_mm=rig.sheet.width_mm * 0.8)
    room = dataclasses.replace(rig.room, ambient_cd_m2=(5.0, 6.0, 7.0))
    for change in (
        {"cards": (card, *rig.cards[1:])},
        {"cards": (dull, *rig.cards[1:])},
        {"cards": ()},
        {"camera": camera},
        {"sheet": sheet},
        {"room": room},
        {"lamps": rig.lamps[:1]},
    ):
        other = dataclasses.replace(rig, **change)
        assert (
            largest_difference(engine.layers(other), Engine(other, FOLLOWING).layers(other)) < 5e-3
        ), change.keys()


def test_a_face_does_not_light_itself(scene_rig):
    """Wherever a card stands, rounding must not let it see itself or its own back.

    A lone diffuser: what it gives the sheet changes smoothly as it is shifted by little.
    """
    rig = scene_rig("diffuser_panel")
    levels = []
    for shift in (0.0, 1.0, 2.0, 3.0, 4.0, 5.0):
        place = rig.cards[0].placement
        card = dataclasses.replace(
            rig.cards[0],
            placement=dataclasses.replace(
                place, position_mm=tuple(np.add(place.position_mm, [shift, shift / 3, 0.7 * shift]))
            ),
        )
        other = dataclasses.replace(rig, cards=(card,))
        levels.append(Engine(other, FOLLOWING).layers(other).sheet_paper.mean())
    bends = np.diff(levels, 2)
    assert np.abs(bends).max() < 1e-3 * levels[0]


@pytest.mark.parametrize("scene", ["full_rig", "brushed", "probe", "silver_card"])
def test_the_same_rig_twice_is_the_same_to_the_byte(scene, scene_rig):
    one, two = scene_rig(scene), scene_rig(scene)
    first, second = (Engine(rig, FOLLOWING).layers(rig) for rig in (one, two))
    for item in dataclasses.fields(first):
        a, b = getattr(first, item.name), getattr(second, item.name)
        same = a.tobytes() == b.tobytes() if isinstance(a, np.ndarray) else a == b
        assert same, item.name


def test_pictures_and_layers_tell_the_same(scene_rig):
    rig = scene_rig("full_rig")
    detail = dataclasses.replace(FOLLOWING, sheet_long_side=49)
    engine = Engine(rig, detail)
    layers = engine.layers(rig)
    share = np.random.default_rng(1).random((30, 40), dtype=np.float32)
    picture = engine.picture(rig, share)
    mix = layers.camera_paper + share[..., None] * (layers.camera_foil - layers.camera_paper)
    on_sheet = np.isfinite(mix)
    assert picture[on_sheet] == pytest.approx(mix[on_sheet], rel=1e-4, abs=1e-3)
    # beside the sheet the quick picture does not smooth between texels
    off = picture[~on_sheet] - layers.camera_surround[~on_sheet]
    assert np.sqrt(np.mean(off**2)) < 0.02 * np.nanmean(layers.camera_surround)
    assert np.isfinite(picture).all()


def test_results_cannot_be_written_to(scene_rig):
    rig = scene_rig("s03_bounce_card")
    layers = Engine(rig, FOLLOWING).layers(rig)
    for item in dataclasses.fields(layers):
        value = getattr(layers, item.name)
        if isinstance(value, np.ndarray):
            with pytest.raises(ValueError, match="read-only"):
                value[...] = 0
