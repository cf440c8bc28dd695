"""What bodies without an outline (cones, meshes) cut of a lamp or lit card that a mirror sees."""

from __future__ import annotations

from dataclasses import dataclass
from operator import is_
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Integers, Singles
    from lightplan.light.targets import Target
    from lightplan.scene.surfaces import Surface


@dataclass(frozen=True, eq=False)
class CutTarget:
    """What bodies without an outline cut of a target; stays while these and the target do.

    Parameters
    ----------
    target : Target
    bodies : tuple of Surface
    near : (k,) int
        Spots whose lines to the target they may cut.
    clear : (k, m) bool
        Which of the lines to m `points` of it they leave.
    partly : (p,) int
        Which of the k they cut off from some of the points.
    points : (m, 3) float
    weight : (p, m) float32
        What the points count to these.
    """

    target: Target
    bodies: tuple[Surface, ...]
    near: Integers
    clear: Booleans
    partly: Integers
    points: Doubles
    weight: Singles

    def is_by(self, bodies: tuple[Surface, ...]) -> bool:
        """Whether these very bodies cut it."""
        return len(bodies) == len(self.bodies) and all(map(is_, bodies, self.bodies))
