"""All that an engine knows of one rig: rays, shadows, view factors, and what they add up to.

Nothing here depends on powers and colours of lamps, on exposure or on artwork.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from lightplan.arrays import Integers
from lightplan.light import coat, emission
from lightplan.light.between_cells import BetweenCells
from lightplan.light.bounce import System, ViewFactors, both_systems
from lightplan.light.camera_frame import CameraFrame, frame_maker
from lightplan.light.cells import Patchwork
from lightplan.light.direct import DirectLight
from lightplan.light.foil import FoilLight, foil_lattice
from lightplan.light.kept import NEW, Kept, Moves, alike
from lightplan.light.lattice import LEAST_SIDE, Lattice
from lightplan.light.metal_hits import coating
from lightplan.light.mirror_face import MirrorFace
from lightplan.light.mirror_transfer import MirrorTransfer
from lightplan.light.sameness import in_place, same_surface, shine_alike
from lightplan.light.sky import Skylight
from lightplan.light.surround import Surroundings
from lightplan.light.table_cells import ruled
from lightplan.scene.camera import Camera, Exposure
from lightplan.scene.surfaces import Surface, build_surfaces

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterator, Sequence

    from lightplan.light.detail import Detail
    from lightplan.light.emission import LampFace
    from lightplan.scene.rig import Rig

SHEET = 0
_UNNUMBERED = ("fine", "coarse", "grid", "points")
Transfer: TypeAlias = tuple[Integers, MirrorTransfer]
_Metal: TypeAlias = tuple[int, bool, tuple[float, ...], float]


class Standing(Kept):
    """What is known of one rig at one detail.

    Every part has a key: what it was made of, by value. A part whose key has stayed follows
    the surfaces that changed; one whose key has not is made anew.

    Attributes
    ----------
    rig : Rig
    surfaces : tuple of Surface
        The sheet first; those that stayed are the same objects as before.
    lamps : tuple of LampFace
    patchwork : Patchwork
    systems : (System, System)
        The bounce light with the sheet as paper, and as foil.
    """

    rig: Rig
    patchwork: Patchwork
    surroundings: Surroundings
    systems: tuple[System, System]

    def __init__(self, detail: Detail) -> None:
        self.detail = detail
        self.surfaces: tuple[Surface, ...] = ()
        self.lamps: tuple[LampFace, ...] = ()
        self._keys: dict[str, Hashable] = {}
        self._parts: dict[str, Any] = {}

    def follow(self, rig: Rig) -> Iterator[str]:
        """Bring all up to date with a rig, and say before each step what it is.

        Between the steps all is half done: follow on a fork, and throw that away when the
        steps are not gone through to the end.
        """
        yield "surfaces"
        surfaces = _dressed(rig, self.detail)
        lamps = emission.lamp_faces(rig, surfaces)
        came = self._came(surfaces, lamps)
        same = len(came) == len(self.surfaces) and list(came) == list(range(len(came)))
        first = not self.surfaces
        self._see_room(rig)
        if first or not same:
            patchwork = Patchwork(
                surfaces,
                len(rig.lamps),
                self.detail.cells,
                self.detail.texels,
                self.detail.thin_cells,
            )
            moves = Moves(came, patchwork if first else self.patchwork, patchwork)
            old = self.surfaces
            self.surfaces = tuple(
                s if o == NEW else old[o] for s, o in zip(surfaces, came, strict=True)
            )
            self.lamps, self.patchwork = lamps, patchwork
            if not first and not in_place(moves, len(old)):
                yield "numbering"
                self._renumber(moves)
            self._changed = moves.changed
        else:
            self._changed = frozenset()
        self._touched, self.rig = first or not same, rig
        yield from self._follow()

    def _came(self, surfaces: Sequence[Surface], lamps: Sequence[LampFace]) -> tuple[int, ...]:
        """Return which surface of before each one is, by value; NEW for none."""
        faces = {face.surface: face for face in lamps}
        before = {face.surface: face for face in self.lamps}
        by_name: dict[str, list[int]] = {}
        for index, surface in enumerate(self.surfaces):
            by_name.setdefault(surface.name, []).append(index)
        came = []
        for index, surface in enumerate(surfaces):
            kin = by_name.get(surface.name, [])
            if index in kin:  # most have stayed where they were
                kin.remove(index)
                kin.insert(0, index)
            found = NEW
            for old in kin:
                shines = (faces.get(index), before.get(old))
                if same_surface(surface, self.surfaces[old]) and shine_alike(*shines):
                    found = old
                    kin.remove(old)
                    break
            came.append(found)
        if came and came[SHEET] == NEW:  # what it covers of the table has changed
            came = [NEW if s.role == "table" else o for s, o in zip(surfaces, came, strict=True)]
        return tuple(came)

    def _see_room(self, rig: Rig) -> None:
        room = (rig.room.ambient_cd_m2, rig.room.probe)
        known = getattr(self, "_room", None)
        if known is None or not alike(room, known):
            self._room, self.surroundings = room, Surroundings(rig.room)

    def _renumber(self, moves: Moves) -> None:
        """Give all parts that count surfaces, cells or texels their new numbers."""
        for name, part in list(self._parts.items()):
            if hasattr(part, "renumber"):
                part.renumber(moves)
            elif name not in _UNNUMBERED:
                self._forget(name)

    def _forget(self, name: str) -> None:
        self._parts.pop(name, None)
        self._keys.pop(name, None)

    def _part(self, name: str, key: Hashable, make: Callable[[], Any]) -> tuple[Any, bool]:
        """Return a part, and whether it is new because its key has changed."""
        if name in self._parts and self._keys[name] == key:
            return self._parts[name], False
        self._parts[name], self._keys[name] = make(), key
        return self._parts[name], True

    def _follow(self) -> Iterator[str]:
        grid, _ = self._lattice("grid", self.detail.sheet_long_side, least=LEAST_SIDE)
        framed = (_relief(self.rig), _bare(self.rig.camera))
        new = self._keys.get("frame") != framed
        make = frame_maker(self.rig, grid, self.detail, wanted=new)
        yield from self._follow_cells()
        yield from self._follow_paper()
        yield from self._follow_mirrors()
        yield "frame"
        frame, new = self._part("frame", framed, make)
        frame.update(self.surfaces, self.patchwork, self._since(new))

    def _since(self, new: bool) -> frozenset[int]:
        """Return the surfaces that a part has to look at anew, all of them for a new part."""
        return frozenset(range(len(self.surfaces))) if new else self._changed

    def _lattice(self, name: str, long_side: int, least: int = 5) -> tuple[Lattice, bool]:
        sheet = self.rig.sheet
        size = (sheet.width_mm, sheet.height_mm)
        return self._part(name, size, lambda: Lattice.over(sheet, long_side, least))

    def _follow_cells(self) -> Iterator[str]:
        """Follow what lamps, surroundings and other cells give to every cell."""
        detail, surfaces, patchwork = self.detail, self.surfaces, self.patchwork
        cells = patchwork.geometry
        at = (cells.centres, cells.normals, patchwork.owners)
        direct, _ = self._part("cell lamps", (), lambda: DirectLight(detail.cell_lamp_spots))
        factors, _ = self._part("cell factors", (), lambda: ViewFactors(detail.near, whole=True))
        if self._touched:
            yield "lamps on cells"
            self.cell_light = direct.update(surfaces, self.lamps, *at, patchwork.sub_points())
            self.between_cells = BetweenCells.of(
                surfaces, self.lamps, patchwork, self.cell_light, direct
            )
            yield "view factors"
            found = factors.update(surfaces, patchwork, self._changed, *at, of_cells=True)
            yield "bounces"
            self.systems = both_systems(found, patchwork)
        thin = _thin(self.rig)
        sky, new = self._part(
            "cell sky",
            (self.surroundings, thin),
            lambda: Skylight(self.surroundings, detail.cell_sky_rays, thin),
        )
        if self._touched or new:
            yield "surroundings on cells"
            self.sky_on_cells = sky.update(surfaces, self._since(new), *at)

    def _follow_paper(self) -> Iterator[str]:
        """Follow what lamps, surroundings and cells give to the paper."""
        detail, surfaces, lamps = self.detail, self.surfaces, self.lamps
        sheet, relief = self.rig.sheet, _relief(self.rig)
        enters = coat.Entering.of(sheet.paper)
        fine, _ = self._lattice("fine", detail.direct_long_side)
        coarse, _ = self._lattice("coarse", detail.bounce_long_side)
        (self.fine_at, self.coarse_at), _ = self._part(
            "points", relief, lambda: (fine.points(sheet), coarse.points(sheet))
        )
        fine_at = (*self.fine_at, np.zeros(len(self.fine_at[0]), int))
        coarse_at = (*self.coarse_at, np.zeros(len(self.coarse_at[0]), int))
        direct, new = self._part(
            "paper lamps",
            (relief, enters),
            lambda: DirectLight(detail.lamp_spots, finer=detail.penumbra_spots, enters=enters),
        )
        if self._touched or new:
            yield "lamps on paper"
            self.paper_light = direct.update(surfaces, lamps, *fine_at)
        factors, new = self._part(
            "paper factors",
            (relief, enters),
            lambda: ViewFactors(detail.near, whole=False, enters=enters),
        )
        if self._touched or new:
            yield "cells on paper"
            self.paper_from = factors.update(
                surfaces, self.patchwork, self._since(new), *coarse_at, of_cells=False
            )
        sky, new = self._part(
            "paper sky",
            (relief, self.surroundings, enters),
            lambda: Skylight(self.surroundings, detail.sky_rays, frozenset((SHEET,)), enters),
        )
        if self._touched or new:
            yield "surroundings on paper"
            self.sky_on_paper = sky.update(surfaces, self._since(new), *coarse_at)
        yield from self._follow_silver(coarse_at, enters)

    def _follow_silver(
        self, coarse_at: tuple[Any, ...], enters: coat.Entering | None
    ) -> Iterator[str]:
        """Follow what silvered cards throw on cells and paper."""
        metals = tuple(_metals(self.surfaces))
        spots, owners = self.detail.mirror_spots, self.patchwork.owners
        faces = [_mirror_face(self.surfaces, metal) for metal in metals]
        everywhere = np.arange(len(owners))
        self.silver, new = self._part(
            "silver", metals, lambda: [(everywhere, MirrorTransfer(f, spots)) for f in faces]
        )
        yield from self._follow_transfers(self.silver, new)
        self.silver_to_paper, new = self._part(
            "silver to paper",
            (metals, _relief(self.rig), enters),
            lambda: [MirrorTransfer(f, spots, enters) for f in faces],
        )
        for transfer in self.silver_to_paper if self._touched or new else ():
            yield "silver to paper"
            transfer.update(self.surfaces, self.patchwork, self.lamps, self._since(new), *coarse_at)

    def _follow_transfers(self, transfers: Sequence[Transfer], new: bool) -> Iterator[str]:
        cells, owners = self.patchwork.geometry, self.patchwork.owners
        for part, transfer in transfers if self._touched or new else ():
            yield "mirrored light on cells"
            transfer.update(
                self.surfaces,
                self.patchwork,
                self.lamps,
                self._since(new),
                cells.centres[part],
                cells.normals[part],
                owners[part],
            )

    def _follow_mirrors(self) -> Iterator[str]:
        """Follow what foil and coat show the camera, and what the foil throws back on cells."""
        rig, detail = self.rig, self.detail
        paper, foil = rig.sheet.paper, rig.sheet.foil
        silver = self.patchwork.has_metal
        yield "foil"
        self.foil = self._follow_mirror(
            "foil",
            (foil, paper.waviness, silver),
            min(foil.roughness),
            lambda lattice: FoilLight.of_foil(rig, lattice, detail, has_silver=silver),
        )
        self.coat: FoilLight | None = None
        if paper.coat_index is None:
            self._forget("coat")  # or it would miss what moves until there is one again
        else:
            yield "coat"
            self.coat = self._follow_mirror(
                "coat",
                paper,
                paper.coat_roughness,
                lambda lattice: FoilLight.of_coat(rig, lattice, detail),
            )
        self.by_foil: list[Transfer] = []
        if detail.mirror_rounds > 0:
            beside = np.flatnonzero(self.patchwork.owners != SHEET)
            face, size = self.foil.face, (rig.sheet.width_mm, rig.sheet.height_mm)
            self.by_foil, new = self._part(
                "by foil",
                (size, foil, face.roughness, face.bow),
                lambda: [(beside, MirrorTransfer(face, detail.mirror_spots))],
            )
            yield from self._follow_transfers(self.by_foil, new)

    def _follow_mirror(
        self, name: str, finish: Hashable, roughness: float, make: Callable[[Lattice], FoilLight]
    ) -> FoilLight:
        camera = self.rig.camera
        turned = None if camera.polariser_rad is None else (camera.placement, camera.polariser_rad)
        seen = (_relief(self.rig), finish, camera.placement.position_mm, turned)
        known = self._keys.get(name)
        if self._touched or known is None or known[0] != seen:  # type: ignore[index]
            lattice = foil_lattice(self.rig, self.surfaces, self.detail, roughness)
            part, new = self._part(name, (seen, lattice.shape), lambda: make(lattice))
            part.update(self.surfaces, self.patchwork, self.lamps, self._since(new))
        found: FoilLight = self._parts[name]
        return found

    @property
    def frame(self) -> CameraFrame:
        """What each pixel looks at."""
        found: CameraFrame = self._parts["frame"]
        return found

    @property
    def fine(self) -> Lattice:
        """Where lamp light on paper is worked out."""
        found: Lattice = self._parts["fine"]
        return found

    @property
    def coarse(self) -> Lattice:
        """Where bounced light on paper is worked out."""
        found: Lattice = self._parts["coarse"]
        return found

    @property
    def grid(self) -> Lattice:
        """Where the layers of the sheet are shown."""
        found: Lattice = self._parts["grid"]
        return found


def _dressed(rig: Rig, detail: Detail) -> tuple[Surface, ...]:
    """Return the surfaces of the rig: the sheet's coat counted in, the table ruled."""
    sheet, *rest = build_surfaces(rig)
    face = replace(sheet.front, diffuse=coat.albedo(rig.sheet.paper))
    surfaces = (replace(sheet, front=face), *rest)
    return ruled(surfaces, detail.cells, detail.thin_cells)


