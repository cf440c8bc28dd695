"""What was made of objects, found again by the very same objects; equal ones are not looked for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable

Made = TypeVar("Made")


class Remembered(Generic[Made]):
    """What was made lately.

    The objects are held with what was made of them: an address may be given again to another
    object only once the first is gone.

    Parameters
    ----------
    most : int
        How much is kept at the most; then all is forgotten.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._known: dict[tuple[Hashable, ...], tuple[tuple[object, ...], Made]] = {}

    def of(self, objects: tuple[object, ...], make: Callable[[], Made], *more: Hashable) -> Made:
        """Return what was made of these objects and `more`, made now where it is not known."""
        key = (*map(id, objects), *more)
        known = self._known.get(key)
        if known is not None:
            return known[1]
        made = make()
        if len(self._known) >= self._most:
            self._known.clear()
        self._known[key] = (objects, made)
        return made
