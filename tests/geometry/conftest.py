"""Shapes to try, and the same shapes as meshes for Embree."""

import math

import numpy as np
import pytest

from lightplan.geometry.ball import Ball
from lightplan.geometry.cone import Cone
from lightplan.geometry.points import frames
from lightplan.geometry.shapes import Flat, Opening


def turned(normal, **options):
    """A flat shape that faces along `normal`."""
    normal = np.array([normal], float) / np.linalg.norm(normal)
    right, up = (tuple(float(v) for v in axis[0]) for axis in frames(normal))
    return Flat((30.0, -20.0, 40.0), right, up, 120.0, 70.0, **options)


SHAPES = {
    "rectangle": turned((0.3, -0.2, 0.9)),
    "ellipse": turned((-0.5, 0.4, 0.2), is_round=True),
    "card with a hole": turned((0.1, 0.9, 0.3), openings=(Opening(20, -10, 30),)),
    "ball": Ball((-20.0, 10.0, 35.0), 60.0),
    "narrowing cone": Cone((10.0, 5.0, -40.0), 110.0, 45.0, 150.0),
    "widening cone": Cone((0.0, -10.0, -30.0), 40.0, 90.0, 80.0),
    "cylinder": Cone((0.0, 0.0, -50.0), 70.0, 70.0, 100.0),
}


def resized(shape, by_mm):
    """The same shape, its rims moved outward (and holes' rims inward); balls and cones: longer."""
    if isinstance(shape, Ball):
        return Ball(shape.centre, shape.radius + by_mm)
    if isinstance(shape, Cone):
        slope = (shape.top_radius - shape.foot_radius) / shape.height
        x, y, z = shape.centre
        return Cone(
            (x, y, z - by_mm),
            shape.foot_radius - slope * by_mm,
            shape.top_radius + slope * by_mm,
            shape.height + 2 * by_mm,
        )
    holes = tuple(Opening(h.x, h.y, h.radius - by_mm) for h in shape.openings)
    return Flat(
        shape.centre,
        shape.right,
        shape.up,
        shape.half_width + by_mm,
        shape.half_height + by_mm,
        shape.is_round,
        holes,
    )


def area(shape):
    """Area in mm2 by the textbook formula."""
    if isinstance(shape, Ball):
        return 4 * math.pi * shape.radius**2
    if isinstance(shape, Cone):
        slant = math.hypot(shape.height, shape.foot_radius - shape.top_radius)
        return math.pi * (shape.foot_radius + shape.top_radius) * slant
    share = math.pi / 4 if shape.is_round else 1.0
    holes = sum(math.pi * hole.radius**2 for hole in shape.openings)
    return share * 4 * shape.half_width * shape.half_height - holes


@pytest.fixture(params=SHAPES, scope="session")
def shape(request):
    return SHAPES[request.param]


@pytest.fixture(scope="session")
def area_of():
    return area


@pytest.fixture(scope="session")
def resize():
    return resized


@pytest.fixture(scope="session")
def rays():
    """Random rays through the neighbourhood of the shapes, from within and from outside."""
    random = np.random.default_rng(11)
    origins = random.uniform(-300, 300, (4000, 3))
    aims = random.uniform(-130, 130, (4000, 3))
    directions = aims - origins
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    return origins.astype(np.float32), directions.astype(np.float32)


@pytest.fixture(scope="session")
def mesh_of():
    """A fine mesh of a shape whose outward side is the shape's front."""
    trimesh = pytest.importorskip("trimesh")

    def build(shape, fine=256):
        u, v = np.meshgrid(np.linspace(0, 1, fine + 1), np.linspace(0, 1, fine + 1))
        points = _surface(shape, u, v).reshape(-1, 3)
        at = np.arange((fine + 1) ** 2).reshape(fine + 1, fine + 1)
        a, b, c, d = at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]
        faces = np.concatenate(
            [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)]
        )
        return trimesh.Trimesh(points, faces, process=False)

    return build


def _surface(shape, u, v):
    """Points of a shape over the unit square, du x dv along the front normal."""
    turn = 2 * np.pi * u
    if isinstance(shape, Ball):
        polar = np.pi * (1 - v)
        unit = [np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)]
        return np.asarray(shape.centre) + shape.radius * np.stack(unit, axis=-1)
    if isinstance(shape, Cone):
        ring = shape.foot_radius + (shape.top_radius - shape.foot_radius) * v
        # clockwise: the front is the inside
        unit = [ring * np.cos(turn), -ring * np.sin(turn), shape.height * v]
        return np.asarray(shape.centre) + np.stack(unit, axis=-1)
    if shape.is_round:
        x, y = v * np.sin(turn), v * np.cos(turn)
    else:
        x, y = 2 * u - 1, 2 * v - 1
    place = shape.half_width * x[..., None] * np.asarray(shape.right)
    place = place + shape.half_height * y[..., None] * np.asarray(shape.up)
    return np.asarray(shape.centre) + place
