"""Cells: the coarse lattice on which levels are compared.

Levels of single pixels carry noise, halftone and the edges of artwork. They are averaged
over cells, about forty along the sheet's longer side, foil and paper apart, so that a
small predicted map and a large photograph are compared on the same footing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from lightplan.measures import within

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Singles

CELLS_LONG_SIDE = 40
SOLID_FOIL = 0.9
SOLID_PAPER = 0.02
"""Share of foil from which a pixel counts as foil, and up to which it counts as paper."""
LEAST_COVER, LEAST_SEEN = 0.25, 1e-3
"""Share of a cell that must be solid foil (or paper) for the cell to count; and of thin shapes."""
MOST_LEAK, LEAST_THICK = 0.5, 20
"""Share of foil that a blur would bring into a cell of paper, up to which it counts where so many
cells hold less. Our choice."""
HELD_SHARE = 0.95
"""Share of the material's core that the cells which count must hold together. Our choice."""
NOISE_SAMPLES = 3000
EDGE_SHARE = 0.005
"""Way from the edge between foil and paper, as a share of the longer side, and a pixel at
least, from which levels are taken. Our choice."""

Indices = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Region:
    """The foil, or the paper, of one sheet.

    Parameters
    ----------
    pixels : (n,) int
        Flat indices of its solid pixels.
    counted : (k,) int
        Those of which shares are counted, of paper the core's: beside an edge the foil's light
        is blurred into it, and what a camera sharpens and a JPEG leaves of waves there is no
        blank paper.
    core : (rows, cols) float32
        1 on the solid pixels that do not touch the other material, else 0.
    cells : (m,) int
        Flat indices, in the lattice, of the cells that count.
    cover : (m,) float
        Share of core in each of those cells.
    purity : (m,) float
        Mean share of the material in the core's pixels; below 1 for thin artwork.
    x_mm, y_mm : (m,) float
        Centroid of the core in each cell, from the sheet's middle.
    hull_mm : (k, 2) float
        Convex outline of the solid pixels' middles.
    """

    pixels: Indices
    counted: Indices
    core: Singles
    cells: Indices
    cover: Doubles
    purity: Doubles
    x_mm: Doubles
    y_mm: Doubles
    hull_mm: Doubles

    @cached_property
    def mean_cover(self) -> float:
        """Mean share of core in the cells; 0 where there are none."""
        return float(self.cover.mean()) if len(self.cover) else 0.0

    @cached_property
    def mean_purity(self) -> float:
        """Mean share of the material in the cells; 1 where there are none."""
        return float(self.purity.mean()) if len(self.purity) else 1.0

    def extent_mm(self, direction_rad: float) -> tuple[float, float]:
        """Return the least and greatest reach of the region along a direction, in mm."""
        if not len(self.hull_mm):
            return 0.0, 0.0
        reach = self.hull_mm @ np.array([np.cos(direction_rad), np.sin(direction_rad)])
        return float(reach.min()), float(reach.max())

    def along_mm(self, direction_rad: float) -> Doubles:
        """Return how far each cell lies along a direction from the sheet's middle, in mm."""
        along: Doubles = self.x_mm * np.cos(direction_rad) + self.y_mm * np.sin(direction_rad)
        return along


