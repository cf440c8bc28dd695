"""The rig file's form, version 2.

``python -m lightplan.rigfiles`` prints it as JSON Schema, which editors read to
complete and check a rig file while it is typed.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, Field

from lightplan.rigfiles.bounds import with_bounds
from lightplan.rigfiles.explain import inner_form
from lightplan.rigfiles.form import Channels, Form, Pair
from lightplan.rigfiles.forms import (
    CameraForm,
    CardForm,
    LampForm,
    OutputForm,
    PropForm,
    RoomForm,
    ShellForm,
)
from lightplan.rigfiles.sheet_forms import LookForm, SheetForm
from lightplan.scene.holding import OwnedKind
from lightplan.scene.rig import Dimension

if TYPE_CHECKING:
    from collections.abc import Iterator

FORMAT = 2


class FreedomForm(Form):
    """One dimension that planning may change."""

    element: str = Field(description="Name of a lamp, card or shell, or camera.")
    dimension: Dimension = Field(description="What may change.")
    low: float = Field(description="Least value (mm or stops).")
    high: float = Field(description="Greatest value (mm or stops).")


class ToleranceForm(Form):
    """How far one dimension may be off."""

    element: str = Field(description="Name of a lamp, card, shell, camera or sheet.")
    dimension: str = Field(description="Which of its dimensions.")
    minus: float = Field(ge=0.0, description="How far below is still right.")
    plus: float = Field(ge=0.0, description="How far above is still right.")


class PlanForm(Form):
    """What planning found, written by the tool."""

    score: float | None = Field(
        default=None, ge=0.0, le=100.0, description="Predicted score, 0 to 100."
    )
    yield_share: float | None = Field(
        default=None, ge=0.0, le=1.0, description="Share of builds that come out right, 0 to 1."
    )
    good_score: float | None = Field(
        default=None, ge=0.0, le=100.0, description="Score from which a build comes out right."
    )
    measures: dict[str, float] = Field(
        default={}, description="Predicted measures, unit in the name."
    )
    tolerances: list[ToleranceForm] = Field(default=[], description="Tolerance of each dimension.")
    critical: list[Annotated[list[str], Field(min_length=2, max_length=2)]] = Field(
        default=[],
        description="Element and dimension of what to measure best, the first most of all.",
    )
    rig_digest: str = Field(default="", description="Fingerprint of the rig that was planned.")
    made_with: str = Field(default="", description="Version of the tool.")
    stopped_because: str = Field(default="", description="Why the search ended.")


class ThingForm(Form):
    """Something that is owned or can be bought: to light with, or to hold that."""

    kind: OwnedKind = Field(description="What it is.")
    width_mm: float | None = Field(
        default=None,
        gt=0.0,
        description="Width; of a cone or tent, of its foot. Not of what only holds.",
    )
    height_mm: float | None = Field(
        default=None, gt=0.0, description="Height. Not of what only holds."
    )
    price: float | None = Field(
        default=None, ge=0.0, description="For one, in your own money; none: not known."
    )
    count: int = Field(default=1, ge=1, le=100, description="How many.")
    name: str = Field(default="", description="As you call it.")
    output: OutputForm | None = Field(default=None, description="Of a lamp, at full power.")
    watts: float | None = Field(
        default=None, description="Of an LED lamp, instead of output: the power it draws."
    )
    lumens_per_watt: Pair | None = Field(
        default=None, description="What each watt gives, [least, most]; none: [50, 110]."
    )
    depth_mm: float | None = Field(
        default=None, gt=0.0, description="Of a lamp, from its face to its back; none: as usual."
    )
    transmittance: Channels | None = Field(
        default=None, description="Of a diffuser, share of light let through; none: 0.45."
    )
    lowest_mm: float | None = Field(
        default=None, description="Of what holds: least height over the sheet; none: as usual."
    )
    highest_mm: float | None = Field(
        default=None, description="Of what holds: greatest height over the sheet; none: as usual."
    )


class RigForm(Form):
    """A rig file."""

    format: Literal[2] = Field(description="Version of this form.")
    title: str = Field(description="One line.")
    notes: str = Field(default="", description="Your own words.")
    look: LookForm = Field(default=LookForm(), description="The look that is wanted.")
    sheet: SheetForm = Field(description="The product.")
    camera: CameraForm = Field(description="The camera or phone.")
    lamps: list[LampForm] = Field(default=[], description="Lamps and windows.")
    cards: list[CardForm] = Field(default=[], description="Boards and flat diffusers.")
    shells: list[ShellForm] = Field(default=[], description="Cones and tents.")
    props: list[PropForm] = Field(default=[], description="Stands, boxes and other bodies.")
    room: RoomForm = Field(default=RoomForm(), description="Everything around.")
    freedoms: list[FreedomForm] = Field(default=[], description="What planning may change.")
    owned: list[ThingForm] = Field(default=[], description="What you own, for the kit command.")
    shop: list[ThingForm] = Field(
        default=[], description="What you could buy, for the kit command."
    )
    plan: PlanForm | None = Field(default=None, description="Results of planning.")


def _forms(form: type[BaseModel]) -> Iterator[type[BaseModel]]:
    """Yield a form and all forms of the tables in it."""
    yield form
    for field in form.model_fields.values():
        inner = inner_form(field.annotation)
        if inner is not None:
            yield from _forms(inner)


def json_schema() -> dict[str, Any]:
    """Return the form as JSON Schema (draft 2020-12)."""
    forms = {form.__name__: form for form in _forms(RigForm)}
    schema = with_bounds(_without_titles(RigForm.model_json_schema()), forms)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "lightplan rig file",
        **schema,
    }


def json_schema_text() -> str:
    """Return the JSON Schema as it is kept in the documents."""
    return json.dumps(json_schema(), indent=1, ensure_ascii=False) + "\n"


def _without_titles(value: Any) -> Any:
    """Leave out the titles that pydantic makes of the fields' names; they say nothing more."""
    if isinstance(value, dict):
        kept = {n: v for n, v in value.items() if n != "title" or not isinstance(v, str)}
        return {name: _without_titles(v) for name, v in kept.items()}
    return [_without_titles(v) for v in value] if isinstance(value, list) else value
