"""What a rig is worth, read from the photograph: what it measured, changed as the light changes.

The model may hold a set for as good as planned where the photograph earns less: foil or stock
are a little other than told, a camera's curve is none that it knows. Which way a measure goes when
a lamp is turned it still tells. The photograph's own measures, moved by what the model says that
changes, are then judged.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.advice.first_things import MOST_LOST
from lightplan.advice.worth import CameraAsSet, Worth
from lightplan.measures import Judgement, Measures, judge

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from lightplan.advice.first_things import State
    from lightplan.arrays import Singles
    from lightplan.scene import Rig


class AsSeen(Worth):
    """Scores rigs by a photograph's measures and the model's differences.

    Parameters
    ----------
    worth : Worth
        By which the differences are worked out.
    state : State
        The rig as it stands and the camera as it was set for the photograph.
    photographed : mapping of str to (value, uncertainty)
        The photograph's measures.
    """

    def __init__(
        self, worth: Worth, state: State, photographed: Mapping[str, tuple[float, float]]
    ) -> None:
        here = state.rig()
        self._worth, self._photographed = worth, photographed
        self._now = worth.measures(here, state.camera)
        self._least = worth.score(here, state.camera) - MOST_LOST

    def score(self, rig: Rig, camera: CameraAsSet) -> float:
        """Return the score, 0 where nothing can be judged, or where the model warns of it."""
        if self._worth.score(rig, camera) < self._least:
            return 0.0
        return super().score(rig, camera)

    def look_ahead(self, rigs: Iterable[Rig], *cameras: CameraAsSet) -> None:
        """Work out many rigs, each of which will be asked for by each camera, two at a time."""
        self._worth.look_ahead(rigs, *cameras)

    def brightness(self, rig: Rig, camera: CameraAsSet, *, foil: bool) -> Singles:
        """Return how bright foil or paper is by the model, in stops over the end, (n,)."""
        return self._worth.brightness(rig, camera, foil=foil)

    def judged(self, rig: Rig, camera: CameraAsSet) -> Judgement:
        """Return the verdict on the photograph as it would be of a rig."""
        return judge(self.measures(rig, camera), rig.look)

    def measures(self, rig: Rig, camera: CameraAsSet) -> Measures:
        """Return the photograph's measures, moved by what the model says that changes."""
        then = self._worth.measures(rig, camera)
        pairs = dict(self._photographed)
        for name, (value, spread) in self._photographed.items():
            before, after = self._now.get(name), then.get(name)
            if before is None or after is None:
                continue
            moved = value + after.value - before.value
            if name.endswith("_share"):
                moved = min(1.0, max(0.0, moved))
            pairs[name] = (moved, spread)
        return Measures(pairs)
