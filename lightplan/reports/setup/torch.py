"""The torch test: where spots thrown by the sheet must land when the cards stand right.

A small torch in the place of the lens lights the sheet; the foil throws each spot where the
lens sees it: light runs the same way back. Plain mirror law on the sheet as it lies, its
bow included.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.shapes import Flat
from lightplan.scene import Rig, relief
from lightplan.scene.surfaces import Surface, build_surfaces
from lightplan.words import places

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Vector
    from lightplan.units import LengthUnit

POINTS: tuple[tuple[str, float, float], ...] = (
    ("A", -1, 1),
    ("B", 1, 1),
    ("C", 0, 0),
    ("D", -1, -1),
    ("E", 1, -1),
)
POINT_NAMES = {
    "A": "far left corner",
    "B": "far right corner",
    "C": "middle",
    "D": "near left corner",
    "E": "near right corner",
}
LEVEL = 0.95  # steeper than this a card counts as lying level (18 degrees)


@dataclass(frozen=True)
class Spot:
    """A spot on a card: its letter, and how far from the card's left and lower edge, mm."""

    letter: str
    from_left_mm: float
    from_lower_mm: float


@dataclass(frozen=True, kw_only=True)
class TorchTarget:
    """A card or lamp that catches spots.

    Parameters
    ----------
    name : str
    width_mm, height_mm : float
        As drawn.
    is_level : bool
        It lies level: drawn as seen from above, "lower" is the edge nearest the maker.
        Otherwise drawn as somebody sees it who looks at its front.
    spots : tuple of Spot
    hole : (x, y, diameter) or None
        From its left and lower edge. [mm]
    """

    name: str
    width_mm: float
    height_mm: float
    is_level: bool
    spots: tuple[Spot, ...]
    hole: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class TorchElsewhere:
    """A spot that lands on no flat card: its letter and where it goes, in words."""

    letter: str
    where: str


@dataclass(frozen=True)
class TorchTest:
    """Expected spots: on cards, and elsewhere."""

    targets: tuple[TorchTarget, ...]
    elsewhere: tuple[TorchElsewhere, ...]


def torch_test(rig: Rig, unit: LengthUnit = "mm") -> TorchTest:
    """Return where the middle and the corners of the sheet throw a torch at the lens."""
    surfaces = [s for s in build_surfaces(rig) if s.role != "sheet"]
    caught: dict[str, tuple[Surface, list[Spot]]] = {}
    elsewhere: list[TorchElsewhere] = []
    for letter, across, along in POINTS:
        x, y = across * rig.sheet.width_mm / 2, along * rig.sheet.height_mm / 2
        met, point = _first_met(rig, surfaces, x, y)
        if met is None or point is None:
            elsewhere.append(TorchElsewhere(letter, _missed(rig)))
        elif isinstance(met.shape, Flat) and met.role in ("card", "diffuser", "lamp", "window"):
            left, lower = _on_card(met.shape, point)
            caught.setdefault(met.name, (met, []))[1].append(Spot(letter, left, lower))
        else:
            elsewhere.append(TorchElsewhere(letter, _where(met, point, unit)))
    return TorchTest(tuple(_target(s, spots) for s, spots in caught.values()), tuple(elsewhere))


def _first_met(
    rig: Rig, surfaces: Sequence[Surface], x: float, y: float
) -> tuple[Surface | None, Doubles | None]:
    start = np.array([x, y, float(relief.height(rig.sheet, np.array(x), np.array(y)))])
    normal = relief.normals(rig.sheet, np.array(x), np.array(y))
    view = np.asarray(rig.camera.placement.position_mm) - start
    view /= np.linalg.norm(view)
    away = 2 * float(view @ normal) * normal - view
    best: tuple[float, Surface | None] = (np.inf, None)
    for surface in surfaces:
        way = float(surface.shape.trace(start[None, None], away[None, None]).distance[0, 0])
        if way < best[0]:
            best = (way, surface)
    if best[1] is None:
        return None, None
    shape = best[1].shape
    if isinstance(shape, Flat):  # again in double precision
        normal = shape.normal
        way = float((np.asarray(shape.centre) - start) @ normal / (away @ normal))
        return best[1], start + way * away
    return best[1], start + best[0] * away


def _drawn_axes(shape: Flat) -> tuple[Doubles, Doubles, bool]:
    """Return the directions of a card that are drawn right and up, and whether it is level."""
    right, up = np.asarray(shape.right, float), np.asarray(shape.up, float)
    if abs(shape.normal[2]) < LEVEL:
        return right, up, False
    drawn_up = max((up, -up, right, -right), key=lambda axis: float(axis[1]))
    others = (right, -right) if abs(float(drawn_up @ up)) > 0.5 else (up, -up)
    drawn_right = max(others, key=lambda axis: float(np.cross(axis, drawn_up)[2]))
    return drawn_right, drawn_up, True


def _half(shape: Flat, axis: Doubles) -> float:
    along = abs(float(axis @ np.asarray(shape.right)))
    return shape.half_width if along > 0.5 else shape.half_height


def _on_card(shape: Flat, point: Doubles) -> tuple[float, float]:
    right, up, _ = _drawn_axes(shape)
    offset = point - np.asarray(shape.centre)
    return (float(offset @ right) + _half(shape, right), float(offset @ up) + _half(shape, up))


def _target(surface: Surface, spots: list[Spot]) -> TorchTarget:
    shape = surface.shape
    assert isinstance(shape, Flat)
    right, up, is_level = _drawn_axes(shape)
    hole = None
    if shape.openings:
        opening = shape.openings[0]
        middle = (
            np.asarray(shape.centre)
            + opening.x * np.asarray(shape.right)
            + opening.y * np.asarray(shape.up)
        )
        hole = (*_on_card(shape, middle), 2 * opening.radius)
    return TorchTarget(
        name=surface.name,
        width_mm=2 * _half(shape, right),
        height_mm=2 * _half(shape, up),
        is_level=is_level,
        spots=tuple(spots),
        hole=hole,
    )


def _missed(rig: Rig) -> str:
    for card in rig.cards:
        if card.hole is not None:
            return "past all cards (through the hole, or beside them)"
    return "past all cards, into the room"


def _where(met: Surface, point: Doubles, unit: LengthUnit) -> str:
    if met.role == "camera":
        return "back onto the camera and the torch: there the foil shows the camera"
    if met.role == "shell":
        place: Vector = (float(point[0]), float(point[1]), float(point[2]))
        return f"inside the {met.name}, {places.place_words(place, unit)}"
    if met.role == "table":
        return "onto the table"
    return f"onto the {met.name}"
