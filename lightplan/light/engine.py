"""The light engine: from a rig to what paper and foil look like everywhere on the sheet.

An engine remembers rays, shadows and view factors. Asked about another rig it works out anew
what differs, whatever it is: what has stayed is told by its value, not by which object it is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from lightplan.light import coat, emission
from lightplan.light.bounce import System, times
from lightplan.light.detail import Detail
from lightplan.light.layers import LampLayers, Layers
from lightplan.light.lights import Lights, Worlds
from lightplan.light.mirror_view import mirrored_names
from lightplan.light.outlook import Outlook
from lightplan.light.polarise import UNPOLARISED_SHARE
from lightplan.light.rim import rims_of
from lightplan.light.standing import Standing, Transfer

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Singles
    from lightplan.light.lattice import Lattice
    from lightplan.light.rim import Rim
    from lightplan.scene.rig import Rig

Check: TypeAlias = Callable[[], None]
"""Called between the steps of a calculation; ends it by raising (`Stop.check`)."""


def go_on() -> None:
    """Check nothing."""


class Engine:
    """Predicts the light on one sheet for one camera.

    Whatever breaks a call off, a `check` that raises or Ctrl-C, the engine stays at the rig
    before and goes on from there. One thread at a time may ask it.

    Parameters
    ----------
    rig : Rig
    detail : Detail
        How finely to look.
    check : callable
        Called between the steps; may raise.

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

    def __init__(self, rig: Rig, detail: Detail | None = None, *, check: Check = go_on) -> None:
        self.detail = Detail() if detail is None else detail
        self._standing = Standing(self.detail)
        self.set_rig(rig, check=check)

    def fork(self) -> Engine:
        """Return an engine that stands at the same rig, and may go on from there by itself.

        What it follows this one never notices, so several threads may ask a fork each.
        """
        other = object.__new__(type(self))
        other.detail, other._standing = self.detail, self._standing
        return other

    @property
    def grid(self) -> Lattice:
        """Where the layers of the sheet are shown."""
        return self._standing.grid

    @property
    def rig(self) -> Rig:
        """The rig it stands at."""
        return self._standing.rig

    def set_rig(self, rig: Rig, *, check: Check = go_on) -> None:
        """Move to another rig, reusing what still holds: wholly, or not at all."""
        standing = self._standing
        if standing.surfaces and rig is standing.rig:
            return
        following = standing.fork()
        for _ in following.follow(rig):
            check()
        self._standing = following

    def _settle(self, lights: Lights, check: Check) -> Worlds:
        """Solve all bounces with the sheet as paper and with the sheet as foil."""
        now = self._standing
        source = lights.from_lamps(now.cell_light)
        source += lights.sky[:, None] * now.sky_on_cells[:, None]
        of_paper, of_foil = now.systems
        paper, values = self._settle_world(source, of_paper, now.silver, lights, check)
        both = (*now.silver, *now.by_foil)
        foil, _ = self._settle_world(source, of_foil, both, lights, check)
        coarse = times(now.paper_from, values)
        coarse += lights.sky[:, None] * now.sky_on_paper[:, None]
        for transfer in now.silver_to_paper:
            coarse += transfer.evaluate(paper)
        return Worlds(paper, foil, coarse)

    def _settle_world(
        self,
        source: Doubles,
        system: System,
        transfers: Sequence[Transfer],
        lights: Lights,
        check: Check,
    ) -> tuple[Outlook, Singles]:
        """Return what is seen in one world and the cells' luminances."""
        values = system.settle(source)
        outlook = self._outlook(values, lights)
        settled = np.zeros(len(lights.sky), bool)
        for _ in range(max(1, self.detail.mirror_rounds) if transfers else 0):
            check()
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

    def _outlook(self, values: Singles, lights: Lights) -> Outlook:
        now = self._standing
        texels = now.patchwork.look_up(values, lights.lamps)
        now.between_cells.add(texels, now.patchwork, lights)
        return Outlook(texels, now.surroundings, lights.sky)

    def _paper(self, worlds: Worlds, lights: Lights) -> Singles:
        """Luminance of the sheet as paper on the sheet's grid, (rows, cols, k, 3)."""
        now = self._standing
        paper = now.rig.sheet.paper
        direct = lights.from_lamps(now.paper_light)
        body = coat.body(paper)
        total = now.fine.spread_to(now.grid, direct * body)
        total += now.coarse.spread_to(now.grid, worlds.coarse * body)
        if paper.coat_index is not None:
            total *= now.frame.coat_passes(paper)[..., None]
        if now.rig.camera.polariser_rad is not None:
            total *= np.float32(UNPOLARISED_SHARE)
        if now.coat is not None:
            total += now.coat.evaluate(worlds.paper, now.grid)
        return np.asarray(total, np.float32)

    def _both(self, lights: Lights, check: Check) -> tuple[Worlds, Singles, Singles]:
        """Return worlds, paper and foil under k lights, the last two (rows, cols, k, 3)."""
        worlds = self._settle(lights, check)
        check()
        paper = self._paper(worlds, lights)
        check()
        return worlds, paper, self._standing.foil.evaluate(worlds.foil, self.grid)

    def _as_lit(self, rig: Rig, check: Check) -> tuple[Worlds, Singles, Singles]:
        """Return both worlds, and paper and foil (rows, cols, 3), under all lamps as set."""
        self.set_rig(rig, check=check)
        lights = Lights.together(emission.lamp_luminances(rig))
        worlds, paper, foil = self._both(lights, check)
        return worlds, paper[:, :, 0], foil[:, :, 0]

    def sheet(self, rig: Rig, *, check: Check = go_on) -> tuple[Singles, Singles]:
        """Return (paper, foil) luminance on the sheet's grid, (rows, cols, 3) each, cd/m2."""
        _, paper, foil = self._as_lit(rig, check)
        return paper, foil

    def layers(self, rig: Rig, *, check: Check = go_on) -> Layers:
        """Return everything that is predicted for a rig."""
        worlds, paper, foil = self._as_lit(rig, check)
        texels = worlds.paper.texels[:, 0]
        now = self._standing
        check()
        rims = self._rims(worlds)
        check()
        sees, names = mirrored_names(rig, now.surfaces, now.patchwork, now.grid)
        camera = now.frame
        return Layers(
            sheet_x_mm=now.grid.x_mm.copy(),
            sheet_y_mm=now.grid.y_mm.copy(),
            sheet_paper=paper,
            sheet_foil=foil,
            sees=sees,
            sees_names=names,
            camera_xyz_mm=camera.xyz_mm.copy(),
            camera_paper=camera.show(paper),
            camera_foil=camera.show(foil),
            camera_surround=camera.surround(texels, now.surroundings),
            rim=rims[0] if rims else None,
        )

    def picture(self, rig: Rig, foil_share: Singles, *, check: Check = go_on) -> Singles:
        """Return the camera's picture in cd/m2, (r, c, 3), for foil shares (r, c) per pixel.

        The quickest way to a picture: while lamps and cards move, only what they touch is
        worked out, and each pixel reads only the layers it shows.
        """
        worlds, paper, foil = self._as_lit(rig, check)
        texels = worlds.paper.texels[:, 0]
        now = self._standing
        return now.frame.compose(paper, foil, foil_share, texels, now.surroundings)

    def per_lamp(self, rig: Rig, *, check: Check = go_on) -> LampLayers:
        """Return the sheet under each lamp alone at full power, and the surroundings alone."""
        self.set_rig(rig, check=check)
        full = emission.lamp_luminances(rig, trimmed=False)
        worlds, *both = self._both(Lights.apart(full), check)
        paper, foil = (_by_light(layer) for layer in both)
        names = (*(lamp.name for lamp in rig.lamps), "surroundings")
        check()
        return LampLayers(names, paper, foil, self._rims(worlds))

    def _rims(self, worlds: Worlds) -> tuple[Rim, ...]:
        """Return what the stamped edge shows under each light."""
        now = self._standing
        return rims_of(now.rig, now.surfaces, now.patchwork, now.lamps, worlds.foil, self.detail)


def _by_light(layer: Singles) -> Singles:
    """Return a layer (rows, cols, k, 3) light by light, (k, rows, cols, 3).

    Three channels are moved as one thing, which takes half the time.
    """
    whole = np.ascontiguousarray(layer).view(_THREE)[..., 0]
    moved = np.ascontiguousarray(whole.transpose(2, 0, 1))
    return moved.view(np.float32).reshape(*moved.shape, 3)


_THREE = np.dtype("V12")
