"""Rig files written so that the maker's comments and order stay."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, MutableMapping, Sequence
from typing import TYPE_CHECKING, Any, Protocol, TypeAlias

import tomlkit
from tomlkit.items import AoT

from lightplan.errors import BadInput, RigError
from lightplan.manifest import check_free, write_output
from lightplan.rigfiles import schema
from lightplan.rigfiles.explain import nearest, plain
from lightplan.rigfiles.line_numbers import without_things
from lightplan.rigfiles.load import form_of, load_rig, loaded_from, read_text
from lightplan.rigfiles.migrations import migrate
from lightplan.rigfiles.owned_things import thing_table
from lightplan.rigfiles.tables import document_of, plan_table
from lightplan.safe_write import FileExists, atomic_write

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

    from lightplan.rigfiles.loaded import LoadedRig, Thing
    from lightplan.rigfiles.plan_record import PlanRecord
    from lightplan.scene import Rig

Values: TypeAlias = MutableMapping[str, Any]


class Writer(Protocol):
    """`atomic_write` or `write_output`."""

    def __call__(self, path: Path, content: bytes | str, *, replace: bool) -> Path:
        """Write a file whole or not at all."""


def rig_to_toml(
    rig: Rig,
    *,
    notes: str = "",
    plan: PlanRecord | None = None,
    owned: Sequence[Thing] = (),
    shop: Sequence[Thing] = (),
) -> str:
    """Return the text of a rig file; fields that have their usual value are left out."""
    full = {
        **document_of(rig),
        "notes": notes,
        "owned": [thing_table(t) for t in owned],
        "shop": [thing_table(t) for t in shop],
        "plan": None if plan is None else plan_table(plan),
    }
    form = schema.RigForm.model_validate(_without_none(full))
    short = form.model_dump(exclude_defaults=True, exclude_none=True)
    document = tomlkit.document()
    for name in sorted(short, key=lambda n: isinstance(short[n], dict | list)):
        _set(document, name, _compact(short[name]))
    return tomlkit.dumps(document)


def update_rig_file(path: Path, changes: Mapping[str, Any]) -> LoadedRig:
    """Change fields of a rig file in place, keeping its comments.

    Parameters
    ----------
    path : Path
    changes : mapping of str to value
        Fields by their dotted name, things in lists by their own name, as in
        "lamps.key.trim_stops"; in the file's units; None takes a field out.

    Returns
    -------
    LoadedRig
        The rig as changed.

    Raises
    ------
    BadInput
        The changed file would not be right; nothing is written then.
    """
    try:
        document = _up_to_date(path)
        for dotted, value in changes.items():
            holder, name = _holder(document, dotted)
            _set(holder, name, value)
        text = tomlkit.dumps(document)
        loaded_from(form_of(text), path)
    except BadInput as error:
        raise error.within(file=plain(str(path), 120)) from None
    atomic_write(path, text, replace=True)
    return load_rig(path)


def write_rig(
    loaded: LoadedRig,
    path: Path,
    *,
    rig: Rig | None = None,
    plan: PlanRecord | None = None,
    replace: bool = False,
    is_output: bool = False,
) -> LoadedRig:
    """Write a rig, changed or as it is, to another file, with the pictures it needs.

    Parameters
    ----------
    loaded : LoadedRig
        Its file gives comments and order.
    path : Path
        New file. Pictures go to the folder ``artwork`` beside it, under the file's name.
    rig : Rig or None
        What the new file shall hold; None: as loaded.
    plan : PlanRecord or None
        Results of planning to keep in it; None: those that are there stay.
    replace : bool
        Whether files that are there may be replaced.
    is_output : bool
        The file is a result of ours, renewed by the next run while it is unchanged; a copy
        is the maker's own from the start.

    Raises
    ------
    FileExists
        A file is in the way and `replace` is false; nothing is written.
    """
    text, pictures = rewritten(loaded, path, rig=rig, plan=plan)
    write = write_output if is_output else atomic_write
    if is_output:
        check_free(path, replace=replace)
    elif path.exists() and not replace:
        atomic_write(path, text, replace=False)  # raises with its sentence
    for target, content in pictures.items():
        _write_picture(target, content, write, replace=replace)
    write(path, text, replace=replace)
    return load_rig(path)


def changed_text(text: str, old: Rig, new: Rig, *, plan: PlanRecord | None = None) -> str:
    """Return a rig file's text with what differs between two rigs changed in it.

    Comments, order and everything beside the rig stay; `plan` takes the place of the plan that
    is kept there. `text` is that of a good file of `old`.
    """
    document = tomlkit.parse(without_things(text, _gone(old, new)))
    _apply(document, document_of(old), document_of(new))
    if plan is not None:
        _set(document, "plan", _compact(_without_none(plan_table(plan))))
    return tomlkit.dumps(document)


def rewritten(
    loaded: LoadedRig, path: Path, *, rig: Rig | None = None, plan: PlanRecord | None = None
) -> tuple[str, dict[Path, bytes]]:
    """Return the text of the file that `write_rig` writes, and the pictures beside it."""
    if rig is None:
        document = _up_to_date(loaded.path)
    else:
        document = _up_to_date(loaded.path, without=_gone(loaded.rig, rig))
        _apply(document, document_of(loaded.rig), document_of(rig))
    if plan is not None:
        _set(document, "plan", _compact(_without_none(plan_table(plan))))
    pictures: dict[Path, bytes] = {}
    if path.resolve().parent != loaded.path.resolve().parent:
        pictures = _carry_pictures(document, loaded, path)
    return tomlkit.dumps(document), pictures


def _gone(old: Rig, new: Rig) -> set[str]:
    return set(old.element_names()) - set(new.element_names())


def _up_to_date(path: Path, without: Collection[str] = ()) -> tomlkit.TOMLDocument:
    """Return a rig file's text, comments and all, in the newest format, without some things."""
    text = read_text(path)
    form_of(text)  # so that all below may rely on its form
    document = tomlkit.parse(without_things(text, without))
    old, new = document.unwrap(), migrate(tomllib.loads(text))
    if old["format"] != new["format"]:
        _apply(document, old, new)
    return document


