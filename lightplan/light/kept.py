"""What an engine keeps from one rig to the next, so that it can be left in the middle.

A part is never changed while somebody may still ask it: it is forked, the fork follows the
new rig, and only when all have followed do the forks take the parts' places.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Self, TypeVar, cast

import numpy as np

from lightplan.light.cells import METAL_TEXEL, Patchwork

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from lightplan.arrays import Booleans, Integers

_Array = TypeVar("_Array", bound=np.ndarray[Any, Any])
_LEAVES = frozenset((np.ndarray, type(None), int, float, bool, str, frozenset, np.float32))
NEW = -1  # where something was before that was not there


class Kept:
    """A part that is forked before it follows.

    The fork has lists, dictionaries and kept parts of its own, but the same arrays: a part
    that alters one alters a copy.
    """

    def fork(self) -> Self:
        """Return a part that may follow another rig without this one noticing."""
        fork = object.__new__(type(self))
        inside = self.__dict__.copy()
        for name, value in inside.items():
            if type(value) not in _LEAVES:
                inside[name] = _forked(value)
        fork.__dict__ = inside
        return fork


def _forked(value: Any) -> Any:
    if isinstance(value, Kept):
        return value.fork()
    kind = type(value)
    if kind is list:
        return [_forked(item) for item in value] if _holds_parts(value) else value.copy()
    if kind is dict:
        if _holds_parts(value.values()):
            return {key: _forked(item) for key, item in value.items()}
        return value.copy()
    if kind is tuple and _holds_parts(value):
        return tuple(_forked(item) for item in value)
    return value


def _holds_parts(items: Iterable[Any]) -> bool:
    """Whether there is a part among items, or in a tuple or list that is one of them."""
    for item in items:
        kind = type(item)
        if kind in _LEAVES:
            continue
        if isinstance(item, Kept) or (kind in (tuple, list) and _holds_parts(item)):
            return True
    return False


@dataclass(frozen=True, eq=False)
class Moves:
    """How the surfaces of a scene follow from those of the scene before.

    Parameters
    ----------
    came : (s,) int
        Which surface of before each one is, to the last digit; NEW for none of them.
    before, after : Patchwork
    """

    came: tuple[int, ...]
    before: Patchwork
    after: Patchwork

    @cached_property
    def changed(self) -> frozenset[int]:
        """Surfaces that are new or were moved or altered."""
        return frozenset(i for i, old in enumerate(self.came) if old == NEW)

    @cached_property
    def went(self) -> dict[int, int]:
        """Where each surface that stayed has gone."""
        return {old: new for new, old in enumerate(self.came) if old != NEW}

    @cached_property
    def texels(self) -> Integers:
        """Where each texel has gone, DARK_TEXEL for nowhere; to be asked METAL_TEXEL too."""
        table = np.zeros(self.before.texel_count + 1, np.int32)
        table[METAL_TEXEL] = METAL_TEXEL  # the last one
        lamps = 1 + min(self.before.lamps, self.after.lamps)
        table[:lamps] = np.arange(lamps)
        places = {(f.surface, f.is_front): f.texels for f in self.after.faces}
        for face in self.before.faces:
            now = places.get((self.went.get(face.surface, NEW), face.is_front))
            if now is not None:
                table[face.texels] = np.arange(now.start, now.stop)
        return table

    def rows(self, before: Integers, after: Integers) -> Integers:
        """Return where each point was (NEW for nowhere), by the surfaces that own them.

        A surface that stayed has its points in the same order.
        """
        found = np.full(len(after), NEW)
        for new, old in enumerate(self.came):
            if old != NEW:
                found[after == new] = np.flatnonzero(before == old)
        return found

    def listed(self, items: Sequence[Any]) -> list[Any]:
        """Return what there is one of for each surface, None for those that are new."""
        return [None if old == NEW else items[old] for old in self.came]


def gathered(values: _Array, rows: Integers, cols: Integers | None = None) -> _Array:
    """Return a copy of (n, ...) or (n, m) values in another order, 0 where they are NEW."""
    found: Any = values
    for axis, order in ((0, rows),) if cols is None else ((0, rows), (1, cols)):
        known = np.flatnonzero(order != NEW)
        shape = (*found.shape[:axis], len(order), *found.shape[axis + 1 :])
        laid = np.zeros(shape, found.dtype)
        laid[(slice(None),) * axis + (known,)] = np.take(found, order[known], axis=axis)
        found = laid
    return cast("_Array", found)


def alike(one: Any, other: Any) -> bool:
    """Return whether two values hold the same, arrays and dataclasses included.

    >>> alike((1.0, np.zeros(2)), (1.0, np.zeros(2))), alike(np.zeros(2), np.ones(2))
    (True, False)
    """
    if one is other:
        return True
    if type(one) is not type(other):
        return False
    if isinstance(one, np.ndarray):
        return np.array_equal(one, other)
    if isinstance(one, tuple):
        return len(one) == len(other) and all(map(alike, one, other))
    if is_dataclass(one):
        return all(alike(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    return bool(one == other)


def differing(
    before: Iterable[np.ndarray[Any, Any]], now: Iterable[np.ndarray[Any, Any]]
) -> Booleans:
    """Return which rows (n,) of any of the arrays (n, ...) are other than before.

    >>> differing((np.zeros(3), np.eye(3)), (np.arange(3), np.eye(3))).tolist()
    [False, True, True]
    """
    found: Any = False
    for one, other in zip(before, now, strict=True):
        rows = len(one)
        same = one is other
        found = found | (np.zeros(rows, bool) if same else (one != other).reshape(rows, -1).any(1))
    return np.asarray(found)


def held_bytes(value: Any, _seen: set[int] | None = None) -> int:
    """Return the bytes of all arrays that an object of ours holds, each counted once."""
    seen: set[int] = set() if _seen is None else _seen
    if id(value) in seen:
        return 0
    seen.add(id(value))
    if isinstance(value, np.ndarray):
        base = value if value.base is None else value.base
        if base is not value and isinstance(base, np.ndarray):
            return held_bytes(base, seen)
        return int(value.nbytes)
    if isinstance(value, list | tuple):
        return sum(held_bytes(item, seen) for item in value)
    if isinstance(value, dict):
        return sum(held_bytes(item, seen) for item in value.values())
    if type(value).__module__.split(".")[0] in ("lightplan", "scipy"):
        return held_bytes(getattr(value, "__dict__", {}), seen)
    return 0
