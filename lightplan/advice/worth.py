"""What a rig is worth as a camera would photograph it: at its exposure, colour and tone curve."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import two_at_a_time
from lightplan.errors import RigError
from lightplan.light import Detail, Engine
from lightplan.light.exposure import foil_share
from lightplan.light.lattice import Lattice
from lightplan.measures import Judgement, Measures, judge
from lightplan.merit.measured import SheetReader

if TYPE_CHECKING:
    from collections.abc import Iterable

    from lightplan.arrays import Doubles, Singles
    from lightplan.light.exposure import Settings
    from lightplan.scene import Rig

LONG_SIDE, LAID_SIDE = 120, 400
"""Points along the sheet at which light is worked out, and at which the artwork is laid over it:
light is smooth, but lines of foil as fine as a frame's must count as they do in a photograph."""


@dataclass(frozen=True, kw_only=True)
class CameraAsSet:
    """How the photograph was taken.

    Parameters
    ----------
    clip_cd_m2 : float
        Luminance that clips as planned.
    stops : float
        More exposure than planned.
    red_stops, blue_stops : float
        White balance, over green.
    contrast, lift_stops : float
        Tone curve: share of more contrast, stops that shadows are lifted.
    """

    clip_cd_m2: float
    stops: float = 0.0
    red_stops: float = 0.0
    blue_stops: float = 0.0
    contrast: float = 0.0
    lift_stops: float = 0.0

    def levels(self, light: Doubles | Singles) -> Singles:
        """Return light (..., 3) in cd/m2 as the camera records it, 1 = clip level."""
        gains = 2.0 ** (self.stops + np.array([self.red_stops, 0.0, self.blue_stops]))
        gains = np.asarray(gains / self.clip_cd_m2, np.float32)
        linear = np.maximum(np.asarray(light, np.float32) * gains, np.float32(0))
        if self.contrast == 0 and self.lift_stops == 0:
            return linear
        inside = np.minimum(linear, np.float32(1))
        u = np.log2(np.maximum(inside, np.float32(2.0**-14)))
        lift = np.float32(self.lift_stops) * (1 - inside)
        shown = np.exp2(u * np.float32(1 + self.contrast) + lift)
        return np.where(linear >= 1, linear, np.minimum(shown, np.float32(1)))


def as_planned(rig: Rig, settings: Settings) -> CameraAsSet:
    """Return the camera that takes a rig as it is planned, with its own tone curve."""
    contrast, lift = rig.camera.tones
    return CameraAsSet(clip_cd_m2=settings.clip_cd_m2, contrast=contrast, lift_stops=lift)


