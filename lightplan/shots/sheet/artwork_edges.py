"""Corners at which the edges of artwork lie on those of a picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

from lightplan.shots.sheet import quads
from lightplan.shots.sheet.registering import edge_points

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.shots.sheet.previews import Picture

_STEP_PX = 0.25
_CORRELATED = 12  # neighbouring places on an edge that err together, about


def fitted(
    light: Picture, drawn: Picture, rough: Doubles, *, as_steep: bool = False
) -> tuple[Doubles, float, float] | None:
    """Return corners at which the artwork's edges lie on the picture's.

    None where there are too few edges, or where they lead away from the rough corners.

    Parameters
    ----------
    light : (rows, cols) or (rows, cols, 3) float32
        The picture; of three channels an edge is as strong as all together.
    drawn : (h, w) float
        Share of foil; row 0 is the far edge.
    rough : (4, 2) float
        Corners as x, y, within some pixels.
    as_steep : bool
        The sheet is seen as steeply as by these corners: they are shifted, turned and scaled.

    Returns
    -------
    corners : (4, 2) float
    seen : float
        Share of the edges seen within a pixel.
    error : float
        Largest standard error of a corner. [px]
    """
    shape = drawn.shape
    points, normal = edge_points(drawn, np.ones(shape, bool))
    if len(points) < 100:
        return None
    places = (points + 0.5) / np.array(shape[::-1])
    along = np.stack([-normal[:, 1], normal[:, 0]], axis=1) / np.array(shape[::-1])
    grey: Picture = cv2.GaussianBlur(light, (0, 0), 0.6)
    corners, free = rough, _similar(rough) if as_steep else np.eye(8)
    for span in (5.0, 4.0, 3.0, 2.0, 1.5, 1.5):
        seen = _project(corners, places)
        across = _normals(corners, places, along)
        away, strong = _edges_beside(grey, seen, across, span)
        slopes = _slopes_of(corners, places, across) @ free
        spread = max(0.15, 1.4826 * float(np.median(np.abs(away[strong > 0.5]))))
        weight = strong / (1 + (away / spread) ** 2) ** 2
        left = (slopes * weight[:, None]).T @ slopes + 1e-9 * np.eye(free.shape[1])
        change = np.linalg.solve(left, (slopes * weight[:, None]).T @ away)
        corners = corners + (free @ change).reshape(4, 2)
        if not np.isfinite(corners).all() or np.abs(corners - rough).max() > 20:
            return None
    variance = free @ np.linalg.inv(left) @ free.T
    error = spread * np.sqrt(_CORRELATED * variance.diagonal().max())
    found = float(((np.abs(away) < 1.0) & (strong > 0.3)).mean())
    return corners, found, float(error)


def _similar(corners: Doubles) -> Doubles:
    """Return how eight coordinates of corners move as one is shifted, scaled and turned, (8, 4)."""
    away = corners - corners.mean(axis=0)
    turned = np.stack([-away[:, 1], away[:, 0]], axis=1)
    far = float(np.linalg.norm(away, axis=1).max())
    ways = [np.tile([1.0, 0.0], (4, 1)), np.tile([0.0, 1.0], (4, 1)), away / far, turned / far]
    return np.stack([way.ravel() for way in ways], axis=1)


def _project(corners: Doubles, places: Doubles) -> Doubles:
    """Return (x, y) in the picture of shares (n, 2) of the sheet."""
    plane = quads.square_to_quad(corners[None])[0]
    seen = np.concatenate([places, np.ones((len(places), 1))], axis=1) @ plane.T
    result: Doubles = seen[:, :2] / seen[:, 2:]
    return result


def _normals(corners: Doubles, places: Doubles, along: Doubles) -> Doubles:
    """Return unit normals (n, 2) in the picture of edges that run `along` on the sheet."""
    run = _project(corners, places + along) - _project(corners, places - along)
    normal = np.stack([run[:, 1], -run[:, 0]], axis=1)
    return np.asarray(normal / np.maximum(np.linalg.norm(normal, axis=1)[:, None], 1e-12))


def _slopes_of(corners: Doubles, places: Doubles, across: Doubles) -> Doubles:
    """Return how far places move across their edges for each of 8 corner coordinates."""
    slopes = np.empty((len(places), 8))
    for i in range(8):
        step = np.zeros(8)
        step[i] = 0.5
        ahead, behind = (_project(corners + s * step.reshape(4, 2), places) for s in (1, -1))
        slopes[:, i] = ((ahead - behind) * across).sum(axis=1)
    return slopes


def _edges_beside(
    grey: Picture, seen: Doubles, across: Doubles, span: float
) -> tuple[Doubles, Doubles]:
    """Return how far beside each place the picture is steepest, and how clearly (0 to 1)."""
    offset = np.arange(-span - 2, span + 2.01, _STEP_PX)
    places = (seen[:, None] + offset[:, None] * across[:, None]).astype(np.float32)
    light = cv2.remap(  # type: ignore[call-overload]
        grey, places, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    half = 3
    step = light[:, 2 * half :] - light[:, : -2 * half]
    slope = np.zeros(light.shape[:2])
    slope[:, half:-half] = np.abs(step) if step.ndim == 2 else np.linalg.norm(step, axis=2)
    near = np.abs(offset) <= span
    likely = np.where(near, slope * (1 - 0.25 * np.abs(offset) / span), -1)
    row, peak = np.arange(len(seen)), np.clip(np.argmax(likely, axis=1), 1, len(offset) - 2)
    before, top, after = (slope[row, peak + i] for i in (-1, 0, 1))
    bend = np.minimum(before - 2 * top + after, -1e-6)
    away = offset[peak] + _STEP_PX * np.clip(0.5 * (before - after) / bend, -1, 1)
    noise = max(0.5, 3 * float(np.median(slope[:, half:-half])) / 2)
    strong = np.maximum(top - noise, 0.0)
    return away, strong / (strong + 2.0)
