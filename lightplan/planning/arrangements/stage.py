"""Where things go for one camera: the mirrored ray, planes it meets, and who holds what."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from lightplan.errors import RigError
from lightplan.mirror.family import Coverage, Margins, family_on_plane
from lightplan.mirror.rays import MirroredRays, hit_plane, mirrored_rays
from lightplan.scene import Card, Freedom, Held, HolderKind, Lamp, Placement, Rig, Shell
from lightplan.scene.edits import Add, as_vector, edited
from lightplan.scene.framing import framing

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lightplan.arrays import Doubles
    from lightplan.planning.cupboard import Cupboard
    from lightplan.scene.rig import Dimension

LEAST_TRIM = -6.0
CLEAR_MM = 15.0
"""Between what stands at the picture's edge and the picture."""
_Thing = TypeVar("_Thing", Lamp, Card)


@dataclass(frozen=True, eq=False)
class Stage:
    """The sheet under one camera, before anything is brought in.

    Parameters
    ----------
    cupboard : Cupboard
    rig : Rig
        Its base, with the camera where it is for this stage.
    """

    cupboard: Cupboard
    rig: Rig

    @cached_property
    def ray(self) -> Doubles:
        """Unit direction in which the middle of the sheet looks."""
        return np.asarray(self.looks(np.zeros((1, 2))).directions[0])

    @cached_property
    def away(self) -> Doubles:
        """Level unit direction of that look; away from the maker where it goes straight up."""
        flat = self.ray[:2]
        length = float(np.hypot(*flat))
        if length < 0.02:
            return np.array([0.0, 1.0, 0.0])
        return np.array([flat[0] / length, flat[1] / length, 0.0])

    @cached_property
    def side(self) -> Doubles:
        """Level unit direction to the right of that look."""
        return np.array([self.away[1], -self.away[0], 0.0])

    @cached_property
    def clear_mm(self) -> float:
        """How far along `away` from the middle the picture ends."""
        camera = self.rig.camera
        lens = np.asarray(camera.placement.position_mm)
        tall = camera.half_angles_tan()
        right, up, forward = camera.axes()
        reach = []
        for across in (-1, 1):
            for upward in (-1, 1):
                ray = forward + across * tall[0] * right + upward * tall[1] * up
                if ray[2] < -0.02:
                    reach.append(float((lens - lens[2] / ray[2] * ray) @ self.away))
        return max(reach, default=400.0) + CLEAR_MM

    def looks(self, spots_mm: Doubles) -> MirroredRays:
        """Return the mirrored rays of places (n, 2) on the sheet."""
        return mirrored_rays(self.rig.camera, self.rig.sheet, spots_mm)

    def spot(self, plane: Placement, share: float) -> Doubles:
        """Return what a place of the sheet looks at on a plane, (3,) mm.

        Parameters
        ----------
        share : float
            Along the look's direction: 0 the middle, 1 its bright edge, -1 its dark one.
        """
        sheet, turn = self.rig.sheet, self.turn_rad
        cosine, sine = math.cos(turn), math.sin(turn)
        reach = min(
            sheet.width_mm / 2 / max(abs(cosine), 1e-6), sheet.height_mm / 2 / max(abs(sine), 1e-6)
        )
        place, _ = hit_plane(self.looks(share * reach * np.array([[cosine, sine]])), plane)
        right, up, _ = plane.axes()
        if not np.isfinite(place).all():
            return np.asarray(plane.position_mm, float)
        return np.asarray(plane.position_mm + place[0, 0] * right + place[0, 1] * up)

    @property
    def turn_rad(self) -> float:
        """The way on the sheet along which the look's light changes."""
        look = self.rig.look
        across = 0.5 * math.pi if look.kind == "bright band" else 0.0
        return look.direction_rad + across

    def square(self, distance_mm: float) -> Placement:
        """Return the plane square to the mirrored ray at a distance."""
        return Placement(as_vector(distance_mm * self.ray), (0.0, 0.0, 0.0))

    def upright(self, distance_mm: float, height_mm: float) -> Placement:
        """Return an upright plane that faces the sheet from beyond it, its middle so high."""
        middle = distance_mm * self.away + np.array([0.0, 0.0, height_mm])
        return Placement(as_vector(middle), as_vector(middle - 100.0 * self.away))

    def seen(self, plane: Placement) -> Coverage | None:
        """Return what the foil sees of a plane."""
        return family_on_plane(self.rig.camera, self.rig.sheet, plane, margins=Margins())

    def holder(self, *wanted: HolderKind, at_least: int = 1) -> Held | None:
        """Return the first of some holders of cards of which there are so many."""
        there = self.cupboard.holders
        return next((there[k] for k in wanted if k in there and self.count(k) >= at_least), None)

    def count(self, kind: HolderKind) -> float:
        """Return how many of a holder there are for cards; without end where nobody said."""
        return self.cupboard.counted.get(kind, math.inf)

    def stand_of(self, lamp: Lamp) -> Held:
        """Return what holds a lamp: its own stand or boom, or else a stand such as lamps have."""
        own = lamp.held
        if own is not None and own.by in ("stand", "boom"):
            return own
        return self.cupboard.lamp_stand

    def is_fixed(self, name: str) -> bool:
        """Whether a thing of the given rig stays where it is."""
        return name in self.rig.element_names()

    @property
    def keystone(self) -> float:
        """By how much the near edge of the sheet is drawn larger than the far edge."""
        return framing(self.rig.camera, self.rig.sheet).keystone


