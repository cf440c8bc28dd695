"""The paper as if nothing were stamped on it: a smooth layer fitted under the foil.

Light falls off smoothly over paper, and gloss lays soft hazes over it; foil departs from
that with an edge. So a smooth surface is fitted to what hangs together with the sheet's
rim and grows inwards over everything that continues it, across strokes and into letters.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Integers, Singles
    from lightplan.shots.sheet.previews import Picture

FIT_PX = 160  # long side of the copy the layer is fitted to
ENDED = 0.985  # coded brightness from which a channel is at its end
# Least departure that counts, of brightness and of two colour differences, in the square
# root of light. Set on rendered photographs: paper is never quite even.
LEAST_SPREAD = np.array((0.006, 0.005, 0.006), np.float32)
_OPPONENT = np.array(((1 / 3, 1 / 3, 1 / 3), (1.0, -1.0, 0.0), (0.0, -1.0, 1.0)), np.float32)
_OVERLAP = 4  # cubic splines that overlap at a place
_PATCHES = 12  # of the spline, along each side of the sheet
_STIFF, _PLAIN, _SUPPLE = 100.0, 1.0, 0.1  # smoothing at first, usually, over a haze
_CUT = 5.0  # departure at which a place no longer counts as paper, in spreads
_FAR = 8.0  # the same, in cuts, where a haze is climbed
_RIM = 0.06  # width of the rim taken for paper at first, of the shorter side
_REACH = 0.06  # how far paper is continued at once, of the shorter side
_CLEAR = 6.0  # departure that is foil, or a haze not understood yet, in spreads
_HAZE = 5.0  # least height of a haze that is worth climbing, in spreads
_SPOILED = 0.2  # most paper that may stop to be paper, of the haze that was climbed
_MEETS = 20  # fewest places where a haze meets paper: its softness is read there


@dataclass(frozen=True, eq=False)
class PaperLayer:
    """The sheet's paper under foil and haze.

    Parameters
    ----------
    coefficients : (a, b, 3) float
        Of a tensor product of cubic B-splines, in the square root of light.
    """

    coefficients: Doubles

    def at(self, shape: tuple[int, int]) -> Singles:
        """Return the square root of the paper's light, (rows, cols, 3); may exceed 1."""
        down, across = (
            _basis(n, c - 3) for n, c in zip(shape, self.coefficients.shape, strict=False)
        )
        rows = np.tensordot(down, self.coefficients, 1)
        full = np.einsum("xb,ybk->yxk", across, rows, optimize=True)
        return np.asarray(np.maximum(full, 0.0), np.float32)


def departure(difference: Picture) -> Singles:
    """Return brightness and two colour differences, without sign, (rows, cols, 3)."""
    return np.asarray(np.abs(cv2.transform(difference.astype(np.float32), _OPPONENT)), np.float32)


