"""Levels of foil and paper in the cells of one picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from lightplan.arrays import Doubles, Floats, Singles
from lightplan.measures.grid import Grid, Indices, Region
from lightplan.measures.maps import CLIP_LEVEL, SheetMaps
from lightplan.measures.smooth import smooth_coefficients
from lightplan.optics.colour import LINEAR_SRGB_TO_XYZ

LEAST_LEVEL = 2.0**-14
"""Added before a logarithm is taken, so that black is -14 stops and not minus infinity."""

LEAST_CELLS = 6
"""Fewer cells of a material than this are not measured."""

INK_STOPS = 0.25
"""Thin strokes this much darker than the paper round them are taken as print on it."""
INK_WIDTH_MM = 3.0

_LUMINANCE = LINEAR_SRGB_TO_XYZ[1].astype(np.float32)


def luminance(linear: Singles) -> Singles:
    """Return the luminance (..., ) of linear sRGB (..., 3), 1 for the clip level."""
    level: Singles = linear @ _LUMINANCE
    return level


def log2_level(level: Floats) -> Doubles:
    """Return levels as stops below the clip level; black is -14.

    >>> float(log2_level(np.array(0.0))), round(float(log2_level(np.array(0.25))), 3)
    (-14.0, -2.0)
    """
    return np.log2(np.asarray(level, np.float64) + LEAST_LEVEL)


@dataclass(frozen=True, eq=False)
class Levels:
    """Mean levels of the cells, nothing above the clip level.

    Parameters
    ----------
    foil_rgb, paper_rgb : (m, 3), (n, 3) float32
        Linear colour of the foil's and of the paper's cells.
    foil, paper : (m,), (n,) float
        Luminance, sorted.
    foil_stops, paper_stops : (m,), (n,) float
        Luminance in stops relative to the clip level, in the order of the cells.
    foil_open, paper_open : (m,), (n,) float
        The same luminances, sorted, with what lies above the clip level where the
        picture holds it.
    paper_fit : (6,) float
        Coefficients of the paper's smooth level in stops (on `Grid.paper_surface`).
    noise_stops : float
        Standard deviation of a pixel, from second differences along the rows.
    """

    foil_rgb: Singles
    paper_rgb: Singles
    foil: Doubles
    paper: Doubles
    foil_stops: Doubles
    paper_stops: Doubles
    foil_open: Doubles
    paper_open: Doubles
    paper_fit: Doubles
    noise_stops: float

    @classmethod
    def of(cls, maps: SheetMaps) -> Levels:
        """Return the levels of a picture; kept with it, since measures and faults both ask."""
        kept: dict[str, Any] = maps.__dict__
        if "levels" not in kept:
            kept["levels"] = cls._of(maps)
        levels: Levels = kept["levels"]
        return levels

    @classmethod
    def _of(cls, maps: SheetMaps) -> Levels:
        grid = maps.grid
        whole = luminance(maps.linear)
        cut = np.minimum(maps.linear, np.float32(CLIP_LEVEL))
        level = np.minimum(whole, luminance(cut))
        return cls.from_means(
            grid,
            paper=grid.average(_without_ink(level, maps), grid.paper),
            paper_rgb=grid.average(cut, grid.paper), foil_rgb=grid.average(cut, grid.foil),
            open_levels=None if float(whole.max()) <= CLIP_LEVEL else (
                grid.average(whole, grid.foil), grid.average(whole, grid.paper)
            ),
            noise_stops=noise_stops(level.ravel()[_triples_of(grid)]),
        )  # fmt: skip

    @classmethod
    def from_means(
        cls, grid: Grid, *, paper: Singles, paper_rgb: Singles, foil_rgb: Singles,
        open_levels: tuple[Singles, Singles] | None, noise_stops: float,
    ) -> Levels:  # fmt: skip
        """Return levels from the means over the grid's cells.

        Parameters
        ----------
        paper : (n,) float32
            Luminance of the paper's cells, print on it left out.
        paper_rgb, foil_rgb : (n, 3), (m, 3) float32
            Linear colours of the cells, cut at the clip level; foil still mixed with paper
            where its strokes are thin.
        open_levels : ((m,), (n,)) float32 or None
            Luminance of the foil's and the paper's cells with what lies above the clip level;
            None where nothing does.
        """
        level = paper.astype(np.float64)
        paper_stops = log2_level(level)
        paper_fit = smooth_coefficients(paper_stops, grid.paper_surface)
        beside = _paper_beside(level, paper_rgb, paper_fit, grid)
        foil_rgb = _unmixed(foil_rgb, beside, grid.foil.purity)
        foil_rgb = np.minimum(foil_rgb, np.float32(CLIP_LEVEL))
        foil = luminance(foil_rgb).astype(np.float64)
        foil_open: Floats = foil
        paper_open: Floats = level
        if open_levels is not None:
            ground = None if beside is None else luminance(beside)
            foil_open = _unmixed(open_levels[0], ground, grid.foil.purity)
            paper_open = open_levels[1]
        return cls(
            foil_rgb=foil_rgb, paper_rgb=paper_rgb, foil=np.sort(foil), paper=np.sort(level),
            foil_stops=log2_level(foil), paper_stops=paper_stops,
            foil_open=np.sort(foil_open.astype(np.float64)),
            paper_open=np.sort(paper_open.astype(np.float64)),
            paper_fit=paper_fit, noise_stops=noise_stops,
        )  # fmt: skip

    def cell_noise_stops(self, grid: Grid, region: Region) -> float:
        """Return the standard deviation of a cell's mean that the pixels' noise causes."""
        if not len(region.cover):
            return 0.0
        return self.noise_stops / float(np.sqrt(max(1.0, grid.cell_pixels * region.cover.mean())))


def quantile(ordered: Doubles, share: float) -> float:
    """Return a quantile of sorted values, linear between neighbours.

    >>> quantile(np.array([0.0, 1.0, 2.0]), 0.75)
    1.5
    """
    place = share * (len(ordered) - 1)
    low = int(place)
    high = min(low + 1, len(ordered) - 1)
    return float(ordered[low] + (place - low) * (ordered[high] - ordered[low]))


def middle(colours: Singles) -> Singles:
    """Return the median of each channel of (n, 3) colours (numpy's own costs five times as much).

    >>> middle(np.array([[1, 5, 0], [3, 1, 0], [2, 2, 8], [9, 3, 0]], np.float32)).tolist()
    [2.5, 2.5, 0.0]
    """
    ordered = np.sort(colours, axis=0)
    count = len(ordered)
    found: Singles = (ordered[(count - 1) // 2] + ordered[count // 2]) * np.float32(0.5)
    return found


def _paper_beside(
    paper: Doubles, paper_rgb: Singles, paper_fit: Doubles, grid: Grid
) -> Singles | None:
    """Return the paper's colour (m, 3) at the foil's cells; None where there is no paper.

    The smooth level of the paper, kept within the levels that were seen, in its mean colour.
    """
    if len(paper) < LEAST_CELLS:
        return None
    seen = log2_level(paper)
    stops = np.clip(grid.foil_surface @ paper_fit, seen.min(), seen.max())
    mean = paper_rgb.mean(axis=0)
    colour = mean / max(float(luminance(mean)), LEAST_LEVEL)
    beside: Singles = (np.exp2(stops)[:, None] * colour).astype(np.float32)
    return beside


def _unmixed(seen: Singles, paper: Singles | None, purity: Doubles) -> Singles:
    """Return the foil's level, or colour, from pixels that are part foil, part paper.

    Of a linear picture seen = purity x foil + (1 - purity) x paper.
    """
    if paper is None:
        return seen
    share = purity.astype(np.float32)
    share = share if seen.ndim == 1 else share[:, None]
    foil: Singles = np.maximum((seen - (1 - share) * paper) / share, np.float32(0.0))
    return foil


def _without_ink(level: Singles, maps: SheetMaps) -> Singles:
    """Return the luminance with thin dark print on the paper filled from beside it.

    A grey closing fills what is darker and thinner than `INK_WIDTH_MM`; shadows are
    wider and stay. It counts only where it changes much, so that a smooth field is
    returned as it came.
    """
    grid = maps.grid
    if not len(grid.paper.pixels):
        return level
    across, down = (max(3, 2 * round(0.5 * INK_WIDTH_MM / size) + 1) for size in maps.pixel_mm)
    box = np.ones((min(down, 31), min(across, 31)), np.uint8)
    closed = cv2.morphologyEx(level * grid.paper.core, cv2.MORPH_CLOSE, box)
    filled: Singles = np.where(closed > level * np.float32(2.0**INK_STOPS), closed, level)
    return filled


def _triples_of(grid: Grid) -> Indices:
    """Return flat indices (3, n) of pixels in the middle of one material and their neighbours."""
    triples: Indices = grid.noise_at + np.array([[-1], [0], [1]])
    return triples


def noise_stops(triples: Singles) -> float:
    """Return the standard deviation of a pixel from luminances (3, n) of three in a row."""
    if triples.shape[1] < 30:
        return 0.0
    left, middle, right = triples
    bend = np.abs(left - 2.0 * middle + right) / (middle + np.float32(LEAST_LEVEL))
    half = len(bend) // 2
    typical = float(np.partition(bend, half)[half])
    return 1.4826 * typical / float(np.sqrt(6.0) * np.log(2.0))
