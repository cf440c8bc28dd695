"""Energy: a white furnace is white, nothing gives more than it gets, light is linear,
and lamp and lens may be exchanged (Helmholtz reciprocity)."""

import dataclasses
import math

import numpy as np
import pytest

from lightplan.light import Detail, Engine
from lightplan.scene import (
    Body,
    Camera,
    Card,
    Conductor,
    Flatness,
    Foil,
    Hole,
    Lamp,
    Output,
    Paper,
    Placement,
    Rig,
    Room,
    Sheet,
    Shell,
    Side,
    Table,
    Walls,
)

ONE = (1.0, 1.0, 1.0)
SKY = (80.0, 100.0, 130.0)
PERFECT = Conductor(eta=(0.0,) * 3, k=ONE)
SMOOTH = (0.005, 0.005)
SMALL = Detail(
    sheet_long_side=31,
    camera_rows=48,
    camera_cols=64,
    foil_rays=40_000,
    direct_long_side=31,
    bounce_long_side=15,
)
WHITE = Side(reflectance=ONE)
UPRIGHT = Card(
    name="upright",
    placement=Placement((-150.0, 0, 120.0), (500.0, 0, 120.0)),
    width_mm=300.0,
    height_mm=200.0,
    front=WHITE,
    back=WHITE,
)
OVERHEAD = Card(
    name="overhead",
    placement=Placement((0, 100.0, 500.0)),
    width_mm=300.0,
    height_mm=200.0,
    front=WHITE,
    back=WHITE,
    hole=Hole(diameter_mm=60.0),
)
PASSES = Side(reflectance=(0.4, 0.5, 0.6))
DIFFUSER = Card(
    name="diffuser",
    placement=Placement((150.0, 100.0, 300.0)),
    width_mm=250.0,
    height_mm=250.0,
    front=PASSES,
    back=PASSES,
    transmittance=(0.6, 0.5, 0.4),
)
SILVERED = Side(finish="silver", reflectance=ONE, roughness=0.02)
SILVER = Card(
    name="silver",
    placement=Placement((160.0, 0, 130.0), (-500.0, 0, 130.0)),
    width_mm=300.0,
    height_mm=200.0,
    front=SILVERED,
    back=WHITE,
)
CONE = Shell(
    name="cone",
    foot_width_mm=500.0,
    top_width_mm=120.0,
    height_mm=350.0,
    reflectance=(0.5,) * 3,
    transmittance=(0.5,) * 3,
)


def furnace(*, cards=(), shells=(), table=True, paper=None, body=None, **sheet):
    sheet = {"foil": Foil(conductor=PERFECT, roughness=SMOOTH)} | sheet
    return Rig(
        title="furnace",
        sheet=Sheet(
            width_mm=148.0,
            height_mm=105.0,
            paper=Paper(reflectance=ONE) if paper is None else paper,
            **sheet,
        ),
        camera=Camera(placement=Placement((0, -260.0, 450.0)), body=body),
        cards=cards,
        shells=shells,
        room=Room(
            table=Table(width_mm=900.0, depth_mm=700.0, reflectance=ONE) if table else None,
            ambient_cd_m2=SKY,
        ),
    )


FURNACES = {
    "table": {},
    "white cards": {"cards": (UPRIGHT, OVERHEAD)},
    "diffuser": {"cards": (DIFFUSER, UPRIGHT)},
    "silver card": {"cards": (SILVER,)},
    "cone": {"shells": (CONE,)},
    "tent": {"shells": (dataclasses.replace(CONE, shape="tent"),)},
    "white camera": {"body": Body(reflectance=1.0)},
    "bowed": {"flatness": Flatness(bow_mm=3.0), "cards": (UPRIGHT,)},
    "varnished": {"paper": Paper(reflectance=ONE, coat_index=1.5, coat_roughness=0.005)},
}
# In a cone that absorbs nothing, light meets the wall again and again, and what its flat
# cells miss each time adds up; elsewhere nothing does.
LOOSE = {"cone": 0.025}
NEAR = 0.01


def shares_of_sky(layer):
    return layer[np.isfinite(layer).all(axis=-1)] / np.array(SKY, np.float32)


@pytest.mark.parametrize("name", FURNACES)
def test_a_white_furnace_is_white(name):
    """All round the same light and nothing absorbs: everything shows that light (1 % rms)."""
    rig = furnace(**FURNACES[name])
    layers = Engine(rig, SMALL).layers(rig)
    for layer in ("sheet_paper", "sheet_foil", "camera_paper", "camera_foil", "camera_surround"):
        off = shares_of_sky(getattr(layers, layer)) - 1
        if off.size or layer.startswith("sheet"):  # cone and tent hide the sheet from this lens
            bound = 2 * NEAR if layer == "camera_surround" else NEAR
            assert np.sqrt(np.mean(off**2)) < LOOSE.get(name, bound), layer


