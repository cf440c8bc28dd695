"""Older rig files are brought up to date one step at a time.

When the meaning of a field changes, or a field goes away, `FORMAT` in `schema.py` rises by
one and a function is added to `STEPS` under the number it starts from. New optional fields
do not raise it. A step gets its own copy of the file's content and returns the new one, so
a step that fails has changed nothing.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping
from typing import Any, TypeAlias

from lightplan.errors import RigError
from lightplan.rigfiles.schema import FORMAT

Document: TypeAlias = dict[str, Any]
Step: TypeAlias = Callable[[Document], Document]

STEPS: Mapping[int, Step] = {}  # format 1 is the first there was


def migrate(
    document: Document, *, steps: Mapping[int, Step] = STEPS, newest: int = FORMAT
) -> Document:
    """Return `document` in the newest format; the one given is left alone.

    Raises
    ------
    RigError
        `format` is missing, not a whole number, or not one this version knows.
    """
    number = _format_of(document, oldest=min(steps, default=newest), newest=newest)
    current = copy.deepcopy(document)
    for start in range(number, newest):
        current = steps[start](current)
        current["format"] = start + 1
    return current


def _format_of(document: Document, *, oldest: int, newest: int) -> int:
    if "format" not in document:
        raise RigError(
            field="format", wanted="given", got="nothing",
            cure=f"write format = {newest} as the first line",
        )  # fmt: skip
    number = document["format"]
    if isinstance(number, bool) or not isinstance(number, int) or number < oldest:
        raise RigError(
            field="format", wanted=f"a whole number from {oldest} to {newest}", got=number,
            cure=f"write format = {newest}",
        )  # fmt: skip
    if number > newest:
        raise RigError(
            field="format", wanted=f"at most {newest}", got=number,
            cure="this file needs a newer lightplan, or has a wrong number",
        )  # fmt: skip
    return number
