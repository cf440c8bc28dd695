"""The documents of the rig format say what the reader does."""

import json
import re
import tomllib
from pathlib import Path

import jsonschema
import pytest

from lightplan.optics.materials import FOIL_KINDS
from lightplan.rigfiles import forms, schema, sheet_forms, store
from lightplan.rigfiles.schema import RigForm, json_schema, json_schema_text

DOCS = Path(__file__).parents[2] / "docs"
TABLES = {
    "Top of the file": RigForm,
    "`[look]`": sheet_forms.LookForm,
    "`[sheet]`": sheet_forms.SheetForm,
    "`[sheet.foil]`": sheet_forms.FoilForm,
    "`[sheet.foil.relief]`": sheet_forms.ReliefForm,
    "`[sheet.foil.grating]`": sheet_forms.GratingForm,
    "`[sheet.paper]`": sheet_forms.PaperForm,
    "`[sheet.paper.waviness]`": sheet_forms.WavinessForm,
    "`[sheet.paper.film]`": sheet_forms.FilmForm,
    "`[camera]`": forms.CameraForm,
    "`[camera.body]`": forms.BodyForm,
    "`[camera.exposure]`": forms.ExposureForm,
    "`[[lamps]]`": forms.LampForm,
    "`[[cards]]`": forms.CardForm,
    "`[[shells]]`": forms.ShellForm,
    "`[[props]]`": forms.PropForm,
    "`[room]`": forms.RoomForm,
    "`[room.probe]`": forms.ProbeForm,
    "`[room.table]`": forms.TableForm,
    "`[room.walls]`": forms.WallsForm,
    "`[room.reach]`": forms.ReachForm,
    "`[[freedoms]]`": schema.FreedomForm,
    "`[[owned]]` and `[[shop]]`": schema.ThingForm,
    "`[plan]`": schema.PlanForm,
}


def sections():
    """Heading -> rows of its table: field -> (unit, default, meaning)."""
    text = (DOCS / "rig-files.md").read_text("utf-8")
    found = {}
    for part in re.split(r"^#{2,3} ", text, flags=re.MULTILINE)[1:]:
        heading = part.splitlines()[0].split(":")[0]
        rows = re.findall(r"^\| `(\w+)` \| (.*?) \| (.*?) \| (.*?) ?\|$", part, re.MULTILINE)
        found[heading] = {name: rest for name, *rest in rows}
    return found


def is_table(field):
    """Whether a field is a table of its own, with its own heading."""
    text = str(field.annotation)
    return "Form" in text and "Output" not in text


@pytest.mark.parametrize("heading", TABLES)
def test_each_table_lists_exactly_its_fields(heading):
    form = TABLES[heading]
    fields = {n for n, f in form.model_fields.items() if not is_table(f) or n == "tolerances"}
    assert set(sections()[heading]) == fields


def test_every_table_of_the_form_is_in_the_docs():
    named = {form.__name__ for form in TABLES.values()}
    assert set(json_schema()["$defs"]) - named == {"OutputForm", "ToleranceForm"}
    text = (DOCS / "rig-files.md").read_text("utf-8")
    for form in (forms.OutputForm, schema.ToleranceForm):
        for name in form.model_fields:
            assert f"`{name}`" in text or f"{name} =" in text


@pytest.mark.parametrize("heading", TABLES)
def test_defaults_in_the_docs_are_the_readers(heading):
    for name, (_, default, _) in sections()[heading].items():
        field = TABLES[heading].model_fields[name]
        if default == "must be given":
            assert field.is_required(), name
            continue
        assert not field.is_required(), name
        value = field.default
        if value is None or value in ([], {}):
            assert not re.match(r"`?[\d\[\"]", default) or name == "output", (name, default)
            continue
        stated = json.loads(default.strip("`"))
        spread = isinstance(value, list) and not isinstance(stated, list)
        assert value == ([stated] * len(value) if spread else stated), name


def test_units_in_the_docs_are_those_of_the_names():
    units = {"_mm": "mm", "_deg": "degrees", "_k": "K", "_s": "s", "_cd_m2": "cd/m2"}
    for heading, rows in sections().items():
        for name, (unit, _, _) in rows.items():
            for ending, expected in units.items():
                if name.endswith(ending) and not name.endswith("per_mm"):
                    assert unit == expected, (heading, name)


def test_every_choice_is_in_the_docs():
    text = (DOCS / "rig-files.md").read_text("utf-8")
    choices = set(FOIL_KINDS)

    def collect(value):
        if isinstance(value, dict):
            choices.update(value.get("enum", []) if isinstance(value.get("enum"), list) else [])
            for inner in value.values():
                collect(inner)
        elif isinstance(value, list):
            for inner in value:
                collect(inner)

    collect(json_schema())
    assert len(choices) > 40
    for choice in choices:
        assert f"`{choice}`" in text or f'"{choice}"' in text, choice


def test_every_field_says_what_it_means():
    for name, form in json_schema()["$defs"].items():
        for field, entry in form["properties"].items():
            assert entry.get("description"), (name, field)


def test_the_kept_json_schema_is_current():
    kept = (DOCS / "rig-format.schema.json").read_text("utf-8")
    assert kept == json_schema_text(), (
        "run python -m lightplan.rigfiles > docs/rig-format.schema.json"
    )


def test_the_json_schema_is_one_and_takes_every_preset():
    checker = jsonschema.Draft202012Validator
    checker.check_schema(json_schema())
    for path in store.preset_paths().values():
        document = tomllib.loads(path.read_text("utf-8"))
        assert list(checker(json_schema()).iter_errors(document)) == [], path.name


@pytest.mark.parametrize(
    "wrong", [{"format": 1}, {"titel": "x"}, {"sheet": {"width_mm": "9", "height_mm": 9}}]
)
def test_the_json_schema_refuses_what_the_reader_refuses(wrong):
    good = {
        "format": 2,
        "title": "x",
        "sheet": {"width_mm": 9, "height_mm": 9},
        "camera": {"position_mm": [0, 0, 9]},
    }
    checker = jsonschema.Draft202012Validator(json_schema())
    assert checker.is_valid(good)
    assert not checker.is_valid({**good, **wrong})
