"""The edge of stamped foil: the slope from the paper down to the pressed foil, a tilted mirror.

How steep it is follows from depth and width of the flank, and which way it faces from the
outline of the artwork. So what a flank shows hangs on three numbers alone: where on the sheet
it is (it changes slowly there) and which way it faces. It is worked out on a coarse grid for
a few directions all round and read between them; the artwork then tells which pixel shows
how much of which flank. Left out: what the opposite flank or the paper hides of a slope or throws
on it, and the rounding of its two edges.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np

from lightplan.arrays import Doubles, Integers, Singles, read_only
from lightplan.light.compiled import flanks
from lightplan.light.compiled.nearest import nearest_marked
from lightplan.light.compiled.softening import soften
from lightplan.light.foil import foil_curve_of, polariser_axis
from lightplan.light.glossy import GlossyLight
from lightplan.light.lattice import Lattice
from lightplan.light.mirror_face import MirrorFace
from lightplan.scene.relief import mirror_normals

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.light.cells import Patchwork
    from lightplan.light.detail import Detail
    from lightplan.light.emission import LampFace
    from lightplan.light.mirrors import Mirrors
    from lightplan.light.outlook import Outlook
    from lightplan.scene.rig import Rig
    from lightplan.scene.sheet import Relief, Sheet
    from lightplan.scene.surfaces import Surface

LEAST = 3
RAYS = 55
HALF = 0.5
SMOOTH_PX = 1.5  # over which the outline's direction is taken
EVEN_PX = 3.0
"""Over which it is then averaged. The artwork's pixels let it stray by some degrees from one to the
next, and a lamp that is mirrored there would turn an edge into a row of dots."""


@dataclass(frozen=True, eq=False)
class Rim:
    """What the flanks of stamped foil show.

    Attributes
    ----------
    x_mm, y_mm : (cols,), (rows,) float
        A coarse grid over the sheet; `y_mm` falls.
    luminance : (facings, rows, cols, 3) float32
        Of a flank there that faces (leans) along 360 degrees times i over `facings`, counted
        from x to y; cd/m2.
    """

    x_mm: Doubles
    y_mm: Doubles
    luminance: Singles

    def at(self, x_mm: Doubles, y_mm: Doubles, facing_rad: Doubles) -> Singles:
        """Return the luminance (n, 3) of flanks at n places that face n ways."""
        turn = turns(facing_rad, len(self.luminance))
        row, col = (places(v, g) for v, g in ((y_mm, self.y_mm), (x_mm, self.x_mm)))
        found = np.empty((len(turn), 3), np.float32)
        flanks.read_rim(turn, row, col, np.ascontiguousarray(self.luminance), found)
        return found


def turns(facing_rad: Doubles, facings: int) -> Doubles:
    """Return which way flanks face, counted in the facings of a rim, 0 to below `facings`."""
    return np.asarray(np.mod(facing_rad / (2 * np.pi), 1.0) * facings)


def places(at: Doubles, grid: Doubles) -> Doubles:
    """Return places on an even grid, counted in its steps from its first point, none outside."""
    last = len(grid) - 1
    return np.asarray(np.clip((at - grid[0]) / (grid[-1] - grid[0]) * last, 0.0, last))


@dataclass(frozen=True, eq=False)
class Outline:
    """Where the flanks are, on the pixels of the artwork.

    Attributes
    ----------
    share : (rows, cols) float
        Share of each pixel that is flank.
    row, col : (n,) int
        Pixels that have some.
    facing_rad : (n,) float
        Which way the foil lies from the edge there, from x to y.
    """

    share: Doubles
    row: Integers
    col: Integers
    facing_rad: Doubles


def rims_of(
    rig: Rig,
    surfaces: Sequence[Surface],
    patchwork: Patchwork,
    lamps: Sequence[LampFace],
    outlook: Outlook,
    detail: Detail,
) -> tuple[Rim, ...]:
    """Return what the flanks show under each light of `outlook`; nothing for level foil."""
    relief, facings = rig.sheet.foil.relief, detail.rim_facings
    if relief is None or relief.depth_mm == 0 or not facings:
        return ()
    lattice = Lattice.over(rig.sheet, detail.rim_long_side, LEAST)
    mirrors, faces_us = _flanks(rig, lattice, relief, facings)
    light = GlossyLight(
        mirrors,
        foil_curve_of(rig.sheet.foil),
        rays=RAYS,
        spots=detail.foil_spots,
        polariser=polariser_axis(rig),
        skip=frozenset((0,)),
        numbers=np.tile(np.arange(len(mirrors.points) // facings), facings),
    )
    light.update(surfaces, patchwork, lamps, frozenset())
    shown = light.evaluate(outlook) * faces_us[:, None, None]
    shape = (facings, *lattice.shape, 3)
    return tuple(
        Rim(lattice.x_mm, lattice.y_mm, shown[:, k].reshape(shape).astype(np.float32))
        for k in range(shown.shape[1])
    )


def _flanks(rig: Rig, lattice: Lattice, relief: Relief, facings: int) -> tuple[Mirrors, Doubles]:
    """Return flanks of every facing at every point, and 0 for those that turn away from us."""
    points, _ = lattice.points(rig.sheet)
    even = mirror_normals(rig.sheet, points[:, 0], points[:, 1])
    points, even = np.tile(points, (facings, 1)), np.tile(even, (facings, 1))
    facing = np.repeat(2 * np.pi * np.arange(facings) / facings, len(points) // facings)
    slope = relief.depth_mm / relief.flank_mm
    lean = np.stack([np.cos(facing), np.sin(facing), np.zeros_like(facing)], axis=1)
    normals = even + slope * lean
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    views = np.asarray(rig.camera.placement.position_mm) - points
    views /= np.linalg.norm(views, axis=1, keepdims=True)
    seen = np.sum(views * normals, axis=1) > 0.02  # beyond, the flank is seen edge-on or hidden
    normals = np.where(seen[:, None], normals, even)
    brush = rig.sheet.foil.brush_rad
    face = MirrorFace(
        0,
        is_front=True,
        curve=foil_curve_of(rig.sheet.foil),
        roughness=rig.sheet.foil.roughness,
        tangent=np.array([math.cos(brush), math.sin(brush), 0.0]),
    )
    return face.mirrors(points, normals, views), seen.astype(float)


def flank_light(rig: Rig, rim: Rim) -> Singles:
    """Return the flank's share of the artwork's pixels, and what it adds, (rows, cols, 4).

    The last three are luminance times that share.
    """
    sheet = rig.sheet
    found = outline_of(sheet)
    rows, cols = found.share.shape
    x = ((found.col + 0.5) / cols - 0.5) * sheet.width_mm
    y = (0.5 - (found.row + 0.5) / rows) * sheet.height_mm
    light = np.zeros((rows, cols, 4), np.float32)
    light[..., 0] = found.share
    share = found.share[found.row, found.col]
    light[found.row, found.col, 1:] = rim.at(x, y, found.facing_rad) * share[:, None]
    return light


@lru_cache(maxsize=4)
def outline_of(sheet: Sheet) -> Outline:
    """Return the flanks of a sheet's artwork.

    The flank reaches `flank_mm` inwards from the edge of every shape, so its share is that
    of the shape less that of the shape shrunk by it.
    """
    art, relief = np.asarray(sheet.artwork), sheet.foil.relief
    assert relief is not None
    rows, cols = art.shape
    step = (sheet.height_mm / rows, sheet.width_mm / cols)
    inwards = _inwards(art, step)
    if inwards is None:
        none = np.zeros(0, int)
        return Outline(read_only(np.zeros_like(art)), none, none, np.zeros(0))
    pixel = math.sqrt(step[0] * step[1])
    left = np.clip((inwards - relief.flank_mm) / pixel + 0.5, 0.0, 1.0)
    share = art - np.minimum(art, left)
    smooth = _softened(inwards, SMOOTH_PX, "edge")
    down, across = (np.asarray(np.gradient(smooth, s, axis=a)) for a, s in enumerate(step))
    row, col = np.nonzero(share > 1e-3)
    facing = _even_facing(-down, across, share, row, col)  # rows count towards us
    return Outline(read_only(share), row, col, facing)


def _even_facing(
    up: Doubles, across: Doubles, share: Doubles, row: Integers, col: Integers
) -> Doubles:
    """Return which way (n,) the foil lies at some pixels, averaged along the outline.

    Averaged with doubled angles, so that the two edges of a thin stroke, which face opposite
    ways, agree on how the stroke lies; each keeps its own side of it.
    """
    counted = np.nonzero(share > 0)
    across_some, up_some = across[counted], up[counted]
    weight = share[counted] / np.maximum(np.hypot(across_some, up_some), 1e-12)
    twice = np.zeros((2, *share.shape))
    twice[0][counted] = (across_some**2 - up_some**2) * weight
    twice[1][counted] = 2 * across_some * up_some * weight
    real, imaginary = (_softened(part, EVEN_PX, "symmetric")[row, col] for part in twice)
    even = np.sqrt(real + 1j * imaginary)
    way = across[row, col] + 1j * up[row, col]
    side = np.where((even * way.conj()).real < 0.0, -1.0, 1.0)
    return np.asarray(np.angle(even * side))


def _inwards(art: Doubles, step: tuple[float, float]) -> Doubles | None:
    """Return how far each pixel lies inside its shape, mm; below 0 outside; None without edges.

    The distance to the nearest pixel on an edge, and how far inside that pixel's middle is: its
    share of foil less a half, times its size.
    """
    solid = art >= HALF
    round_it = np.pad(solid, 1, constant_values=True)
    inner = round_it[:-2, 1:-1] & round_it[2:, 1:-1] & round_it[1:-1, :-2] & round_it[1:-1, 2:]
    edge = ((art > 0) & (art < 1)) | (solid & ~inner)
    if not edge.any():
        return None
    away = np.empty(art.shape)
    row, col = np.empty((2, *art.shape), np.int64)
    nearest_marked(edge, step[0], step[1], away, row, col)
    inside = (art[row, col] - HALF) * math.sqrt(step[0] * step[1])
    return np.asarray(inside + np.where(solid, away, -away))


def _softened(picture: Doubles, size_px: float, beyond: Literal["edge", "symmetric"]) -> Doubles:
    """Return a picture (rows, cols) under a Gaussian blur, cut off at four standard deviations.

    Beyond its border it is continued as `numpy.pad` does.
    """
    reach = int(4.0 * size_px + 0.5)
    weight = np.exp(-0.5 * (np.arange(-reach, reach + 1) / size_px) ** 2)
    soft = np.empty(picture.shape)
    soften(np.pad(picture, reach, mode=beyond), weight / weight.sum(), soft)
    return soft
