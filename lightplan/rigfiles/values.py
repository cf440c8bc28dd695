"""Small steps that building a rig from its file takes everywhere."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from lightplan.errors import BadInput


@contextmanager
def inside(prefix: str) -> Iterator[None]:
    """Put `prefix` before the field of any bad input raised within."""
    try:
        yield
    except BadInput as error:
        raise error.within(prefix) from None


def channels(values: list[float]) -> tuple[float, float, float]:
    """Return three numbers of a file's list."""
    red, green, blue = values
    return (red, green, blue)


def pair(values: list[float]) -> tuple[float, float]:
    """Return two numbers of a file's list."""
    first, second = values
    return (first, second)
