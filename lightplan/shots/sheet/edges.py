"""Where exactly the sides of the sheet run, and how well they are seen.

All four sides are read at once; arrays have the side as their first axis.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Integers, Singles
    from lightplan.shots.sheet.previews import Coded

_CHUNKS = 16  # parts of a side that vote on whether an edge is there
_STEP_PX = 0.5  # distance of the places read across a side
_DEEP_PX = 7  # read farther in than the edges are looked for: past a frame's line
_PAST = 4  # samples past each end of a side
_ENDS = [0, 1, 2, -3, -2, -1]  # samples next to the corners
_BESIDE = np.array([[2, 5], [-5, -2], [5, 9.5], [-2, 2], [-9.5, -5], [-16, -10]])
"""Stretches across an edge, pixels out of it: just outside and inside, outside, the edge itself,
inside, and farther in."""


@dataclass(frozen=True, eq=False)
class Sides:
    """The four sides of a candidate.

    Parameters
    ----------
    points : 4 of (n, 2) float
        (x, y) of the edge where it was seen, below a pixel.
    support : (4,) float
        Share of each side's length on which the edge was seen, 0 to 1.
    step : (4,) float
        Median difference between just inside and just outside, in 8-bit steps.
    thinness : (4,) float
        0: the brightness steps there; 1: a thin line, alike on both sides.
    thinness_deep : (4,) float
        The same with what lies farther in as the inner side: a margin between the edge and a
        frame of foil beside it is no line, for past the frame the stock goes on.
    spread_px : (4,) float
        Robust standard deviation of the points about a parabola.
    flips : (4,) int
        How often the step changes its way along each side: never on most sheets, twice
        where glare reaches the edge, many times on a chessboard.
    ended : (4, 2) float
        Share of the first and the last stretch of each side on which it was seen.
    beyond : (4, 2) float
        Share of the stretches past its start and its end on which it runs on.
    """

    points: tuple[Doubles, ...]
    support: Doubles
    step: Doubles
    thinness: Doubles
    thinness_deep: Doubles
    spread_px: Doubles
    flips: Integers
    ended: Doubles
    beyond: Doubles


def fit_sides(coded: Coded, corners: Doubles, *, reach_px: float, samples: int = 48) -> Sides:
    """Look for the edges along a rough outline, at most `reach_px` beside it.

    The brightness across each side is read at many places. First the straight line
    with the greatest step along its whole length is chosen, so that grain and noise,
    which agree on nothing, average out; then each part of the side is asked where
    its own step lies.

    Parameters
    ----------
    coded : (rows, cols, 3)
        Perceptual picture, 0 to 255.
    corners : (4, 2) float
        (x, y), clockwise.
    samples : int
        Places along a side, a multiple of 16.
    """
    profile, base, normal, offset = _profiles(coded, corners, reach_px, samples)
    deep_profile, deep_offset = profile[:, _PAST:-_PAST], offset
    far_in = round(_DEEP_PX / _STEP_PX)
    profile, offset = profile[:, :, far_in:], offset[far_in:]
    everywhere = _gradient(profile)
    inner = slice(_PAST, -_PAST)
    gradient, profile, base = everywhere[:, inner], profile[:, inner], base[:, inner]
    ends = _best_lines(gradient, offset, reach_px)
    share = (np.arange(samples) + 0.5) / samples
    expected = ends[:, :1] + (ends[:, 1:] - ends[:, :1]) * share
    place, strong, seen = _peaks(gradient, offset, expected)
    curve, good, spread = _parabolas(share, place, strong, seen, expected)
    step, thinness, deep = _steps(deep_profile, deep_offset, curve)
    points = base + place[..., None] * normal[:, None]
    votes = good.reshape(4, _CHUNKS, -1).mean(axis=2) >= 0.5
    flips, beyond = _ways(everywhere, offset, curve)
    return Sides(
        points=tuple(points[i][good[i]] for i in range(4)),
        support=votes.mean(axis=1),
        step=step,
        thinness=thinness,
        thinness_deep=deep,
        spread_px=spread,
        flips=flips,
        ended=good[:, _ENDS].reshape(4, 2, -1).mean(axis=2),
        beyond=beyond,
    )


def _profiles(
    coded: Coded, corners: Doubles, reach: float, samples: int
) -> tuple[Singles, Doubles, Doubles, Doubles]:
    """Return brightness (4, n, offsets, 3) across the sides, bases, normals, offsets.

    n is `samples` along each side and `_PAST` more before and after it.
    """
    run = np.roll(corners, -1, axis=0) - corners
    length = np.linalg.norm(run, axis=1)
    normal = np.stack([run[:, 1], -run[:, 0]], axis=1) / length[:, None]  # points outwards
    offset = np.arange(-reach - 10 - _DEEP_PX, reach + 10.01, _STEP_PX)
    # Each sample is the mean over its own stretch of the side.
    looks = int(np.clip(length.max() / samples / 1.5, 1, 5))
    inside = 0.02 + 0.96 * (np.arange(samples * looks) + 0.5) / (samples * looks)
    past = 0.03 + 0.07 * (np.arange(_PAST * looks) + 0.5) / (_PAST * looks)
    share = np.concatenate([-past[::-1], inside, 1 + past])
    base = corners[:, None] + share[:, None] * run[:, None]
    x, y = (base[..., k, None] + offset * normal[:, None, k, None] for k in (0, 1))
    seen = cv2.remap(
        coded,
        x.astype(np.float32).reshape(-1, len(offset)),
        y.astype(np.float32).reshape(-1, len(offset)),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    looked = seen.reshape(4, -1, looks, len(offset), 3)
    profile = looked[:, :, 0].astype(np.float32)
    for look in range(1, looks):
        profile += looked[:, :, look]
    profile /= np.float32(looks)
    return profile, base.reshape(4, -1, looks, 2).mean(axis=2), normal, offset


def _gradient(profile: Singles) -> Singles:
    """Return the smoothed slope across the sides, the shape of `profile`, per pixel."""
    total = np.cumsum(profile, axis=2)
    slope = np.zeros_like(profile)
    # Mean of three places after less mean of three before, two pixels apart.
    after = total[:, :, 6:] - total[:, :, 3:-3]
    before = total[:, :, 2:-4].copy()
    before[:, :, 1:] -= total[:, :, : before.shape[2] - 1]
    slope[:, :, 3:-3] = (after - before) / (3 * 4 * _STEP_PX)
    return slope


def _best_lines(gradient: Singles, offset: Doubles, reach: float) -> Doubles:
    """Return the offsets (4, 2) at both ends of the lines with the greatest slope."""
    samples = gradient.shape[1]
    ends = np.arange(-reach, reach + 0.01, max(_STEP_PX, reach / 5))
    a, b = (grid.ravel()[:, None] for grid in np.meshgrid(ends, ends, indexing="ij"))
    groups = gradient.reshape(4, 16, samples // 16, -1, 3).mean(axis=2)
    share = (np.arange(16) + 0.5) / 16
    index = np.rint((a * (1 - share) + b * share - offset[0]) / _STEP_PX).astype(np.intp)
    picked = groups[:, np.arange(16), index]  # (4, lines, 16, 3)
    size = np.sqrt((picked**2).sum(axis=-1))
    best = np.argmax(np.minimum(size, 12.0).mean(axis=2), axis=1)
    return np.concatenate([a[best], b[best]], axis=1)


def _peaks(
    gradient: Singles, offset: Doubles, expected: Doubles
) -> tuple[Doubles, Doubles, Booleans]:
    """Return each sample's steepest place near the line, its slope, whether it stands out."""
    size = np.sqrt((gradient**2).sum(axis=-1))
    window = np.abs(offset - expected[..., None]) <= 3.0
    peak = np.clip(np.argmax(np.where(window, size, -1), axis=-1), 1, len(offset) - 2)
    left, top, right = (
        np.take_along_axis(size, (peak + i)[..., None], axis=-1)[..., 0] for i in (-1, 0, 1)
    )
    bend = np.minimum(left - 2 * top + right, -1e-6)
    place = offset[peak] + _STEP_PX * np.clip(0.5 * (left - right) / bend, -1, 1)
    floor = _median(size)
    return place, top, (top > 0.6) & (top > 1.8 * floor)


