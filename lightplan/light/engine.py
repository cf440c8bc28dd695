"""The light engine: from a rig to what paper and foil look like everywhere on the sheet.

An engine remembers rays, shadows and view factors. Asked about a rig in which only lamps
and cards moved, it works out anew what these touch.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from lightplan.arrays import Doubles, Integers, Singles
from lightplan.light import coat, emission
from lightplan.light.bounce import System, ViewFactors, times
from lightplan.light.cells import Patchwork
from lightplan.light.detail import Detail
from lightplan.light.direct import DirectLight
from lightplan.light.foil import FoilLight
from lightplan.light.frame import CameraFrame
from lightplan.light.lattice import Lattice
from lightplan.light.layers import LampLayers, Layers
from lightplan.light.metal import coating
from lightplan.light.mirror_view import mirrored_names
from lightplan.light.outlook import Outlook
from lightplan.light.polarise import UNPOLARISED_SHARE
from lightplan.light.sky import Skylight
from lightplan.light.surround import Surroundings
from lightplan.light.table import ruled
from lightplan.light.transfer import MirrorFace, MirrorTransfer
from lightplan.scene.rig import Rig
from lightplan.scene.surfaces import Surface, build_surfaces

SHEET = 0
_Transfer: TypeAlias = tuple[Integers, MirrorTransfer]


@dataclass(frozen=True, eq=False)
class _Lights:
    """k lights that are worked out together.

    lamps (lamps, k, 3) is the luminance of every lamp's face, sky (k,) the share of the
    surroundings, 0 or 1.
    """

    lamps: Doubles
    sky: Singles

    @classmethod
    def together(cls, lamps: Doubles) -> _Lights:
        """Return one light: lamps (lamps, 3) and surroundings as they are in the rig."""
        return cls(lamps[:, None], np.ones(1, np.float32))

    @classmethod
    def apart(cls, lamps: Doubles) -> _Lights:
        """Return each lamp alone, and the surroundings alone."""
        count = len(lamps)
        alone = np.eye(count, count + 1)[..., None] * lamps[:, None]
        return cls(alone, np.append(np.zeros(count), 1.0).astype(np.float32))

    def from_lamps(self, factors: Doubles) -> Doubles:
        """Return what points get straight from the lamps, (n, k, 3), for factors (lamps, n)."""
        shape = self.lamps.shape[1:]
        flat = self.lamps.reshape(len(self.lamps), math.prod(shape))
        return (factors.T @ flat).reshape(-1, *shape)


@dataclass(frozen=True, eq=False)
class _Worlds:
    """What is seen when the sheet is paper and when it is foil, under k lights.

    coarse (n, k, 3) is the bounced light on the paper.
    """

    paper: Outlook
    foil: Outlook
    coarse: Singles


class Engine:
    """Predicts the light on one sheet for one camera.

    Parameters
    ----------
    rig : Rig
    detail : Detail
        How finely to look.

    Examples
    --------
    >>> from lightplan.scene import Camera, Lamp, Output, Placement, Rig, Sheet
    >>> lamp = Lamp(name="key", placement=Placement((0, 850, 850)),
    ...             output=Output(value=1000, unit="cd/m2"))
    >>> rig = Rig(title="glare", sheet=Sheet(width_mm=148, height_mm=105), lamps=(lamp,),
    ...           camera=Camera(placement=Placement((0, -640, 640))))
    >>> layers = Engine(rig, Detail.quick()).layers(rig)
    >>> bool(layers.sheet_foil.mean() > 5 * layers.sheet_paper.mean())
    True
    """

    def __init__(self, rig: Rig, detail: Detail | None = None) -> None:
        self.detail = Detail() if detail is None else detail
        self._rebuild(rig)

    def _rebuild(self, rig: Rig, surfaces: tuple[Surface, ...] | None = None) -> None:
        self._rig = rig
        self._surfaces = self._dress(rig) if surfaces is None else surfaces
        self._lamps = emission.lamp_faces(rig, self._surfaces)
        self._patchwork = Patchwork(
            self._surfaces, len(rig.lamps), self.detail.cells, self.detail.texels,
            self.detail.thin_cells,
        )  # fmt: skip
        self._surroundings = Surroundings(rig.room)
        self._place_points(rig)
        self._make_parts(rig)
        self._follow(frozenset(range(len(self._surfaces))))

    def _place_points(self, rig: Rig) -> None:
        sheet = rig.sheet
        self.fine = Lattice.over(sheet, self.detail.direct_long_side)
        self.coarse = Lattice.over(sheet, self.detail.bounce_long_side)
        self.grid = Lattice.over(sheet, self.detail.sheet_long_side, least=2)
        self._fine_at = self.fine.points(sheet)
        self._coarse_at = self.coarse.points(sheet)

    def _make_parts(self, rig: Rig) -> None:
        self._cell_direct = DirectLight(self.detail.cell_lamp_spots)
        self._cell_factors = ViewFactors(self.detail.near)
        self._cell_sky = Skylight(self._surroundings, self.detail.cell_sky_rays, _thin(rig))
        self._paper_direct = DirectLight(self.detail.lamp_spots, finer=self.detail.penumbra_spots)
        self._paper_factors = ViewFactors(self.detail.near)
        sheet_only = frozenset((SHEET,))
        self._paper_sky = Skylight(self._surroundings, self.detail.sky_rays, sheet_only)
        self._foil = FoilLight.of_foil(rig, self._surfaces, self.detail)
        self._coat = None
        if rig.sheet.paper.coat_index is not None:
            self._coat = FoilLight.of_coat(rig, self._surfaces, self.detail)
        self._frame = CameraFrame(rig, self.grid, self.detail)
        silver = _silver_faces(self._surfaces)
        foil = self._foil.face
        owners, spots = self._patchwork.owners, self.detail.mirror_spots
        everywhere = np.arange(len(owners))
        self._silver = [(everywhere, MirrorTransfer(f, spots)) for f in silver]
        self._by_foil: list[_Transfer] = []
        if self.detail.mirror_rounds > 0:
            self._by_foil = [(np.flatnonzero(owners != SHEET), MirrorTransfer(foil, spots))]
        self._silver_to_paper = [MirrorTransfer(f, spots) for f in silver]

    def _follow(self, changed: frozenset[int]) -> None:
        """Bring everything up to date with the surfaces that changed."""
        surfaces, patchwork, lamps = self._surfaces, self._patchwork, self._lamps
        patchwork.place(surfaces, changed)
        cells = patchwork.geometry
        points, normals, owners = cells.centres, cells.normals, patchwork.owners
        common = (surfaces, lamps, changed)
        self._cell_light = self._cell_direct.update(*common, points, normals, owners)
        self._factors = self._cell_factors.update(
            surfaces,
            patchwork,
            changed,
            points,
            normals,
            owners,
            of_cells=True,
        )
        self._systems = self._both_systems()
        self._sky_on_cells = self._cell_sky.update(surfaces, changed, points, normals, owners)
        self._follow_sheet(changed)
        for part, transfer in (*self._silver, *self._by_foil):
            transfer.update(
                surfaces, patchwork, lamps, changed, points[part], normals[part], owners[part]
            )
        self._foil.update(surfaces, patchwork, lamps, changed)
        if self._coat is not None:
            self._coat.update(surfaces, patchwork, lamps, changed)
        self._frame.update(surfaces, patchwork, changed)

    def _both_systems(self) -> tuple[System, System]:
        """Return the bounce light with the sheet as paper, and as foil (which scatters nothing)."""
        patchwork = self._patchwork
        black = patchwork.diffuse.copy()
        black[patchwork.owners == SHEET] = 0.0
        rest = (patchwork.passes, patchwork.opposite)
        return (
            System(self._factors, patchwork.diffuse, *rest), System(self._factors, black, *rest),
        )  # fmt: skip

    def _follow_sheet(self, changed: frozenset[int]) -> None:
        surfaces, patchwork = self._surfaces, self._patchwork
        fine, coarse = self._fine_at, self._coarse_at
        fine_owner, coarse_owner = np.zeros(len(fine[0]), int), np.zeros(len(coarse[0]), int)
        self._paper_light = self._paper_direct.update(
            surfaces, self._lamps, changed, *fine, fine_owner
        )
        self._paper_from = self._paper_factors.update(
            surfaces, patchwork, changed, *coarse, coarse_owner, of_cells=False
        )
        self._sky_on_paper = self._paper_sky.update(surfaces, changed, *coarse, coarse_owner)
        for transfer in self._silver_to_paper:
            transfer.update(surfaces, patchwork, self._lamps, changed, *coarse, coarse_owner)

    def set_rig(self, rig: Rig) -> None:
        """Move to another rig, reusing what still holds."""
        if rig is self._rig:
            return
        surfaces = self._dress(rig, rule=self.detail.rule_table_anew)
        same_things = rig.room is self._rig.room and len(surfaces) == len(self._surfaces)
        if same_things and not self.detail.rule_table_anew:
            # also where all else is built anew: what is seen must not depend on what was before
            surfaces = _keep_table(surfaces, self._surfaces)
        if not self._same_kind(rig, surfaces):
            self._rebuild(rig, surfaces if same_things else None)
            return
        pairs = enumerate(zip(self._surfaces, surfaces, strict=True))
        changed = frozenset(i for i, (old, new) in pairs if old.shape != new.shape)
        self._rig, self._surfaces = rig, surfaces
        if changed:
            self._lamps = emission.lamp_faces(rig, surfaces)
            self._follow(changed)

    def _dress(self, rig: Rig, *, rule: bool = True) -> tuple[Surface, ...]:
        """Return the surfaces of the rig: the sheet's coat counted in, the table ruled."""
        sheet, *rest = build_surfaces(rig)
        face = replace(sheet.front, diffuse=coat.albedo(rig.sheet.paper))
        surfaces = (replace(sheet, front=face), *rest)
        if not rule:
            return surfaces
        return ruled(surfaces, self.detail.cells, self.detail.thin_cells)

    def _same_kind(self, rig: Rig, surfaces: Sequence[Surface]) -> bool:
        old = self._rig
        # exposure and white balance do not touch the light on the sheet
        setting = {"exposure": old.camera.exposure, "white_balance_k": old.camera.white_balance_k}
        same_camera = replace(rig.camera, **setting) == old.camera  # type: ignore[arg-type]
        same_fixed = same_camera and rig.sheet is old.sheet and rig.room is old.room
        profiles = all(a.profile is b.profile for a, b in zip(rig.lamps, old.lamps, strict=False))
        if not (same_fixed and profiles and len(surfaces) == len(self._surfaces)):
            return False
        pairs = zip(surfaces, self._surfaces, strict=True)
        return all(_same_but_for_shape(one, other) for one, other in pairs)

    def _settle(self, lights: _Lights) -> _Worlds:
        """Solve all bounces with the sheet as paper and with the sheet as foil."""
        source = lights.from_lamps(self._cell_light)
        source += lights.sky[:, None] * self._sky_on_cells[:, None]
        of_paper, of_foil = self._systems
        paper, values = self._settle_world(source, of_paper, self._silver, lights)
        foil, _ = self._settle_world(source, of_foil, (*self._silver, *self._by_foil), lights)
        coarse = times(self._paper_from, values)
        coarse += lights.sky[:, None] * self._sky_on_paper[:, None]
        for transfer in self._silver_to_paper:
            coarse += transfer.evaluate(paper)
        return _Worlds(paper, foil, coarse)

    def _settle_world(
        self, source: Doubles, system: System, transfers: Sequence[_Transfer], lights: _Lights
    ) -> tuple[Outlook, Singles]:
        """Return what is seen in one world and the cells' luminances."""
        values = system.settle(source)
        outlook = self._outlook(values, lights)
        settled = np.zeros(len(lights.sky), bool)
        for _ in range(max(1, self.detail.mirror_rounds) if transfers else 0):
            extra = source.astype(np.float32)
            for part, transfer in transfers:
                extra[part] += transfer.evaluate(outlook)
            before, values = values, system.settle(extra)
            values[:, settled] = before[:, settled]  # as if it were the only light
            outlook = self._outlook(values, lights)
            step = np.abs(values - before).max(axis=(0, 2), initial=0)
            settled = step <= 1e-3 * values.max(axis=(0, 2), initial=0)
            if settled.all():
                break
        return outlook, values

    def _outlook(self, values: Singles, lights: _Lights) -> Outlook:
        texels = self._patchwork.look_up(values, lights.lamps)
        return Outlook(texels, self._surroundings, lights.sky)

    def _paper(self, worlds: _Worlds, lights: _Lights) -> Singles:
        """Luminance of the sheet as paper on the sheet's grid, (rows, cols, k, 3)."""
        paper = self._rig.sheet.paper
        direct = lights.from_lamps(self._paper_light)
        coarse = worlds.coarse
        if paper.coat_index is not None:
            lets_in = self._coat_lets_in(paper.coat_index)
            direct = lights.from_lamps(self._paper_light * lets_in)
            coarse = coarse * (1 - coat.outside_reflectance(paper.coat_index))
        body = coat.body(paper)
        total = self.fine.spread_to(self.grid, direct * body)
        total += self.coarse.spread_to(self.grid, coarse * body)
        if self._coat is not None and paper.coat_index is not None:
            total *= self._frame.coat_passes(paper.coat_index)[..., None]
        if self._rig.camera.polariser_rad is not None:
            total *= np.float32(UNPOLARISED_SHARE)
        if self._coat is not None:
            total += self._coat.evaluate(worlds.paper, self.grid)
        return np.asarray(total, np.float32)

    def _coat_lets_in(self, index: float) -> Doubles:
        """Share of each lamp's light that crosses the coat at each fine point."""
        points, normals = self._fine_at
        rows = []
        for lamp in self._lamps:
            step = np.asarray(lamp.shape.centre) - points
            cosine = np.sum(step * normals, axis=1) / np.linalg.norm(step, axis=1)
            rows.append(coat.passes(index, cosine))
        return np.array(rows, float).reshape(len(self._lamps), len(points))

    def _both(self, lights: _Lights) -> tuple[_Worlds, Singles, Singles]:
        """Return worlds, paper and foil under k lights, the last two (rows, cols, k, 3)."""
        worlds = self._settle(lights)
        paper = self._paper(worlds, lights)
        return worlds, paper, self._foil.evaluate(worlds.foil, self.grid)

    def _as_lit(self, rig: Rig) -> tuple[Singles, Singles, Singles]:
        """Return texels (t, 3), and paper and foil (rows, cols, 3), under all lamps as set."""
        self.set_rig(rig)
        worlds, paper, foil = self._both(_Lights.together(emission.lamp_luminances(rig)))
        return worlds.paper.texels[:, 0], paper[:, :, 0], foil[:, :, 0]

    def sheet(self, rig: Rig) -> tuple[Singles, Singles]:
        """Return (paper, foil) luminance on the sheet's grid, (rows, cols, 3) each, cd/m2."""
        _, paper, foil = self._as_lit(rig)
        return paper, foil

    def layers(self, rig: Rig) -> Layers:
        """Return everything that is predicted for a rig."""
        texels, paper, foil = self._as_lit(rig)
        sees, names = mirrored_names(rig, self._surfaces, self._patchwork, self.grid)
        camera = self._frame
        return Layers(
            sheet_x_mm=self.grid.x_mm.copy(), sheet_y_mm=self.grid.y_mm.copy(),
            sheet_paper=paper, sheet_foil=foil, sees=sees, sees_names=names,
            camera_xyz_mm=camera.xyz_mm.copy(), camera_paper=camera.show(paper),
            camera_foil=camera.show(foil),
            camera_surround=camera.surround(texels, self._surroundings),
        )  # fmt: skip

    def picture(self, rig: Rig, foil_share: Singles) -> Singles:
        """Return the camera's picture in cd/m2, (r, c, 3), for foil shares (r, c) per pixel.

        The quickest way to a picture: while lamps and cards move, only what they touch is
        worked out, and each pixel reads only the layers it shows.
        """
        texels, paper, foil = self._as_lit(rig)
        return self._frame.compose(paper, foil, foil_share, texels, self._surroundings)

    def per_lamp(self, rig: Rig) -> LampLayers:
        """Return the sheet under each lamp alone at full power, and the surroundings alone."""
        self.set_rig(rig)
        full = emission.lamp_luminances(rig, trimmed=False)
        _, *both = self._both(_Lights.apart(full))
        paper, foil = (np.ascontiguousarray(layer.transpose(2, 0, 1, 3)) for layer in both)
        return LampLayers((*(lamp.name for lamp in rig.lamps), "surroundings"), paper, foil)