def _write_picture(target: Path, content: bytes, write: Writer, *, replace: bool) -> None:
    try:
        write(target, content, replace=replace)
    except FileExists:
        if target.read_bytes() != content:
            raise


def _carry_pictures(document: Values, loaded: LoadedRig, path: Path) -> dict[Path, bytes]:
    pictures: dict[Path, bytes] = {}

    def carry(holder: Values, field: str, ending: str) -> None:
        source = loaded.assets[holder[field]]
        if not _lies_with(source, loaded.path):
            # A file from elsewhere is not carried along unasked: it may be nobody's to pass on.
            _set(holder, field, str(source.resolve()))
            return
        name = f"artwork/{path.stem}{ending}{source.suffix}"
        pictures[path.parent / name] = source.read_bytes()
        _set(holder, field, name)

    if "artwork" in document["sheet"]:
        carry(document["sheet"], "artwork", "")
    if "probe" in document.get("room", {}):
        carry(document["room"]["probe"], "file", "-probe")
    for number, lamp in enumerate(document.get("lamps", []), 1):
        if "ies" in lamp:
            carry(lamp, "ies", f"-lamp-{number}")
    for number, prop in enumerate(document.get("props", []), 1):
        if "file" in prop:
            carry(prop, "file", f"-prop-{number}")
    return pictures


def _lies_with(source: Path, rig_file: Path) -> bool:
    return source.resolve().is_relative_to(rig_file.resolve().parent)


def _apply(target: Values, old: Mapping[str, Any], new: Mapping[str, Any]) -> None:
    """Change in `target` what differs between `old` and `new`, and nothing else."""
    for name, value in new.items():
        before = old.get(name)
        if value == before:
            continue
        if name in ("lamps", "cards", "shells", "props"):
            _apply_named(target, name, before if before is not None else [], value)
        elif isinstance(value, Mapping) and isinstance(before, Mapping):
            if name not in target:
                _set(target, name, tomlkit.table())
            _apply(target[name], before, value)
        else:
            _set(target, name, _compact(_without_none(value)))
    for name in old.keys() - new.keys():
        _set(target, name, None)


