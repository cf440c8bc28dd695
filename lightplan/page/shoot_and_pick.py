"""Shoot and Pick: photographs that are dropped or land in a folder, advice, ranking, verdicts."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from lightplan.errors import BadInput, LightplanError
from lightplan.landing import SETTLED_S
from lightplan.page.starting import apart, is_place
from lightplan.session import folders

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.page.clients import Client
    from lightplan.page.desk import Desk
    from lightplan.page.uploads import Dropped
    from lightplan.session.jobs import Job

Message = Mapping[str, Any]
TELL_EVERY_S = 0.2
"""Hundreds that are dropped together are told in few messages."""


def folder_of(desk: Desk) -> Path:
    """Return where the photographs of the open work lie: beside its rig file."""
    path = desk.the_document().path
    return path.parent / f"{path.stem} photographs"


def _verdicts_of(desk: Desk) -> Path:
    path = desk.the_document().path
    return path.parent / ".lightplan" / f"{path.stem}.verdicts.json"


async def _photo(desk: Desk, file: Dropped) -> dict[str, Any]:
    """Put a dropped photograph into the work's folder, under its own name."""
    folder = folder_of(desk)
    path = await apart(lambda: folders.keep_photograph(folder, file.name, file.content))
    desk.landing.notice([path], now=time.monotonic(), is_whole=True)
    _look_soon(desk, TELL_EVERY_S)
    return {"file": path.name}


def _look_soon(desk: Desk, after_s: float) -> None:
    if not desk.is_looking:
        desk.is_looking = True
        asyncio.get_running_loop().call_later(after_s, look_at_folder, desk)


def look_at_folder(desk: Desk) -> None:
    """Notice photographs that came, changed or went; paint a small picture, the latest first.

    One that is still being copied is waited for: shown now, it would be told as broken for good.
    """
    from lightplan.tasks.shooting import photographs

    desk.is_looking = False
    if desk.document is None:
        return
    here, now = photographs(folder_of(desk)), time.monotonic()
    gone = desk.landing.keep(set(here))
    desk.landing.notice(here, now=now)
    landed = set(desk.landing.landed(now=now))
    if desk.landing.waits:
        _look_soon(desk, SETTLED_S)
    for path in gone:
        desk.photos.pop(path.name, None)
    found = [path for path in here if path in landed]
    for path in found:
        desk.photos[path.name] = {"file": path.name, "thumb": None, "error": ""}
    if found or gone:
        tell_photos(desk)
    if not found:
        return
    is_painting = bool(desk.to_paint)
    desk.to_paint += found
    if not is_painting:
        errand = asyncio.get_running_loop().create_task(_paint(desk))
        desk.errands.add(errand)  # or nobody would hold it while it runs
        errand.add_done_callback(desk.errands.discard)


async def _paint(desk: Desk) -> None:
    """Paint a small picture of each photograph that has none, the latest first.

    They are asked for one by one, so that a photograph that a maker wants large waits for one.
    """
    photos = desk.photos
    while desk.photos is photos and desk.to_paint:  # another work may be opened meanwhile
        path = desk.to_paint[-1]
        entry = photos.get(path.name)
        if entry is not None:  # it has not gone meanwhile
            await _paint_one(desk, path, entry)
        if desk.photos is photos:
            desk.to_paint.remove(path)
            if entry is not None and photos.get(path.name) is entry:  # nor was it written again
                desk.clients.say({"is": "photo", **entry})


async def _paint_one(desk: Desk, path: Path, entry: dict[str, Any]) -> None:
    try:
        found = await asyncio.wrap_future(desk.reader.ask("thumb", path))
        entry["thumb"] = desk.keep(found.bodies[0], "image/jpeg")
    except LightplanError as error:
        entry["error"] = str(error)


def tell_photos(desk: Desk) -> None:
    """Tell every tab which photographs there are."""
    message = {
        "is": "photos",
        "folder": str(folder_of(desk)),
        "photos": list(desk.photos.values()),
        "verdicts": desk.verdicts,
    }
    desk.told["photos"] = message
    desk.clients.say(message)


async def _photos(desk: Desk, client: Client, message: Message) -> None:
    """List the photographs of the open work, and watch its folder from now on."""
    from lightplan.tasks.shooting import verdicts

    desk.watched = folder_of(desk)
    desk.verdicts = verdicts(_verdicts_of(desk))
    look_at_folder(desk)
    tell_photos(desk)


