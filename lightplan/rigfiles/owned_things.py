"""What is owned or can be bought: from the file's form and back to its table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from lightplan.errors import RigError
from lightplan.rigfiles.build import LAMP_OUTPUT, build_output
from lightplan.rigfiles.loaded import Thing
from lightplan.rigfiles.tables import output_fields
from lightplan.rigfiles.values import channels, inside
from lightplan.scene import HOLDER_KINDS, Held, usually_held

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.rigfiles.schema import ThingForm


def build_things(forms: Sequence[ThingForm], table: str) -> tuple[Thing, ...]:
    """Return the things of `[[owned]]` or `[[shop]]`."""
    things = []
    for number, form in enumerate(forms, 1):
        with inside(f"{table}.{number}"):
            things.append(_thing(form))
    return tuple(things)


def _thing(form: ThingForm) -> Thing:
    held = _holder(form)
    given = form.output is not None or form.watts is not None or form.lumens_per_watt is not None
    passes = form.transmittance
    return Thing(
        kind=form.kind,
        width_mm=0.0 if form.width_mm is None else form.width_mm,
        height_mm=0.0 if form.height_mm is None else form.height_mm,
        price=form.price,
        count=form.count,
        name=form.name,
        output=build_output(form, usual=LAMP_OUTPUT) if given else None,
        depth_mm=form.depth_mm,
        transmittance=None if passes is None else channels(passes),
        held=held,
    )


def _holder(form: ThingForm) -> Held | None:
    """Return how what only holds things holds them; of the others, see that they have a size."""
    by = next((kind for kind in HOLDER_KINDS if kind == form.kind), None)
    if by is None:
        for name in ("width_mm", "height_mm"):
            if getattr(form, name) is None:
                raise RigError(
                    field=name, wanted="given", got="nothing", cure=f"add {name} to the file"
                )
        for name in ("lowest_mm", "highest_mm"):
            if getattr(form, name) is not None:
                raise RigError(
                    field=name,
                    wanted="given only of what holds things",
                    got=getattr(form, name),
                    cure="leave it out, or give it to the stand",
                )
        return None
    usual = usually_held(by)
    return Held(
        by=by,
        lowest_mm=usual.lowest_mm if form.lowest_mm is None else form.lowest_mm,
        highest_mm=usual.highest_mm if form.highest_mm is None else form.highest_mm,
    )


def thing_table(thing: Thing) -> dict[str, Any]:
    """Return something owned or to be bought as in the file."""
    held, passes = thing.held, thing.transmittance
    return {
        "kind": thing.kind,
        "width_mm": thing.width_mm if thing.width_mm > 0 else None,
        "height_mm": thing.height_mm if thing.height_mm > 0 else None,
        "price": thing.price,
        "count": thing.count,
        "name": thing.name,
        **({} if thing.output is None else output_fields(thing.output)),
        "depth_mm": thing.depth_mm,
        "transmittance": None if passes is None else list(passes),
        "lowest_mm": None if held is None else held.lowest_mm,
        "highest_mm": None if held is None else held.highest_mm,
    }
