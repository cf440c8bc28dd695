"""What planning may change: dimensions with bounds, and how to read and set them on a rig."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from lightplan.scene import Card, Lamp, Rig, Shell
from lightplan.scene.edits import (
    AIM,
    POSITION,
    SHELL_SIZES,
    no_such_dimension,
    no_such_element,
    set_values,
)

if TYPE_CHECKING:
    from lightplan.arrays import Doubles

Element: TypeAlias = Lamp | Card | Shell


@dataclass(frozen=True, kw_only=True)
class Variable:
    """One dimension of one element, and how far it may go.

    Parameters
    ----------
    element, dimension : str
        As in the rig's freedoms.
    low, high : float
        In mm, or stops for `trim_stops`.
    """

    element: str
    dimension: str
    low: float
    high: float

    @property
    def name(self) -> str:
        """The element and dimension with a dot between."""
        return f"{self.element}.{self.dimension}"


@dataclass(frozen=True)
class Space:
    """The box that is searched: geometry here, lamp powers apart (they are solved).

    Points of the search are unit vectors: 0 is each variable's low bound, 1 its high
    bound, so that one step size suits all.
    """

    geometry: tuple[Variable, ...]
    trims: tuple[Variable, ...]

    @classmethod
    def of(cls, rig: Rig) -> Space:
        """Return the space of a rig's freedoms, in the file's order."""
        found = [
            Variable(element=f.element, dimension=f.dimension, low=f.low, high=f.high)
            for f in rig.freedoms
        ]
        return cls(
            geometry=tuple(v for v in found if v.dimension != "trim_stops"),
            trims=tuple(v for v in found if v.dimension == "trim_stops"),
        )

    def read(self, rig: Rig) -> Doubles:
        """Return the rig's geometry as a point of the unit box, clipped into it."""
        values = np.array([value_of(rig, v.element, v.dimension) for v in self.geometry])
        return np.asarray(np.clip((values - self._low()) / self._span(), 0.0, 1.0))

    def apply(self, rig: Rig, unit: Doubles) -> Rig:
        """Return the rig with its geometry at a point of the unit box.

        Raises
        ------
        RigError
            Where the parts refuse the values (a hole larger than its card).
        """
        values = self._low() + np.clip(unit, 0.0, 1.0) * self._span()
        return set_values(
            rig,
            {
                (v.element, v.dimension): float(x)
                for v, x in zip(self.geometry, values, strict=True)
            },
        )

    def _low(self) -> Doubles:
        return np.array([v.low for v in self.geometry])

    def _span(self) -> Doubles:
        return np.array([v.high - v.low for v in self.geometry])


def element_of(rig: Rig, name: str) -> Element:
    """Return the lamp, card or shell of a name."""
    elements: tuple[Element, ...] = (*rig.lamps, *rig.cards, *rig.shells)
    for element in elements:
        if element.name == name:
            return element
    raise no_such_element(rig, name)


def value_of(rig: Rig, element: str, dimension: str) -> float:
    """Return a dimension of an element, in mm or stops.

    Raises
    ------
    RigError
        Where the element has no such dimension.
    """
    thing = rig.camera if element == "camera" else element_of(rig, element)
    if not isinstance(thing, Shell):
        if dimension in POSITION:
            return thing.placement.position_mm[POSITION.index(dimension)]
        if dimension in AIM:
            return thing.placement.aim_mm[AIM.index(dimension)]
    elif dimension in POSITION:
        return thing.centre_mm[POSITION.index(dimension)]
    elif dimension in SHELL_SIZES:
        return float(getattr(thing, SHELL_SIZES[dimension]))
    if isinstance(thing, Card) and dimension == "hole_mm":
        return 0.0 if thing.hole is None else thing.hole.diameter_mm
    if isinstance(thing, Lamp | Card) and dimension in ("width_mm", "height_mm"):
        return float(getattr(thing, dimension))
    if isinstance(thing, Lamp) and dimension == "trim_stops":
        return thing.trim_stops
    raise no_such_dimension(element, dimension)