@dataclass(frozen=True, eq=False)
class Grid:
    """What the masks of a sheet fix, whatever its picture.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns of cells.
    cell_pixels : float
        Pixels in one cell.
    foil, paper : Region
        The two materials.
    plane : (m, 3) float
        1, x, y of the foil's cells, in units of the sheet's half diagonal.
    paper_surface, foil_surface : (m, 6) float
        1, x, y, x2, xy, y2 of the paper's and of the foil's cells, same units.
    half_diagonal_mm : float
        That unit.
    rim : (m,) bool
        Cells of the foil near the outline of the foil's area.
    noise_at : (n,) int
        Flat indices of pixels whose left and right neighbours are the same material.
    foil_leak, paper_leak : (m,), (n,) float
        Share of paper that a lens's blur would bring into the foil's cells, and of foil into
        the paper's.
    lines : Lines
        Short lines within the foil's shapes.
    hairlines : Region
        Strokes of foil far from all shapes that are thick enough to be the foil's core. Where
        nothing else tells how light the foil is, they do; their level is less sure.
    hairline_surface : (h, 6) float
        1, x, y, x2, xy, y2 of their cells.
    """

    shape: tuple[int, int]
    cell_pixels: float
    foil: Region
    paper: Region
    plane: Doubles
    paper_surface: Doubles
    foil_surface: Doubles
    half_diagonal_mm: float
    rim: Booleans
    noise_at: Indices
    foil_leak: Doubles
    paper_leak: Doubles
    lines: within.LinesWithin
    hairlines: Region
    hairline_surface: Doubles

    @classmethod
    def of(cls, foil: Singles, valid: Booleans, *, width_mm: float, height_mm: float) -> Grid:
        """Return the cells of a foil mask (rows, cols) and the pixels that are valid."""
        rows, cols = foil.shape
        scale = CELLS_LONG_SIDE / max(rows, cols)
        shape = (max(2, round(rows * scale)), max(2, round(cols * scale)))
        if scale >= 1.0:
            shape = (rows, cols)
        x_mm = ((np.arange(cols) + 0.5) / cols - 0.5) * width_mm
        y_mm = (0.5 - (np.arange(rows) + 0.5) / rows) * height_mm
        is_foil = _solid(foil, valid)
        axes = (shape, x_mm, y_mm)
        metal = _region(is_foil, _core(is_foil, 0.1), foil, axes)
        metal = replace(metal, counted=metal.pixels)
        thin = within.strokes_far_from(_in_cells(metal, shape), is_foil)
        hairlines = _region(thin > 0, thin, foil, axes)
        bare = _plain(foil, valid)
        stock = _region(bare, _core(bare, 0.3), np.float32(1.0) - foil, axes)
        soft = within.blurred(foil)
        stock, stock_leak = _thick(stock, _leak(soft, valid, stock, shape))
        half = 0.5 * float(np.hypot(width_mm, height_mm))
        return cls(
            shape=shape,
            cell_pixels=rows * cols / (shape[0] * shape[1]),
            foil=metal,
            paper=stock,
            plane=_surface(metal, half)[:, :3],
            paper_surface=_surface(stock, half),
            foil_surface=_surface(metal, half),
            half_diagonal_mm=half,
            rim=_rim(metal),
            noise_at=_triples(metal.core > 0, stock.core > 0),
            foil_leak=_leak(np.float32(1.0) - soft, valid, metal, shape),
            paper_leak=stock_leak,
            lines=within.lines_in(metal.core, width_mm=width_mm, height_mm=height_mm),
            hairlines=hairlines,
            hairline_surface=_surface(hairlines, half),
        )

    @cached_property
    def plane_solver(self) -> tuple[Doubles, Doubles]:
        """What fits a plane to the foil's cells by least squares, weighted with their cover.

        The inverse of the normal matrix (3, 3), and its right side's factor (3, m).
        """
        weighted = self.plane * self.foil.cover[:, None]
        normal = weighted.T @ self.plane
        ridge = 1e-9 * np.trace(normal) * np.eye(3)
        return np.linalg.inv(normal + ridge), weighted.T

    @cached_property
    def paper_patches(self) -> tuple[Doubles, Doubles]:
        """What gathers the paper's cells into patches, and spreads those to the foil's cells."""
        paper, foil = self.paper, self.foil
        return within.patches_of(
            (paper.x_mm, paper.y_mm),
            (foil.x_mm, foil.y_mm),
            paper.cover,
            1.6 * self.half_diagonal_mm,
        )

    @cached_property
    def nearest_foil(self) -> Indices | None:
        """The foil's cell (n,) nearest to each of the paper's; None where no paper holds foil."""
        if not len(self.foil.cells) or not np.any(self.paper.purity < 1.0 - 1e-6):
            return None
        from scipy.spatial import cKDTree  # slow to import, and only coloured paper asks for it

        places = np.column_stack([self.foil.x_mm, self.foil.y_mm])
        tree = cKDTree(places)
        return np.asarray(tree.query(np.column_stack([self.paper.x_mm, self.paper.y_mm]))[1])

    def average(self, picture: Singles, region: Region) -> Singles:
        """Return the mean of a picture (rows, cols) or (rows, cols, 3) over a region's cells."""
        core = region.core if picture.ndim == 2 else region.core[..., None]
        summed = shrink(picture * core, self.shape)
        flat = summed.reshape(-1, *picture.shape[2:])[region.cells]
        cover = region.cover.astype(np.float32)
        means: Singles = flat / (cover if picture.ndim == 2 else cover[:, None])
        return means


