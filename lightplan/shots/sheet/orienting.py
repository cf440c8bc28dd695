"""Which way up the sheet lies, told by the maker's artwork."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from lightplan.arrays import Doubles, Singles, read_only
from lightplan.shots.sheet.squaring import Squared

if TYPE_CHECKING:
    from numpy.typing import NDArray

_LONG_SIDE = 128  # pixels in which the ways are compared
_CLEAR = 0.08  # lead of the best way over the next that settles it


@dataclass(frozen=True)
class Orientation:
    """How the squared picture must be turned to lie as the artwork does.

    Parameters
    ----------
    quarters : int
        Quarter turns, counter-clockwise as `numpy.rot90` counts; the same number goes
        to `SheetFound.turned`.
    mirrored : bool
        Left and right are swapped after the turn, as front cameras of phones do.
    likeness : float
        Correlation of the edges, -1 to 1.
    lead : float
        How far the next best way is behind; near 0 for artwork that looks the same
        turned, or that is not on this sheet.
    """

    quarters: int
    mirrored: bool
    likeness: float
    lead: float

    @property
    def clear(self) -> bool:
        """Whether the artwork settles it."""
        return self.lead >= _CLEAR


def orient(squared: Squared, artwork: NDArray[Any]) -> Orientation:
    """Choose among the ways a sheet of these proportions can lie.

    Edges are compared, whichever way they step, since foil may be brighter or darker
    than its stock. A way that is not clearly better than lying upright is not taken.

    Parameters
    ----------
    squared : Squared
    artwork : (h, w) float
        Share of foil; row 0 is the far edge.
    """
    drawn = _small(np.asarray(artwork, np.float32)[..., None], squared.valid.shape)
    seen = _small(np.asarray(squared.linear), squared.valid.shape)
    quarters = (0, 1, 2, 3) if seen.shape[0] == seen.shape[1] else (0, 2)
    ways = [(turn, flip) for turn in quarters for flip in (False, True)]
    likeness: Doubles = np.array([_likeness(_turned(seen, *way), drawn) for way in ways])
    best = int(np.argmax(likeness))
    # Mirrored pictures are rare: they must win clearly over every true one.
    fair = [i for i, way in enumerate(ways) if not way[1]]
    upright = max(fair, key=lambda i: likeness[i])
    if ways[best][1] and likeness[best] - likeness[upright] < _CLEAR:
        best = upright
    if likeness[best] - likeness[0] < _CLEAR:
        best = 0
    rivals = [likeness[i] for i in range(len(ways)) if i != best and (ways[best][1] or i in fair)]
    return Orientation(
        *ways[best], float(likeness[best]), float(likeness[best] - max(rivals, default=-1.0))
    )


def oriented(squared: Squared, way: Orientation) -> Squared:
    """Return the squared picture turned to lie as the artwork does."""
    swap = way.quarters % 2 == 1
    return Squared(
        linear=read_only(_turned(squared.linear, way.quarters, way.mirrored), np.float32),  # type: ignore[arg-type]
        clipped=_turned(squared.clipped, way.quarters, way.mirrored),
        valid=_turned(squared.valid, way.quarters, way.mirrored),
        width_mm=squared.height_mm if swap else squared.width_mm,
        height_mm=squared.width_mm if swap else squared.height_mm,
    )


def _turned(picture: NDArray[Any], quarters: int, mirrored: bool) -> NDArray[Any]:
    turned = np.rot90(picture, quarters)
    return np.ascontiguousarray(turned[:, ::-1] if mirrored else turned)


def _small(picture: Singles, shape: tuple[int, int]) -> Singles:
    """Return where the edges are, (r, c), in a small copy of the sheet's proportions."""
    scale = _LONG_SIDE / max(shape)
    size = (max(8, round(shape[1] * scale)), max(8, round(shape[0] * scale)))
    if abs(size[0] - size[1]) <= 2:
        size = (_LONG_SIDE, _LONG_SIDE)
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    coded = np.sqrt(np.clip(small, 0, 1)).reshape(size[1], size[0], -1)
    right = np.abs(np.diff(coded, axis=1, append=coded[:, -1:])).max(axis=2)
    down = np.abs(np.diff(coded, axis=0, append=coded[-1:])).max(axis=2)
    edge = (right + down).astype(np.float32)
    rim = max(2, _LONG_SIDE // 40)
    edge[:rim] = edge[-rim:] = 0
    edge[:, :rim] = edge[:, -rim:] = 0
    return np.asarray(cv2.GaussianBlur(edge / (edge + 0.05), (0, 0), 1.2))


def _likeness(seen: Singles, drawn: Singles) -> float:
    """Return the best correlation within a few pixels of shift."""
    if seen.shape != drawn.shape:
        return -1.0
    slack = 3
    inner = np.ascontiguousarray(drawn[slack:-slack, slack:-slack])
    if float(inner.std()) < 1e-4 or float(seen.std()) < 1e-4:
        return 0.0
    return float(cv2.matchTemplate(seen, inner, cv2.TM_CCOEFF_NORMED).max())
