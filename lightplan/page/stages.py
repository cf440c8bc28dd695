"""What a tab may ask for, one function each, and what becomes of the answers."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import Any, TypeAlias

from lightplan.errors import BadInput
from lightplan.page import finding, keeping, measuring, shoot_and_pick, starting
from lightplan.page.clients import Client
from lightplan.page.desk import Desk
from lightplan.page.uploads import Dropped
from lightplan.session import folders
from lightplan.session.jobs import Job

Message: TypeAlias = Mapping[str, Any]
Drop: TypeAlias = Callable[[Desk, Dropped], Awaitable[dict[str, Any]]]
Way: TypeAlias = Callable[[Desk, Client, Message], Awaitable[None]]


async def _edits(desk: Desk, client: Client, message: Message) -> None:
    from lightplan.tasks.changing import changed

    document = desk.the_document()
    rig = changed(document.rig, message.get("edits"))  # type: ignore[arg-type]
    rig = document.unlocking(rig)
    document.change(rig, _words(message, "why", "changed"), gesture=_gesture(client, message))
    desk.changed(message.get("mark"))


async def _let_go(desk: Desk, client: Client, message: Message) -> None:
    """Take note that the hand has let go: what comes next is another step of undo."""
    desk.the_document().let_go()
    desk.tell_work()


async def _echo(desk: Desk, client: Client, message: Message) -> None:
    """Send the present picture again: what a picture takes without any light being worked out."""
    if desk.frame is not None:
        client.show("frame", desk.frame)


async def _undo(desk: Desk, client: Client, message: Message) -> None:
    document = desk.the_document()
    told = document.undo() if message["do"] == "undo" else document.redo()
    word = "Undone" if message["do"] == "undo" else "Done again"
    desk.clients.say({"is": "note", "text": f"{word}: {told}." if told else "Nothing more."})
    desk.changed()


async def _open(desk: Desk, client: Client, message: Message) -> None:
    """Open a preset by its name, or a work by its place in the list of recent ones."""
    if message.get("what") == "recent":
        recent = folders.recent()
        number = message.get("number")
        if not isinstance(number, int) or not 0 <= number < len(recent):
            raise _unknown("work", number)
        desk.open(recent[number])
        return
    name = _words(message, "name", "")
    if name not in folders.presets():
        raise _unknown("preset", name)
    desk.open(folders.rig_in(name))


async def _elsewhere(desk: Desk, client: Client, message: Message) -> None:
    """Another program changed the file: take its change, or keep what stands here."""
    document = desk.the_document()
    if message.get("take") == "theirs":
        document.take_theirs()
    else:
        document.keep_mine()
    desk.changed()


async def _cure(desk: Desk, client: Client, message: Message) -> None:
    """Do the move that a finding names."""
    document = desk.the_document()
    number = message.get("number")
    rig = desk.cures.get(number) if isinstance(number, int) else None
    if rig is None or message.get("revision") != document.revision:
        raise BadInput(
            field="move",
            wanted="of the picture that is shown",
            got="one of an older picture",
            cure="wait for the new picture",
        )
    document.change(rig, _words(message, "why", "did what was advised"))
    desk.changed()


WAYS: dict[str, Way] = {
    **starting.WAYS,
    **finding.WAYS,
    **shoot_and_pick.WAYS,
    **keeping.WAYS,
    **measuring.WAYS,
    "edits": _edits,
    "let go": _let_go,
    "echo": _echo,
    "undo": _undo,
    "redo": _undo,
    "open": _open,
    "elsewhere": _elsewhere,
    "cure": _cure,
}
BY_HAND = ("edits", "let go", "echo", "undo", "redo")
"""What needs no more than the picture that follows the hand."""
DROPS: dict[str, Drop] = {**starting.DROPS, **shoot_and_pick.DROPS, **keeping.DROPS}


def worked(desk: Desk, job: Job, kind: str, content: Any) -> None:
    """Pass on what long work tells: progress alike for all, results each in its own way."""
    if kind == "progress":
        told = {
            "is": "busy",
            "purpose": job.purpose,
            "stage": content.stage,
            "done": content.done,
            "of": content.of,
            "note": content.note,
        }
    elif kind in ("part", "done"):
        (PARTS if kind == "part" else RESULTS)[job.purpose](desk, job, content)
        told = {"is": "free", "purpose": job.purpose}
        if kind == "part":
            return
    else:
        if kind == "broken" and job.purpose == "advise":
            content = f"{job.about}: {content}"  # the photograph may be what ended the work
        told = {"is": "free", "purpose": job.purpose, "why": content}
        if kind != "stopped":
            desk.clients.say({"is": "fault", "text": content})
    desk.told[f"busy {job.purpose}"] = told
    desk.clients.say(told)


Result: TypeAlias = Callable[[Desk, Job, Any], None]
PARTS: dict[str, Result] = {**finding.PARTS, **shoot_and_pick.PARTS, **keeping.PARTS}
RESULTS: dict[str, Result] = {**finding.RESULTS, **shoot_and_pick.RESULTS, **keeping.RESULTS}


def standing(desk: Desk) -> list[dict[str, Any]]:
    """Return what a tab that comes is told beside the work itself."""
    return list(desk.told.values())


async def dropped(desk: Desk, file: Dropped, purpose: str) -> dict[str, Any]:
    """Take a file that was dropped on the page."""
    way = DROPS.get(purpose)
    if way is None:
        raise _unknown("purpose", purpose)
    return await way(desk, file)


def _words(message: Message, name: str, usual: str) -> str:
    value = message.get(name, usual)
    return value[:200] if isinstance(value, str) else usual


def _gesture(client: Client, message: Message) -> str | None:
    given = message.get("gesture")
    return f"{id(client)}-{given}" if isinstance(given, str | int) else None


def _unknown(what: str, got: object) -> BadInput:
    return BadInput(
        field=what, wanted="one that is there", got=str(got), cure="load the list again"
    )
