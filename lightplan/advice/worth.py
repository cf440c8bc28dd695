"""What a rig is worth as a camera would photograph it: at its exposure, colour and tone curve."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.light import Detail, Engine
from lightplan.light.exposure import foil_share
from lightplan.measures import Judgement, judge
from lightplan.merit.measured import SheetReader

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Singles
    from lightplan.scene import Rig

LONG_SIDE = 120


@dataclass(frozen=True, kw_only=True)
class Camera:
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
        linear = np.maximum(np.asarray(light, float) * gains / self.clip_cd_m2, 0.0)
        inside = np.minimum(linear, 1.0)
        u = np.log2(np.maximum(inside, 2.0**-14))
        shown = 2.0 ** (u * (1 + self.contrast) + self.lift_stops * (1 - inside))
        return np.asarray(np.where(linear >= 1.0, linear, np.minimum(shown, 1.0)), np.float32)


class Worth:
    """Scores rigs of one sheet, each once."""

    def __init__(self, rig: Rig) -> None:
        self._detail = replace(
            Detail.quick(camera_rows=8, camera_cols=8), sheet_long_side=LONG_SIDE
        )
        self._rig = rig
        self._engine: Engine | None = None
        self._reader: SheetReader | None = None
        self._light: dict[int, tuple[Rig, Singles, Singles]] = {}

    def judged(self, rig: Rig, camera: Camera) -> Judgement:
        """Return the verdict on the picture of a rig."""
        paper, foil = self._sheet(rig)
        share = self._share(rig)[..., None]
        levels = camera.levels(paper + share * (foil - paper))
        if self._reader is None:
            self._reader = SheetReader(share[..., 0])
        return judge(self._reader.measures(rig, levels), rig.look)

    def score(self, rig: Rig, camera: Camera) -> float:
        """Return the score, 0 where nothing can be judged."""
        found = self.judged(rig, camera).score
        return 0.0 if found is None else found

    def _sheet(self, rig: Rig) -> tuple[Singles, Singles]:
        kept = self._light.get(id(rig))
        if kept is not None and kept[0] is rig:
            return kept[1], kept[2]
        if self._engine is None:
            self._engine = Engine(rig, self._detail)
        paper, foil = self._engine.sheet(rig)
        self._light[id(rig)] = (rig, paper, foil)
        return paper, foil

    def _share(self, rig: Rig) -> Singles:
        assert self._engine is not None
        grid = self._engine.grid
        step = float(grid.x_mm[1] - grid.x_mm[0])
        return foil_share(rig, *np.meshgrid(grid.x_mm, grid.y_mm), blur_mm=step)
