"""Levels of foil and paper in the cells of a picture, or of many at once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import cv2
import numpy as np

from lightplan.measures.maps import CLIP_LEVEL, SheetMaps
from lightplan.measures.smooth import each_times, smooth_coefficients
from lightplan.optics.colour import LINEAR_SRGB_TO_XYZ, difference_2000, linear_srgb_to_lab

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Floats, Singles
    from lightplan.measures.grid import Grid, Indices, Region

LEAST_LEVEL = 2.0**-14
"""Added before a logarithm is taken, so that black is -14 stops and not minus infinity."""

LOW, HIGH = 0.02, 0.98
"""Quantiles that stand for the lowest and the highest of many values."""

LEAST_CELLS = 6
"""Fewer cells of a material than this are not measured."""

INK_STOPS = 0.25
"""Thin strokes this much darker than the paper round them are taken as print on it."""
INK_WIDTH_MM = 3.0

LEAST_PAPER, LEAST_FOIL = 0.2, 0.1
"""Share of what is seen in a material's pixels that is left when the other is taken out. The
artwork lies on a photograph to a fraction of a pixel, and dark foil in strokes of a pixel on white
paper would come out as nothing. Our choice."""

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


class OpenLevels(NamedTuple):
    """Luminance of the cells with what lies above the clip level.

    Parameters
    ----------
    foil, paper : (..., m), (..., n) float32
    is_over : (...) bool
        Whether the picture holds anything above the clip level.
    """

    foil: Singles
    paper: Singles
    is_over: Booleans


class Marks(NamedTuple):
    """Quantiles (...) of levels: near the lowest, the middle, near the highest.

    Between the outer two a span is measured: hot spots have measures of their own.
    """

    low: Doubles
    middle: Doubles
    high: Doubles

    @classmethod
    def of(cls, ordered: Doubles) -> Marks:
        """Return those of sorted values (..., n)."""
        return cls(*(quantile(ordered, share) for share in (LOW, 0.5, HIGH)))


@dataclass(frozen=True, eq=False)
class Levels:
    """Mean levels of the cells, nothing above the clip level.

    Of one picture, or of many under one mask: all arrays then have leading axes, the same.

    Parameters
    ----------
    foil_rgb, paper_rgb : (..., m, 3), (..., n, 3) float32
        Linear colour of the foil's and of the paper's cells.
    foil, paper : (..., m), (..., n) float
        Luminance, sorted.
    foil_stops, paper_stops : (..., m), (..., n) float
        Luminance in stops relative to the clip level, in the order of the cells.
    foil_open, paper_open : (..., m), (..., n) float
        The same luminances, sorted, with what lies above the clip level where the
        picture holds it.
    paper_fit : (..., 6) float
        Coefficients of the paper's smooth level in stops (on `Grid.paper_surface`).
    paper_beside : (..., m, 3) float32 or None
        The paper's colour at the foil's cells, by that level; None where there is no paper.
    noise_stops : (...) float
        Standard deviation of a pixel, from second differences along the rows.
    foil_lines : (..., 4, k) float32
        Luminance along the short lines within the foil's shapes (`Grid.lines`).
    hairline_stops : (..., h) float
        Luminance of the foil's hairlines (`Grid.hairlines`) in stops.
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
    paper_beside: Singles | None
    noise_stops: Doubles
    foil_lines: Singles
    hairline_stops: Doubles

    @cached_property
    def foil_marks(self) -> Marks:
        """Quantiles of the foil's luminance."""
        return Marks.of(self.foil)

    @cached_property
    def paper_marks(self) -> Marks:
        """Quantiles of the paper's luminance."""
        return Marks.of(self.paper)

    @cached_property
    def foil_colour(self) -> Singles:
        """Median colour (..., 1, 3) of the foil's cells."""
        return middle(self.foil_rgb)

    @cached_property
    def paper_colour(self) -> Singles:
        """Median colour (..., 1, 3) of the paper's cells."""
        return middle(self.paper_rgb)

    @cached_property
    def foil_off_paper(self) -> Doubles:
        """CIEDE2000 (..., m) of the foil's cells to the paper beside them; needs paper."""
        return np.asarray(difference_2000(self.foil_lab, self.paper_beside_lab))

    @cached_property
    def foil_lab(self) -> Floats:
        """CIELAB (..., m, 3) of the foil's cells."""
        return linear_srgb_to_lab(self.foil_rgb)

    @cached_property
    def paper_beside_lab(self) -> Floats:
        """CIELAB (..., m, 3) of the paper beside the foil's cells; needs paper."""
        assert self.paper_beside is not None
        return linear_srgb_to_lab(self.paper_beside.astype(np.float64))

    @property
    def foil_count(self) -> int:
        """How many cells of foil there are."""
        return int(self.foil.shape[-1])

    @property
    def paper_count(self) -> int:
        """How many cells of paper there are."""
        return int(self.paper.shape[-1])

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
            paper_rgb=grid.average(cut, grid.paper),
            foil_rgb=grid.average(cut, grid.foil),
            open_levels=None
            if float(whole.max()) <= CLIP_LEVEL
            else OpenLevels(
                grid.average(whole, grid.foil), grid.average(whole, grid.paper), np.array(True)
            ),
            noise_stops=noise_stops(level.ravel()[_triples_of(grid)]),
            foil_lines=level.ravel()[grid.lines.at],
            hairlines=grid.average(level, grid.hairlines),
        )

    @classmethod
    def from_means(
        cls,
        grid: Grid,
        *,
        paper: Singles,
        paper_rgb: Singles,
        foil_rgb: Singles,
        open_levels: OpenLevels | None,
        noise_stops: Doubles,
        foil_lines: Singles,
        hairlines: Singles,
    ) -> Levels:
        """Return levels from the means over the grid's cells.

        Parameters
        ----------
        paper : (..., n) float32
            Luminance of the paper's cells, print on it left out.
        paper_rgb, foil_rgb : (..., n, 3), (..., m, 3) float32
            Linear colours of the cells, cut at the clip level; each still mixed with the
            other where shapes are thin.
        open_levels : OpenLevels or None
            None where nothing lies above the clip level in any picture.
        noise_stops : (...) float
        foil_lines : (..., 4, k) float32
        hairlines : (..., h) float32
            Luminance of the cells of hairlines, mixed with the paper's.
        """
        paper, paper_rgb = _less_foil(grid, paper, paper_rgb, foil_rgb)
        level = paper.astype(np.float64)
        paper_stops = log2_level(level)
        paper_fit = smooth_coefficients(paper_stops, grid.paper_surface)
        beside = _paper_beside(paper_stops, paper_rgb, paper_fit, grid)
        purity = grid.foil.purity.astype(np.float32)
        alone = _unmixed(foil_rgb, beside, purity[:, None])
        foil_rgb = np.maximum(alone, np.float32(LEAST_FOIL) * foil_rgb)
        foil_rgb = np.minimum(foil_rgb, np.float32(CLIP_LEVEL))
        foil = luminance(foil_rgb).astype(np.float64)
        ordered = np.sort(foil), np.sort(level)
        foil_open, paper_open = ordered
        if open_levels is not None:
            is_over = open_levels.is_over[..., None]
            ground = None if beside is None else luminance(beside)
            opened = _unmixed(open_levels.foil, ground, purity)
            foil_open = np.sort(np.where(is_over, opened, foil))
            paper_open = np.sort(np.where(is_over, open_levels.paper, level))
        return cls(
            foil_rgb=foil_rgb,
            paper_rgb=paper_rgb,
            foil=ordered[0],
            paper=ordered[1],
            foil_stops=log2_level(foil),
            paper_stops=paper_stops,
            foil_open=foil_open,
            paper_open=paper_open,
            paper_fit=paper_fit,
            paper_beside=beside,
            noise_stops=noise_stops,
            foil_lines=foil_lines,
            hairline_stops=_hairline_stops(grid, hairlines, paper_stops, paper_fit),
        )

    def cell_noise_stops(self, grid: Grid, region: Region) -> Doubles:
        """Return the standard deviation of a cell's mean that the pixels' noise causes."""
        pixels = max(1.0, grid.cell_pixels * region.mean_cover)
        return np.asarray(self.noise_stops / np.sqrt(pixels))


