"""Lamps of which a silvered card sees only what stands over its own plane."""

from dataclasses import replace

import numpy as np
import pytest

from lightplan.geometry.points import unit_square
from lightplan.light import emission
from lightplan.light.cells import Patchwork
from lightplan.light.glossy import GlossyLight
from lightplan.light.mirrors import Mirrors
from lightplan.light.outlook import Outlook
from lightplan.light.surround import Surroundings
from lightplan.optics import microfacet
from lightplan.optics.specular import SpecularCurve
from lightplan.scene import Camera, Lamp, Output, Placement, Rig, Room, Sheet
from lightplan.scene.surfaces import build_surfaces

ALPHA = 0.25
SILVER = SpecularCurve(np.ones((2, 3)), np.ones((2, 3)))


DRAW = np.random.default_rng(3)
POINTS = DRAW.uniform(-100, 100, (40, 3)) * [1, 1, 0]
VIEWS = DRAW.uniform([-0.5, -0.9, 0.2], [0.5, -0.3, 0.6], (40, 3))
VIEWS /= np.linalg.norm(VIEWS, axis=1, keepdims=True)


def bulb(middle_mm):
    at = Placement((0, 400, middle_mm), (0, 0, 0))
    light = Output(value=1, unit="cd/m2")
    return Lamp(name="bulb", shape="bulb", width_mm=68, height_mm=68, placement=at, output=light)


def seen(lamp, spots, *, views=VIEWS, rays=4, alpha=ALPHA, depth=1):
    """What places of a silvered plane at z = 0 show their viewers of a lamp that it cuts."""
    rig = Rig(
        title="a plane",
        sheet=Sheet(width_mm=20, height_mm=20),
        camera=Camera(placement=Placement((0, -500, 600))),
        lamps=(lamp,),
        room=Room(table=None),
    )
    surfaces = build_surfaces(rig)
    lamps = emission.lamp_faces(rig, surfaces)
    axes = (np.tile(axis, (40, 1)) for axis in np.eye(3))
    mirrors = Mirrors(POINTS, views, *axes, (alpha, alpha), np.full(40, -1))
    light = GlossyLight(mirrors, SILVER, rays=rays, spots=spots, skip=frozenset({0}), depth=depth)
    patchwork = Patchwork(surfaces, 1, 2, 4)
    light.update(surfaces, patchwork, lamps, frozenset())
    texels = np.zeros((patchwork.texel_count, 1, 3), np.float32)
    texels[1] = 1.0
    return light.evaluate(Outlook(texels, Surroundings(rig.room), np.zeros(1, np.float32)))[:, 0, 1]


@pytest.mark.parametrize("middle_mm", [1.0, 5.0, 40.0])
def test_few_points_do_for_a_lamp_at_the_horizon_of_silver(middle_mm):
    """Masking falls off to nothing there, so what is over the horizon has to have points."""
    few, many = seen(bulb(middle_mm), 9), seen(bulb(middle_mm), 2000)
    assert many.mean() > 0
    assert few.sum() == pytest.approx(many.sum(), rel=0.05)


def by_facets(views, alpha, size_mm, far_mm):
    """The same of an upright square at y = far_mm, by 20,000 facets that each viewer sees."""
    found, square = [], unit_square(20_000)
    for point, view in zip(POINTS, views, strict=True):
        many = np.tile(view, (len(square), 1))
        half = microfacet.sample_visible_normals(many, alpha, alpha, square)
        out = 2 * (half @ view)[:, None] * half - view
        way = (far_mm - point[1]) / out[:, 1]
        x, z = point[0] + way * out[:, 0], way * out[:, 2]
        meets = (way > 0) & (np.abs(x) < size_mm / 2) & (z > 0) & (z < size_mm / 2)
        found.append(float(np.mean(meets * microfacet.g1(*out.T, alpha, alpha))))
    return np.array(found)


WIDE = Lamp(
    name="wide",
    width_mm=2000,
    height_mm=2000,
    placement=Placement((0, 400, 0), (0, 0, 0)),
    output=Output(value=1, unit="cd/m2"),
)


def drawn(low, high):
    views = np.random.default_rng(4).uniform(low, high, (40, 3))
    return views / np.linalg.norm(views, axis=1, keepdims=True)


@pytest.mark.parametrize("alpha", [0.3, 0.4])
def test_rays_into_the_silver_itself_are_not_counted_to_what_lies_behind_its_plane(alpha):
    """Of a rough lobe many are: a wide thing that the plane cuts was a sixth too dark."""
    views = drawn([-0.3, -0.3, 1.0], [0.3, 0.3, 1.0])
    found = seen(WIDE, 9, views=views, rays=233, alpha=alpha, depth=0)
    exact = by_facets(views, alpha, 2000, 400)
    assert found.mean() == pytest.approx(exact.mean(), rel=0.005)
    assert found == pytest.approx(exact, rel=0.05)


@pytest.mark.parametrize(("alpha", "spots"), [(0.2, 576), (0.4, 36), (0.4, 576)])
def test_points_are_dense_enough_when_they_are_so_for_views_aslant(alpha, spots):
    """There the lobe is narrow across the view: points too far apart showed up to twice as much."""
    views = drawn([-0.3, -1.0, 0.05], [0.3, -0.8, 0.25])
    found = seen(WIDE, spots, views=views, rays=233, alpha=alpha, depth=0)
    exact = by_facets(views, alpha, 2000, 400)
    assert found.mean() == pytest.approx(exact.mean(), rel=0.01)
    assert found == pytest.approx(exact, rel=0.05)


@pytest.mark.parametrize("far_mm", [600, 800])
def test_a_wide_lamp_that_the_plane_cuts_has_points_enough_over_it(far_mm):
    """Four times nine were trusted, and half of them lie below the plane: 3 % too bright."""
    views = drawn([-0.3, -0.3, 1.0], [0.3, 0.3, 1.0])
    lamp = replace(WIDE, placement=Placement((0, far_mm, 0), (0, 0, 0)))
    found = seen(lamp, 9, views=views, rays=6, alpha=0.38)
    exact = by_facets(views, 0.38, 2000, far_mm)
    assert found.mean() == pytest.approx(exact.mean(), rel=0.015)
    assert found == pytest.approx(exact, rel=0.04)