def _parabolas(
    share: Doubles, place: Doubles, strong: Doubles, seen: Booleans, expected: Doubles
) -> tuple[Doubles, Booleans, Doubles]:
    """Fit place = a + b s + c s^2 by reweighting; return the fits, who agrees, the spreads."""
    terms = np.stack([np.ones_like(share), share - 0.5, (share - 0.5) ** 2 - 1 / 12], axis=1)
    first = np.where(seen, np.minimum(strong, 6.0), 0.0) + 1e-6
    # Start near the line: a shadow beside the edge is a second one.
    weight = first / (1 + ((place - expected) / 1.2) ** 2) ** 2
    # The bend is held back a little: a short or half-seen side must not curl.
    ridge = np.diag([0.0, 0.0, 0.1])
    products = (terms[:, :, None] * terms[:, None]).reshape(len(terms), 9)
    for _ in range(6):
        normal = (weight @ products).reshape(-1, 3, 3) + ridge
        aim = (weight * place) @ terms
        curve = np.linalg.solve(normal, aim[..., None])[..., 0] @ terms.T
        away = np.abs(place - curve)
        middle = _median(np.where(seen, away, 3.0))
        spread = np.clip(1.4826 * middle, 0.15, 3.0)
        weight = first / (1 + (away / spread[:, None]) ** 2) ** 2
    good = seen & (away < np.clip(3 * spread, 0.7, 1.6)[:, None])
    return curve, good, spread