async def _advise(desk: Desk, client: Client, message: Message) -> None:
    from lightplan.tasks.shooting import advise_work

    path = _readable(desk, message)
    document = desk.the_document()
    document.save()
    since = _readable(desk, {"file": message["since"]}) if message.get("since") else None
    desk.hands.stop("advise")
    given = (path, document.path, path.name, since)
    desk.hands.add("advise", advise_work, *given, about=path.name, first=True)


async def _ledger(desk: Desk, client: Client, message: Message) -> None:
    """Write down the shoot so far: frame by frame what was seen, moved and won."""
    from lightplan.tasks.shooting import shoot_work

    document = desk.the_document()
    document.save()
    desk.hands.stop("ledger")
    desk.hands.add("ledger", shoot_work, folder_of(desk), document.path)


async def _score(desk: Desk, client: Client, message: Message) -> None:
    from lightplan.tasks.shooting import score_work

    document = desk.the_document()
    document.save()
    if not desk.photos:
        raise BadInput(
            field="photographs", wanted="dropped first", got="none", cure="drop some here"
        )
    desk.hands.stop("score")
    desk.hands.add("score", score_work, folder_of(desk), document.path)


async def _verdict(desk: Desk, client: Client, message: Message) -> None:
    """Keep what the maker says of a photograph, with the reason."""
    from lightplan.tasks.shooting import keep_verdict

    path = _known(desk, message)
    reason = message.get("reason")
    desk.verdicts = keep_verdict(
        _verdicts_of(desk),
        file=path.name,
        verdict=message.get("verdict"),
        reason=reason if isinstance(reason, str) else "",
    )
    tell_photos(desk)


async def _large(desk: Desk, client: Client, message: Message) -> None:
    """Show a photograph large."""
    path = _readable(desk, message)
    found = await asyncio.wrap_future(desk.reader.ask("large", path))
    picture = desk.keep(found.bodies[0], "image/jpeg")
    client.say({"is": "large", "file": path.name, "picture": picture})


async def _pixels(desk: Desk, client: Client, message: Message) -> None:
    """Show a spot of a photograph pixel for pixel."""
    path, at = _readable(desk, message), message.get("at")
    if not is_place(at):
        raise BadInput(field="spot", wanted="inside the picture", got=str(at), cure="press there")
    found = await asyncio.wrap_future(desk.reader.ask("pixels", path, at=at))
    picture = desk.keep(found.bodies[0], "image/jpeg")
    client.say({"is": "pixels", "file": path.name, "at": at, "picture": picture})


def _known(desk: Desk, message: Message) -> Path:
    """Return the path of a photograph that is listed; other names find nothing."""
    name = message.get("file")
    if not isinstance(name, str) or name not in desk.photos:
        raise BadInput(
            field="photograph", wanted="one that is listed", got=str(name), cure="drop it here"
        )
    return folder_of(desk) / name


def _readable(desk: Desk, message: Message) -> Path:
    """Return the path of a photograph that is listed and could be read."""
    path = _known(desk, message)
    if why := desk.photos[path.name]["error"]:
        raise LightplanError(why)
    return path


def _advised(desk: Desk, job: Job, found: Mapping[str, Any]) -> None:
    pictures = {name: desk.keep(found[name], "image/jpeg") for name in ("photo", "expected")}
    both = None if found["both"] is None else desk.keep(found["both"], "image/png")
    told = {name: found[name] for name in ("report", "sets")}
    message = {"is": "advice", "both": both, **told, **pictures}
    desk.told["advice"] = message
    desk.clients.say(message)


def _ledger_done(desk: Desk, job: Job, found: Mapping[str, Any]) -> None:
    message = {"is": "ledger", **found, "pdf": desk.keep(found["pdf"], "application/pdf")}
    desk.told["ledger"] = message
    desk.clients.say(message)


def _scored(desk: Desk, job: Job, ranked: list[dict[str, Any]]) -> None:
    message = {"is": "ranking", "ranked": ranked}
    desk.told["ranking"] = message
    desk.clients.say(message)


WAYS = {
    "photos": _photos,
    "advise": _advise,
    "ledger": _ledger,
    "score": _score,
    "verdict": _verdict,
    "large": _large,
    "pixels": _pixels,
}
DROPS = {"photo": _photo}
PARTS: dict[str, Any] = {}
RESULTS: dict[str, Any] = {"advise": _advised, "ledger": _ledger_done, "score": _scored}
