"""Lay the maker's artwork over the squared photograph, to a fraction of a pixel.

Foil may be brighter than its stock in one place and darker in another, so brightness is
never compared: only where edges are. An edge counts whichever way it steps.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from lightplan.shots.sheet.squaring import rim_px

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Booleans, Doubles
    from lightplan.shots.sheet.previews import Picture

_POINTS = 2400  # places on the artwork's edges that are looked at
_STEP_PX = 0.25  # distance of the places read across an edge


@dataclass(frozen=True, eq=False)
class Registration:
    """Where the artwork lies on the squared picture.

    Parameters
    ----------
    foil : (rows, cols) float32
        The artwork, moved to where its edges are seen.
    agreement : float
        Share of the artwork's edges at which the picture has its strongest edge; about
        0.2 when they have nothing to do with each other.
    moved_px : float
        Root mean square distance the artwork was moved.
    page : (rows, cols) bool
        Where the artwork's whole page lies: not beyond, where its place says that a side of
        the sheet was taken too far out and the table is seen.
    """

    foil: Picture
    agreement: float
    moved_px: float
    page: Booleans


def register(linear: Picture, artwork: NDArray[Any], valid: Booleans) -> Registration:
    """Fit artwork to a squared picture that shows it within about 1.5 % of its place.

    Parameters
    ----------
    linear : (rows, cols, 3) float32
    artwork : (h, w) float
        Share of foil; the same way up as the picture.
    valid : (rows, cols) bool
        Pixels that show the sheet.
    """
    shape = linear.shape[:2]
    drawn = _resized(artwork, shape)
    points, normal = edge_points(drawn, valid)
    whole = np.ones(shape, np.bool_)
    if len(points) < 40:
        return Registration(drawn, 0.0, 0.0, whole)
    reach = max(3.0, 0.012 * max(shape))
    offset = np.arange(-reach - 4, reach + 4.01, _STEP_PX)
    slope = _slopes(linear, points, normal, offset)
    move = _best_shift(slope, normal, offset, reach)
    scaled = 2 * points / np.array(shape[::-1]) - 1
    fit = np.zeros((12, 1))
    fit[[0, 6], 0] = move
    for terms, span in ((2, 4.0), (6, 4.0), (6, 3.0), (12, 3.0), (12, 2.2), (12, 1.6), (12, 1.2)):
        fit = _refit(slope, normal, offset, scaled, fit, terms=terms, span=span)
    moved, page = _moved(drawn, fit)
    agreement, as_found = (explained_share(linear, mask, valid) for mask in (moved, drawn))
    if agreement < as_found + 0.01:  # moving it did not help
        return Registration(drawn, as_found, 0.0, whole)
    size = np.sqrt((_displacement(scaled, fit) ** 2).sum(axis=1).mean())
    return Registration(moved, agreement, float(size), page)


def _resized(artwork: NDArray[Any], shape: tuple[int, int]) -> Picture:
    source = np.ascontiguousarray(artwork, np.float32)
    shrink = source.shape[0] > shape[0]
    how = cv2.INTER_AREA if shrink else cv2.INTER_LINEAR
    drawn: Picture = cv2.resize(source, shape[::-1], interpolation=how)
    return np.clip(drawn, 0, 1)


def edge_points(drawn: Picture, valid: Booleans) -> tuple[Doubles, Doubles]:
    """Return places (n, 2) as x, y on the artwork's edges and the normals there."""
    smooth = cv2.GaussianBlur(drawn, (0, 0), 0.8)
    right = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=0.125)
    down = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=0.125)
    size = cv2.magnitude(right, down)
    crest = (size >= cv2.dilate(size, np.ones((3, 3), np.uint8)) * 0.85) & (size > 0.12) & valid
    row, col = np.nonzero(crest)
    if len(row) > _POINTS:
        chosen = np.random.default_rng(0).permutation(len(row))[:_POINTS]
        row, col = row[chosen], col[chosen]
    steps: Doubles = np.stack([right[row, col], down[row, col]], axis=1)
    normal: Doubles = steps / size[row, col][:, None]
    # The crest lies between pixels: move to where the drawn edge is half foil.
    slope = np.maximum(size[row, col], 1e-3)
    beside: Doubles = np.clip((0.5 - smooth[row, col]) / slope, -0.7, 0.7)
    points = np.stack([col, row], axis=1) + beside[:, None] * normal
    return points.astype(np.float64), normal.astype(np.float64)


