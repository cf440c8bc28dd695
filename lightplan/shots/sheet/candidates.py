"""One outline that could be the sheet's, measured and judged."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from lightplan.shots.sheet import lines, previews, quads
from lightplan.shots.sheet.edges import Sides, fit_sides
from lightplan.shots.sheet.outline import fit_outline, straighten

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.shots.sheet.card import CardFound
    from lightplan.shots.sheet.previews import Coded

COARSE_PX = 640  # long side of the copy in which the sheet is looked for
ENOUGH = 0.7  # least confidence that is reported as found
CERTAIN = 0.9  # confidence at which nothing more is tried


@dataclass(frozen=True, eq=False)
class Candidate:
    """Four sides that were measured.

    Parameters
    ----------
    corners : (4, 2) float
        (x, y) in the copy.
    sides : Sides
    bending : float
        Lens distortion.
    misfit : float
        Departure from the sheet's shape.
    share : float
        Of the frame that it fills.
    quality : (4,) float
        How surely each side is an edge of the sheet, 0 to 1.
    confidence : float
        All of it together, 0 to 1.
    """

    corners: Doubles
    sides: Sides
    bending: float
    misfit: float
    share: float
    quality: Doubles
    confidence: float


@dataclass(frozen=True, eq=False)
class OutlineView:
    """A copy of the picture and what the sheet must look like in it."""

    coded: Coded
    scale: float  # pixels of the copy per pixel of the picture
    width_mm: float
    height_mm: float
    focal_px: float | None
    plane: Doubles | None  # from millimetres on the table to (x, y) of the copy

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the copy."""
        return self.coded.shape[0], self.coded.shape[1]

    @cached_property
    def straight_edges(self) -> lines.Lines | None:
        """Straight edges of its brightness: asked for by the search, and where it found nothing."""
        return self.straight_edges_of([previews.luma(self.coded)])

    def straight_edges_of(self, grey: list[previews.Picture]) -> lines.Lines | None:
        """Return straight edges of grey copies, None where there are none."""
        segments = lines.find_segments(grey)
        if not len(segments):
            return None
        return lines.join_segments(segments, lines.step_across(self.coded, segments), self.shape)

    def misfit(self, corners: Doubles) -> Doubles:
        """Return how far quads (n, 4, 2) are from the sheet's shape."""
        size = {"width_mm": self.width_mm, "height_mm": self.height_mm}
        if self.plane is not None:
            return quads.plane_misfit(corners, self.plane, **size)
        return quads.shape_misfit(corners, self.shape, focal_px=self.focal_px, **size)


def view_of(
    coded: Coded,
    scale: float,
    width_mm: float,
    height_mm: float,
    focal_px: float | None,
    card: CardFound | None,
) -> OutlineView:
    """Return a copy of a picture with the scale, lens and card it is to be judged by."""
    plane = None
    if card is not None:
        half = 0.5 * scale - 0.5  # centres of pixels are whole numbers in both
        plane = np.array([[scale, 0, half], [0, scale, half], [0, 0, 1.0]]) @ card.plane
    focal = None if focal_px is None else focal_px * scale
    return OutlineView(coded, scale, width_mm, height_mm, focal, plane)


def measure(view: OutlineView, corners: Doubles, reach_px: float) -> Candidate | None:
    """Fit the four sides beside a rough outline; None where they do not hold together."""
    sides = fit_sides(view.coded, corners, reach_px=reach_px)
    if min(len(points) for points in sides.points) < 10:
        return None
    fitted, bending = fit_outline(sides.points, view.shape)
    if not np.isfinite(fitted).all() or np.abs(fitted - corners).max() > 4 * reach_px + 8:
        return None
    misfit = float(view.misfit(straighten(fitted, bending, view.shape)[None])[0])
    quality = side_quality(sides, max(view.shape) / COARSE_PX)
    share = float(quads.area(fitted[None])[0] / (view.shape[0] * view.shape[1]))
    return judged(Candidate(fitted, sides, bending, misfit, share, quality, 0.0), quality)


def judged(one: Candidate, quality: Doubles) -> Candidate:
    """Return a candidate with its confidence for these qualities of its sides."""
    confidence = (
        (0.6 * quality.mean() + 0.4 * quality.min())
        * np.exp(-0.5 * (one.misfit / 0.025) ** 2)
        * (0.6 + 0.4 * ramp(np.array(one.share), 0.01, 0.06))  # few photograph one so small
    )
    return replace(one, quality=quality, confidence=float(confidence))


def side_quality(sides: Sides, ratio: float) -> Doubles:
    """Return how surely each side is the edge of a sheet, 0 to 1.

    The ramps were set on rendered photographs: of true sheets and of the frames, shadows
    and table grain mistaken for them.
    """
    seen = ramp(sides.support, 0.35, 0.85)
    clear = ramp(sides.step, 0.5, 4.0)
    sharp = 1 - 0.7 * ramp(sides.spread_px / ratio, 0.3, 0.9)
    solid = 1 - 0.8 * ramp(sides.thinness, 0.6, 0.9)
    same = 1 - 0.7 * ramp(np.asarray(sides.flips, float), 2.0, 5.0)
    ended = 0.7 + 0.15 * (sides.ended >= 0.5).sum(axis=1)
    stops = 1 - 0.15 * (sides.beyond > 0.6).sum(axis=1)
    return np.asarray(seen * clear * sharp * solid * same * ended * stops)


def ramp(value: Doubles, low: float, high: float) -> Doubles:
    """Return 0 up to `low`, 1 from `high` on, and a straight run between."""
    return np.clip((value - low) / (high - low), 0.0, 1.0)


def encloses(outer: Doubles, inner: Doubles) -> bool:
    """Say whether a quad encloses another that is not the same."""
    edge = np.roll(outer, -1, axis=0) - outer
    to = inner[:, None] - outer
    depth = (edge[:, 0] * to[..., 1] - edge[:, 1] * to[..., 0]) / np.linalg.norm(edge, axis=1)
    return bool(depth.min() > -2.0 and depth.min(axis=0).max() > 3.0)


def preferred(new: Candidate, old: Candidate | None) -> Candidate:
    """Return the surer one, but the outer of two that enclose each other.

    A frame of foil has nearly the sheet's proportions and a stronger edge.
    """
    if old is None:
        return new
    if encloses(new.corners, old.corners):
        better = new.confidence > max(ENOUGH, _discount(old) * old.confidence)
    elif encloses(old.corners, new.corners):
        better = _discount(new) * new.confidence > max(ENOUGH, old.confidence)
    else:
        better = new.confidence > old.confidence
    return new if better else old


def _discount(inner: Candidate) -> float:
    """Return how little the inner of two outlines is trusted: lines less than steps."""
    return 0.6 if np.sort(inner.sides.thinness)[1] > 0.8 else 0.93


def in_light(view: OutlineView, best: Candidate) -> tuple[Doubles, float]:
    """Return corners and bending measured where light, not its code, is half-way."""
    plain = replace(view, coded=previews.in_light(view.coded))
    again = measure(plain, best.corners, 2.0)
    if again is None or np.abs(again.corners - best.corners).max() > 3.0:
        return best.corners, best.bending
    return again.corners, again.bending
