"""Balls that hold whole shapes, to leave early what cannot meet."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.ball import Ball
from lightplan.geometry.cone import Cone
from lightplan.geometry.mesh import Mesh
from lightplan.geometry.shapes import Flat

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.geometry.shapes import Shape


def ball_round(shape: Shape) -> tuple[Doubles, float]:
    """Return the centre (3,) and radius in mm of a ball that holds a shape.

    Examples
    --------
    >>> centre, radius = ball_round(Cone((0, 0, 10), 30.0, 20.0, 80.0))
    >>> [round(float(v)) for v in centre], round(radius)
    ([0, 0, 50], 50)
    """
    if isinstance(shape, Ball):
        return np.asarray(shape.centre, float), float(shape.radius)
    if isinstance(shape, Cone):
        middle = np.add(shape.centre, (0.0, 0.0, shape.height / 2))
        return middle, math.hypot(max(shape.foot_radius, shape.top_radius), shape.height / 2)
    if isinstance(shape, Flat):
        return np.asarray(shape.centre, float), math.hypot(shape.half_width, shape.half_height)
    assert isinstance(shape, Mesh)
    middle = (shape.vertices.min(axis=0) + shape.vertices.max(axis=0)) / 2
    return middle, float(np.linalg.norm(shape.vertices - middle, axis=1).max())
