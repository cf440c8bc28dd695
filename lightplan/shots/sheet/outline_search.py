"""The search for outlines that could be the sheet's, from the plain to the far-fetched."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.shots.sheet import lines, previews, quads, regions
from lightplan.shots.sheet.candidates import (
    CERTAIN,
    ENOUGH,
    Candidate,
    OutlineView,
    encloses,
    measure,
    preferred,
    side_quality,
)
from lightplan.shots.sheet.edges import fit_sides

if TYPE_CHECKING:
    from lightplan.arrays import Doubles


def search(view: OutlineView) -> list[Candidate]:
    """Return the candidates worth a closer look, one if it is certain."""
    best: Candidate | None = None
    tried: list[Candidate] = []
    for propose, reach_px in ((_by_lines, 3.0), (_by_patches, 6.0), (_by_faint_lines, 3.0)):
        for corners in propose(view):
            if _settled(best) and best is not None and not encloses(corners, best.corners):
                continue
            for candidate in _measured(view, corners, reach_px):
                best = preferred(candidate, best)
                tried.append(candidate)
        if _settled(best) and best is not None:
            return [best]
    tried += _beside(view, tried)
    kept: list[Candidate] = []
    for one in sorted(tried, key=_doubt):
        if len(kept) < 4 and all(np.abs(one.corners - k.corners).max() > 3 for k in kept):
            kept.append(one)
    return kept


def _measured(view: OutlineView, corners: Doubles, reach_px: float) -> list[Candidate]:
    """Return an outline as measured; a rougher one is measured twice, nearer by then."""
    one = measure(view, corners, reach_px)
    if one is None or reach_px <= 3.0:
        return [] if one is None else [one]
    two = measure(view, one.corners, 3.0)
    return [one] if two is None else [one, two]


def _settled(best: Candidate | None) -> bool:
    return best is not None and best.confidence > CERTAIN and float(best.quality.min()) > 0.8


def _beside(view: OutlineView, tried: list[Candidate]) -> list[Candidate]:
    """Try outlines that candidates suggest: theirs again, round a frame, one side moved."""
    frames = [one for one in tried if np.sort(one.sides.thinness)[1] > 0.9 and one.misfit < 0.1]
    frames = sorted(frames, key=_smallness)[:3]
    partial = sorted(tried, key=lambda one: -float(np.sort(one.quality)[1]))[:5]
    rough = [_grown(one.corners, view) for one in frames]
    rough += [_one_side_moved(one, view) for one in partial]
    rough += [np.array([one.corners for one in sorted(tried, key=_doubt)[:4]])]
    found: list[Candidate] = []
    for corners in np.concatenate([r for r in rough if len(r)]) if tried else ():
        candidate = measure(view, corners, 3.0)
        if candidate is not None and candidate.confidence > 0.4 * ENOUGH:
            again = measure(view, candidate.corners, 2.0)
            found += [candidate] if again is None else [candidate, again]
    return found


def _smallness(one: Candidate) -> float:
    return -float(one.sides.support.mean() ** 2 * np.sqrt(quads.area(one.corners[None])[0]))


def _doubt(one: Candidate) -> float:
    return -one.confidence


def _one_side_moved(one: Candidate, view: OutlineView) -> Doubles:
    """Return outlines (n, 4, 2) whose worst side lies where the sheet's shape wants it."""
    worst = int(np.argmin(one.quality))
    start, stop = worst, (worst + 1) % 4
    before, after = (worst - 1) % 4, (worst + 2) % 4
    share = np.linspace(0.6, 1.7, 111)[:, None]
    moved = np.repeat(one.corners[None], len(share), axis=0)
    moved[:, start] = one.corners[before] + share * (one.corners[start] - one.corners[before])
    moved[:, stop] = one.corners[after] + share * (one.corners[stop] - one.corners[after])
    fit = view.misfit(moved)
    best = int(np.argmin(fit))
    if fit[best] > 0.05:
        return np.empty((0, 4, 2))
    near = np.clip(best + np.array([-2, 0, 2]), 0, len(fit) - 1)
    return np.asarray(moved[near])


def _grown(corners: Doubles, view: OutlineView) -> Doubles:
    """Return outlines (n, 4, 2) of which `corners` could be a printed frame, evenly inset."""
    plane = quads.square_to_quad(corners[None])[0]
    short = min(view.width_mm, view.height_mm)
    inset = np.arange(0.03, 0.16, 0.01)[:, None] * short
    across, along = (inset / (size - 2 * inset) for size in (view.width_mm, view.height_mm))
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    square = (signs + 1) / 2 + signs * np.stack([across, along], axis=-1)
    seen = np.concatenate([square, np.ones((*square.shape[:2], 1))], axis=-1) @ plane.T
    outlines: Doubles = seen[..., :2] / seen[..., 2:]
    return outlines


def _by_lines(view: OutlineView) -> Doubles:
    """Return rough corners (n, 4, 2), the likeliest first."""
    return _of_lines(view, view.straight_edges)


def _by_faint_lines(view: OutlineView) -> Doubles:
    return _of_lines(view, view.straight_edges_of(previews.amplified(view.coded)))


def _by_patches(view: OutlineView) -> Doubles:
    return regions.propose(view.coded, view.misfit)


def _of_lines(view: OutlineView, joined: lines.Lines | None) -> Doubles:
    if joined is None:
        return np.empty((0, 4, 2))
    return quads.propose(joined, view.shape, view.misfit).corners


def cut_by_frame(view: OutlineView) -> bool:
    """Say whether a sheet seems to run out of the picture.

    The picture's own borders are taken for edges: a quad with one or two of them, whose
    other sides are seen well, is a sheet of which a part is missing.
    """
    if view.straight_edges is None:
        return False
    bordered = lines.with_borders(view.straight_edges, view.shape)
    rough = quads.propose(bordered, view.shape, lambda c: np.zeros(len(c)), most=40).corners
    limit = np.array(view.shape[::-1]) - 1
    for corners in rough:
        away = np.minimum(corners, limit - corners)
        both = np.minimum(np.roll(corners, -1, axis=0), limit - np.roll(corners, -1, axis=0))
        on_border = (np.maximum(away, both) < 0.01 * max(view.shape)).any(axis=1)
        if not 1 <= on_border.sum() <= 2:
            continue
        quality = side_quality(fit_sides(view.coded, corners, reach_px=3.0), 1.0)
        large = quads.area(corners[None])[0] > 0.04 * limit.prod()
        if large and (quality[~on_border] > 0.6).all():
            return True
    return False
