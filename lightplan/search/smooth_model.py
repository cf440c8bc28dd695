"""A model of what is smooth but dear, which learns from every point that it foretells."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from lightplan.arrays import Booleans, Doubles, Singles


@dataclass(frozen=True, eq=False)
class Model:
    """The smooth part round a point: the sum of parabolas along each dimension.

    Parameters
    ----------
    centre : (n,) float
    values : float32 array
        The smooth part there.
    slopes, bends : (dimensions, values.size) float32
    free : (n,) bool
        Coordinates that may be moved; the others are refused wherever they were tried.
    probed_at : float
        Radius at which the bends were measured.
    limits_near : bool
        Whether limits were met round the centre.
    trials : int
        Points that it foretold since its slopes were measured.
    is_worn : bool
        Whether it foretold wrongly, so that its slopes are measured anew before it is used.
    """

    centre: Doubles
    values: Singles
    slopes: Singles
    bends: Singles
    free: Booleans
    probed_at: float
    limits_near: bool = False
    trials: int = 0
    is_worn: bool = False

    def at(self, point: Doubles) -> Singles:
        """Return the modelled smooth part."""
        away = self._away(point)
        change = away @ self.slopes + away**2 @ self.bends
        return self.values + change.reshape(self.values.shape)

    def taught(self, point: Doubles, values: Singles, *, moves: bool) -> Model:
        """Return the model that also holds at a traced point; it moves there if asked.

        Of all changes of the slopes the least one (C. G. Broyden, "A class of methods for
        solving nonlinear simultaneous equations", Mathematics of Computation 19, 1965).
        """
        away = self._away(point)
        length = float(away @ away)
        slopes = self.slopes
        if length > 0:
            missed = (values - self.at(point)).ravel() / np.float32(length)
            slopes = slopes + away[:, None] * missed
        if not moves:
            return replace(self, slopes=slopes, trials=self.trials + 1)
        slopes = slopes + 2 * away[:, None] * self.bends
        return replace(self, centre=point, values=values, slopes=slopes, trials=self.trials + 1)

    def _away(self, point: Doubles) -> Singles:
        return np.asarray((point - self.centre)[: len(self.slopes)], np.float32)


def probes(point: Doubles, radius: float, index: int, *, one: bool) -> list[Doubles]:
    """Return points along one dimension: on either side, both inwards from a bound, or one.

    One is enough where the bend is known; it lies on the side of the larger room.
    """
    here = float(point[index])
    low, high = max(here - radius, 0.0) - here, min(here + radius, 1.0) - here
    if one:
        offsets = [high if high >= -low else low]
    elif high < 0.3 * radius:
        offsets = [low, low / 2]
    elif -low < 0.3 * radius:
        offsets = [high / 2, high]
    else:
        offsets = [low, high]
    found = []
    for offset in offsets:
        other = point.copy()
        other[index] = here + offset
        found.append(other)
    return found


def measured(
    centre: Doubles,
    base: Singles,
    probed: Sequence[Sequence[Doubles]],
    traced: Iterator[Singles | None],
    *,
    known_bends: Singles | None,
    radius: float,
) -> Model:
    """Return the model through traced lights (of the probed points, in turn).

    Parameters
    ----------
    known_bends : (dimensions, base.size) float32 or None
        Where one point along each dimension was probed.
    radius : float
        At which bends were measured, now or before.
    """
    count = len(probed)
    free = np.ones(centre.size, bool)
    slopes = np.zeros((count, base.size), np.float32)
    bends = np.zeros((count, base.size), np.float32)
    for i, points in enumerate(probed):
        rows = [(float(p[i] - centre[i]), next(traced)) for p in points]
        found = [(off, (v - base).ravel()) for off, v in rows if v is not None]
        if not found:
            free[i] = False
        elif known_bends is not None:
            bends[i] = known_bends[i]
            slopes[i] = found[0][1] / found[0][0] - bends[i] * found[0][0]
        else:
            slopes[i], bends[i] = _parabola(found)
    return Model(centre, base, slopes, bends, free, radius)


def _parabola(rows: Sequence[tuple[float, Singles]]) -> tuple[Singles, Singles]:
    """Return slope and bend of the parabola through 0 and one or two (offset, change)."""
    over = [change / np.float32(offset) for offset, change in rows]
    if len(rows) == 1:
        return over[0], np.zeros_like(over[0])
    bend = (over[1] - over[0]) / np.float32(rows[1][0] - rows[0][0])
    return np.asarray(over[0] - bend * np.float32(rows[0][0])), np.asarray(bend)
