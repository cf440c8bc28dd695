"""Predicts and judges a rig after a move, quickly, and refuses moves that nobody can make."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.advice.moves import AdvisedMove
from lightplan.errors import RigError
from lightplan.light import Detail, Engine, LampLayers
from lightplan.light.exposure import foil_share, settings_for
from lightplan.measures import Judgement, Measures, judge, merit
from lightplan.merit.measured import SheetReader
from lightplan.scene.clearance import broken, total_excess_mm
from lightplan.scene.sanity import refuse_impossible

if TYPE_CHECKING:
    from collections.abc import Iterable

    from lightplan.arrays import Singles
    from lightplan.scene import Rig

LEAST_MERIT = 0.005
"""Half a percent of the score: less is not worth a maker's walk."""
LEAST_QUALITY = 0.002
FORGIVEN_MM = 0.5


@dataclass(frozen=True, eq=False)
class Tried:
    """A rig, and what it is worth.

    Attributes
    ----------
    merit : float
        Smooth, larger is better.
    """

    move: AdvisedMove
    judgement: Judgement
    measures: Measures
    merit: float

    @property
    def score(self) -> float:
        """0 to 100; 0 where nothing can be judged."""
        return 0.0 if self.judgement.score is None else self.judgement.score

    def quality(self, name: str) -> float:
        """Return how well a measure does, 0 to 1: its part's share times its gate's factor."""
        parts = [p.points / p.weight for p in self.judgement.parts if p.measure == name]
        gates = [g.factor for g in self.judgement.gates if g.measure == name]
        return float(np.prod([*parts, *gates]))


class Tryout:
    """Tries moves of one rig, each once."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._detail = Detail.quick(camera_rows=8, camera_cols=12)
        self._engine = Engine(rig, self._detail)
        self._light = self._engine.sheet(rig)
        grid = self._engine.grid
        step = float(grid.x_mm[1] - grid.x_mm[0])
        x, y = np.meshgrid(grid.x_mm, grid.y_mm)
        self._share = foil_share(rig, x, y, blur_mm=step)[..., None]
        self._reader = SheetReader(self._share[..., 0])
        self._known: dict[str, Tried | None] = {}
        self._excused = frozenset((limit.rule, *limit.elements) for limit in broken(rig))
        self.start = self._judged(AdvisedMove("", lambda: rig), rig, *self._light)

    def per_lamp(self) -> LampLayers:
        """Return the light of each lamp of the rig as it is."""
        return self._engine.per_lamp(self._rig)

    def tried(self, move: AdvisedMove) -> Tried | None:
        """Return what a move is worth; None where it cannot be made."""
        if move.text not in self._known:
            self._known[move.text] = self._try(move)
        return self._known[move.text]

    def _try(self, move: AdvisedMove) -> Tried | None:
        try:
            rig = move.build()
            refuse_impossible(rig)
        except RigError:
            return None
        if not self._can_be_made(rig):
            return None
        return self._judged(move, rig, *self._sheet(rig))

    def _sheet(self, rig: Rig) -> tuple[Singles, Singles]:
        if _same_light(rig, self._rig):
            return self._light
        return self._engine.sheet(rig)

    def _judged(self, move: AdvisedMove, rig: Rig, paper: Singles, foil: Singles) -> Tried:
        clip = settings_for(rig, paper, foil, self._share[..., 0]).clip_cd_m2
        linear = rig.camera.shown((paper + self._share * (foil - paper)) / np.float32(clip))
        found = self._reader.measures(rig, linear)
        return Tried(move, judge(found, rig.look), found, merit(found, rig.look))

    def _can_be_made(self, rig: Rig) -> bool:
        """Whether the move breaks no rule of building that the rig does not break already."""
        return total_excess_mm(rig, apart_from=self._excused) <= FORGIVEN_MM


def _same_light(rig: Rig, other: Rig) -> bool:
    return (
        rig.lamps == other.lamps
        and rig.cards == other.cards
        and rig.shells == other.shells
        and rig.camera.placement == other.camera.placement
    )


def best_of(bench: Tryout, moves: Iterable[AdvisedMove], measure_name: str) -> Tried | None:
    """Return the move with the greatest merit among those that help both fault and picture."""
    start = bench.start
    helped = [
        one
        for one in (bench.tried(move) for move in moves)
        if one is not None
        and one.merit > start.merit + LEAST_MERIT
        and one.quality(measure_name) > start.quality(measure_name) + LEAST_QUALITY
    ]
    return max(helped, key=lambda one: one.merit, default=None)