def _apply_named(
    target: Values, name: str, old: Sequence[Mapping[str, Any]], new: Sequence[Mapping[str, Any]]
) -> None:
    before = {item["name"]: item for item in old}
    present = {item["name"]: item for item in target.get(name, [])}
    kept = [item["name"] for item in new if item["name"] in present]
    same_order = kept == [n for n in present if n in kept] and kept == [
        item["name"] for item in new[: len(kept)]
    ]
    if not same_order:
        _set(target, name, [_compact(_without_none(item)) for item in new])
        return
    for gone in present.keys() - set(kept):
        names = [item["name"] for item in target[name]]
        del target[name][names.index(gone)]
    for item in new:
        if item["name"] in present:
            _apply(present[item["name"]], before[item["name"]], item)
        elif name in target and len(target[name]):
            target[name].append(_item(_compact(_without_none(item))))
        else:
            _set(target, name, [_compact(_without_none(item))])
    if name in target and not len(target[name]):
        del target[name]


def _holder(document: Values, dotted: str) -> tuple[Values, str]:
    """Return the table that holds a dotted field, made if need be, and the field's name."""
    holder: Any = document
    parts = dotted.split(".")
    while len(parts) > 1:
        if isinstance(holder, MutableMapping):
            if parts[0] not in holder:
                holder[parts[0]] = tomlkit.table()
            holder = holder[parts.pop(0)]
        else:
            holder, parts = _named(holder, parts, dotted)
    if not isinstance(holder, MutableMapping):
        raise _no_such(dotted, [])
    return holder, parts[0]


def _named(items: Any, parts: list[str], dotted: str) -> tuple[Any, list[str]]:
    """Return the item whose name `parts` begin with, and what is left; names may hold dots."""
    names = [str(i["name"]) for i in items] if isinstance(items, list) else []
    rest = ".".join(parts)
    for name, item in zip(names, items, strict=False):
        if rest.startswith(name + "."):
            return item, rest[len(name) + 1 :].split(".")
    raise _no_such(dotted, names)


def _no_such(dotted: str, names: list[str]) -> RigError:
    near = nearest(dotted.split(".")[1] if "." in dotted else dotted, names)
    cure = f"did you mean {near}" if near else "use the names of the file"
    return RigError(field="change", wanted="of a field in the file", got=plain(dotted), cure=cure)


def _set(holder: Values, name: str, value: Any) -> None:
    if value is None:
        holder.pop(name, None)
    elif isinstance(value, list) and value and all(isinstance(v, Mapping) for v in value):
        tables = tomlkit.aot()
        for item in value:
            tables.append(_item(item))
        holder[name] = tables
    elif isinstance(value, list) and not value and isinstance(holder.get(name), AoT):
        holder.pop(name)
    else:
        holder[name] = _item(value) if isinstance(value, Mapping) else value


def _item(values: Mapping[str, Any]) -> Any:
    """Return a table; short inner ones (a lamp's output) stay on one line."""
    table = tomlkit.table()
    for name, value in sorted(values.items(), key=lambda pair: _is_block(pair[0], pair[1])):
        if isinstance(value, Mapping) and name == "output":
            inline = tomlkit.inline_table()
            inline.update(value)
            table.add(name, inline)
        else:
            _set(table, name, value)
    return table


def _is_block(name: str, value: Any) -> bool:
    tables = isinstance(value, list) and value and isinstance(value[0], Mapping)
    return bool(tables) or (isinstance(value, Mapping) and name != "output")


def _without_none(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {n: _without_none(v) for n, v in value.items() if v is not None}
    if isinstance(value, list | tuple):
        return [_without_none(v) for v in value]
    return value


def _compact(value: Any) -> Any:
    """Return values as a maker would type them: 120 for 120.0, one number for three alike."""
    if isinstance(value, Mapping):
        return {n: _short_channels(n, _compact(v)) for n, v in value.items()}
    if isinstance(value, list | tuple):
        return [_compact(v) for v in value]
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    return value


def _short_channels(name: str, value: Any) -> Any:
    channels = ("reflectance", "transmittance", "roughness", "ambient_cd_m2")
    spread = isinstance(value, list) and value and name.endswith(channels)
    return value[0] if spread and all(v == value[0] for v in value) else value
