"""The whole rig, checked for things that cannot be."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, TypeAlias, get_args

from lightplan.arrays import LARGEST_MM
from lightplan.errors import RigError
from lightplan.scene import checks
from lightplan.scene.look import Look
from lightplan.scene.room import Room

if TYPE_CHECKING:
    from collections.abc import Iterable

    from lightplan.scene.camera import Camera
    from lightplan.scene.cards import Card, Shell
    from lightplan.scene.lamps import Lamp
    from lightplan.scene.placement import Placement
    from lightplan.scene.props import Prop
    from lightplan.scene.sheet import Sheet

Dimension: TypeAlias = Literal[
    "x_mm",
    "y_mm",
    "z_mm",
    "aim_x_mm",
    "aim_y_mm",
    "aim_z_mm",
    "width_mm",
    "height_mm",
    "trim_stops",
    "hole_mm",
]
DIMENSIONS: tuple[Dimension, ...] = get_args(Dimension)


@dataclass(frozen=True, kw_only=True)
class Freedom:
    """One dimension of one element that planning may change, and how far."""

    element: str
    dimension: Dimension
    low: float
    high: float

    def __post_init__(self) -> None:
        checks.one_of(self.dimension, DIMENSIONS, "freedoms.dimension")
        for value, name in ((self.low, "low"), (self.high, "high")):
            where = f"freedoms.{self.element}.{self.dimension}.{name}"
            checks.between(value, -LARGEST_MM, LARGEST_MM, where, "measure it")
        if self.low >= self.high:
            raise RigError(
                field=f"freedoms.{self.element}.{self.dimension}",
                wanted="low below high",
                got=[self.low, self.high],
                cure="swap them, or leave this freedom out",
            )


@dataclass(frozen=True, kw_only=True, eq=False)
class Rig:
    """A set-up on a table. All lengths in mm from the middle of the sheet."""

    title: str
    sheet: Sheet
    camera: Camera
    look: Look = field(default_factory=Look)
    lamps: tuple[Lamp, ...] = ()
    cards: tuple[Card, ...] = ()
    shells: tuple[Shell, ...] = ()
    props: tuple[Prop, ...] = ()
    room: Room = field(default_factory=Room)
    freedoms: tuple[Freedom, ...] = ()

    def __post_init__(self) -> None:
        _names_differ(self)
        _camera_sees_the_sheet(self.camera)
        for lamp in self.lamps:
            _clear_of_sheet(self.sheet, f"lamps.{lamp.name}", lamp.placement)
        for card in self.cards:
            _clear_of_sheet(self.sheet, f"cards.{card.name}", card.placement)
        _freedoms_name_elements(self)

    def element_names(self) -> list[str]:
        """Return the names of what planning may move: lamps, cards and shells, in file order."""
        elements: list[Lamp | Card | Shell] = [*self.lamps, *self.cards, *self.shells]
        return [element.name for element in elements]


def _names_differ(rig: Rig) -> None:
    seen: set[str] = {"camera", "sheet", "table", "room"}
    for name in (*rig.element_names(), *(prop.name for prop in rig.props)):
        if not name or name in seen:
            raise RigError(
                field="name",
                wanted="given, and different for every lamp, card, shell and prop",
                got=name,
                cure="rename one of them",
            )
        seen.add(name)


def _camera_sees_the_sheet(camera: Camera) -> None:
    height = camera.placement.position_mm[2]
    if height <= 0:
        raise RigError(
            field="camera.position_mm",
            wanted="above the table (z greater than 0)",
            got=height,
            cure="z is the height of the lens over the sheet",
        )


def _clear_of_sheet(sheet: Sheet, name: str, placement: Placement) -> None:
    x, y, z = placement.position_mm
    inside = abs(x) < sheet.width_mm / 2 and abs(y) < sheet.height_mm / 2 and abs(z) < 5.0
    if inside:
        raise RigError(
            field=f"{name}.position_mm",
            wanted="clear of the sheet",
            got=[x, y, z],
            cure="raise it (z) or move it off the sheet",
        )
    if z < 0:
        raise RigError(
            field=f"{name}.position_mm",
            wanted="above the table (z of 0 or more)",
            got=[x, y, z],
            cure="z is the height of its middle over the sheet",
        )


def _freedoms_name_elements(rig: Rig) -> None:
    known = {"camera", *rig.element_names()}
    _check_known((f.element for f in rig.freedoms), known)
    things: list[Lamp | Card | Shell] = [*rig.lamps, *rig.cards, *rig.shells]
    locked = {thing.name for thing in things if thing.locked}
    locked |= {"camera"} if rig.camera.locked else set()
    for freedom in rig.freedoms:
        if freedom.element in locked:
            raise RigError(
                field=f"freedoms.{freedom.element}",
                wanted="left out, as it is locked",
                got=freedom.dimension,
                cure="take out its freedoms, or its locked = true",
            )


def _check_known(elements: Iterable[str], known: set[str]) -> None:
    for element in elements:
        if element not in known:
            raise RigError(
                field="freedoms.element",
                wanted="the name of a lamp, card, shell or camera",
                got=element,
                cure="use one of " + ", ".join(sorted(known)),
            )