class Worth:
    """Scores rigs of one sheet; the light of each is worked out once.

    Each rig is followed from the first one that was asked about: what it is worth does not hang
    on which others were asked for in between.
    """

    def __init__(self, rig: Rig) -> None:
        self._detail = replace(
            Detail.quick(camera_rows=8, camera_cols=8), sheet_long_side=LONG_SIDE
        )
        self._rig = rig
        self._engine: Engine | None = None
        self._reader: SheetReader | None = None
        self._fine: Lattice | None = None
        self._laid: Singles | None = None
        self._light: dict[int, tuple[Rig, Singles, Singles]] = {}
        self._shown: tuple[Rig, Singles] | None = None
        self._told: dict[tuple[int, CameraAsSet], tuple[Rig, Measures]] = {}

    def judged(self, rig: Rig, camera: CameraAsSet) -> Judgement:
        """Return the verdict on the picture of a rig."""
        return judge(self.measures(rig, camera), rig.look)

    def measures(self, rig: Rig, camera: CameraAsSet) -> Measures:
        """Return what the measures say of the picture of a rig."""
        key = (id(rig), camera)
        if key not in self._told:  # the rig is kept, so that its id stays its own
            self._told[key] = rig, self._read(rig, camera)
        return self._told[key][1]

    def _read(self, rig: Rig, camera: CameraAsSet) -> Measures:
        levels = camera.levels(self._picture(rig))
        if self._reader is None:
            self._reader = SheetReader(self._share(rig))
        return self._reader.measures(rig, levels)

    def score(self, rig: Rig, camera: CameraAsSet) -> float:
        """Return the score, 0 where nothing can be judged."""
        found = self.judged(rig, camera).score
        return 0.0 if found is None else found

    def brightness(self, rig: Rig, camera: CameraAsSet, *, foil: bool) -> Singles:
        """Return how bright foil or paper is by its brightest channel, in stops over the end, (n,).

        A camera's tone curve moves nothing over the end.
        """
        linear = replace(camera, contrast=0.0, lift_stops=0.0)
        brightest = linear.levels(self._picture(rig)).max(axis=-1)
        share = self._share(rig)
        chosen = brightest[share > 0.5 if foil else share < 0.5]
        return np.asarray(np.log2(np.maximum(chosen, np.float32(2.0**-14))), np.float32)

    def look_ahead(self, rigs: Iterable[Rig], *cameras: CameraAsSet) -> None:
        """Work out many rigs, each of which will be asked for by each camera, two at a time."""
        wanted = list(rigs)
        unknown = [rig for rig in wanted if self._kept(rig) is None]
        if unknown:
            self._begin(unknown[0])
            found = two_at_a_time(self._if_it_can_be, unknown)
            for rig, light in zip(unknown, found, strict=True):
                if light is not None:
                    self._light[id(rig)] = (rig, *light)
        lit = [rig for rig in wanted if self._kept(rig) is not None]
        pairs = [(r, c) for r in lit for c in cameras if (id(r), c) not in self._told]
        if pairs:
            self.measures(*pairs[0])  # what all have in common is made once
            two_at_a_time(lambda pair: self.measures(*pair), pairs[1:])

    def _picture(self, rig: Rig) -> Singles:
        """Return the light of the sheet with its artwork; many cameras look at one rig."""
        shown = self._shown  # another thread may show another rig
        if shown is None or shown[0] is not rig:
            paper, foil = self._sheet(rig)
            share = self._share(rig)
            shown = rig, np.asarray(paper + share[..., None] * (foil - paper), np.float32)
            self._shown = shown
        return shown[1]

    def _sheet(self, rig: Rig) -> tuple[Singles, Singles]:
        """Return the paper's and the foil's light where the artwork is laid."""
        self._begin(rig)
        light = self._kept(rig)
        if light is None:
            light = self._asked(rig)
            self._light[id(rig)] = (rig, *light)
        assert self._engine is not None
        assert self._fine is not None
        coarse, fine = self._engine.grid, self._fine
        paper, foil = (
            coarse.spread_to(fine, layer.reshape(-1, layer.shape[-1])) for layer in light
        )
        return paper, foil

    def _begin(self, rig: Rig) -> None:
        if self._engine is None:
            self._engine = Engine(rig, self._detail)
            self._fine = Lattice.over(rig.sheet, LAID_SIDE)

    def _kept(self, rig: Rig) -> tuple[Singles, Singles] | None:
        kept = self._light.get(id(rig))
        return None if kept is None or kept[0] is not rig else kept[1:]

    def _asked(self, rig: Rig) -> tuple[Singles, Singles]:
        assert self._engine is not None
        return self._engine.fork().sheet(rig)

    def _if_it_can_be(self, rig: Rig) -> tuple[Singles, Singles] | None:
        """Return a rig's light; None where it cannot be, of which asking for it will tell."""
        try:
            return self._asked(rig)
        except RigError:
            return None

    def _share(self, rig: Rig) -> Singles:
        if self._laid is None:
            assert self._fine is not None
            x, y = self._fine.x_mm, self._fine.y_mm
            self._laid = foil_share(rig, *np.meshgrid(x, y), blur_mm=float(x[1] - x[0]))
        return self._laid
