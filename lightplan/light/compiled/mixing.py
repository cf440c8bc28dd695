"""The camera's picture: layers of the sheet's grid read by pixels, foil laid over paper."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled, compiled_sums

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles


@compiled
def read_grid(
    layer: Singles, first: Integers, cols: int, over: Singles, down: Singles, values: Singles
) -> None:
    """Write bilinear values (n, 3) of a grid's layer (rows * cols, 3).

    `first` (n,) is the grid point above and left of each place, `over` and `down` (n,) how far
    it lies towards the next ones.
    """
    for i in range(first.shape[0]):
        a, u, v = first[i], over[i], down[i]
        for c in range(3):
            upper = layer[a, c] + u * (layer[a + 1, c] - layer[a, c])
            lower = layer[a + cols, c] + u * (layer[a + cols + 1, c] - layer[a + cols, c])
            values[i, c] = upper + v * (lower - upper)


@compiled
def window_means(art: Singles, width: float, found: Singles) -> None:
    """Write means of a picture (a, n, b) along its middle axis over windows about each pixel.

    A window is `width` pixels wide, 1 or more, and may end within one. Beyond the border goes on
    the last pixel. The pixels that are wholly inside are summed as the window slides.
    """
    outer, count, inner = art.shape
    reach = (width - 1.0) / 2.0  # beyond the pixel itself, on either side
    whole = max(math.ceil(reach) - 1, 0)  # pixels on either side that are wholly inside
    rim = reach - whole
    total = np.empty(inner)
    for a in range(outer):
        for b in range(inner):
            total[b] = 0.0
            for k in range(-whole, whole + 1):
                total[b] += art[a, min(max(k, 0), count - 1), b]
        for i in range(count):
            before, after = max(i - whole - 1, 0), min(i + whole + 1, count - 1)
            first = max(i - whole, 0)
            for b in range(inner):
                ends = np.float64(art[a, before, b]) + np.float64(art[a, after, b])
                found[a, i, b] = (total[b] + rim * ends) / width
                total[b] += np.float64(art[a, after, b]) - np.float64(art[a, first, b])


@compiled
def sample(
    art: Singles, x_mm: Doubles, y_mm: Doubles, width: float, height: float, values: Singles
) -> None:
    """Write bilinear values (n, k) of a picture (rows, cols, k) that covers the sheet.

    Pixels' middles hold their values, and beyond the outermost ones these go on; off the
    sheet, and where a place is NaN, all is 0.
    """
    rows, cols, depth = art.shape
    for i in range(values.shape[0]):
        x, y = x_mm[i], y_mm[i]
        if not (abs(x) <= width / 2 and abs(y) <= height / 2):
            for c in range(depth):
                values[i, c] = 0.0
            continue
        col = min(max((x / width + 0.5) * cols - 0.5, 0.0), cols - 1.0)
        row = min(max((0.5 - y / height) * rows - 0.5, 0.0), rows - 1.0)
        left, top = min(int(col), max(cols - 2, 0)), min(int(row), max(rows - 2, 0))
        right, below = min(left + 1, cols - 1), min(top + 1, rows - 1)
        over, down = col - left, row - top
        for c in range(depth):
            upper = (1 - over) * art[top, left, c] + over * art[top, right, c]
            lower = (1 - over) * art[below, left, c] + over * art[below, right, c]
            values[i, c] = (1 - down) * upper + down * lower


@compiled
def show_texels(
    texel: Integers, metal: int, texels: Singles, pixels: Integers, picture: Singles
) -> None:
    """Write what rays see, (n,) texels, to pixels (n,) of a picture (p, 3)."""
    for i in range(pixels.shape[0]):
        seen = texel[i] if texel[i] != metal else 0
        for c in range(3):
            picture[pixels[i], c] = texels[seen, c]


@compiled
def lay(values: Floats, pixels: Integers, hidden: Booleans, picture: Floats) -> None:
    """Write values (n, 3) to those pixels of a picture (p, 3) that are not hidden, else NaN."""
    for i in range(picture.shape[0]):
        for c in range(3):
            picture[i, c] = np.nan
    for i in range(pixels.shape[0]):
        if not hidden[i]:
            for c in range(3):
                picture[pixels[i], c] = values[i, c]


@compiled
def mix(
    paper: Singles,
    foil: Singles,
    share: Singles,
    first: Integers,
    cols: int,
    over: Singles,
    down: Singles,
    pixels: Integers,
    picture: Singles,
) -> None:
    """Write foil over paper to those pixels of a picture (p, 3) that look at the sheet.

    As `read_grid` for both layers; only what a pixel's share of foil asks for is read.
    """
    for i in range(pixels.shape[0]):
        at = pixels[i]
        a, u, v, s = first[i], over[i], down[i], share[at]
        for c in range(3):
            value = 0.0
            if s < 1.0:
                upper = paper[a, c] + u * (paper[a + 1, c] - paper[a, c])
                lower = paper[a + cols, c] + u * (paper[a + cols + 1, c] - paper[a + cols, c])
                value += (1.0 - s) * (upper + v * (lower - upper))
            if s > 0.0:
                upper = foil[a, c] + u * (foil[a + 1, c] - foil[a, c])
                lower = foil[a + cols, c] + u * (foil[a + cols + 1, c] - foil[a + cols, c])
                value += s * (upper + v * (lower - upper))
            picture[at, c] = value


@compiled_sums
def spread(
    values: Singles,
    first_down: Integers,
    down: Singles,
    first_across: Integers,
    across: Singles,
    wide: Singles,
    picture: Singles,
) -> None:
    """Write values (rows, cols, k) of one grid to the picture (r, c, k) of another, none below 0.

    Across first, where there are few rows yet; then down, where whole rows are added up.

    Parameters
    ----------
    first_down, first_across : (r,) and (c,) int
        The first of the few rows and columns that each of the picture's reads.
    down, across : (r, taps) and (c, taps) float32
        What each of them counts.
    wide : (rows, c * k) float32
        Room to work in.
    picture : (r, c * k) float32
    """
    depth = values.shape[2]
    for i in range(values.shape[0]):
        for j in range(across.shape[0]):
            first = first_across[j]
            for c in range(depth):
                total = np.float32(0.0)
                for tap in range(across.shape[1]):
                    total += across[j, tap] * values[i, first + tap, c]
                wide[i, j * depth + c] = total
    for r in range(picture.shape[0]):
        for m in range(picture.shape[1]):
            picture[r, m] = 0.0
        for tap in range(down.shape[1]):
            row, share = first_down[r] + tap, down[r, tap]
            for m in range(picture.shape[1]):
                picture[r, m] += share * wide[row, m]
        for m in range(picture.shape[1]):
            picture[r, m] = max(picture[r, m], np.float32(0.0))
