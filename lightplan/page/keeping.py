"""Keep: the shelf of presets with their pictures, works that were open, history, import, export."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from lightplan.errors import BadInput
from lightplan.page.starting import apart
from lightplan.session import folders

if TYPE_CHECKING:
    from lightplan.page.clients import Client
    from lightplan.page.desk import Desk
    from lightplan.page.uploads import Dropped
    from lightplan.session.jobs import Job

Message = Mapping[str, Any]


async def _shelf(desk: Desk, client: Client, message: Message) -> None:
    """List presets and recent works; their pictures come as they are painted."""
    from lightplan.tasks.shelf import shelf, shelf_work

    entries = shelf(folders.recent())
    missing = []
    for entry in entries:
        entry["picture"] = desk.pictures.get(entry["key"])
        if entry["picture"] is None and not entry["error"]:
            missing.append((entry["key"], entry.pop("path")))
        entry.pop("path", None)
    client.say({"is": "shelf", "entries": entries})
    if missing and not desk.brush.doing("shelf"):
        desk.brush.add("shelf", shelf_work, missing)


def _shelf_part(desk: Desk, job: Job, painted: Any) -> None:
    key, jpeg = painted
    desk.pictures[key] = desk.keep(jpeg, "image/jpeg")
    desk.clients.say({"is": "shelf picture", "key": key, "picture": desk.pictures[key]})


async def _compare(desk: Desk, client: Client, message: Message) -> None:
    """Lay two things of the shelf side by side."""
    from lightplan.tasks.shelf import beside, shelf

    keys = message.get("keys")
    paths = {entry["key"]: entry["path"] for entry in shelf(folders.recent())}
    if (
        not isinstance(keys, list)
        or len(keys) != 2
        or not all(isinstance(key, str) and key in paths for key in keys)
    ):
        raise BadInput(
            field="to compare", wanted="two of the shelf", got=str(keys), cure="tick two of them"
        )
    two = await apart(lambda: [beside(paths[key]) | {"key": key} for key in keys])
    client.say({"is": "compared", "two": two})


async def _save_as(desk: Desk, client: Client, message: Message) -> None:
    """Keep the work among the maker's own presets."""
    from lightplan.tasks.rig_store import save_rig

    document = desk.the_document()
    document.save()
    name = message.get("name")
    save_rig(
        document.path,
        name.strip() if isinstance(name, str) else "",
        replace=message.get("replace") is True,
    )
    desk.clients.say({"is": "note", "text": f"Kept as {name}. It stands on the shelf."})
    await _shelf(desk, client, message)


async def _copy(desk: Desk, client: Client, message: Message) -> None:
    """Go on with a copy of the work, under another name."""
    from lightplan.tasks.rig_store import copy_rig

    document = desk.the_document()
    document.save()
    path = folders.new_work(document.rig.title)
    copy_rig(document.path, path)
    desk.open(path)
    desk.clients.say({"is": "note", "text": f"This is a copy now: {path.name}."})


async def _history(desk: Desk, client: Client, message: Message) -> None:
    """List the versions of the work, the latest first."""
    document = desk.the_document()
    document.save()
    history = document.history
    listed = [
        {"number": i, "why": entry.why, "at": entry.at} for i, entry in enumerate(history.entries)
    ]
    client.say({"is": "history", "versions": listed[-400:], "position": history.position})


async def _go_back(desk: Desk, client: Client, message: Message) -> None:
    """Make an older version the present one; it is a new step, so that undo leads back."""
    document = desk.the_document()
    number, history = message.get("number"), document.history
    if not isinstance(number, int) or not 0 <= number < len(history.entries):
        raise BadInput(field="version", wanted="one of the list", got=str(number), cure="choose")
    document.set_text(history.version(number).text, "went back to an older version")
    desk.changed()
    await _history(desk, client, message)


async def _export(desk: Desk, client: Client, message: Message) -> None:
    document = desk.the_document()
    document.save()
    address = desk.keep(document.text.encode(), "text/plain")
    client.say({"is": "export", "address": address, "name": document.path.name})


async def _import(desk: Desk, file: Dropped) -> dict[str, Any]:
    """Take a rig file that was dropped among the works, and open it."""
    from lightplan.tasks.shelf import import_rig

    path = folders.new_work(file.name.removesuffix(".toml"))
    import_rig(file.content, path)
    desk.open(path)
    desk.clients.say({"is": "go", "stage": "layout"})
    return {"file": path.name}


def _nothing(desk: Desk, job: Job, content: Any) -> None:
    """Take no note: all was told in parts."""


WAYS = {
    "shelf": _shelf,
    "compare": _compare,
    "save as": _save_as,
    "copy": _copy,
    "history": _history,
    "go back": _go_back,
    "export": _export,
}
DROPS = {"rig": _import}
PARTS: dict[str, Any] = {"shelf": _shelf_part}
RESULTS: dict[str, Any] = {"shelf": _nothing}
