"""Read a rig file."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

from pydantic import ValidationError

from lightplan.errors import BadInput, RigError
from lightplan.rigfiles import schema
from lightplan.rigfiles.build import asset_names, build_rig
from lightplan.rigfiles.digest import rig_digest
from lightplan.rigfiles.explain import explain, plain
from lightplan.rigfiles.loaded import LoadedRig, PlanRecord, Tolerance
from lightplan.rigfiles.migrations import migrate
from lightplan.rigfiles.store import find_rig
from lightplan.rigfiles.things import build_things
from lightplan.scene.questions import questions
from lightplan.scene.sanity import refuse_impossible

MOST_BYTES = 1_000_000


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
    try:
        return loaded_from(form_of(read_text(path)), path)
    except BadInput as error:
        raise error.within(file=plain(str(path), 120)) from None


def read_text(path: Path) -> str:
    """Return the text of a rig file, refusing at once what cannot be one."""
    cure = "give a rig file, see lightplan rigs list"
    try:
        if path.stat().st_size > MOST_BYTES:
            raise RigError(field="size", wanted="below 1 MB", got=path.stat().st_size, cure=cure)
        return path.read_text("utf-8")
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
    document = migrate(parse(text))
    try:
        return schema.RigForm.model_validate(document)
    except ValidationError as error:
        raise explain(error, document, schema.RigForm) from None


def parse(text: str) -> dict[str, Any]:
    """Return the tables of a TOML text."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _no_toml(_place_first(plain(str(error), 200))) from None
    except RecursionError:
        raise _no_toml("brackets nested too deep") from None
    except ValueError as error:  # numbers with thousands of digits
        raise _no_toml(plain(str(error))) from None


def loaded_from(form: schema.RigForm, path: Path) -> LoadedRig:
    """Return the rig of a checked form whose file lies at `path`."""
    folder = path.resolve().parent
    rig = build_rig(form, folder)
    refuse_impossible(rig)
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
        tolerances=tuple(Tolerance(**dict(t)) for t in form.tolerances),
        critical=tuple((element, dimension) for element, dimension in form.critical),
        rig_digest=form.rig_digest,
        made_with=form.made_with,
        stopped_because=form.stopped_because,
    )


def _place_first(message: str) -> str:
    """Return "line 3, column 1: what" for the parser's "what (at line 3, column 1)"."""
    what, _, place = message.rstrip(")").rpartition(" (at ")
    return f"{place}: {what}" if what else message


def _no_toml(why: str) -> RigError:
    return RigError(
        field="content", wanted="TOML text", got=why, cure="correct that line, or copy a preset"
    )
