"""Surfaces cut into cells, and values on cells turned into fine look-up pictures.

A *face* is one side of a surface that gives light on. Each face has a grid of cells with
one luminance each; for looking up what a ray sees it is refined smoothly to texels. A mesh has
one texel for each of its cells, as these may meet at any angle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.ball import Ball
from lightplan.geometry.cone import Cone
from lightplan.geometry.mesh import Mesh
from lightplan.geometry.shapes import Cells, Crossing, Flat

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles
    from lightplan.scene.surfaces import Surface

DARK_TEXEL = 0
METAL_TEXEL = -1  # the ray goes on
DARK_PROP = 0.1  # reflectance below which a prop's cells may be large


@dataclass(frozen=True)
class FaceGrid:
    """Where one face's cells and texels lie in the common arrays; `fine` texels (down, across)."""

    surface: int
    is_front: bool
    rows: int
    cols: int
    first_cell: int
    first_texel: int
    fine: tuple[int, int]

    @property
    def cells(self) -> slice:
        """Its cells."""
        return slice(self.first_cell, self.first_cell + self.rows * self.cols)

    @property
    def texels(self) -> slice:
        """Its texels."""
        return slice(self.first_texel, self.first_texel + self.fine[0] * self.fine[1])


class Patchwork:
    """All faces that give light on, cut into cells.

    `side` cells along a square face, at least `thin` where light passes through it, `fine`
    texels along every face but those of meshes.

    Attributes
    ----------
    faces : list of FaceGrid
    geometry : Cells
        c cells; normals point out of their own face.
    owners : (c,) int
        Surface of each cell.
    diffuse, passes : (c, 3) float
        Shares scattered back and passed through.
    opposite : (c,) int
        The cell at the same place on the other side; itself where that side is dark.
    """

    def __init__(
        self, surfaces: Sequence[Surface], lamps: int, side: int, fine: int, thin: int = 0
    ) -> None:
        self.faces: list[FaceGrid] = []
        self.lamps = lamps
        cell, texel = 0, 1 + lamps
        for index, surface in enumerate(surfaces):
            for is_front in (True, False):
                face = surface.front if is_front else surface.back
                if face.is_dark or (surface.role == "sheet" and not is_front):
                    continue
                passes = surface.role in ("diffuser", "shell")
                rows, cols = _counts(surface, max(side, thin) if passes else side)
                texels = (1, cols) if isinstance(surface.shape, Mesh) else (fine, fine)
                grid = FaceGrid(index, is_front, rows, cols, cell, texel, texels)
                self.faces.append(grid)
                cell, texel = grid.cells.stop, grid.texels.stop
        self.count, self.texel_count = cell, texel
        self.has_metal = any(s.front.is_metal or s.back.is_metal for s in surfaces)
        self._grids = {(f.surface, f.is_front): f for f in self.faces}
        self._arrange(surfaces)

    def _arrange(self, surfaces: Sequence[Surface]) -> None:
        shape = (self.count, 3)
        self.geometry = Cells(
            np.zeros(shape), np.zeros(shape), np.zeros(self.count), np.zeros((self.count, 4, 3))
        )
        self.owners = np.zeros(self.count, int)
        self.diffuse, self.passes = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
        self.opposite = np.arange(self.count)
        cells = {(f.surface, f.is_front): f.cells for f in self.faces}
        for (surface, is_front), part in cells.items():
            self.owners[part] = surface
            face = surfaces[surface].front if is_front else surfaces[surface].back
            self.diffuse[part], self.passes[part] = face.diffuse, face.passes
            other = cells.get((surface, not is_front))
            if other is not None:
                self.opposite[part] = np.arange(other.start, other.stop)
        self.place(surfaces, frozenset(range(len(surfaces))))

    def place(self, surfaces: Sequence[Surface], changed: frozenset[int]) -> None:
        """Move the cells of the surfaces that changed."""
        covered = _footprint(surfaces)
        tiled: dict[tuple[int, int, int], Cells] = {}  # both faces of a surface may share them
        for face in self.faces:
            if face.surface not in changed:
                continue
            surface = surfaces[face.surface]
            key = (face.surface, face.rows, face.cols)
            if key not in tiled:
                tiled[key] = surface.shape.grid(face.rows, face.cols)
            cells = tiled[key]
            areas = cells.areas
            if surface.role == "table" and face.is_front and isinstance(surface.shape, Flat):
                areas = areas * _uncovered(surface.shape, face, covered)
            part, sign = face.cells, 1.0 if face.is_front else -1.0
            self.geometry.centres[part] = cells.centres
            self.geometry.normals[part] = sign * cells.normals
            self.geometry.areas[part] = areas
            self.geometry.corners[part] = cells.corners

    def beyond(self, face: FaceGrid) -> FaceGrid | None:
        """Return the other side of a face, where it gives light on too."""
        return self._grids.get((face.surface, not face.is_front))

    def sub_points(self) -> Doubles:
        """Return four points inside every cell, (c, 4, 3)."""
        return 0.5 * (self.geometry.centres[:, None] + self.geometry.corners)

    def seen_faces(self, surfaces: Sequence[Surface], index: int) -> Integers:
        """Return what a surface shows in front and behind: first texel, rows, columns, (2, 3).

        Without rows where the whole face is one texel.
        """
        surface = surfaces[index]
        seen = []
        for face, is_front in ((surface.front, True), (surface.back, False)):
            grid = self._grids.get((index, is_front))
            if is_front and surface.lamp is not None:
                seen.append((1 + surface.lamp, 0, 0))
            elif face.is_metal:
                seen.append((METAL_TEXEL, 0, 0))
            elif grid is not None:
                seen.append((grid.first_texel, *grid.fine))
            else:
                seen.append((DARK_TEXEL, 0, 0))
        return np.array(seen, np.int64)

    def texels(
        self,
        surfaces: Sequence[Surface],
        index: int,
        across: Floats,
        up: Floats,
        from_front: Booleans,
    ) -> Integers:
        """Return the texels that rays see at places (0..1) of one surface."""
        surface = surfaces[index]
        place: Integers | None = None
        seen: list[Integers | int] = []
        for face, is_front in ((surface.front, True), (surface.back, False)):
            if is_front and surface.lamp is not None:
                seen.append(1 + surface.lamp)
            elif face.is_metal:
                seen.append(METAL_TEXEL)
            elif (index, is_front) in self._grids:
                grid = self._grids[index, is_front]
                place = _place(across, up, grid.fine) if place is None else place
                seen.append(place + np.int32(grid.first_texel))
            else:
                seen.append(DARK_TEXEL)
        return np.where(from_front, np.asarray(seen[0], np.int32), np.asarray(seen[1], np.int32))

    def texels_around(
        self, surface: Surface, index: int, across: Floats, up: Floats, *, is_front: bool
    ) -> tuple[Integers, Singles]:
        """Return the texels about places (0..1) of a bright face and their weights, (k, 4).

        For single points, whose rounding to the nearest texel does not average out as that of
        many rays does.
        """
        if is_front and surface.lamp is not None:
            return np.full((len(across), 4), 1 + surface.lamp), np.full((len(across), 4), 0.25)
        grid = self._grids[index, is_front]
        texel, weight = _around(grid.fine, across, up)
        return texel + grid.first_texel, weight

    def between_texels(self, index: int, crossing: Crossing, table: Singles) -> Singles:
        """Return the colours (k, 3) at places of one surface, bilinear between texels.

        A mesh keeps the colour of each texel. NaN where the face gives no light of its own
        (lamps, metal, black).
        """
        colours = np.full((crossing.distance.size, 3), np.nan, np.float32)
        for is_front in (True, False):
            grid = self._grids.get((index, is_front))
            mine = np.flatnonzero(crossing.from_front.ravel() == is_front)
            if grid is None or not mine.size:
                continue
            across, up = crossing.across.ravel()[mine], crossing.up.ravel()[mine]
            face = table[grid.texels]
            if grid.fine[0] == 1:
                colours[mine] = face[_place(across, up, grid.fine)]
            else:
                colours[mine] = blend(face, *_around(grid.fine, across, up))
        return colours

    def look_up(self, values: Floats, lamp_luminance: Floats) -> Singles:
        """Return the colour of every texel under each of k lights, (texels, k, 3).

        Parameters
        ----------
        values : (c, k, 3) float
            Luminance of each cell.
        lamp_luminance : (lamps, k, 3) float
            Luminance of each lamp's face.
        """
        shape = values.shape[1:]
        columns = math.prod(shape)
        table = np.zeros((self.texel_count, columns), np.float32)
        table[1 : 1 + self.lamps] = lamp_luminance.reshape(self.lamps, columns)
        values = np.asarray(values, np.float32).reshape(len(values), columns)
        for face in self.faces:
            if face.fine == (face.rows, face.cols):
                table[face.texels] = values[face.cells]
                continue
            grid = values[face.cells].reshape(face.rows, face.cols * columns)
            down, across = (along_line(n, face.fine[0]) for n in (face.rows, face.cols))
            lines = (down @ grid).reshape(face.fine[0], face.cols, columns)
            np.matmul(across, lines, out=table[face.texels].reshape(*face.fine, columns))
        # a face is refined along straight lines, which may dip below nothing at its rim
        np.maximum(table, 0.0, out=table)
        return table.reshape(self.texel_count, *shape)


