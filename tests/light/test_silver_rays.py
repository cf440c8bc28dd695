"""Silver that comes or goes changes how many rays the foil has; an engine that follows has them."""

from dataclasses import replace

import numpy as np

from lightplan.light import Detail, Engine
from lightplan.scene import Camera, Card, Foil, Lamp, Output, Placement, Rig, Sheet, Side

SILVER = Side(finish="silver", roughness=0.2)
CARD = Card(
    name="board", placement=Placement((0, 220, 260), (0, 0, 0)), width_mm=300, height_mm=200
)
RIG = Rig(
    title="a bookplate",
    sheet=Sheet(width_mm=100, height_mm=70, foil=Foil(roughness=(0.1, 0.1))),
    camera=Camera(placement=Placement((0, -400, 500))),
    lamps=(
        Lamp(
            name="key",
            placement=Placement((-500, -100, 600), (0, 0, 0)),
            width_mm=200,
            height_mm=200,
            output=Output(value=1000, unit="cd/m2"),
        ),
    ),
    cards=(CARD,),
)
SILVERED = replace(RIG, cards=(replace(CARD, front=SILVER, back=SILVER),))


def test_foil_has_more_rays_where_silver_stands():
    """So that a few more of them tell how bright it is: as many as twice the rays tell."""
    foil, more, fewer = (
        Engine(rig, detail).layers(rig).sheet_foil
        for rig, detail in (
            (SILVERED, Detail.quick()),
            (SILVERED, replace(Detail.quick(), silver_times=1, foil_rays=300_000)),
            (SILVERED, replace(Detail.quick(), silver_times=1)),
        )
    )
    np.testing.assert_allclose(foil, more, rtol=0.02)
    assert np.abs(foil - fewer).max() > 0
    plain, same = (
        Engine(RIG, detail).layers(RIG).sheet_foil
        for detail in (Detail.quick(), replace(Detail.quick(), silver_times=1))
    )
    np.testing.assert_array_equal(plain, same)


def test_silver_that_comes_and_goes_ends_where_a_fresh_engine_begins():
    engine = Engine(RIG, Detail.quick())
    for rig in (SILVERED, RIG):
        found, fresh = engine.layers(rig), Engine(rig, Detail.quick()).layers(rig)
        np.testing.assert_array_equal(found.sheet_foil, fresh.sheet_foil)
