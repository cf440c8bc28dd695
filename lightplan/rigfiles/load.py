"""Read a rig file."""

from __future__ import annotations

import re
import tomllib
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from lightplan.errors import BadInput, RigError, together
from lightplan.rigfiles import schema
from lightplan.rigfiles.bounds import beyond
from lightplan.rigfiles.build import asset_names, build_rig
from lightplan.rigfiles.digest import rig_digest
from lightplan.rigfiles.explain import explain, plain
from lightplan.rigfiles.line_numbers import (
    deepest_line,
    endless_number,
    line_of,
    lines_of,
    no_toml,
    too_deep,
)
from lightplan.rigfiles.loaded import LoadedRig
from lightplan.rigfiles.migrations import migrate
from lightplan.rigfiles.owned_things import build_things
from lightplan.rigfiles.plan_record import PlanRecord, RecordedTolerance
from lightplan.rigfiles.store import find_rig
from lightplan.scene.questions import questions
from lightplan.scene.sanity import refuse_impossible

if TYPE_CHECKING:
    import os
    from collections.abc import Mapping
    from pathlib import Path

    from lightplan.scene import Rig

MOST_BYTES = 1_000_000
MOST_FAULTS = 20  # told at once; whoever has more begins with these


def load_rig(path_or_name: str | os.PathLike[str]) -> LoadedRig:
    """Return a rig and what stands beside it in its file.

    Parameters
    ----------
    path_or_name : str or path
        A rig file, or the name of a preset.

    Raises
    ------
    BadInput
        Whatever is wrong with the file, in one sentence that names file and field.
    """
    path = find_rig(path_or_name)
    text = ""
    try:
        text = read_text(path)
        return loaded_from(form_of(text), path)
    except BadInput as error:
        raise _with_lines(error, text).within(file=plain(str(path), 120)) from None


def read_text(path: Path) -> str:
    """Return the text of a rig file, refusing at once what cannot be one."""
    cure = "give a rig file, see lightplan rigs list"
    try:
        if path.stat().st_size > MOST_BYTES:
            raise RigError(field="size", wanted="below 1 MB", got=path.stat().st_size, cure=cure)
        return path.read_text("utf-8-sig")  # some editors write a mark before the text
    except UnicodeDecodeError:
        raise RigError(
            field="content", wanted="text in UTF-8", got="other bytes", cure=cure
        ) from None
    except OSError as error:
        raise RigError(
            field="file", wanted="one that can be read", got=error.strerror, cure=cure
        ) from None


def form_of(text: str) -> schema.RigForm:
    """Return the checked form of a rig file's text, brought up to date."""
    try:
        document = migrate(parse(text))
    except RecursionError:
        raise _no_toml("brackets nested too deep").at(deepest_line(text)) from None
    faults = beyond(document, schema.RigForm)
    form = None
    try:
        form = schema.RigForm.model_validate(document)
    except ValidationError as error:
        told = {fault.field for fault in faults}
        faults += [f for f in explain(error, document, schema.RigForm) if f.field not in told]
    if form is None or faults:
        raise together(faults)
    return form


def _with_lines(error: BadInput, text: str) -> BadInput:
    """Return what is wrong in the order of the file, each with its line."""
    try:
        lines = lines_of(text, parse(text))
    except (BadInput, RecursionError):
        return error
    faults = [
        fault if fault.line is not None else fault.at(line_of(fault.field, lines))
        for fault in error.faults
    ]
    return together(sorted(faults, key=lambda f: 0 if f.line is None else f.line)[:MOST_FAULTS])


def parse(text: str) -> dict[str, Any]:
    """Return the tables of a TOML text."""
    deep = too_deep(text)
    if deep is not None:
        raise _no_toml("tables in tables, more than 16 deep").at(deep)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _slip(text, plain(str(error), 200)) from None
    except RecursionError:
        raise _no_toml("brackets nested too deep").at(deepest_line(text)) from None
    except ValueError as error:  # numbers with thousands of digits
        raise _no_toml(plain(str(error))).at(endless_number(text)) from None


def loaded_from(form: schema.RigForm, path: Path) -> LoadedRig:
    """Return the rig of a checked form whose file lies at `path`."""
    folder = path.resolve().parent
    rig = build_rig(form, folder)
    refuse_impossible(rig)
    if _may_be_large(rig):
        from lightplan.light.cost import refuse_too_large  # loads the light model

        refuse_too_large(rig)
    return LoadedRig(
        rig=rig,
        path=path,
        digest=rig_digest(rig),
        notes=form.notes,
        plan=None if form.plan is None else _plan(form.plan),
        owned=build_things(form.owned, "owned"),
        shop=build_things(form.shop, "shop"),
        questions=questions(rig),
        assets=MappingProxyType({name: folder / name for name in asset_names(form)}),
    )


def _plan(form: schema.PlanForm) -> PlanRecord:
    measures: Mapping[str, float] = MappingProxyType(dict(form.measures))
    return PlanRecord(
        score=form.score,
        yield_share=form.yield_share,
        good_score=form.good_score,
        measures=measures,
        tolerances=tuple(RecordedTolerance(**dict(t)) for t in form.tolerances),
        critical=tuple((element, dimension) for element, dimension in form.critical),
        rig_digest=form.rig_digest,
        made_with=form.made_with,
        stopped_because=form.stopped_because,
    )


def _may_be_large(rig: Rig) -> bool:
    """Tell rigs of the usual size from those that are worth counting."""
    meshes = any(prop.shape == "mesh" for prop in rig.props)
    return meshes or len(rig.cards) + 4 * len(rig.shells) + len(rig.props) + len(rig.lamps) > 12


def _slip(text: str, message: str) -> RigError:
    """Return what is wrong with the line where the parser gave up."""
    what, _, place = message.rstrip(")").rpartition(" (at ")
    number = re.match(r"line (\d+)", place)
    line = int(number[1]) if number is not None else len(text.rstrip().split("\n"))
    found = no_toml(text, line)
    if found is None:
        return _no_toml(what if what else message).at(line)
    line, field, wanted, cure = found
    return RigError(
        field=field,
        wanted=wanted,
        got=text.split("\n")[line - 1].partition("=")[2].strip(),
        cure=cure,
        line=line,
    )


def _no_toml(why: str) -> RigError:
    return RigError(
        field="content", wanted="TOML text", got=why, cure="correct that line, or copy a preset"
    )
