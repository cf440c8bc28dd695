"""Four lines that could bound the sheet, and whether a camera could see it so."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.shots.sheet import naming

if TYPE_CHECKING:
    from collections.abc import Callable

    from lightplan.arrays import Doubles
    from lightplan.shots.sheet.lines import Lines

_FOCAL_SHARES = 0.4, 12.0  # range of focal lengths tried, of the picture's long side


@dataclass(frozen=True, eq=False)
class Quads:
    """Candidates, best first.

    Parameters
    ----------
    corners : (n, 4, 2) float
        (x, y) in pixels, far left, far right, near right, near left of the sheet.
    score : (n,) float
        Share of the outline that is seen, less what speaks against it.
    misfit : (n,) float
        Departure from a rectangle of the sheet's proportions (see `shape_misfit`).
    """

    corners: Doubles
    score: Doubles
    misfit: Doubles


def square_to_quad(corners: Doubles) -> Doubles:
    """Return homographies (n, 3, 3) that take the unit square to quads.

    Source: P. Heckbert, Fundamentals of Texture Mapping and Image Warping (1989),
    section 2.2.3. The square's corners are (0, 0), (1, 0), (1, 1), (0, 1).

    Parameters
    ----------
    corners : (n, 4, 2) float
    """
    p0, p1, p2, p3 = np.moveaxis(np.asarray(corners, float), 1, 0)
    d1, d2, total = p1 - p2, p3 - p2, p0 - p1 + p2 - p3
    det = d1[:, 0] * d2[:, 1] - d2[:, 0] * d1[:, 1]
    det = np.where(np.abs(det) < 1e-12, 1e-12, det)
    g = (total[:, 0] * d2[:, 1] - d2[:, 0] * total[:, 1]) / det
    h = (d1[:, 0] * total[:, 1] - total[:, 0] * d1[:, 1]) / det
    result = np.empty((len(p0), 3, 3))
    result[:, :2, 0] = p1 - p0 + g[:, None] * p1
    result[:, :2, 1] = p3 - p0 + h[:, None] * p3
    result[:, :2, 2] = p0
    result[:, 2] = np.stack([g, h, np.ones_like(g)], axis=-1)
    return result


def shape_misfit(
    corners: Doubles,
    shape: tuple[int, int],
    *,
    width_mm: float,
    height_mm: float,
    focal_px: float | None = None,
) -> Doubles:
    """Return how far quads are from what a camera sees of a width x height rectangle.

    The two sides' directions must be perpendicular and their lengths as width to height
    for the camera's focal length, or for the best of many when it is not known. The
    lens axis is taken to be in the middle of the picture.

    Parameters
    ----------
    corners : (n, 4, 2) float
        (x, y) pixels from the far left corner clockwise.
    shape : (2,) int
        Rows and columns of the picture.
    focal_px : float or None

    Returns
    -------
    (n,) float
        Square root of cosine squared plus squared relative error of the proportions.
    """
    rows, cols = shape
    centred = np.asarray(corners, float) - [(cols - 1) / 2, (rows - 1) / 2]
    plane = square_to_quad(centred)
    right, down = plane[:, :, 0] / width_mm, plane[:, :, 1] / height_mm
    # Many quads are only sifted; a few are judged.
    tries = 18 if len(corners) > 200 else 150
    focals = np.geomspace(*_FOCAL_SHARES, tries) * max(shape)
    if focal_px is not None:
        focals = np.array([focal_px])
    g = (1 / focals**2)[:, None]
    long_right = (right[:, :2] ** 2).sum(axis=1) * g + right[:, 2] ** 2
    long_down = (down[:, :2] ** 2).sum(axis=1) * g + down[:, 2] ** 2
    cosine = (right[:, :2] * down[:, :2]).sum(axis=1) * g + right[:, 2] * down[:, 2]
    cosine = cosine / np.sqrt(np.maximum(long_right * long_down, 1e-30))
    ratio = 0.5 * np.log(np.maximum(long_right, 1e-30) / np.maximum(long_down, 1e-30))
    misfit: Doubles = np.sqrt(cosine**2 + ratio**2).min(axis=0)
    return misfit


def plane_misfit(corners: Doubles, plane: Doubles, *, width_mm: float, height_mm: float) -> Doubles:
    """Return how far quads on a known plane are from the sheet's size and right angles.

    Parameters
    ----------
    corners : (n, 4, 2) float
        (x, y) pixels from the far left corner clockwise.
    plane : (3, 3) float
        Homography from millimetres on the plane to (x, y) pixels.

    Returns
    -------
    (n,) float
        Root mean square of the sides' relative errors and the corners' cosines.
    """
    seen = np.concatenate([corners, np.ones((*corners.shape[:2], 1))], axis=-1)
    back = seen @ np.linalg.inv(plane).T
    places = back[..., :2] / back[..., 2:]
    side = np.roll(places, -1, axis=1) - places
    length = np.linalg.norm(side, axis=-1)
    wrong = np.log(np.maximum(length, 1e-9) / [width_mm, height_mm, width_mm, height_mm])
    following = np.roll(side, -1, axis=1)
    cosine = (side * following).sum(axis=-1) / (length * np.roll(length, -1, axis=1) + 1e-9)
    misfit: Doubles = np.sqrt((wrong**2 + cosine**2).mean(axis=1))
    return misfit


def propose(
    lines: Lines, shape: tuple[int, int], misfit_of: Callable[[Doubles], Doubles], *, most: int = 12
) -> Quads:
    """Return the quads of four lines that look most like the sheet.

    Parameters
    ----------
    lines : Lines
    shape : (2,) int
        Rows and columns of the picture.
    misfit_of : function
        From corners (n, 4, 2) to how far each is from the sheet's shape (n,).
    most : int
        Number of quads returned.
    """
    combos = _opposite_pairs(lines)
    corners = _corners(lines, combos)
    ok = _sensible(corners, shape)
    combos, corners = combos[ok], corners[ok]
    share, solid, overrun = _outline_seen(lines, combos, corners)
    ok = (share.min(axis=0) > 0.12) & (share.mean(axis=0) > 0.35)
    corners, solid, overrun = corners[ok], solid[:, ok], overrun[ok]
    corners, misfit = naming.named(corners, misfit_of)
    score = 0.6 * solid.mean(axis=0) + 0.4 * solid.min(axis=0)
    score = score - 0.3 * overrun - np.minimum(misfit / 0.1, 3) * 0.25
    score = score + 0.1 * np.sqrt(area(corners) / (shape[0] * shape[1]))
    keep = np.flatnonzero(misfit < 0.15)
    order = distinct(
        corners, keep[np.argsort(-score[keep], kind="stable")], 0.008 * max(shape), most
    )
    return Quads(corners[order], score[order], misfit[order])


def _opposite_pairs(lines: Lines) -> np.ndarray[tuple[int, int], np.dtype[np.intp]]:
    """Return (n, 4) lines i, j (opposite) and k, l (opposite), the pairs crossing."""
    count = len(lines.offset)
    i, j = np.triu_indices(count, 1)
    cosine = np.abs((lines.normal[i] * lines.normal[j]).sum(axis=1))
    opposite = np.flatnonzero(cosine > np.cos(np.radians(40)))
    i, j = i[opposite], j[opposite]
    first, second = np.triu_indices(len(i), 1)
    combos = np.stack([i[first], j[first], i[second], j[second]], axis=1)
    across = np.ones(len(combos), bool)
    for a, b in ((0, 2), (0, 3), (1, 2), (1, 3)):
        turn = np.abs((lines.normal[combos[:, a]] * lines.normal[combos[:, b]]).sum(axis=1))
        across &= turn < np.cos(np.radians(40))
    return combos[across]


def _corners(lines: Lines, combos: np.ndarray[tuple[int, int], np.dtype[np.intp]]) -> Doubles:
    i, j, k, l = combos.T  # noqa: E741
    return np.stack([_cross(lines, a, b) for a, b in ((i, k), (i, l), (j, l), (j, k))], axis=1)


def _cross(lines: Lines, a: np.ndarray, b: np.ndarray) -> Doubles:
    (ax, ay), (bx, by) = lines.normal[a].T, lines.normal[b].T
    det = ax * by - ay * bx
    p, q = lines.offset[a], lines.offset[b]
    return np.stack([(p * by - q * ay) / det, (ax * q - bx * p) / det], axis=-1)


def widened(corners: Doubles, away_px: Doubles) -> Doubles:
    """Return a clockwise quad (4, 2) each of whose sides lies farther out by its own distance (4,).

    >>> square = np.array([[0.0, 0], [9, 0], [9, 9], [0, 9]])
    >>> widened(square, np.array([2.0, 0, 0, 1])).tolist()
    [[-1.0, -2.0], [9.0, -2.0], [9.0, 9.0], [-1.0, 9.0]]
    """
    run = np.roll(corners, -1, axis=0) - corners
    normal = np.stack([run[:, 1], -run[:, 0]], axis=1) / np.linalg.norm(run, axis=1)[:, None]
    level = (normal * corners).sum(axis=1) + away_px
    sides = np.stack([np.roll(normal, 1, axis=0), normal], axis=1)
    levels = np.stack([np.roll(level, 1), level], axis=1)
    return np.asarray(np.linalg.solve(sides, levels[..., None])[..., 0])


def area(corners: Doubles) -> Doubles:
    """Return the areas (n,) of quads (n, 4, 2)."""
    x, y = corners[..., 0], corners[..., 1]
    crossed = (x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(axis=1)
    return np.asarray(0.5 * np.abs(crossed))


def _sensible(corners: Doubles, shape: tuple[int, int]) -> np.ndarray:
    """Return which quads are convex, inside the frame and not tiny."""
    rows, cols = shape
    slack = 0.004 * max(shape)
    inside = ((corners > -slack) & (corners < np.array([cols, rows]) - 1 + slack)).all(axis=(1, 2))
    edge: Doubles = np.roll(corners, -1, axis=1) - corners
    following: Doubles = np.roll(edge, -1, axis=1)
    turn = edge[..., 0] * following[..., 1] - edge[..., 1] * following[..., 0]
    convex = (turn > 0).all(axis=1) | (turn < 0).all(axis=1)
    shortest = np.linalg.norm(edge, axis=-1).min(axis=1)
    large = (shortest > 0.04 * max(shape)) & (area(corners) > 0.01 * rows * cols)
    return np.asarray(inside & convex & large)


def _outline_seen(
    lines: Lines, combos: np.ndarray, corners: Doubles
) -> tuple[Doubles, Doubles, Doubles]:
    """Return what is seen of quads' sides.

    Returns
    -------
    share, solid : (4, n) float
        Share of each side on which an edge was seen; the same weighted with its step.
    overrun : (n,) float
        Share of the stretches beyond the corners on which the lines run on.
    """
    i, j, k, l = combos.T  # noqa: E741
    shares, solids, overruns = [], [], []
    for line, start, stop in ((i, 0, 1), (l, 1, 2), (j, 2, 3), (k, 3, 0)):
        along = np.stack([-lines.normal[line, 1], lines.normal[line, 0]], axis=-1)
        a = (corners[:, start] * along).sum(axis=1)
        b = (corners[:, stop] * along).sum(axis=1)
        length = np.abs(b - a)
        low, high = np.minimum(a, b), np.maximum(a, b)
        shares.append(np.minimum(lines.between(lines.seen, line, low, high) / length, 1))
        solids.append(np.minimum(lines.between(lines.solid, line, low, high) / length, 1))
        margin, gap = 0.2 * length, 0.03 * length
        beyond = lines.between(lines.solid, line, low - margin, low - gap)
        beyond = beyond + lines.between(lines.solid, line, high + gap, high + margin)
        overruns.append(np.minimum(beyond / (0.34 * length), 1))
    return np.array(shares), np.array(solids), np.mean(overruns, axis=0)


def distinct(corners: Doubles, order: np.ndarray, slack: float, most: int) -> np.ndarray:
    """Return up to `most` of `order` that differ by more than `slack` in some corner."""
    kept: list[int] = []
    for index in order:
        if len(kept) == most:
            break
        if all(_apart(corners[index], corners[other]) > slack for other in kept):
            kept.append(int(index))
    return np.array(kept, dtype=np.intp)


def _apart(a: Doubles, b: Doubles) -> float:
    return float(np.abs(a - b).max()) if len(a) == len(b) else np.inf