@pytest.mark.parametrize("alpha", [0.05, 0.1, 0.3])
def test_a_rough_perfect_mirror_loses_what_light_hides_between_facets(alpha):
    """Share of a constant sky that GGX returns in one scattering, by a sum over directions.

    The sum uses Walter's formulas as printed, in polar steps, and knows nothing of sampling.
    """
    rig = furnace(foil=Foil(conductor=PERFECT, roughness=(alpha, alpha)), table=False)
    rows = Engine(rig, SMALL).layers(rig).sheet_foil[..., 1] / SKY[1]
    middle = rows[8:14, 12:19].mean()
    polar = (np.arange(1200) + 0.5) / 1200 * math.pi / 2
    turn = (np.arange(360) + 0.5) / 360 * 2 * math.pi
    polar, turn = np.meshgrid(polar, turn)
    light = np.stack(
        [np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)], axis=-1
    )
    view = np.array([0, -260.0, 450.0]) / math.hypot(260, 450)
    half = light + view
    tall = half[..., 2] ** 2 / np.sum(half**2, axis=-1)
    d = alpha**2 / (math.pi * (tall * (alpha**2 - 1) + 1) ** 2)

    def g1(cosine):
        return 2 / (1 + np.sqrt(1 + alpha**2 * (1 / cosine**2 - 1)))

    value = d * g1(light[..., 2]) * g1(view[2]) / (4 * view[2]) * np.sin(polar)
    wanted = value.sum() * (math.pi / 2 / 1200) * (2 * math.pi / 360)
    assert middle == pytest.approx(wanted, abs=3e-3)
    assert rows.max() <= 1.002  # no spot is above 1; the smooth curve between spots swings over


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9])
def test_nothing_reflects_more_than_it_gets(share):
    grey = Side(reflectance=(share,) * 3)
    card = dataclasses.replace(UPRIGHT, front=grey, back=grey)
    paper = Paper(reflectance=(share,) * 3, coat_index=1.6, coat_roughness=0.2)
    rig = furnace(
        cards=(card, DIFFUSER, SILVER),
        paper=paper,
        body=Body(),
        foil=Foil(kind="gold foil", roughness=(0.1, 0.2)),
    )
    layers = Engine(rig, SMALL).layers(rig)
    for layer in ("sheet_paper", "sheet_foil", "camera_surround"):
        shares = shares_of_sky(getattr(layers, layer))
        assert shares.min() >= 0, layer
        # a strip of table next to a silvered card may come out a few per cent too bright
        assert np.quantile(shares, 0.9 if layer == "camera_surround" else 0.99) < 1.01, layer


def lit_room(reflectance, luminance=1000.0):
    walls = Walls(
        width_mm=1200.0,
        depth_mm=1200.0,
        ceiling_mm=900.0,
        floor_mm=300.0,
        walls=(reflectance,) * 3,
        ceiling=(reflectance,) * 3,
        floor=(reflectance,) * 3,
    )
    lamp = Lamp(
        name="lamp",
        shape="bulb",
        width_mm=40.0,
        placement=Placement((200.0, 150.0, 400.0)),
        output=Output(value=luminance, unit="cd/m2"),
    )
    return Rig(
        title="box",
        lamps=(lamp,),
        room=Room(table=None, walls=walls),
        sheet=Sheet(width_mm=148.0, height_mm=105.0, paper=Paper(reflectance=(reflectance,) * 3)),
        camera=Camera(placement=Placement((0, -260.0, 450.0)), body=None),
    )


@pytest.mark.parametrize(("reflectance", "off"), [(0.8, 0.1), (0.9, 0.06), (0.95, 0.045)])
def test_a_white_room_follows_the_integrating_sphere(reflectance, off):
    """Bounced luminance r2 / (1 - r) x flux / (pi x area) (CIE 84), the more exactly the whiter.

    (Exact for a sphere; a box forgets its shape as light goes round more often.)
    """
    rig = lit_room(reflectance)
    whole = Engine(rig, SMALL).layers(rig).sheet_paper[..., 1].mean()
    flux = 1000 * math.pi * 4 * math.pi * 0.02**2
    area = 6 * 1.2 * 1.2
    lost = (1 - reflectance) * area + 4 * math.pi * 0.02**2  # walls, and the bulb's own face
    law = reflectance**2 * flux / (math.pi * lost)
    assert whole - direct(rig) == pytest.approx(law, rel=off)


def direct(rig):
    """Luminance of the sheet from the lamp alone."""
    open_room = dataclasses.replace(rig, room=Room(table=None))
    return Engine(open_room, SMALL).layers(open_room).sheet_paper[..., 1].mean()


