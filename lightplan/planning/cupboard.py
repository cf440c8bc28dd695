"""Everything that a plan may use: what stands in the rig unlocked, and what else is owned."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import TYPE_CHECKING, TypeAlias, get_args

from lightplan.scene import (
    Card,
    Held,
    HolderKind,
    Lamp,
    Output,
    Placement,
    Rig,
    Shell,
    Side,
    checks,
    usually_held,
)
from lightplan.scene.edits import Remove, edited
from lightplan.scene.holding import HOLDER_KINDS, OwnedKind

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from lightplan.scene.cards import CardFinish

Movable: TypeAlias = Lamp | Card | Shell
KINDS: tuple[OwnedKind, ...] = get_args(OwnedKind)
HOLDERS = tuple(kind for kind in HOLDER_KINDS if kind in KINDS)
FINISHES: dict[str, tuple[CardFinish, float]] = {
    "white board": ("white", 0.85),
    "grey board": ("grey", 0.18),
    "black board": ("black", 0.04),
    "silver board": ("silver", 0.75),
}
"""Usual reflectances, from memory."""
DIFFUSER = (0.4, 0.45)
"""Reflectance and transmittance of a usual diffuser, from memory."""
EVERYBODY_HAS: tuple[HolderKind, ...] = ("books", "table")
_NOWHERE = Placement((0.0, 1000.0, 1000.0))


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
    depth_mm : float or None
        Of a lamp, from its face to its back.
    transmittance : (3,) float or None
        Of a diffuser; None: as usual.
    held : Held or None
        Of what holds things: from which height to which.
    """

    name: str
    kind: str
    width_mm: float = 0.0
    height_mm: float = 0.0
    price: float | None = None
    output: Output | None = None
    depth_mm: float | None = None
    transmittance: tuple[float, float, float] | None = None
    held: Held | None = None

    def __post_init__(self) -> None:
        checks.one_of(self.kind, KINDS, "kind")
        if self.kind not in HOLDERS:
            checks.positive(self.width_mm, "width_mm")
            checks.positive(self.height_mm, "height_mm")


@dataclass(frozen=True, eq=False)
class Cupboard:
    """What may be used for a sheet and a camera.

    Parameters
    ----------
    base : Rig
        Sheet, camera, room, windows and what is locked; without freedoms.
    lamps, boards, blacks, diffusers, shells : tuple
        What may be brought in, the largest first; where it stands means nothing. Boards are
        white, grey and silver.
    windows : tuple of Lamp
        Of which is not said where they are: the table can be turned towards them.
    holders : mapping of str to Held
        What holds cards, by kind.
    lamp_stand : Held
        What a lamp stands on that says nothing else: each comes with its own.
    counted : mapping of str to int
        How many of a kind of holder there are for cards, where that is said.
    narrowed : mapping of (element, dimension) to (low, high)
        From the maker's freedoms.
    given : Rig
        The rig as it was given.
    """

    base: Rig
    lamps: tuple[Lamp, ...]
    boards: tuple[Card, ...]
    blacks: tuple[Card, ...]
    diffusers: tuple[Card, ...]
    shells: tuple[Shell, ...]
    windows: tuple[Lamp, ...]
    holders: Mapping[HolderKind, Held]
    lamp_stand: Held
    counted: Mapping[HolderKind, int]
    given: Rig
    narrowed: Mapping[tuple[str, str], tuple[float, float]] = field(
        default_factory=lambda: MappingProxyType({})
    )

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to bring in."""
        return not (self.lamps or self.boards or self.blacks or self.diffusers or self.shells)

    @property
    def has_light(self) -> bool:
        """Whether anything at all shines."""
        room, lit = self.base.room, [x for x in self.base.lamps if x.on]
        shines = max(room.ambient_cd_m2) > 0 or room.probe is not None
        return bool(lit or self.lamps or self.windows or shines)


def cupboard_of(rig: Rig, items: Sequence[Item] = ()) -> Cupboard:
    """Return what may be used: a rig's things but those locked, and items beside them."""
    free = [thing for thing in _things(rig) if _may_move(thing)]
    base = replace(edited(rig, *(Remove(thing.name) for thing in free)), freedoms=())
    found: list[Movable] = list(free)
    taken = {thing.name for thing in _things(rig)} | {"camera", "sheet", "table", "room"}
    taken |= {prop.name for prop in rig.props}
    windows: list[Lamp] = []
    for item in items:
        if item.kind in HOLDERS:
            continue
        thing = thing_of(item, _new_name(item.name, taken))
        taken.add(thing.name)
        if isinstance(thing, Lamp) and thing.is_window:
            windows.append(thing)
        else:
            found.append(thing)
    cards = sorted((x for x in found if isinstance(x, Card)), key=lambda c: -_area(c))
    lamps = sorted((x for x in found if isinstance(x, Lamp)), key=lambda x: -_area(x))
    return Cupboard(
        base=base,
        lamps=tuple(lamps),
        boards=tuple(c for c in cards if not c.is_diffuser and c.front.finish != "black"),
        blacks=tuple(c for c in cards if not c.is_diffuser and c.front.finish == "black"),
        diffusers=tuple(c for c in cards if c.is_diffuser),
        shells=tuple(x for x in found if isinstance(x, Shell)),
        windows=tuple(windows),
        holders=MappingProxyType(_holders(free, items)),
        lamp_stand=_lamp_stand(free, items),
        counted=MappingProxyType(_counted(free, items)),
        given=rig,
        narrowed=MappingProxyType(
            {(f.element, f.dimension): (f.low, f.high) for f in rig.freedoms}
        ),
    )


