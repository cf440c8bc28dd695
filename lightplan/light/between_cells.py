"""What lamps give to cards between the middles of their cells, for what mirrors see of them.

Bounced light is smooth from cell to cell. Light straight from a lamp is not where the lamp is
near or a shadow's edge lies on the card. Foil shows such a card sharply: where the cells' own
light bends, lamps are looked at anew on a finer grid, and the texels get the difference.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import smooth_step
from lightplan.geometry.shapes import Flat
from lightplan.light.cells import along_line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Singles
    from lightplan.light.cells import FaceGrid, Patchwork
    from lightplan.light.direct import DirectLight
    from lightplan.light.emission import LampFace
    from lightplan.light.lights import Lights
    from lightplan.scene.surfaces import Surface

ROLES = ("card", "diffuser")
FINER = 2  # points for a cell, along and across
# Second differences of the cells' light over its greatest; lines through cells are off by an
# eighth of them. Below the first figure the cells do, above the second the finer grid does.
EVEN, BENT = 0.02, 0.04


@dataclass(frozen=True, eq=False)
class BetweenCells:
    """What faces get from lamps beyond what lines through their cells say.

    Parameters
    ----------
    faces : tuple of (FaceGrid, (lamps, texels) float32)
        View factors of the lamps at each texel, less those read between cells.
    """

    faces: tuple[tuple[FaceGrid, Singles], ...]

    @classmethod
    def of(
        cls,
        surfaces: Sequence[Surface],
        lamps: Sequence[LampFace],
        patchwork: Patchwork,
        cell_light: Doubles,
        direct: DirectLight,
    ) -> BetweenCells:
        """Return what a scene's faces get; `cell_light` (lamps, c) is what their cells do."""
        bent = []
        for face in patchwork.faces if len(lamps) else ():
            surface = surfaces[face.surface]
            if surface.role in ROLES and isinstance(surface.shape, Flat):
                coarse = cell_light[:, face.cells].reshape(-1, face.rows, face.cols)
                if (share := _how_bent(coarse)) > 0:
                    bent.append((face, coarse, share))
        if not bent:
            return cls(())
        grids = [_finer_grid(surfaces[face.surface], face) for face, _, _ in bent]
        sizes = [len(points) for points, _ in grids]
        points, normals = (np.concatenate(parts) for parts in zip(*grids, strict=True))
        owners = np.repeat([face.surface for face, _, _ in bent], sizes)
        found = direct.update(surfaces, lamps, points, normals, owners, called="finer grids")
        parts = np.split(found, np.cumsum(sizes)[:-1], axis=1)
        return cls(
            tuple(
                (face, share * _difference(face, coarse, fine))
                for (face, coarse, share), fine in zip(bent, parts, strict=True)
            )
        )

    def add(self, table: Singles, patchwork: Patchwork, lights: Lights) -> None:
        """Add what texels (t, k, 3) show of it, in place."""
        if not self.faces:
            return
        flat = np.asarray(lights.lamps.reshape(len(lights.lamps), -1), np.float32)
        for face, more in self.faces:
            received = (more.T @ flat).reshape(-1, *table.shape[1:])
            other = patchwork.beyond(face)
            table[face.texels] += received * patchwork.diffuse[face.first_cell]
            if other is not None:
                table[other.texels] += received * patchwork.passes[other.first_cell]
        np.maximum(table, 0.0, out=table)  # a difference may reach below nothing


def _how_bent(coarse: Doubles) -> float:
    """Return how far the cells' light (lamps, rows, cols) asks for more, from 0 to 1."""
    greatest = coarse.max(initial=0.0, axis=(1, 2))
    scale = np.maximum(greatest, 1e-12)[:, None, None]
    steps = [np.abs(np.diff(coarse, 2, axis=axis)) / scale for axis in (1, 2)]
    bent = max((float(step.max(initial=0.0)) for step in steps), default=0.0)
    return float(smooth_step(np.asarray(bent), EVEN, BENT))


def _finer_grid(surface: Surface, face: FaceGrid) -> tuple[Doubles, Doubles]:
    cells = surface.shape.grid(FINER * face.rows, FINER * face.cols)
    return cells.centres, cells.normals if face.is_front else -cells.normals


def _difference(face: FaceGrid, coarse: Doubles, fine: Doubles) -> Singles:
    """Return (lamps, texels): the finer grid's light there, less that of the cells."""
    rows, cols = FINER * face.rows, FINER * face.cols
    fine = fine.reshape(-1, rows, cols)
    found = _spread(fine, face.fine) - _spread(coarse, face.fine)
    return np.asarray(found.reshape(len(fine), math.prod(face.fine)), np.float32)


def _spread(grid: Doubles, fine: tuple[int, int]) -> Doubles:
    """Return values (lamps, rows, cols) on straight lines at texels (lamps, down, across)."""
    down, across = along_line(grid.shape[1], fine[0]), along_line(grid.shape[2], fine[1])
    return np.asarray(down @ grid @ across.T)