def lamps_and_cards():
    key = Lamp(
        name="key",
        placement=Placement((0, 700.0, 700.0)),
        width_mm=500.0,
        height_mm=400.0,
        output=Output(value=2000.0, unit="lm"),
        trim_stops=-1.0,
        colour_k=5600.0,
    )
    fill = Lamp(
        name="fill",
        shape="disk",
        placement=Placement((-600.0, -100.0, 500.0)),
        width_mm=200.0,
        output=Output(value=900.0, unit="lm"),
        trim_stops=-2.5,
        colour_k=3200.0,
    )
    bare = Lamp(
        name="bare",
        shape="bulb",
        placement=Placement((700.0, 100.0, 600.0)),
        width_mm=80.0,
        output=Output(value=300.0, unit="cd"),
        on=False,
    )
    return (key, fill, bare)


@pytest.mark.parametrize("extra", [(), (SILVER,)], ids=["matte cards", "with a silvered card"])
def test_light_is_linear_in_the_lamps(extra):
    """Per-lamp pictures mixed by the rig's own powers are the rig's picture."""
    rig = dataclasses.replace(
        furnace(cards=(UPRIGHT, DIFFUSER, *extra), foil=Foil(roughness=(0.05, 0.15))),
        lamps=lamps_and_cards(),
    )
    grey = dataclasses.replace(rig.room, table=Table(), ambient_cd_m2=(3.0, 4.0, 5.0))
    paper = dataclasses.replace(rig.sheet, paper=Paper())
    rig = dataclasses.replace(rig, room=grey, sheet=paper)
    # where grids are interpolated, what would undershoot 0 is cut, lamp by lamp
    same_grid = dataclasses.replace(
        SMALL, sheet_long_side=25, direct_long_side=25, bounce_long_side=25
    )
    engine = Engine(rig, same_grid)
    layers = engine.layers(rig)
    parts = engine.per_lamp(rig)
    assert parts.names == ("key", "fill", "bare", "surroundings")
    mixed = parts.mix(np.array([2.0**-1, 2.0**-2.5, 0.0]))
    for ours, whole in zip(mixed, (layers.sheet_paper, layers.sheet_foil), strict=True):
        assert np.abs(ours - whole).max() < 1e-4 * whole.max()
    doubled = parts.mix(np.array([1.0, 2.0**-1.5, 0.0]))
    sky_paper = parts.paper[-1]
    assert np.abs((doubled[0] - sky_paper) - 2 * (mixed[0] - sky_paper)).max() < 1e-4 * (
        mixed[0].max()
    )


LAMP_AT, LENS_AT = (250.0, 520.0, 640.0), (-120.0, -420.0, 500.0)


def bright_disk_and_lens(lamp_at, lens_at, foil, paper, flatness):
    disk = Lamp(
        name="disk",
        shape="disk",
        width_mm=30.0,
        placement=Placement(lamp_at),
        output=Output(value=1e5, unit="cd/m2"),
    )
    return Rig(
        title="exchange",
        lamps=(disk,),
        room=Room(table=None),
        sheet=Sheet(width_mm=20.0, height_mm=20.0, foil=foil, paper=paper, flatness=flatness),
        camera=Camera(placement=Placement(lens_at), body=None),
    )


@pytest.mark.parametrize(
    "foil",
    [
        Foil(kind="gold foil", roughness=(0.2, 0.2)),
        Foil(kind="copper", roughness=(0.1, 0.4)),
        Foil(kind="silver foil", roughness=(0.08, 0.3), brush_rad=0.7),
    ],
    ids=["gold foil", "brushed copper", "brushed askew"],
)
@pytest.mark.parametrize("coat", [None, 1.5], ids=["matte", "varnished"])
def test_lamp_and_lens_may_be_exchanged(foil, coat):
    """Luminance over illuminance at the middle is the same both ways round."""
    paper = Paper(reflectance=(0.8, 0.6, 0.3), coat_index=coat, coat_roughness=0.2)
    found = []
    for lamp_at, lens_at in ((LAMP_AT, LENS_AT), (LENS_AT, LAMP_AT)):
        rig = bright_disk_and_lens(lamp_at, lens_at, foil, paper, Flatness())
        layers = Engine(rig, SMALL).layers(rig)
        squared = sum(v * v for v in lamp_at)
        lux = lamp_at[2] / squared**1.5
        at = tuple(n // 2 for n in layers.sheet_paper.shape[:2])
        found.append((layers.sheet_paper[at] / lux, layers.sheet_foil[at] / lux))
    for layer in (0, 1):
        assert found[0][layer] == pytest.approx(found[1][layer], rel=4e-3)
        assert found[0][layer].min() > 0


def test_a_black_scene_is_black():
    black = Paper(reflectance=(0.0,) * 3)
    rig = dataclasses.replace(
        furnace(paper=black, table=False), room=Room(table=None), lamps=lamps_and_cards()
    )
    layers = Engine(rig, SMALL).layers(rig)
    assert layers.sheet_paper.max() == 0
    assert np.nanmax(layers.camera_paper) == 0
