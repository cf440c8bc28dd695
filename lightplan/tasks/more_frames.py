"""More photographs of a set, read for the fit: with a lamp off the sheet may be hard to see."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from lightplan.errors import BadInput
from lightplan.shots.pipeline import Looked, look_at
from lightplan.tasks.advice_words import first_word
from lightplan.tasks.photographed import context_of, photographed
from lightplan.tasks.pinned import with_pin

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.estimate import Photographed, Pin
    from lightplan.scene import Rig


def beside(photo: Path, first: Looked, planned: Rig, pin: Pin | None) -> Photographed:
    """Return what another photograph of the set tells.

    Where no sheet is found in it the first photograph's corners are tried, for most are taken by a
    camera that stands still: they count where the artwork fits there.

    Raises
    ------
    BadInput
        Where that does not help either.
    """
    context = context_of(planned)
    looked = told = look_at(photo, context)
    if looked.sheet is None and first.sheet is not None:
        shot = first.shot
        corners = first.sheet.found.scaled((shot.file_rows, shot.file_cols)).corners
        again = look_at(photo, replace(context, corners={photo.name: corners}))
        same = (shot.file_rows, shot.file_cols) == (again.shot.file_rows, again.shot.file_cols)
        looked = again if same and again.score.score is not None else looked
    data = photographed(looked) if pin is None else with_pin(looked, planned, pin)
    if data is None:
        raise BadInput(
            field="photograph",
            wanted="the sheet in each of the photographs",
            got=first_word(told.score),
            cure="leave it out, or take it again with the whole sheet in it",
            file=str(photo),
        )
    return data
