"""The camera's picture: layers of the sheet's grid read by pixels, foil laid over paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.compiled import compiled

if TYPE_CHECKING:
    from lightplan.arrays import Integers, Singles


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
