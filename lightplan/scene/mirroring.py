"""The mirror law of the sheet: where a point of it looks, seen from an eye."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.scene.camera import Camera


def mirrored_ways(camera: Camera, points: Doubles, normals: Doubles) -> Doubles:
    """Return the unit directions (n, 3) in which mirrors at points see the surroundings.

    Parameters
    ----------
    camera : Camera
        Its lens is the eye.
    points, normals : (n, 3) float
        In mm, and unit normals.

    Examples
    --------
    >>> from lightplan.scene import Camera, Placement
    >>> camera = Camera(placement=Placement((0.0, -300.0, 400.0)))
    >>> mirrored_ways(camera, np.zeros((1, 3)), np.array([[0.0, 0.0, 1.0]])).round(3).tolist()
    [[0.0, 0.6, 0.8]]
    """
    view = points - np.asarray(camera.placement.position_mm)
    view = view / np.linalg.norm(view, axis=1, keepdims=True)
    cosine = np.einsum("ij,ij->i", view, normals)
    return np.asarray(view - 2 * cosine[:, None] * normals)
