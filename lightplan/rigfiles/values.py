"""Small steps that building a rig from its file takes everywhere."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, ParamSpec, TypeVar

from lightplan.errors import BadInput, together

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

P = ParamSpec("P")
T = TypeVar("T")


@contextmanager
def inside(prefix: str) -> Iterator[None]:
    """Put `prefix` before the field of any bad input raised within."""
    try:
        yield
    except BadInput as error:
        raise error.within(prefix) from None


class Faults:
    """Collects what is wrong with the parts of a rig, so that all of it is told at once."""

    def __init__(self) -> None:
        self._found: list[BadInput] = []

    def of(self, build: Callable[P, T], *args: P.args, **named: P.kwargs) -> T | None:
        """Return what a part is built to; None, and its fault kept, where it cannot be."""
        try:
            return build(*args, **named)
        except BadInput as error:
            self._found += error.faults
            return None

    def check(self) -> None:
        """Raise what was found, if anything was."""
        if self._found:
            raise together(self._found)


def channels(values: list[float]) -> tuple[float, float, float]:
    """Return three numbers of a file's list."""
    red, green, blue = values
    return (red, green, blue)


def pair(values: list[float]) -> tuple[float, float]:
    """Return two numbers of a file's list."""
    first, second = values
    return (first, second)