def _slopes(linear: Picture, points: Doubles, normal: Doubles, offset: Doubles) -> Picture:
    """Return the size of the picture's slope across the edges, (n, offsets)."""
    light = np.clip(linear, 0, 1)
    # Steps count as the eye sees them, by the level round about; coding each pixel would
    # push blurred edges into the dark.
    around = cv2.blur(light, (15, 15))
    coded = cv2.GaussianBlur(light, (0, 0), 0.6) / (2 * np.sqrt(around + 0.004))
    places = points[:, None] + offset[:, None] * normal[:, None]
    flat = places.astype(np.float32)
    seen = cv2.remap(  # type: ignore[call-overload]
        coded, flat, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    half = 4  # one pixel to either side
    slope = np.zeros(seen.shape[:2], np.float32)
    slope[:, half:-half] = np.linalg.norm(seen[:, 2 * half :] - seen[:, : -2 * half], axis=2)
    # What noise makes says nothing; beyond it strong and faint edges say about as much.
    noise = max(2 * float(np.median(slope[:, half:-half])), 1.5 / 255)
    slope = np.maximum(slope - noise, 0) * _trusted(light, points)[:, None]
    return slope / (slope + 0.03)


def _trusted(light: Picture, points: Doubles) -> Picture:
    """Return how far edges (n,) are trusted: little where one side of them clips.

    What clips looks as wide as its blur, so such an edge seems to lie in the darker side.
    """
    ended = cv2.dilate((light.max(axis=2) >= 0.995).astype(np.uint8), np.ones((7, 7), np.uint8))
    col, row = np.rint(points).astype(np.intp).T
    return np.where(ended[row, col] > 0, 0.15, 1.0)


def _best_shift(slope: Picture, normal: Doubles, offset: Doubles, reach: float) -> Doubles:
    """Return the shift (x, y) at which most edges lie on slopes."""
    shifts = np.arange(-reach, reach + 0.01, 1.0)
    some = slice(None, None, max(1, len(normal) // 700))
    x, y = (grid.ravel() for grid in np.meshgrid(shifts, shifts))
    along = np.outer(x, normal[some, 0]) + np.outer(y, normal[some, 1])
    index = np.rint((along - offset[0]) / _STEP_PX).astype(np.intp)
    index = np.clip(index, 0, len(offset) - 1)
    chosen = slope[some]
    total = chosen[np.arange(len(chosen)), index].sum(axis=1)
    total = total - 0.1 * (x**2 + y**2) / (2 * reach**2) * (total.mean() + 1)  # nearer is likelier
    best = int(np.argmax(total))
    return np.array([x[best], y[best]])


def _terms(scaled: Doubles) -> Doubles:
    x, y = scaled[:, 0], scaled[:, 1]
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)


def _displacement(scaled: Doubles, fit: Doubles) -> Doubles:
    """Return the move (n, 2) of places: a polynomial of second degree each way."""
    return _terms(scaled) @ fit.reshape(2, 6).T


def _along(normal: Doubles, scaled: Doubles, fit: Doubles) -> Doubles:
    along: Doubles = (_displacement(scaled, fit) * normal).sum(axis=1)
    return along


def _refit(
    slope: Picture,
    normal: Doubles,
    offset: Doubles,
    scaled: Doubles,
    fit: Doubles,
    *,
    terms: int,
    span: float,
) -> Doubles:
    """Return the move improved by where each edge is seen within `span` of its place."""
    expected = _along(normal, scaled, fit)
    place, strong = _peak(slope, offset, expected, span)
    basis = _terms(scaled)
    system = np.concatenate([basis * normal[:, :1], basis * normal[:, 1:]], axis=1)
    use = {2: [0, 6], 6: [0, 1, 2, 6, 7, 8], 12: list(range(12))}[terms]
    ridge = np.diag([0.3 if i in (0, 1, 2, 6, 7, 8) else 4.0 for i in use])
    change = np.zeros(len(use))
    aim = place - expected
    for _ in range(4):
        away = aim - system[:, use] @ change
        # While much may still move, places far off are listened to.
        least = 0.3 * span if span > 2 else 0.15
        spread = max(least, 1.4826 * float(np.median(np.abs(away))))
        weight = strong / (1 + (away / spread) ** 2) ** 2
        left = (system[:, use] * weight[:, None]).T @ system[:, use] + ridge
        change = np.linalg.solve(left, (system[:, use] * weight[:, None]).T @ aim)
    result = fit.copy()
    result[use, 0] += change
    return result


def _peak(
    slope: Picture, offset: Doubles, expected: Doubles, span: float
) -> tuple[Doubles, Doubles]:
    """Return where each edge is steepest near its expected place, and how steep."""
    near = np.abs(offset - expected[:, None]) <= span
    # Of two slopes alike (the sides of a thin line) the nearer is meant.
    likely = slope * (1 - 0.25 * np.minimum(np.abs(offset - expected[:, None]) / span, 1))
    peak = np.argmax(np.where(near, likely, -1), axis=1)
    peak = np.clip(peak, 1, len(offset) - 2)
    row = np.arange(len(peak))
    left, top, right = slope[row, peak - 1], slope[row, peak], slope[row, peak + 1]
    bend = np.minimum(left - 2 * top + right, -1e-6)
    place = offset[peak] + _STEP_PX * np.clip(0.5 * (left - right) / bend, -1, 1)
    return place, top.astype(np.float64)


def explained_share(linear: Picture, foil: Picture, valid: Booleans) -> float:
    """Return the share of the picture's variation that the artwork explains near its edges.

    The square of the local correlation, so that it does not matter whether foil is
    brighter or darker than paper there; the best of brightness and colour counts.
    """
    size = max(9, round(0.05 * max(foil.shape)) | 1)
    coded = np.sqrt(np.clip(linear, 0, 1))
    red, green, blue = cv2.split(coded)
    drawn = cv2.GaussianBlur(foil, (0, 0), 0.8)

    def mean(plane: Picture) -> Picture:
        return cv2.boxFilter(plane, cv2.CV_32F, (size, size))[::3, ::3]

    drawn_mean = mean(drawn)
    drawn_spread = mean(drawn * drawn) - drawn_mean**2
    explained = np.zeros_like(drawn_mean)
    for plane in ((red + green + blue) / 3, red - blue):
        spread = mean(plane * plane) - mean(plane) ** 2
        shared = mean(plane * drawn) - mean(plane) * drawn_mean
        explained = np.maximum(explained, shared**2 / np.maximum(spread * drawn_spread, 1e-9))
    weight = np.where(valid[::3, ::3] & (drawn_spread > 0.02), drawn_spread, 0)
    return float((explained * weight).sum() / max(float(weight.sum()), 1e-9))


def _moved(drawn: Picture, fit: Doubles) -> tuple[Picture, Booleans]:
    """Return the artwork with each place moved, and where its page lies then.

    The page's outermost rim is left out, as that of a squared picture is.
    """
    rows, cols = drawn.shape
    step = 8  # the move is smooth: worked out on a lattice
    count = -(-rows // step), -(-cols // step)
    y, x = (np.mgrid[: count[0], : count[1]] + 0.5) * step - 0.5
    scaled = np.stack([2 * x.ravel() / cols - 1, 2 * y.ravel() / rows - 1], axis=1)
    move = _displacement(scaled, fit).reshape(*x.shape, 2).astype(np.float32)
    full = cv2.resize(move, (count[1] * step, count[0] * step), interpolation=cv2.INTER_LINEAR)
    full = full[:rows, :cols]
    across = np.arange(cols, dtype=np.float32) - full[..., 0]
    down = np.arange(rows, dtype=np.float32)[:, None] - full[..., 1]
    moved: Picture = cv2.remap(
        drawn, across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT
    )
    rim = rim_px((rows, cols)) - 0.5
    inside = (across > rim) & (across < cols - 1 - rim)
    return moved, inside & (down > rim) & (down < rows - 1 - rim)
