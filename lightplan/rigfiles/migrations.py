"""Older rig files are brought up to date one step at a time.

When the meaning of a field changes, or a field goes away, `FORMAT` in `schema.py` rises by
one and a function is added to `STEPS` under the number it starts from. New optional fields
do not raise it. A step gets its own copy of the file's content and returns the new one, so
a step that fails has changed nothing.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping, MutableMapping
from typing import Any, TypeAlias

from lightplan.errors import RigError
from lightplan.rigfiles.schema import FORMAT

Document: TypeAlias = MutableMapping[str, Any]
Step: TypeAlias = Callable[[Document], Document]


def _open_unless_locked(document: Document) -> Document:
    """Format 1 to 2: what was fixed is locked, and the usual paper level is written down.

    In format 1 planning moved only what [[freedoms]] named; in 2 the rest is open too. In
    format 1 the brightest paper got 0.7 unless said otherwise; in 2 as much as it reflects.
    """
    camera = document.get("camera")
    if isinstance(camera, MutableMapping):
        exposure = camera.setdefault("exposure", {})
        settings = ("f_number", "time_s", "iso", "paper_level")
        if isinstance(exposure, MutableMapping) and not exposure.keys() & set(settings):
            exposure["paper_level"] = 0.7
    free = {freedom.get("element") for freedom in _tables(document, "freedoms")}
    if free:
        things = [t for kind in ("lamps", "cards", "shells") for t in _tables(document, kind)]
        for thing in things:
            if thing.get("name") not in free:
                thing["locked"] = True
        if isinstance(camera, MutableMapping) and "camera" not in free:
            camera["locked"] = True
    return document


def _tables(document: Document, name: str) -> list[Any]:
    """Return the tables of a list of tables, without what else a faulty file has there."""
    given = document.get(name)
    items = given if isinstance(given, list) else []
    return [item for item in items if isinstance(item, MutableMapping)]


STEPS: Mapping[int, Step] = {1: _open_unless_locked}


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
            field="format",
            wanted="given",
            got="nothing",
            cure=f"write format = {newest} as the first line",
        )
    number = document["format"]
    if isinstance(number, bool) or not isinstance(number, int) or number < oldest:
        raise RigError(
            field="format",
            wanted=f"a whole number from {oldest} to {newest}",
            got=number,
            cure=f"write format = {newest}",
        )
    if number > newest:
        raise RigError(
            field="format",
            wanted=f"at most {newest}",
            got=number,
            cure="this file needs a newer lightplan, or has a wrong number",
        )
    return number