def _relief(rig: Rig) -> tuple[Hashable, ...]:
    """Return what the sheet's points depend on."""
    return (rig.sheet.width_mm, rig.sheet.height_mm, rig.sheet.flatness)


def _bare(camera: Camera) -> Camera:
    """Return the camera without what does not touch the light on the sheet."""
    return replace(camera, exposure=Exposure(), white_balance_k=None)


def _thin(rig: Rig) -> frozenset[int]:
    """Return the sheet if it lies wholly on a table, to be left out of the cells' sky.

    The cells under it are then lit as their neighbours, and no dark rim shows round it.
    """
    table, sheet = rig.room.table, rig.sheet
    covers = table is not None and (
        table.width_mm >= sheet.width_mm and table.depth_mm >= sheet.height_mm
    )
    return frozenset((SHEET,)) if covers else frozenset()


def _metals(surfaces: Sequence[Surface]) -> Iterator[_Metal]:
    for index, surface in enumerate(surfaces):
        for face, is_front in ((surface.front, True), (surface.back, False)):
            if face.is_metal:
                yield index, is_front, face.metal, face.roughness


def _mirror_face(surfaces: Sequence[Surface], metal: _Metal) -> MirrorFace:
    index, is_front, _, roughness = metal
    face = surfaces[index].front if is_front else surfaces[index].back
    return MirrorFace(
        index, is_front=is_front, curve=coating(face), roughness=(roughness, roughness)
    )