def _keep_table(new: Sequence[Surface], old: Sequence[Surface]) -> tuple[Surface, ...]:
    """Return the new surfaces, the table ruled as before."""
    pairs = zip(new, old, strict=True)
    return tuple(one if one.role == "table" else two for two, one in pairs)


def _same_but_for_shape(one: Surface, other: Surface) -> bool:
    return replace(one, shape=other.shape) == other


def _thin(rig: Rig) -> frozenset[int]:
    """Return the sheet if it lies wholly on a table, to be left out of the cells' sky.

    The cells under it are then lit as their neighbours, and no dark rim shows round it.
    """
    table, sheet = rig.room.table, rig.sheet
    covers = table is not None and (
        table.width_mm >= sheet.width_mm and table.depth_mm >= sheet.height_mm
    )
    return frozenset((SHEET,)) if covers else frozenset()


def _silver_faces(surfaces: Sequence[Surface]) -> list[MirrorFace]:
    found = []
    for index, surface in enumerate(surfaces):
        for face, is_front in ((surface.front, True), (surface.back, False)):
            if face.is_metal:
                found.append(
                    MirrorFace(
                        index, is_front=is_front, curve=coating(face),
                        roughness=(face.roughness, face.roughness),
                    )
                )  # fmt: skip
    return found
