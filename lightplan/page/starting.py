"""Start: the questions, what is dropped for them, and the first rig of the answers."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

from lightplan.errors import BadInput
from lightplan.page.uploads import Dropped
from lightplan.session import folders

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.page.clients import Client
    from lightplan.page.desk import Desk
    from lightplan.session.reader import Reading

Answer = TypeVar("Answer")


async def _questions(desk: Desk, client: Client, message: Mapping[str, Any]) -> None:
    from lightplan.tasks.start import questions

    client.say({"is": "questions", "questions": questions()})


async def _start(desk: Desk, client: Client, message: Mapping[str, Any]) -> None:
    """Make a rig of the answers and lay it on the table."""
    answers = message.get("answers")
    if not isinstance(answers, Mapping):
        raise BadInput(field="answers", wanted="given", got="none", cure="answer the questions")

    def make() -> Path:
        from lightplan.tasks.foil_artwork import foil_mask
        from lightplan.tasks.start_rig import size_of, start_rig

        picture = None
        artwork = desk.dropped.get(str(message.get("artwork")))
        if artwork is not None:
            width, height = size_of(answers)
            layer = message.get("layer")
            picture, _ = foil_mask(
                artwork,
                colour=_colour(message),
                layer=layer if isinstance(layer, str) and layer in artwork.layers else None,
                width_mm=width,
                height_mm=height,
                parts=_parts(message),
                upside_down=message.get("turned") is True,
            )
        title = answers.get("title")
        path = folders.new_work(title if isinstance(title, str) and title else "my product")
        return start_rig(answers, path, artwork=picture).path

    desk.open(await apart(make))
    desk.clients.say({"is": "go", "stage": "layout"})


def _parts(message: Mapping[str, Any]) -> list[str]:
    given = message.get("parts")
    return [one for one in given if isinstance(one, str)] if isinstance(given, list) else []


def _colour(message: Mapping[str, Any]) -> str | None:
    given = message.get("colour")
    if not isinstance(given, str) or len(given) != 7 or given[0] != "#":
        return None
    return given if set(given[1:].lower()) <= set("0123456789abcdef") else None


async def _measure_stock(desk: Desk, client: Client, message: Mapping[str, Any]) -> None:
    """Tell the colour of a stock that was photographed beside white paper."""
    photo = desk.dropped.get(str(message.get("photo")))
    at = [message.get(name) for name in ("stock_at", "paper_at")]
    if not isinstance(photo, Dropped) or not all(is_place(one) for one in at):
        raise BadInput(
            field="photograph",
            wanted="dropped first, and pointed at twice",
            got="less",
            cure="drop it again",
        )
    found = await read_dropped(desk, photo, "stock", stock_at=at[0], paper_at=at[1])
    client.say({"is": "stock", "reflectance": found.facts["reflectance"]})


def is_place(value: Any) -> bool:
    """Whether a tab has told a spot of a picture: shares of its width and height."""
    return (
        isinstance(value, list)
        and len(value) == 2
        and all(isinstance(v, int | float) and 0 <= v <= 1 for v in value)
    )


async def _artwork(desk: Desk, file: Dropped) -> dict[str, Any]:
    def read() -> dict[str, Any]:
        from lightplan.tasks.foil_artwork import main_colours, read_any_artwork

        artwork = read_any_artwork(file.content, file.suffix, file.name)
        colours = main_colours(artwork)
        return {**_shown(desk, artwork, artwork.cover), "colours": colours, "choices": []}

    return await apart(read)


async def _print(desk: Desk, file: Dropped) -> dict[str, Any]:
    """Tell the foil from a photograph of the print; show what each choice would take for metal."""
    from lightplan.tasks.start_rig import size_of

    width, height = size_of(file.answers)
    found = await read_dropped(desk, file, "print", width_mm=width, height_mm=height)

    def choices_of() -> dict[str, Any]:
        from lightplan.tasks.foil_artwork import artwork_from, foil_preview, shares_by_part

        shape = (found.facts["rows"], found.facts["cols"])
        artwork = artwork_from(*found.bodies, shape=shape, file=file.name)
        choices = []
        for colour, share in shares_by_part(artwork).items():
            shown = desk.keep(foil_preview(share), "image/jpeg")
            choices.append({"colour": colour, "picture": shown, "share": float(share.mean())})
        return {**_shown(desk, artwork, None), "colours": [], "choices": choices}

    return await apart(choices_of)


def _shown(desk: Desk, artwork: Any, cover: Any) -> dict[str, Any]:
    """Keep artwork for the rig that is made of it, and a picture of it to show."""
    from lightplan.tasks.foil_artwork import picture_of

    rows, cols = artwork.codes.shape[:2]
    return {
        "mark": desk.remember(artwork),
        "name": artwork.file,
        "picture": desk.keep(picture_of(artwork.codes, cover), "image/jpeg"),
        "layers": list(artwork.layers),
        "shape": cols / rows,
    }


async def _camera(desk: Desk, file: Dropped) -> dict[str, Any]:
    """Read the lens out of a photograph; keep the photograph for the stock beside white paper."""
    found = await read_dropped(desk, file, "camera")
    return {
        **found.facts,
        "name": file.name,
        "picture": desk.keep(found.bodies[0], "image/jpeg"),
        "mark": desk.remember(file),
    }


async def apart(work: Callable[[], Answer]) -> Answer:
    """Do something in a thread of its own, so that the page answers meanwhile."""
    return await asyncio.get_running_loop().run_in_executor(None, work)


async def read_dropped(desk: Desk, file: Dropped, way: str, **given: Any) -> Reading:
    """Read a photograph that was dropped; it lies on the disk meanwhile, and is gone afterwards."""

    def run() -> Reading:
        with folders.for_a_moment(file.content, file.suffix) as path:
            try:
                return desk.reader.ask(way, path, **given).result()
            except BadInput as error:
                raise error.within(file=file.name) from None

    return await apart(run)


WAYS = {"questions": _questions, "start": _start, "measure stock": _measure_stock}
DROPS = {"artwork": _artwork, "camera": _camera, "print": _print}