def cells_of(surfaces: Sequence[Surface], side: int, thin: int = 0) -> int:
    """Return how many cells a `Patchwork` would have; nothing is allocated."""
    total = 0
    for surface in surfaces:
        passes = surface.role in ("diffuser", "shell")
        rows, cols = _counts(surface, max(side, thin) if passes else side)
        lit = [surface.front] if surface.role == "sheet" else [surface.front, surface.back]
        total += rows * cols * sum(not face.is_dark for face in lit)
    return total


def _counts(surface: Surface, side: int) -> tuple[int, int]:
    shape = surface.shape
    if isinstance(shape, Mesh):
        return 1, shape.cell_count
    is_dark = (
        surface.role == "prop" and max(surface.front.diffuse + surface.back.diffuse) < DARK_PROP
    )
    if isinstance(shape, Cone):
        return (max(3, side // 2), max(4, side // 2)) if is_dark else (side, 2 * side)
    if isinstance(shape, Ball):
        return max(2, side // 2), side
    if surface.role == "sheet":
        return max(4, side // 2), max(4, side // 2)
    ratio = shape.half_width / shape.half_height
    cols = round(side * min(2.0, max(0.5, ratio**0.5)))
    rows = round(side * min(2.0, max(0.5, ratio**-0.5)))
    if surface.role == "camera" or is_dark:
        return max(2, rows // 3), max(2, cols // 3)
    if shape.lines is not None:
        return len(shape.lines[1]) - 1, len(shape.lines[0]) - 1
    return rows, cols


def _place(across: Floats, up: Floats, fine: tuple[int, int]) -> Integers:
    """Texel within a face; places just outside count as its rim."""
    rows, cols = fine
    with np.errstate(invalid="ignore"):
        col = np.clip(across * np.float32(cols), 0, cols - 1).astype(np.int32)
        row = np.clip((1 - up) * np.float32(rows), 0, rows - 1).astype(np.int32)
    row *= cols
    row += col
    return np.asarray(row)


def _around(fine: tuple[int, int], across: Floats, up: Floats) -> tuple[Integers, Singles]:
    """Texels of a face about places 0..1 and their bilinear weights, (k, 4)."""
    rows, cols = fine
    col = np.clip(across * cols - 0.5, 0, cols - 1.001)
    row = np.clip((1 - up) * rows - 0.5, 0, rows - 1.001)
    left, top = col.astype(int), row.astype(int)
    over, down = col - left, row - top
    first = top * cols + left
    texels = np.stack([first, first + 1, first + cols, first + cols + 1], axis=1)
    sides, ends = np.stack([1 - over, over]), np.stack([1 - down, down])
    weights = ends[:, None] * sides[None]
    return texels, np.asarray(weights.reshape(4, -1).T, np.float32)


def blend(table: Singles, texels: Integers, weights: Singles) -> Singles:
    """Return the colours (k, ...) of weighted texels."""
    return np.asarray(np.einsum("kw,kw...->k...", weights, table[texels]), np.float32)


@lru_cache(maxsize=64)
def along_line(count: int, fine: int) -> Singles:
    """Weights (fine, count) that draw a straight line through the cells' middles."""
    at = np.clip((np.arange(fine) + 0.5) / fine * count - 0.5, -0.5, count - 0.5)
    low = np.clip(np.floor(at), 0, max(count - 2, 0)).astype(int)
    share = at - low
    weights = np.zeros((fine, count), np.float32)
    weights[np.arange(fine), low] += 1 - share
    weights[np.arange(fine), np.minimum(low + 1, count - 1)] += share
    return weights


def _footprint(surfaces: Sequence[Surface]) -> Flat:
    shape = surfaces[0].shape
    assert isinstance(shape, Flat)
    return shape


def _uncovered(table: Flat, face: FaceGrid, sheet: Flat) -> Doubles:
    """Share of each table cell that the sheet does not lie on."""

    def overlap(edges: Doubles, half: float) -> Doubles:
        low, high = np.maximum(edges[:-1], -half), np.minimum(edges[1:], half)
        return np.asarray(np.maximum(high - low, 0.0) / (edges[1:] - edges[:-1]))

    x, y = table.edges(face.rows, face.cols)
    covered = np.outer(overlap(-y, sheet.half_height), overlap(x, sheet.half_width))
    return (1.0 - covered).ravel()
