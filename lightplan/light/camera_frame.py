"""The camera's frame: which pixel sees which point of the sheet, and what lies beside it."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from lightplan.light import coat
from lightplan.light.cells import METAL_TEXEL, Patchwork
from lightplan.light.compiled import mixing, tracing
from lightplan.light.kept import Kept, Moves
from lightplan.light.lattice import Lattice, Readings
from lightplan.light.packed import Packed
from lightplan.light.ray_bundle import Rays
from lightplan.process import beside
from lightplan.scene import relief

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.arrays import Doubles, Floats, Integers, Singles
    from lightplan.light.detail import Detail
    from lightplan.light.surround import Surroundings
    from lightplan.scene.rig import Rig
    from lightplan.scene.sheet import Paper
    from lightplan.scene.surfaces import Surface


MANY_PIXELS = 300_000
"""Pixels of a frame that is made beside the light: that takes a tenth of the light's time."""


class CameraFrame(Kept):
    """Pixels of the camera's picture and what each of them looks at."""

    def __init__(self, rig: Rig, grid: Lattice, detail: Detail) -> None:
        self._rig, self._grid = rig, grid
        self.shape = (detail.camera_rows, detail.camera_cols)
        self._origin = np.asarray(rig.camera.placement.position_mm)
        directions = np.empty((detail.camera_rows * detail.camera_cols, 3))
        tracing.pixel_rays(
            *rig.camera.axes(), *rig.camera.half_angles_tan(), *self.shape, directions
        )
        points = relief.meet(rig.sheet, self._origin, directions)
        inside = np.abs(points[:, 0]) <= rig.sheet.width_mm / 2
        inside &= np.abs(points[:, 1]) <= rig.sheet.height_mm / 2
        self._on = np.flatnonzero(inside)
        self._points = points.take(self._on, axis=0)  # quicker than by brackets
        self._reading = Readings.of(grid, self._points[:, :2])
        self._off = np.flatnonzero(~inside)
        before = directions.take(self._on, axis=0)
        self._before = Rays(self._origin[None], before[None])
        self._beside = Rays(self._origin[None], directions.take(self._off, axis=0)[None])
        self._waiting: frozenset[int] = frozenset()
        self._current = False
        self._way = (self._points[:, 2] - self._origin[2]) / before[:, 2]

    def renumber(self, moves: Moves) -> None:
        """Count surfaces and texels anew."""
        self._before.renumber(moves)
        self._beside.renumber(moves)
        self._waiting = frozenset(moves.went[i] for i in self._waiting if i in moves.went)
        self._current = False

    def update(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, changed: frozenset[int]
    ) -> None:
        """Follow moved surfaces; the work is done when the frame is next looked at."""
        self._surfaces, self._patchwork = surfaces, patchwork
        self._waiting |= changed
        self._current = self._current and not self._waiting

    def _catch_up(self) -> None:
        if self._current:
            return
        surfaces, patchwork, changed = self._surfaces, self._patchwork, self._waiting
        before, beside = self._before.fork(), self._beside.fork()
        own = frozenset(i for i, s in enumerate(surfaces) if s.role == "camera")
        table = frozenset(i for i, s in enumerate(surfaces) if s.role in ("table", "room"))
        before.update(surfaces, patchwork, changed, own | table | {0})
        beside.update(surfaces, patchwork, changed, own)
        self._hidden = before.distance[0] < self._way - 1.0
        self._before, self._beside = before, beside
        self._waiting, self._current = frozenset(), True  # last: what breaks off is done again

    @property
    def xyz_mm(self) -> Doubles:
        """Point of the sheet under each pixel, (r, c, 3); NaN where it is not seen."""
        self._catch_up()
        xyz = np.empty((*self.shape, 3))
        mixing.lay(self._points, self._on, self._hidden, xyz.reshape(-1, 3))
        return xyz

    def show(self, layer: Singles) -> Singles:
        """Return a layer of the sheet's grid in the camera's frame; NaN off the sheet."""
        self._catch_up()
        picture = np.empty((*self.shape, 3), np.float32)
        mixing.lay(self._reading.read(layer), self._on, self._hidden, picture.reshape(-1, 3))
        return picture

    def surround(self, texels: Singles, surroundings: Surroundings) -> Singles:
        """Return what is seen beside (and before) the sheet; NaN on the sheet."""
        self._catch_up()
        picture = np.full((self.shape[0] * self.shape[1], 3), np.nan, np.float32)
        picture[self._off] = self._smooth(self._beside, texels, surroundings)
        if self._hidden.any():
            hidden = self._on[self._hidden]
            picture[hidden] = self._smooth(self._before, texels, surroundings)[self._hidden]
        return picture.reshape(*self.shape, 3)

    def _smooth(self, rays: Rays, texels: Singles, surroundings: Surroundings) -> Singles:
        """Return what rays see, interpolated between texels so that none shows."""
        seen = _seen(rays, texels, surroundings)
        scene, patchwork = Packed.of(self._surfaces), self._patchwork
        faces = np.zeros((len(self._surfaces), 2, 3), np.int64)
        for index in np.flatnonzero(scene.flat).tolist():
            faces[index] = patchwork.seen_faces(self._surfaces, index)
        rays.smooth(scene, faces, np.ascontiguousarray(texels), seen)
        for index in np.flatnonzero(~scene.flat).tolist():
            mine = np.flatnonzero(rays.surface[0] == index)
            if mine.size:
                shape = self._surfaces[index].shape
                crossing = shape.trace(rays.origins, rays.directions[:, mine])
                found = patchwork.between_texels(index, crossing, texels)
                seen[mine] = np.where(np.isnan(found), seen[mine], found)
        return seen

    def compose(
        self,
        paper: Singles,
        foil: Singles,
        foil_share: Singles,
        texels: Singles,
        surroundings: Surroundings,
    ) -> Singles:
        """Return the whole picture, (r, c, 3) cd/m2, foil laid over paper by its share."""
        self._catch_up()
        picture = np.empty((self.shape[0] * self.shape[1], 3), np.float32)
        _show(self._beside, texels, surroundings, self._off, picture)
        share = np.ascontiguousarray(foil_share, np.float32).reshape(-1)
        self._reading.mix(paper, foil, share, self._on, picture)
        if self._hidden.any():
            hidden = self._on[self._hidden]
            picture[hidden] = _seen(self._before, texels, surroundings)[self._hidden]
        return picture.reshape(*self.shape, 3)

    def coat_passes(self, paper: Paper) -> Floats:
        """Share of light that leaves a coat towards the camera on the sheet's grid."""
        points, normals = self._grid.points(self._rig.sheet)
        views = self._origin - points
        cosine = np.sum(views * normals, axis=1) / np.linalg.norm(views, axis=1)
        share = coat.passes(paper, cosine).astype(np.float32)
        return share.reshape(*self._grid.shape, 1)


def frame_maker(
    rig: Rig, grid: Lattice, detail: Detail, *, wanted: bool
) -> Callable[[], CameraFrame]:
    """Return what gives a rig's frame; a large one that is wanted is begun at once, in a thread."""
    make = partial(CameraFrame, rig, grid, detail)
    if wanted and detail.camera_rows * detail.camera_cols > MANY_PIXELS:
        return beside(make, "frame").result
    return make


def _seen(rays: Rays, texels: Singles, surroundings: Surroundings) -> Singles:
    """Return what rays see, (n, 3)."""
    count = rays.texel.shape[1]
    seen = np.empty((count, 3), np.float32)
    _show(rays, texels, surroundings, np.arange(count), seen)
    return seen


def _show(
    rays: Rays, texels: Singles, surroundings: Surroundings, pixels: Integers, picture: Singles
) -> None:
    """Write what rays see to pixels (n,) of a picture (p, 3)."""
    mixing.show_texels(rays.texel[0], METAL_TEXEL, texels, pixels, picture)
    if not surroundings.is_dark:
        free = rays.escaped()[0]
        picture[pixels[free]] = surroundings.towards(rays.directions[0][free])
