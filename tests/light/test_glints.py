"""Light by way of a mirror, against a plain quadrature over all of the mirror and the lamp."""

import numpy as np
import pytest

from lightplan.geometry import points as point_sets
from lightplan.light import emission
from lightplan.light.glints import Between, Receivers, glints
from lightplan.optics import materials, microfacet
from lightplan.scene import Camera, Lamp, Output, Placement, Rig, Sheet
from lightplan.scene.surfaces import build_surfaces

GOLD = materials.conductor_curve((0.18, 0.42, 1.37), (3.4, 2.35, 1.77))
LAMP = Lamp(
    name="box",
    placement=Placement((-300, 300, 700)),
    width_mm=200,
    height_mm=300,
    output=Output(value=1, unit="cd/m2"),
)
RIG = Rig(
    title="a gift tag",
    sheet=Sheet(width_mm=200, height_mm=150),
    camera=Camera(placement=Placement((0, -500, 600))),
    lamps=(LAMP,),
)
COUNT = 200_000


def lobe(way, view, alpha):
    """GGX with Smith's masking times the cosine, without Fresnel (Walter et al. 2007)."""
    half = way + view
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    shape = ((half[:, :2] / alpha) ** 2).sum(axis=1) + half[:, 2] ** 2
    masks = microfacet.g1(*way.T, *alpha) * microfacet.g1(*view.T, *alpha)
    return half, masks / (np.pi * alpha[0] * alpha[1] * shape**2) / 4


def by_quadrature(point, frame, view, rough, foil):
    """Evenly spread places of mirror and lamp, all joined; green channel."""
    draw = np.random.default_rng(5)
    places = draw.uniform(-1, 1, (COUNT, 3)) * [100, 75, 0]
    shape = build_surfaces(RIG)[1].shape
    a, b = draw.uniform(-1, 1, (2, COUNT, 1))
    ends = np.array(shape.centre) + a * shape.half_width * np.array(shape.right)
    ends = ends + b * shape.half_height * np.array(shape.up)
    to_point, to_lamp = point - places, ends - places
    near, far = (np.linalg.norm(v, axis=1, keepdims=True) for v in (to_point, to_lamp))
    to_point, to_lamp = to_point / near, to_lamp / far
    half, found = lobe(to_lamp, to_point, np.array(foil))
    found = found * GOLD.evaluate(np.float32((to_point * half).sum(axis=1)))[:, 1]
    found *= np.maximum(-(to_lamp @ shape.normal), 0)  # cosines at the mirror cancel
    way = -to_point @ frame.T
    if view is None:
        found *= np.maximum(way[:, 2], 0) / np.pi
    else:
        half, silver = lobe(way, np.tile(view, (COUNT, 1)), np.array(rough))
        silver *= GOLD.evaluate(np.float32(half @ view))[:, 1] / view[2]
        found *= np.where(way[:, 2] > 0, silver, 0)
    area = 200 * 150 * 4 * shape.half_width * shape.half_height
    return float((found / (near * far)[:, 0] ** 2).mean() * area)


@pytest.mark.parametrize("foil", [(0.1, 0.3), (0.25, 0.25)])
@pytest.mark.parametrize("rough", [(0.0, 0.0), (0.2, 0.2)])
def test_lamp_by_way_of_the_foil(foil, rough):
    point = np.array([[100.0, -150, 200]])
    normal = -point / np.linalg.norm(point)
    tangent, other = point_sets.frames(normal)
    frame = np.stack([tangent, other, normal], axis=1)
    view = np.array([0.2, 0.1, 0.97]) / np.linalg.norm([0.2, 0.1, 0.97])
    is_matte = rough[0] == 0
    receivers = Receivers(point, frame, np.arange(1), None if is_matte else view[None], rough, GOLD)
    surfaces = build_surfaces(RIG)
    mirror = Between(
        0, is_front=True, curve=GOLD, roughness=foil, tangent=np.array([1.0, 0.0, 0.0])
    )
    found = glints(receivers, mirror, surfaces, emission.lamp_faces(RIG, surfaces), 20_000)
    wanted = by_quadrature(point[0], frame[0], None if is_matte else view, rough, foil)
    assert found[1, 0, 0] == pytest.approx(wanted, rel=0.02)  # the quadrature's own noise