@dataclass(frozen=True, kw_only=True, eq=False)
class Arrangement:
    """One way to set up a look: things in their places, free to move a little.

    Parameters
    ----------
    name : str
        In the trade's words, short ("board behind, lit from the left").
    rig : Rig
        With freedoms for everything that the search may move.
    """

    name: str
    rig: Rig

    @property
    def things(self) -> int:
        """How many things are brought in."""
        rig = self.rig
        lamps = sum(1 for lamp in rig.lamps if lamp.on and not lamp.is_window)
        return lamps + len(rig.cards) + len(rig.shells)


class Draft:
    """An arrangement in the making."""

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self._adds: list[Add] = []
        self._words: list[str] = []

    def names(self) -> set[str]:
        """Return what is used so far."""
        return {add.thing.name for add in self._adds}

    def copy(self) -> Draft:
        """Return another one that begins with the same things."""
        other = Draft(self.stage)
        other._adds, other._words = list(self._adds), list(self._words)
        return other

    def say(self, words: str) -> None:
        """Add to its name."""
        self._words.append(words)

    def put(
        self, thing: _Thing, place: Placement, spans: Mapping[str, float], held: Held | None = None
    ) -> None:
        """Put a thing somewhere, free to move by so much in each dimension."""
        lowest = 1.0 if held is None else held.lowest_mm
        x, y, z = place.position_mm
        z = max(z, lowest)
        if math.dist((x, y, z), place.aim_mm) < 1.0:
            place = replace(place, aim_mm=(x, y, z - 1.0))
        placed = replace(thing, placement=replace(place, position_mm=(x, y, z)), held=held)
        self._adds.append(Add(placed, tuple(self._freedoms(placed, spans))))

    def shell(self, shell: Shell) -> None:
        """Put a cone or tent over the sheet, as it is."""
        self._adds.append(Add(shell))

    def done(self) -> Arrangement:
        """Return the arrangement.

        Raises
        ------
        RigError
            When it asks for more of what holds cards than there is.
        """
        stage = self.stage
        held = [add.thing.held.by for add in self._adds
                if isinstance(add.thing, Card) and add.thing.held is not None]  # fmt: skip
        for kind in dict.fromkeys(held):
            if held.count(kind) > stage.count(kind):
                raise RigError(
                    field="owned",
                    wanted=f"{held.count(kind)} times what is called {kind}",
                    got=f"{stage.count(kind):.0f}",
                    cure="hold one of the cards otherwise",
                )
        return Arrangement(name=", ".join(self._words), rig=edited(stage.rig, *self._adds))

    def _freedoms(self, thing: Lamp | Card, spans: Mapping[str, float]) -> list[Freedom]:
        values = _values(thing)
        found = []
        for name, span in spans.items():
            low, high = self._range(thing, name, values[name], span)
            if low < high:
                dimension: Dimension = name  # type: ignore[assignment]
                found.append(Freedom(element=thing.name, dimension=dimension, low=low, high=high))
        if isinstance(thing, Lamp):
            low, high = self._narrowed(thing.name, "trim_stops", LEAST_TRIM, 0.0)
            if low < high:
                found.append(
                    Freedom(element=thing.name, dimension="trim_stops", low=low, high=high)
                )
        return found

    def _range(
        self, thing: Lamp | Card, name: str, value: float, span: float
    ) -> tuple[float, float]:
        low, high = value - span, value + span
        if name == "z_mm":
            lowest, highest = allowed_heights(self.stage.rig, thing.held)
            low, high = max(low, lowest), min(high, highest)
        return self._narrowed(thing.name, name, low, high)

    def _narrowed(
        self, element: str, dimension: str, low: float, high: float
    ) -> tuple[float, float]:
        """Return a range within what the maker allows; all of that where the two do not meet."""
        allowed = self.stage.cupboard.narrowed.get((element, dimension))
        if allowed is None:
            return low, high
        inner = max(low, allowed[0]), min(high, allowed[1])
        return inner if inner[0] < inner[1] else allowed


def allowed_heights(rig: Rig, held: Held | None) -> tuple[float, float]:
    """Return the least and greatest height of what is held so, mm."""
    reach = rig.room.reach
    if held is None:
        return max(reach.lowest_mm, 1.0), reach.highest_mm
    return max(reach.lowest_mm, held.lowest_mm), min(reach.highest_mm, held.highest_mm)


def _values(thing: Lamp | Card) -> dict[str, float]:
    names = ("x_mm", "y_mm", "z_mm", "aim_x_mm", "aim_y_mm", "aim_z_mm")
    place = thing.placement
    return dict(zip(names, (*place.position_mm, *place.aim_mm), strict=True))
