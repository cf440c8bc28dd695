"""Checks shared by the parts of a rig; each raises `RigError` with one sentence."""

from __future__ import annotations

import math
from collections.abc import Collection, Sized
from numbers import Real

from lightplan.errors import RigError

LARGEST = 1e9


def positive(value: float, field: str, cure: str = "measure it again") -> None:
    """Refuse anything but a number above 0 that is not absurdly large."""
    if not (_is_finite(value) and value > 0):
        raise RigError(field=field, wanted="greater than 0", got=value, cure=cure)
    if value > LARGEST:
        raise RigError(field=field, wanted=f"at most {LARGEST:g}", got=value, cure=cure)


def between(value: float, low: float, high: float, field: str, cure: str) -> None:
    """Refuse anything but a finite number from `low` to `high`."""
    if not (_is_finite(value) and low <= value <= high):
        wanted = f"from {low:g} to {high:g}"
        raise RigError(field=field, wanted=wanted, got=value, cure=cure)


def angle(value_rad: float, field: str) -> None:
    """Refuse an angle beyond a full turn; the message is in degrees, as files are."""
    if not (_is_finite(value_rad) and abs(value_rad) <= 2.0 * math.pi + 1e-9):
        shown = round(math.degrees(value_rad), 6) if _is_finite(value_rad) else value_rad
        raise RigError(
            field=field, wanted="from -360 to 360 degrees", got=shown, cure="use -180 to 180"
        )


def one_of(value: str, allowed: Collection[str], field: str) -> None:
    """Refuse a word that is not in `allowed`."""
    if value not in allowed:
        wanted = "one of " + ", ".join(allowed)
        raise RigError(field=field, wanted=wanted, got=value, cure="choose one of these")


def triple(values: tuple[float, float, float], low: float, high: float, field: str) -> None:
    """Refuse a channel triple with a value outside `low` to `high`."""
    count(values, 3, field)
    for value, channel in zip(values, "rgb", strict=True):
        between(value, low, high, f"{field}.{channel}", "give a share of the light, 0 to 1")


def count(values: Sized, wanted: int, field: str) -> None:
    """Refuse anything but `wanted` values."""
    if not isinstance(values, Sized) or len(values) != wanted:
        raise RigError(
            field=field, wanted=f"{wanted} numbers", got=values, cure="write them as a list"
        )


def _is_finite(value: object) -> bool:
    if type(value) is float:  # nearly always, and asked for each figure of each rig of a search
        return math.isfinite(value)
    if isinstance(value, bool) or not isinstance(value, Real):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number with hundreds of digits
        return False