def fit_paper(coded: Picture, valid: Booleans) -> PaperLayer:
    """Fit the layer to a squared sheet.

    Parameters
    ----------
    coded : (rows, cols, 3) float
        Square root of light, 1 at the clip level.
    valid : (rows, cols) bool

    Notes
    -----
    Penalised splines on a grid: P. Eilers, I. Currie, M. Durban, Fast and compact
    smoothing on large multidimensional grids (Computational Statistics & Data Analysis
    50, 2006). Departures are weighted down by Tukey's biweight, so foil does not pull.
    """
    rows, cols = valid.shape
    scale = min(1.0, FIT_PX / max(rows, cols))
    size = (max(12, round(cols * scale)), max(12, round(rows * scale)))
    small = cv2.resize(coded, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    shown = cv2.resize(valid.view(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    fit = _Fit(_Spline(shown.shape), np.ascontiguousarray(np.moveaxis(small, 2, 0)), shown)
    fit.grow()
    fit.climb()
    return PaperLayer(np.moveaxis(fit.coefficients, 0, 2))


def rim(valid: Booleans, share: float) -> Booleans:
    """Return the outermost ring of the valid pixels, `share` of the shorter side wide."""
    return np.asarray(valid & ~inner(valid, share))


def inner(valid: Booleans, share: float) -> Booleans:
    """Return the valid pixels without the outermost `share` of the shorter side."""
    wide = max(2, round(share * min(valid.shape)))
    padded = np.pad(valid.view(np.uint8), 1)
    return np.asarray(cv2.erode(padded, _square(wide))[1:-1, 1:-1] > 0)


def _square(reach: int) -> Picture:
    return np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)


def _basis(count: int, patches: int) -> Doubles:
    """Return cubic B-splines (count, patches + 3) at the middles of pixels.

    C. de Boor, A Practical Guide to Splines (1978), on knots at whole numbers. Written out, since
    to import scipy's takes longer than to look at a photograph.
    """
    places = (np.arange(count) + 0.5) / count * patches
    patch = places.astype(np.intp)
    t = places - patch
    four = [(1 - t) ** 3, (3 * t - 6) * t**2 + 4, ((3 - 3 * t) * t + 3) * t + 1, t**3]
    basis = np.zeros((count, patches + 3))
    basis[np.arange(count)[:, None], patch[:, None] + np.arange(_OVERLAP)] = np.stack(four, 1) / 6
    return basis


class _Spline:
    """Weighted, penalised fits on one grid; what does not change is worked out once.

    A spline overlaps its next three only, so products of two are summed for those alone
    and the system is solved by its band.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        bases = [_basis(n, _PATCHES) for n in shape]
        self._pairs = [_products(basis) for basis in bases]
        self._down, self._across = (basis.astype(np.float32) for basis in bases)
        self._places = _band_places(_PATCHES + 3)
        self._bends = _banded_bends(_PATCHES + 3)

    def fit(self, planes: Singles, weight: Singles, smoothing: float) -> Doubles:
        """Return coefficients (3, a, b) for planes (3, rows, cols)."""
        from scipy.linalg import solveh_banded  # slow to import, and only a found sheet asks for it

        n = _PATCHES + 3
        sums = self._pairs[0].T @ weight.astype(np.float64) @ self._pairs[1]
        system = smoothing * self._bends
        below, column, first, second = self._places
        system[below, column] += sums[first, second]
        system[0] += 1e-6
        aim = (self._down.T @ (weight * planes) @ self._across).reshape(3, -1).T
        found = solveh_banded(system, aim.astype(np.float64), lower=True, check_finite=False)
        return np.asarray(found.T.reshape(3, n, n), np.float64)

    def at(self, coefficients: Doubles) -> Singles:
        """Return the surface on the grid, (3, rows, cols)."""
        return np.asarray(self._down @ coefficients.astype(np.float32) @ self._across.T)


def _products(basis: Doubles) -> Doubles:
    """Return each spline times itself and the three after it, (pixels, pairs)."""
    return np.concatenate([basis[:, : -d or None] * basis[:, d:] for d in range(_OVERLAP)], 1)


def _band_places(count: int) -> tuple[Integers, ...]:
    """Return where sums of products belong: below the diagonal, column; pair down, across."""
    starts = np.cumsum([0] + [count - d for d in range(_OVERLAP - 1)])
    one, two = np.divmod(np.arange(count * count), count)
    near = one[None, :] - one[:, None], two[None, :] - two[:, None]
    behind = np.arange(count * count)[None, :] >= np.arange(count * count)[:, None]
    overlap = (np.abs(near[0]) < _OVERLAP) & (np.abs(near[1]) < _OVERLAP)
    column, row = np.nonzero(overlap & behind)
    pairs = [starts[np.abs(i[row] - i[column])] + np.minimum(i[row], i[column]) for i in (one, two)]
    return row - column, column, *pairs


def _banded_bends(count: int) -> Doubles:
    """Return the penalty on bends, lower band form."""
    unit = np.eye(count)
    first, second = np.diff(unit, axis=0), np.diff(unit, 2, axis=0)
    bends = (
        np.kron(second.T @ second, unit)
        + np.kron(unit, second.T @ second)
        + 2 * np.kron(first.T @ first, first.T @ first)
    )
    band = np.zeros(((_OVERLAP - 1) * (count + 1) + 1, len(bends)))
    for below in range(len(band)):
        band[below, : len(bends) - below] = np.diagonal(bends, -below)
    return band


@dataclass
class _Fit:
    """A layer being fitted: who counts as paper, and how far each place departs."""

    spline: _Spline
    coded: Singles  # (3, rows, cols)
    valid: Booleans
    data: Singles = field(init=False)
    weight: Singles = field(init=False)
    coefficients: Doubles = field(init=False)
    away: Singles = field(init=False)
    noise: float = 1.0

    def __post_init__(self) -> None:
        self.data = self.coded.copy()
        self.weight = self._ring.astype(np.float32)

    @cached_property
    def _ring(self) -> Booleans:
        return rim(self.valid, _RIM)

    def grow(self) -> None:
        """Start from the rim, stiffly, and take in what continues the paper."""
        wide = _square(max(2, round(_REACH * min(self.valid.shape))))
        before = 0
        for turn in range(40):
            smoothing = max(_PLAIN, _STIFF * 0.6**turn)
            slack = max(1.0, 1.5 * 0.8**turn)
            taken = self._refit(smoothing)
            near = cv2.dilate(taken.view(np.uint8), wide) > 0 if turn >= 4 else self._ring
            self._weigh(near, np.float32(slack))
            count = int((self.weight > 0.25).sum())
            if slack == 1.0 and smoothing == _PLAIN and count <= 1.002 * before:
                break
            before = count

    def climb(self) -> None:
        """Take in hazes: what rises beside paper far beyond its noise, but nowhere sharply.

        Where light is gentle foil may be as faint as that; so only what is brighter than
        the paper is climbed, and it counts only if it is high, meets paper softly (a patch
        of foil has an edge), left all sharp edges to be seen and what was paper, paper (a
        layer bent up to foil misses the paper round it).
        """
        before, soft, sharp = self._outline()
        if soft.sum() <= max(10, 0.05 * (soft.sum() + sharp.sum())):
            return
        coefficients, away, gentle = self.coefficients, self.away, self._gentle()
        open_to = (self._rise() > 0) | ~before
        for turn in range(30):
            taken = self.weight > 0.25
            near = (cv2.dilate(taken.view(np.uint8), _square(2)) > 0) & open_to
            far = np.float32(_FAR if turn < 20 else 1.0)
            self._weigh(near, np.where(self._gentle(), far, np.float32(1.0)))
            self._refit(_SUPPLE, rescale=False)
        after, _, sharp_left = self._outline()
        gone = cv2.morphologyEx((before & ~after).view(np.uint8), cv2.MORPH_OPEN, _square(1)) > 0
        meets = self._border(gone) & (cv2.dilate(after.view(np.uint8), _square(1)) == 0)
        haze = (
            meets.sum() >= _MEETS
            and float(np.percentile(away[gone], 75)) > _HAZE
            and float(gentle[meets].mean()) > 0.75
            and sharp_left.sum() >= 0.95 * sharp.sum()
            and (after & ~before).sum() <= _SPOILED * gone.sum()
        )
        if not haze:
            self.coefficients = coefficients

    def _border(self, patch: Booleans) -> Booleans:
        """Return the outermost places of patches, but those at the rim."""
        inside = cv2.erode((patch | ~self.valid).view(np.uint8), _square(1)) > 0
        return np.asarray(patch & ~inside)

    def _refit(self, smoothing: float, *, rescale: bool = True) -> Booleans:
        """Fit once; return the places that counted."""
        taken = self.weight > 0.25
        self.coefficients = self.spline.fit(self.data, self.weight, smoothing)
        level = self.spline.at(self.coefficients)
        # What is at its end is at least as bright as that: it goes with the layer upwards.
        self.data = np.where((self.coded > ENDED) & (level > self.coded), level, self.coded)
        rest = (self.data - level).reshape(3, -1)
        spreads = (_OPPONENT / LEAST_SPREAD[:, None]) @ rest
        self.away = np.sqrt(np.einsum("kn,kn->n", spreads, spreads)).reshape(self.valid.shape)
        if rescale and taken.sum() > 30:
            # 1.5: about the median length of three normal deviates (chi distribution).
            middle = 1.4826 * float(np.median(self.away[taken])) / 1.5
            self.noise = float(np.clip(middle, 0.7, 3.0))
        return np.asarray(taken)

    def _weigh(self, near: Booleans, slack: Singles | np.float32) -> None:
        part = self.away / np.float32(_CUT * self.noise) / slack
        self.weight = np.maximum(1 - part * part, 0.0) ** 2 * (near & self.valid)

    def _gentle(self) -> Booleans:
        """Return where departures change slowly beside their own height."""
        span = cv2.dilate(self.away, _square(1)) - cv2.erode(self.away, _square(1))
        height = cv2.dilate(self.away * self.valid, _square(3))
        return np.asarray(span < 0.5 * np.minimum(height, 60.0))

    def _rise(self) -> Singles:
        """Return how much brighter than the layer each place is."""
        return np.asarray((self.data - self.spline.at(self.coefficients)).mean(axis=0))

    def _outline(self) -> tuple[Booleans, Booleans, Booleans]:
        """Return what is clearly not paper, and where its outline is soft and sharp."""
        clear = (self.away > _CLEAR * self.noise) & self.valid
        edge = self._border(clear)
        soft = edge & self._gentle()
        return clear, soft, edge & ~soft
