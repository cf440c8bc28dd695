"""Ways to fit a further thing into a rig, each with the freedoms to plan it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from lightplan.arrays import Doubles
from lightplan.errors import RigError
from lightplan.mirror.family import Margins, family_on_plane, mirror_plane
from lightplan.mirror.rays import centre_ray
from lightplan.scene import Card, Freedom, Lamp, Output, Placement, Rig, Shell, Side, checks
from lightplan.scene.cards import CardFinish
from lightplan.scene.rig import Dimension

KINDS = (
    "white board", "grey board", "black board", "silver board", "diffuser", "lamp", "window",
    "cone", "tent",
)  # fmt: skip

_AXES: tuple[Dimension, ...] = ("x_mm", "y_mm", "z_mm")
_AIMS: tuple[Dimension, ...] = ("aim_x_mm", "aim_y_mm", "aim_z_mm")
FINISHES: dict[str, tuple[CardFinish, float]] = {
    "white board": ("white", 0.85),
    "grey board": ("grey", 0.18),
    "black board": ("black", 0.04),
    "silver board": ("silver", 0.75),
}
"""Usual reflectances, from memory."""
DIFFUSER = (0.4, 0.45)
"""Reflectance and transmittance of a usual diffuser, from memory."""


@dataclass(frozen=True, kw_only=True)
class Item:
    """Something the maker owns or could buy.

    Parameters
    ----------
    name, kind : str
        `kind` is one of `KINDS`.
    width_mm, height_mm : float
        Size of the board or lit face; of a cone or tent the foot's width, and the height.
    price : float or None
        For one, in the maker's own money; None when not known, 0 when owned.
    output : Output or None
        Of a lamp or window.
    """

    name: str
    kind: str
    width_mm: float
    height_mm: float
    price: float | None = None
    output: Output | None = None

    def __post_init__(self) -> None:
        checks.one_of(self.kind, KINDS, "kind")
        checks.positive(self.width_mm, "width_mm")
        checks.positive(self.height_mm, "height_mm")


def variants(rig: Rig, item: Item) -> Iterator[Rig]:
    """Yield rigs that use an item, each with freedoms for it."""
    makers = {
        "diffuser": _diffuser, "lamp": _lamp, "window": _window, "cone": _shell, "tent": _shell,
    }  # fmt: skip
    make = makers.get(item.kind, _board)
    yield from make(rig, item)


def _board(rig: Rig, item: Item) -> Iterator[Rig]:
    """Yield the board in the place of the largest bright one, and beside what is there."""
    finish, share = FINISHES[item.kind]
    side = Side(finish=finish, reflectance=(share, share, share))
    old = _largest_bright(rig)
    if finish != "black" and old is not None and old.hole is None:
        card = replace(
            old, width_mm=item.width_mm, height_mm=item.height_mm, front=side, back=side,
            transmittance=(0.0, 0.0, 0.0),
        )  # fmt: skip
        yield _with_card(rig, card, replaces=old)
        return
    card = Card(
        name=item.name, placement=_in_mirror(rig, item), front=side, back=side,
        width_mm=item.width_mm, height_mm=item.height_mm,
    )  # fmt: skip
    yield _with_card(rig, card, replaces=None)


def _diffuser(rig: Rig, item: Item) -> Iterator[Rig]:
    """Yield the diffuser in the mirror direction with the first lamp behind it."""
    reflected, passed = DIFFUSER
    side = Side(reflectance=(reflected,) * 3)
    old = _largest_bright(rig)
    card = Card(
        name=item.name, placement=_in_mirror(rig, item), front=side, back=side,
        width_mm=item.width_mm, height_mm=item.height_mm, transmittance=(passed,) * 3,
    )  # fmt: skip
    rig = _with_card(rig, card, replaces=old)
    lamps = [lamp for lamp in rig.lamps if lamp.on and not lamp.is_window]
    if not lamps:
        return
    _, ray = centre_ray(rig.camera, rig.sheet)
    behind = np.asarray(card.placement.position_mm) + 400.0 * ray
    moved = replace(lamps[0], placement=Placement(_vector(behind), card.placement.position_mm))
    rig = replace(rig, lamps=tuple(moved if x.name == moved.name else x for x in rig.lamps))
    yield _freed(rig, moved.name, behind, 300.0, aims=True)


def _lamp(rig: Rig, item: Item) -> Iterator[Rig]:
    """Yield a further lamp at the left and at the right, aimed at the sheet."""
    for side in (-1.0, 1.0):
        place = np.array([side * 600.0, 0.0, 500.0])
        lamp = Lamp(
            name=item.name, placement=Placement(_vector(place)),
            width_mm=item.width_mm, height_mm=item.height_mm,
            output=Output(value=2000.0) if item.output is None else item.output,
        )  # fmt: skip
        found = replace(rig, lamps=(*rig.lamps, lamp))
        yield _freed(found, item.name, place, 300.0, aims=False)


def _window(rig: Rig, item: Item) -> Iterator[Rig]:
    """Yield a window at the far side and at the left; it cannot be moved."""
    output = Output(value=2000.0, unit="cd/m2") if item.output is None else item.output
    for place in ((0.0, 1200.0, 600.0), (-1200.0, 0.0, 600.0)):
        window = Lamp(
            name=item.name, placement=Placement(place, (0.0, 0.0, place[2])), is_window=True,
            width_mm=item.width_mm, height_mm=item.height_mm, output=output,
        )  # fmt: skip
        yield replace(rig, lamps=(*rig.lamps, window))


def _shell(rig: Rig, item: Item) -> Iterator[Rig]:
    """Yield the cone or tent over the sheet, without the cards, lamps kept outside."""
    diagonal = float(np.hypot(rig.sheet.width_mm, rig.sheet.height_mm))
    height = rig.camera.placement.position_mm[2]
    opening = diagonal * max(0.0, 1 - item.height_mm / height) + 30.0
    shell = Shell(
        name=item.name, shape="cone" if item.kind == "cone" else "tent",
        foot_width_mm=item.width_mm, foot_depth_mm=item.width_mm,
        top_width_mm=min(opening, 0.9 * item.width_mm), height_mm=item.height_mm,
    )  # fmt: skip
    names = {card.name for card in rig.cards}
    yield replace(
        rig, cards=(), shells=(shell,),
        freedoms=tuple(f for f in rig.freedoms if f.element not in names),
    )  # fmt: skip


def _largest_bright(rig: Rig) -> Card | None:
    bright = [c for c in rig.cards if c.front.finish != "black"]
    return max(bright, key=lambda c: c.width_mm * c.height_mm, default=None)


def _in_mirror(rig: Rig, item: Item) -> Placement:
    """Return the farthest place on the mirrored ray at which the card fills the view."""
    best = mirror_plane(rig.camera, rig.sheet, 200.0)
    for distance in np.arange(200.0, 801.0, 50.0):
        plane = mirror_plane(rig.camera, rig.sheet, float(distance))
        seen = family_on_plane(rig.camera, rig.sheet, plane, margins=Margins())
        if seen is None or seen.width_mm > item.width_mm or seen.height_mm > item.height_mm:
            break
        best = Placement(seen.card.position_mm, plane.aim_mm)
    return best


def _with_card(rig: Rig, card: Card, *, replaces: Card | None) -> Rig:
    kept = tuple(c for c in rig.cards if replaces is None or c.name != replaces.name)
    gone = set() if replaces is None else {replaces.name}
    if card.name in gone and any(f.element == card.name for f in rig.freedoms):
        return replace(rig, cards=(*kept, card))  # the maker said how it may move
    rig = replace(
        rig, cards=(*kept, card),
        freedoms=tuple(f for f in rig.freedoms if f.element not in gone),
    )  # fmt: skip
    return _freed(rig, card.name, np.asarray(card.placement.position_mm), 200.0, aims=False)


def _freed(rig: Rig, name: str, middle: Doubles, span: float, *, aims: bool) -> Rig:
    """Return the rig with freedoms of an element round a place, within the reach."""
    reach = rig.room.reach
    found = [f for f in rig.freedoms if f.element != name or f.dimension == "trim_stops"]
    for axis, value in zip(_AXES, middle, strict=True):
        low, high = value - span, value + span
        if axis == "z_mm":
            low, high = max(low, reach.lowest_mm, 30.0), min(high, reach.highest_mm)
        if low < high:
            found.append(Freedom(element=name, dimension=axis, low=low, high=high))
    lamp = next((x for x in rig.lamps if x.name == name), None)
    if lamp is not None and not any(f.element == name for f in rig.freedoms):
        found.append(Freedom(element=name, dimension="trim_stops", low=-6.0, high=0.0))
    if aims and lamp is not None:
        for axis, value in zip(_AIMS, lamp.placement.aim_mm, strict=True):
            found.append(
                Freedom(element=name, dimension=axis, low=value - 150.0, high=value + 150.0)
            )
    return replace(rig, freedoms=tuple(found))


def _vector(place: Doubles) -> tuple[float, float, float]:
    if not np.isfinite(place).all():
        raise RigError(
            field="position_mm", wanted="three finite numbers", got=place, cure="measure again"
        )
    return (float(place[0]), float(place[1]), float(place[2]))
