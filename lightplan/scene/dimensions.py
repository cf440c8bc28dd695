"""What planning may change: dimensions with bounds, and how to read and set them on a rig."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias, TypeVar

import numpy as np

from lightplan.arrays import Doubles, Vector
from lightplan.errors import RigError
from lightplan.scene import Card, Hole, Lamp, Placement, Rig, Shell

Element: TypeAlias = Lamp | Card | Shell
_Placed = TypeVar("_Placed", Lamp, Card)

_POSITION = ("x_mm", "y_mm", "z_mm")
_AIM = ("aim_x_mm", "aim_y_mm", "aim_z_mm")
_SHELL_SIZES = {"width_mm": "foot_width_mm", "height_mm": "height_mm", "hole_mm": "top_width_mm"}


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
    raise RigError(
        field="element", wanted="the name of a lamp, card or shell", got=name,
        cure="use one of " + ", ".join(rig.element_names()),
    )  # fmt: skip


def value_of(rig: Rig, element: str, dimension: str) -> float:
    """Return a dimension of an element, in mm or stops.

    Raises
    ------
    RigError
        Where the element has no such dimension.
    """
    thing = rig.camera if element == "camera" else element_of(rig, element)
    if not isinstance(thing, Shell):
        if dimension in _POSITION:
            return thing.placement.position_mm[_POSITION.index(dimension)]
        if dimension in _AIM:
            return thing.placement.aim_mm[_AIM.index(dimension)]
    elif dimension in _POSITION:
        return thing.centre_mm[_POSITION.index(dimension)]
    elif dimension in _SHELL_SIZES:
        return float(getattr(thing, _SHELL_SIZES[dimension]))
    if isinstance(thing, Card) and dimension == "hole_mm":
        return 0.0 if thing.hole is None else thing.hole.diameter_mm
    if isinstance(thing, Lamp | Card) and dimension in ("width_mm", "height_mm"):
        return float(getattr(thing, dimension))
    if isinstance(thing, Lamp) and dimension == "trim_stops":
        return thing.trim_stops
    raise RigError(
        field=f"freedom {element}.{dimension}", wanted="a dimension that this element has",
        got=dimension, cure="leave this freedom out",
    )  # fmt: skip


def set_values(rig: Rig, values: dict[tuple[str, str], float]) -> Rig:
    """Return the rig with dimensions (element, dimension) set to values in mm or stops."""
    per_element: dict[str, dict[str, float]] = {}
    for (element, dimension), value in values.items():
        per_element.setdefault(element, {})[dimension] = value
    camera = rig.camera
    if "camera" in per_element:
        place = _placed(camera.placement, per_element["camera"])
        camera = replace(camera, placement=place)
    return replace(
        rig,
        camera=camera,
        lamps=tuple(_with(x, per_element) for x in rig.lamps),
        cards=tuple(_with_card(x, per_element) for x in rig.cards),
        shells=tuple(_with_shell(x, per_element.get(x.name, {})) for x in rig.shells),
    )


def _with(thing: _Placed, per_element: dict[str, dict[str, float]]) -> _Placed:
    changes = per_element.get(thing.name)
    if not changes:
        return thing
    plain: dict[str, Any] = {
        k: v for k, v in changes.items() if k in ("width_mm", "height_mm", "trim_stops")
    }
    return replace(thing, placement=_placed(thing.placement, changes), **plain)


def _with_card(card: Card, per_element: dict[str, dict[str, float]]) -> Card:
    card = _with(card, per_element)
    diameter = per_element.get(card.name, {}).get("hole_mm")
    if diameter is None:
        return card
    offset = (0.0, 0.0) if card.hole is None else card.hole.offset_mm
    hole = Hole(diameter_mm=diameter, offset_mm=offset) if diameter > 0 else None
    return replace(card, hole=hole)


def _with_shell(shell: Shell, changes: dict[str, float]) -> Shell:
    if not changes:
        return shell
    sizes: dict[str, Any] = {_SHELL_SIZES[k]: v for k, v in changes.items() if k in _SHELL_SIZES}
    return replace(shell, centre_mm=_vector(shell.centre_mm, changes, _POSITION), **sizes)


def _placed(placement: Placement, changes: dict[str, float]) -> Placement:
    return replace(
        placement,
        position_mm=_vector(placement.position_mm, changes, _POSITION),
        aim_mm=_vector(placement.aim_mm, changes, _AIM),
    )


def _vector(old: Vector, changes: dict[str, float], names: Sequence[str]) -> Vector:
    x, y, z = (changes.get(name, value) for name, value in zip(names, old, strict=True))
    return (x, y, z)