def shrink(picture: Singles, shape: tuple[int, int]) -> Singles:
    """Return area means of a picture on a lattice of (rows, cols) cells."""
    if picture.shape[:2] == shape:
        return picture
    small: Singles = cv2.resize(
        np.ascontiguousarray(picture, np.float32), shape[::-1], interpolation=cv2.INTER_AREA
    ).astype(np.float32, copy=False)
    return small


def _solid(foil: Singles, valid: Booleans) -> Booleans:
    """Return the pixels that are foil.

    Of artwork that is thin beside the pixels, less foil in a pixel is accepted, until half
    of the foil's area is found.
    """
    enough = 0.5 * float((foil * valid).sum())
    for least in (SOLID_FOIL, 0.75, 0.5):
        found: Booleans = (foil >= least) & valid
        if np.count_nonzero(found) >= enough:
            break
    return found


def _plain(foil: Singles, valid: Booleans) -> Booleans:
    """Return the pixels that are paper; some foil is accepted where all have some."""
    found: Booleans = (foil <= SOLID_PAPER) & valid
    if np.count_nonzero(found) < 0.02 * foil.size:
        found = (foil <= 1.0 - SOLID_FOIL) & valid
    return found


def _core(solid: Booleans, least_share: float) -> Booleans:
    """Return the solid pixels away from their edges.

    The same way on the sheet whatever the grid: what a fine grid has of drawn edges, of the
    halo that was left when the artwork was made smaller, and of the flanks of stamped foil,
    is no foil and no paper. Where that leaves less than `least_share` of the pixels, the
    shapes are too thin for it: then the middle of the thicker strokes is taken.
    """
    side = max(solid.shape)
    reach = max(1.0, round(EDGE_SHARE * side))
    padded = np.pad(solid.astype(np.uint8), 1, mode="edge")
    deep = cv2.distanceTransform(padded, cv2.DIST_C, 3)[1:-1, 1:-1]
    inner: Booleans = deep > reach
    count = np.count_nonzero(solid)
    if np.count_nonzero(inner) >= least_share * count:
        return inner
    depths = deep[solid]
    least = int((1 - least_share) * (count - 1))
    thick = np.partition(depths, least)[least]
    box = np.ones((2 * (side // CELLS_LONG_SIDE // 2) + 3,) * 2, np.uint8)
    middle = deep > np.minimum(reach, 0.6 * cv2.dilate(deep, box))
    core: Booleans = middle & (deep >= thick)
    return core


def _region(
    solid: Booleans,
    deep: Booleans | Singles,
    material: Singles,
    axes: tuple[tuple[int, int], Doubles, Doubles],
) -> Region:
    """Return a material's region; `axes` are the shape of the lattice and places along x and y."""
    shape, x_mm, y_mm = axes
    core = deep.astype(np.float32)
    cover = shrink(core, shape).ravel().astype(np.float64)
    cells = np.flatnonzero(cover >= _least_cover(cover))
    share = cover[cells]
    across = shrink(core * x_mm[None, :].astype(np.float32), shape).ravel()[cells] / share
    up = shrink(core * y_mm[:, None].astype(np.float32), shape).ravel()[cells] / share
    pure = shrink(core * material, shape).ravel()[cells] / share
    return Region(
        pixels=np.flatnonzero(solid),
        counted=np.flatnonzero(core),
        core=core,
        cells=cells,
        cover=share,
        purity=np.clip(pure.astype(np.float64), 0.05, 1.0),
        x_mm=across.astype(np.float64),
        y_mm=up.astype(np.float64),
        hull_mm=_hull(solid, x_mm, y_mm),
    )


def _least_cover(cover: Doubles) -> float:
    """Return the cover from which a cell counts: `LEAST_COVER`, or what holds most of the core.

    Shapes that are thin beside the cells fill none of them by a quarter. A number of cells
    that must be full would take some strokes and leave others, now these, now those with the grid.
    """
    ordered = np.sort(cover[cover > LEAST_SEEN])[::-1]
    if not len(ordered):
        return 1.0
    held = np.cumsum(ordered)
    last = min(int(np.searchsorted(held, HELD_SHARE * held[-1])), len(ordered) - 1)
    return min(LEAST_COVER, float(ordered[last]))


def _in_cells(region: Region, shape: tuple[int, int]) -> Booleans:
    """Return the pixels of a region's core that lie in cells which count."""
    counts = np.zeros(shape, np.uint8)
    counts.ravel()[region.cells] = 1
    rows, cols = region.core.shape
    spread = cv2.resize(counts, (cols, rows), interpolation=cv2.INTER_NEAREST)
    return np.asarray((region.core > 0) & (spread > 0))


def _leak(other: Singles, valid: Booleans, region: Region, shape: tuple[int, int]) -> Doubles:
    """Return the share of the other material that a blur brings into a region's cells."""
    leak = np.where(valid, other, np.float32(0.0)) * region.core
    share: Doubles = shrink(leak, shape).ravel()[region.cells].astype(np.float64) / region.cover
    return share


def _thick(region: Region, leak: Doubles) -> tuple[Region, Doubles]:
    """Return a region without cells of thin strokes, where enough others are left; their leak.

    Hairlines of dark stock between bright foil are seen through a lens's blur, and a lens that
    bends the picture by a pixel or two puts the foil's light into them: no light of the paper's.
    """
    kept = leak <= MOST_LEAK
    if kept.all() or np.count_nonzero(kept) < LEAST_THICK:
        return region, leak
    names = ("cells", "cover", "purity", "x_mm", "y_mm")
    thick = replace(region, **{name: getattr(region, name)[kept] for name in names})
    return thick, leak[kept]


def _hull(solid: Booleans, x_mm: Doubles, y_mm: Doubles) -> Doubles:
    rows = np.flatnonzero(solid.any(axis=1))
    if not len(rows):
        return np.empty((0, 2))
    # Only the ends of a row can be corners.
    first = solid[rows].argmax(axis=1)
    last = solid.shape[1] - 1 - solid[rows, ::-1].argmax(axis=1)
    ends = np.column_stack([np.tile(rows, 2), np.concatenate([first, last])])
    corners = cv2.convexHull(ends.astype(np.int32)).reshape(-1, 2)
    return np.column_stack([x_mm[corners[:, 1]], y_mm[corners[:, 0]]])


def _surface(region: Region, half_diagonal_mm: float) -> Doubles:
    x, y = region.x_mm / half_diagonal_mm, region.y_mm / half_diagonal_mm
    return np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])


def _rim(region: Region, share: float = 0.12) -> Booleans:
    """Return which cells lie within `share` of the foil's box from its sides."""
    if not len(region.cells):
        return np.zeros(0, np.bool_)
    low, high = region.hull_mm.min(axis=0), region.hull_mm.max(axis=0)
    band = share * np.maximum(high - low, 1e-6)
    near: Booleans = (
        (region.x_mm < low[0] + band[0])
        | (region.x_mm > high[0] - band[0])
        | (region.y_mm < low[1] + band[1])
        | (region.y_mm > high[1] - band[1])
    )
    return near


def _triples(foil: Booleans, paper: Booleans) -> Indices:
    middle = np.zeros(foil.shape, np.bool_)
    for core in (foil, paper):
        middle[:, 1:-1] |= core[:, :-2] & core[:, 1:-1] & core[:, 2:]
    found = np.flatnonzero(middle)
    step = max(1, -(-len(found) // NOISE_SAMPLES))
    return found[::step]