def thing_of(item: Item, name: str | None = None) -> Movable:
    """Return an item as a thing of a rig; where it stands means nothing yet."""
    called = item.name if name is None else name
    if item.kind in ("lamp", "window"):
        window = item.kind == "window"
        usual = Output(value=2000.0, unit="cd/m2") if window else Output(value=2000.0)
        return Lamp(
            name=called,
            placement=_NOWHERE,
            is_window=window,
            depth_mm=item.depth_mm,
            output=usual if item.output is None else item.output,
            width_mm=item.width_mm,
            height_mm=item.height_mm,
        )
    if item.kind in ("cone", "tent"):
        return Shell(
            name=called,
            shape="cone" if item.kind == "cone" else "tent",
            foot_width_mm=item.width_mm,
            foot_depth_mm=item.width_mm,
            height_mm=item.height_mm,
        )
    if item.kind == "diffuser":
        reflected, passed = DIFFUSER
        through = (passed,) * 3 if item.transmittance is None else item.transmittance
        side = Side(reflectance=(min(reflected, 1 - max(through)),) * 3)
        return Card(
            name=called,
            placement=_NOWHERE,
            front=side,
            back=side,
            transmittance=through,
            width_mm=item.width_mm,
            height_mm=item.height_mm,
        )
    finish, share = FINISHES[item.kind]
    side = Side(finish=finish, reflectance=(share,) * 3)
    return Card(
        name=called,
        placement=_NOWHERE,
        front=side,
        back=side,
        width_mm=item.width_mm,
        height_mm=item.height_mm,
    )


def _things(rig: Rig) -> tuple[Movable, ...]:
    return (*rig.lamps, *rig.cards, *rig.shells)


def _may_move(thing: Movable) -> bool:
    if thing.locked:
        return False
    return not (isinstance(thing, Lamp) and (thing.is_window or not thing.on))


def _area(thing: Lamp | Card) -> float:
    return thing.width_mm * thing.height_mm


def _new_name(name: str, taken: set[str]) -> str:
    number, found = 1, name
    while found in taken:
        number += 1
        found = f"{name} {number}"
    return found


def _holders(standing: Sequence[Movable], items: Sequence[Item]) -> dict[HolderKind, Held]:
    """Return what holds cards: what everybody has, what is owned, what holds cards already.

    What a lamp stands on holds that lamp. A card that hangs in the rig as it was given hangs
    from something; where the rig does not say from what, it is taken for a clamp.
    """
    found = {kind: usually_held(kind) for kind in EVERYBODY_HAS}
    found |= dict(_owned_holders(items))
    for thing in standing:
        if not isinstance(thing, Card):
            continue
        if thing.held is not None:
            found.setdefault(thing.held.by, thing.held)
        elif _hangs(thing):
            found.setdefault("clamp", usually_held("clamp"))
            found.setdefault("boom", usually_held("boom"))
    return found


def _owned_holders(items: Sequence[Item]) -> Iterator[tuple[HolderKind, Held]]:
    for item in items:
        for kind in HOLDERS:
            if item.kind == kind:
                yield kind, usually_held(kind) if item.held is None else item.held


def _lamp_stand(standing: Sequence[Movable], items: Sequence[Item]) -> Held:
    """Return the stand of lamps: as one stands in the rig, as one is owned, or a usual one."""
    stands = [x.held for x in standing if isinstance(x, Lamp) and x.held is not None]
    stands += [held for _, held in _owned_holders(items)]
    return next((held for held in stands if held.by == "stand"), usually_held("stand"))


def _counted(standing: Sequence[Movable], items: Sequence[Item]) -> dict[HolderKind, int]:
    """Return how many of each kind of holder there are, of those that are said to be owned.

    Those that hold cards in the rig as it was given are among them.
    """
    held = [x.held.by for x in standing if isinstance(x, Card) and x.held is not None]
    owned = [kind for kind, _ in _owned_holders(items)]
    return {
        kind: max(owned.count(kind), held.count(kind))
        for kind in dict.fromkeys(owned)
        if kind not in (*EVERYBODY_HAS, "string")  # whoever has string has enough of it
    }


def _hangs(card: Card) -> bool:
    """Whether its lower edge is off the table, or it leans over so that it would fall."""
    _, up, normal = card.placement.axes()
    lower = card.placement.position_mm[2] - card.height_mm / 2 * abs(float(up[2]))
    return lower > 60.0 or float(normal[2]) < -0.2
