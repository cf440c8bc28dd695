"""One plain sentence from what the form checker found."""

from __future__ import annotations

import difflib
import typing
from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError

from lightplan.errors import RigError
from lightplan.shown import printable

_WANTED = {
    "float_type": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "list_type": "a list in square brackets",
    "dict_type": "a table of names and numbers",
    "model_type": "a table with fields",
    "finite_number": "a finite number",
}
_CURES = {
    "float_type": "write it without quotes, as in 120.5",
    "string_type": 'put it in quotes, as in "key"',
    "list_type": "write it as in [0, 100, 200]; a table of many starts with [[name]]",
    "model_type": "write its fields below a line with its name in square brackets",
    "finite_number": "measure it again",
}


def plain(text: object, limit: int = 80) -> str:
    r"""Return one line without control characters, shortened.

    >>> plain("wid" + chr(27) + "th" + chr(10) + "mm")
    'wid\\x1bth mm'
    """
    shown = text if isinstance(text, str) else repr(text)
    shown = printable(" ".join(shown[: 4 * limit].split()))
    return shown if len(shown) <= limit else shown[: limit - 1] + "…"


def explain(
    error: ValidationError, document: Mapping[str, Any], form: type[BaseModel]
) -> list[RigError]:
    """Return every fault as `RigError`, but not what a misspelt field left missing."""
    faults = error.errors(include_url=False)
    unknown = [f["loc"] for f in faults if f["type"] == "extra_forbidden"]
    misspelt = {(*where[:-1], _meant(where, form)) for where in unknown}
    left = [f for f in faults if f["type"] != "missing" or f["loc"] not in misspelt]
    return [_explained(f, document, form) for f in left]


def _explained(
    fault: Mapping[str, Any], document: Mapping[str, Any], form: type[BaseModel]
) -> RigError:
    where = fault["loc"]
    name = dotted(where, document)
    if fault["type"] == "extra_forbidden":
        return _unknown_field(name, where, form)
    if fault["type"] == "missing":
        return RigError(
            field=name, wanted="given", got="nothing", cure=f"add {plain(where[-1])} to the file"
        )
    return RigError(field=name, wanted=_wanted(fault), got=plain(fault["input"]), cure=_cure(fault))


def dotted(where: Sequence[str | int], document: Mapping[str, Any]) -> str:
    """Return a place in the file as the maker would name it; things in lists by their name.

    >>> dotted(("lamps", 0, "width_mm"), {"lamps": [{"name": "key"}]})
    'lamps.key.width_mm'
    >>> dotted(("cards", 1, "finish"), {"cards": [{}, {}]})
    'cards.2.finish'
    """
    parts: list[str] = []
    value: Any = document
    for step in where:
        try:
            value = value[step]
        except (KeyError, IndexError, TypeError):
            value = None
        name = value.get("name") if isinstance(value, Mapping) else None
        if isinstance(step, int):
            parts.append(plain(name, 40) if isinstance(name, str) and name else str(step + 1))
        else:
            parts.append(plain(step, 40))
    return ".".join(parts) if parts else "the file"


def nearest(name: str, known: Sequence[str]) -> str | None:
    """Return the known name that is most like `name`, if one is.

    >>> nearest("widht_mm", ["width_mm", "height_mm"])
    'width_mm'
    """
    if len(name) > 2:
        longer = [option for option in known if option.startswith(name)]
        if longer:
            return longer[0]
    found = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
    return found[0] if found else None


def inner_form(annotation: Any) -> type[BaseModel] | None:
    """Return the form of the tables that an annotation takes; None where it takes none."""
    parts = typing.get_args(annotation)
    if not parts and isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((f for f in map(inner_form, parts) if f is not None), None)


def _meant(where: Sequence[str | int], form: type[BaseModel]) -> str | None:
    return nearest(str(where[-1])[:80], list(_form_at(where[:-1], form).model_fields))


def _unknown_field(name: str, where: Sequence[str | int], form: type[BaseModel]) -> RigError:
    known = list(_form_at(where[:-1], form).model_fields)
    near = _meant(where, form)
    cure = f"did you mean {near}" if near else "use one of " + ", ".join(known)
    return RigError(
        field=name, wanted="a field that lightplan knows", got=plain(where[-1]), cure=cure
    )


def _form_at(where: Sequence[str | int], form: type[BaseModel]) -> type[BaseModel]:
    for step in where:
        if isinstance(step, str) and step in form.model_fields:
            inner = inner_form(form.model_fields[step].annotation)
            form = inner if inner is not None else form
    return form


def _wanted(fault: Mapping[str, Any]) -> str:
    context: dict[str, Any] = fault.get("ctx", {})
    kind = fault["type"]
    if kind == "literal_error":
        return "one of " + ", ".join(_options(context))
    if kind in ("too_short", "too_long"):
        count = context.get("min_length", context.get("max_length"))
        return f"a list of {count} numbers"
    bounds = {"greater_than": "gt", "greater_than_equal": "ge", "less_than_equal": "le"}
    if kind in bounds:
        return f"{kind.replace('_', ' ')} {context[bounds[kind]]:g}".replace(
            " equal", " or equal to"
        )
    return _WANTED.get(kind, plain(fault["msg"]))


def _cure(fault: Mapping[str, Any]) -> str:
    if fault["type"] == "literal_error":
        near = nearest(plain(fault["input"]), _options(fault["ctx"]))
        return f"did you mean {near}" if near else "choose one of these"
    return _CURES.get(fault["type"], "correct it")


def _options(context: Mapping[str, Any]) -> list[str]:
    expected = str(context["expected"]).replace(" or ", ", ")
    return [option.strip("'") for option in expected.split(", ")]