def quantile(ordered: Doubles, share: float) -> Doubles:
    """Return a quantile (...) of sorted values (..., n), linear between neighbours.

    >>> float(quantile(np.array([0.0, 1.0, 2.0]), 0.75))
    1.5
    """
    last = ordered.shape[-1] - 1
    place = share * last
    low = int(place)
    below, above = ordered[..., low], ordered[..., min(low + 1, last)]
    return np.asarray(below + (place - low) * (above - below))


def middle(colours: Singles) -> Singles:
    """Return the median (..., 1, 3) of (..., n, 3) colours, channel by channel.

    (numpy's own costs five times as much. As for `each_times`, the axis that is kept lets
    products with matrices go picture by picture.)

    >>> middle(np.array([[1, 5, 0], [3, 1, 0], [2, 2, 8], [9, 3, 0]], np.float32)).tolist()
    [[2.5, 2.5, 0.0]]
    """
    ordered = np.sort(colours, axis=-2)
    count = ordered.shape[-2]
    found: Singles = ordered[..., (count - 1) // 2, None, :] + ordered[..., count // 2, None, :]
    return found * np.float32(0.5)


def _paper_beside(
    paper_stops: Doubles, paper_rgb: Singles, paper_fit: Doubles, grid: Grid
) -> Singles | None:
    """Return the paper's colour (..., m, 3) at the foil's cells; None where there is no paper.

    The smooth level of the paper, kept within the levels that were seen, in its mean colour.
    """
    if paper_stops.shape[-1] < LEAST_CELLS:
        return None
    least, most = (end(paper_stops, axis=-1, keepdims=True) for end in (np.min, np.max))
    stops = np.clip(each_times(grid.foil_surface, paper_fit), least, most)
    mean = paper_rgb.mean(axis=-2, keepdims=True)
    colour = mean / np.maximum(luminance(mean), np.float32(LEAST_LEVEL))[..., None]
    beside: Singles = (np.exp2(stops)[..., None] * colour).astype(np.float32)
    return beside


def _less_foil(
    grid: Grid, paper: Singles, paper_rgb: Singles, foil_rgb: Singles
) -> tuple[Singles, Singles]:
    """Return the paper's luminance and colour without the foil in its pixels.

    A pixel may hold 2 % of foil and still counts as paper; beside foil of fifty times its light
    that doubles it. The foil is that of the nearest cell.
    """
    nearest = grid.nearest_foil
    if nearest is None:
        return paper, paper_rgb
    purity = grid.paper.purity.astype(np.float32)
    foil = foil_rgb[..., nearest, :]
    least = np.float32(LEAST_PAPER)
    level = np.maximum(_unmixed(paper, luminance(foil), purity), least * paper)
    colour = np.maximum(_unmixed(paper_rgb, foil, purity[:, None]), least * paper_rgb)
    return level, colour


def _hairline_stops(grid: Grid, seen: Singles, paper_stops: Doubles, paper_fit: Doubles) -> Doubles:
    """Return the level of hairlines (..., h) without the paper in their pixels, in stops."""
    if not seen.shape[-1] or paper_stops.shape[-1] < LEAST_CELLS:
        return log2_level(seen)
    paper = np.exp2(each_times(grid.hairline_surface, paper_fit)).astype(np.float32)
    alone = _unmixed(seen, paper, grid.hairlines.purity.astype(np.float32))
    return log2_level(np.maximum(alone, np.float32(LEAST_FOIL) * seen))


def _unmixed(seen: Singles, other: Singles | None, purity: Singles) -> Singles:
    """Return a material's level, or colour, from pixels that are part it, part the other.

    Of a linear picture seen = purity x one + (1 - purity) x other; all three broadcast.
    """
    if other is None:
        return seen
    one: Singles = np.maximum((seen - (1 - purity) * other) / purity, np.float32(0.0))
    return one


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


def noise_stops(triples: Singles) -> Doubles:
    """Return the standard deviation (...) of a pixel from luminances (..., 3, n) of neighbours."""
    if triples.shape[-1] < 30:
        return np.zeros(triples.shape[:-2])
    left, middle, right = triples[..., 0, :], triples[..., 1, :], triples[..., 2, :]
    bend = np.abs(left - 2.0 * middle + right) / (middle + np.float32(LEAST_LEVEL))
    half = bend.shape[-1] // 2
    typical = np.partition(bend, half)[..., half].astype(np.float64)
    return np.asarray(1.4826 * typical / float(np.sqrt(6.0) * np.log(2.0)))