def _ways(everywhere: Singles, offset: Doubles, curve: Doubles) -> tuple[Integers, Doubles]:
    """Return how often the steps turn along each side, and how far they run on beyond it."""
    index = np.clip(np.rint((curve - offset[0]) / _STEP_PX).astype(np.intp), 0, len(offset) - 1)
    inner = everywhere[:, _PAST:-_PAST]
    steps = np.take_along_axis(inner, index[..., None, None], axis=2)[:, :, 0]
    mean = steps.mean(axis=1)
    size = np.linalg.norm(mean, axis=-1)
    mains = np.linalg.svd(steps, full_matrices=False)[2][:, 0]
    flips = np.array([_flips(parts) for parts in np.einsum("snc,sc->sn", steps, mains)])
    way = mean / np.maximum(size**2, 1e-6)[:, None]
    beyond = np.empty((4, 2))
    for end, (stretch, place) in enumerate(
        ((slice(0, _PAST), curve[:, 0]), (slice(-_PAST, None), curve[:, -1]))
    ):
        near = np.abs(offset - place[:, None]) <= 2.0
        along = np.abs(np.einsum("snoc,sc->sno", everywhere[:, stretch], way))
        beyond[:, end] = (np.where(near[:, None], along, 0).max(axis=2) > 0.5).mean(axis=1)
    return flips, beyond


def _flips(along: Singles) -> int:
    """Return how often steps (n,) in a row change their way, faint ones left out."""
    parts = along.reshape(_CHUNKS, -1).mean(axis=1)
    clear = np.sign(parts[np.abs(parts) > 0.25 * np.abs(parts).max()])
    return int((clear[1:] != clear[:-1]).sum())


def _steps(profile: Singles, offset: Doubles, curve: Doubles) -> tuple[Doubles, Doubles, Doubles]:
    """Return the step across each side, and how much it is a thin line instead, twice.

    First with what lies 5 to 9.5 pixels in as the inner side, then with what lies 10 to 16 in.
    """
    summed = np.zeros((*profile.shape[:2], len(offset) + 1, 3))
    np.cumsum(profile, axis=2, out=summed[:, :, 1:])
    begins = (curve - offset[0])[None] / _STEP_PX
    first, past = (
        np.clip(whole(begins + ends[:, None, None] / _STEP_PX), 0, len(offset)).astype(np.intp)
        for whole, ends in ((_next_whole, _BESIDE[:, 0]), (np.ceil, _BESIDE[:, 1]))
    )
    side, place = np.ogrid[: profile.shape[0], : profile.shape[1]]
    count = np.maximum(past - first, 1)[..., None]
    means = (summed[side, place, past] - summed[side, place, first]) / count
    just_out, just_in, outside, level, inside, deep = means
    near = np.linalg.norm(just_out - just_in, axis=-1)

    def thinness(inside: Doubles) -> Doubles:
        far = _median(np.linalg.norm(outside - inside, axis=-1))
        # In the middle of a step the brightness is half-way, on a line it is beyond both.
        beyond = np.linalg.norm(level - 0.5 * (outside + inside), axis=-1)
        line = _median(beyond)
        return np.asarray(line / np.maximum(line + 0.5 * far, 1e-6))

    return _median(near), thinness(inside), thinness(deep)


def _next_whole(places: Doubles) -> Doubles:
    return np.floor(places) + 1


def _median(values: Doubles) -> Doubles:
    """Return medians along the last axis, as `numpy.median`: few values, asked for often."""
    count = values.shape[-1]
    half = np.partition(values, ((count - 1) // 2, count // 2), axis=-1)
    return np.asarray(half[..., [(count - 1) // 2, count // 2]].mean(axis=-1))
