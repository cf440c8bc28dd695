"""Look, Plan and Build: what is searched for, shown as it is found, and taken."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from lightplan.errors import BadInput

if TYPE_CHECKING:
    from lightplan.page.clients import Client
    from lightplan.page.desk import Desk
    from lightplan.session.jobs import Job

Message = Mapping[str, Any]


async def _plan(desk: Desk, client: Client, message: Message) -> None:
    """Begin a search from the rig as it stands."""
    from lightplan.tasks.workbench import plan_work

    document = desk.the_document()
    document.save()
    desk.hands.stop("plan")
    desk.hands.add("plan", plan_work, document.rig, None, about=document.rig.look.kind)
    _tell(desk, "planning", {"is": "planning", "jpeg": None, "score": None})


async def _looks(desk: Desk, client: Client, message: Message) -> None:
    """Begin the proof sheet: every look of the product as it stands."""
    from lightplan.tasks.workbench import looks_work

    document = desk.the_document()
    desk.hands.stop("looks")
    desk.looks = []
    _tell_looks(desk)
    document.save()
    desk.hands.add("looks", looks_work, document.path)


async def _stop(desk: Desk, client: Client, message: Message) -> None:
    purpose = message.get("purpose")
    if isinstance(purpose, str):
        desk.hands.stop(purpose)


async def _take(desk: Desk, client: Client, message: Message) -> None:
    """Lay a plan or a look on the table."""
    shelf = desk.looks if message.get("from") == "looks" else desk.plans
    number = message.get("number")
    if not isinstance(number, int) or not 0 <= number < len(shelf) or shelf[number].rig is None:
        raise BadInput(
            field="plan", wanted="one that is shown", got=str(number), cure="choose another"
        )
    chosen = shelf[number]
    document = desk.the_document()
    title = document.rig.title
    from dataclasses import replace

    rig = replace(chosen.rig, title=title)
    document.take_plan(rig, chosen.record, f"took the plan for {chosen.look}")
    desk.changed()
    desk.clients.say({"is": "note", "text": "Taken. Undo brings back what stood here before."})
    client.say({"is": "go", "stage": "layout"})


async def _kit(desk: Desk, client: Client, message: Message) -> None:
    """Begin to look for what is worth having."""
    from lightplan.tasks.workbench import kit_work

    document = desk.the_document()
    document.save()
    desk.hands.stop("kit")
    desk.offers = []
    _tell_kit(desk, None)
    desk.hands.add("kit", kit_work, document.path)


async def _try_offer(desk: Desk, client: Client, message: Message) -> None:
    """Lay a set on the table as it would be with what is offered."""
    number = message.get("number")
    if not isinstance(number, int) or not 0 <= number < len(desk.offers):
        raise BadInput(
            field="offer", wanted="one that is shown", got=str(number), cure="choose another"
        )
    offer = desk.offers[number]
    desk.the_document().change(offer.rig, f"laid out with {offer.name}"[:200])
    desk.changed()
    desk.clients.say({"is": "note", "text": "Laid out as if you had it. Undo takes it back."})
    client.say({"is": "go", "stage": "layout"})


async def _setup(desk: Desk, client: Client, message: Message) -> None:
    """Make the setup sheet of the rig as it stands."""
    from lightplan.tasks.workbench import setup_work

    document = desk.the_document()
    document.save()
    done = desk.told.get("setup")
    if done is not None and done["revision"] == document.revision:
        client.say(done)
        return
    desk.hands.stop("setup")
    desk.hands.add("setup", setup_work, document.path, about=document.revision, first=True)


def _plan_part(desk: Desk, job: Job, picture: Any) -> None:
    shown = desk.keep(picture.jpeg, "image/jpeg")
    _tell(desk, "planning", {"is": "planning", "jpeg": shown, "score": picture.score})


def _plan_done(desk: Desk, job: Job, found: Any) -> None:
    desk.plans.append(found)
    _tell(desk, "plans", {"is": "plans", "plans": [_shown(desk, one) for one in desk.plans]})


def _look_part(desk: Desk, job: Job, found: Any) -> None:
    desk.looks.append(found)
    _tell_looks(desk)


def _kit_part(desk: Desk, job: Job, offer: Any) -> None:
    object.__setattr__(offer, "address", desk.keep(offer.jpeg, "image/jpeg"))
    desk.offers.append(offer)
    _tell_kit(desk, None)


def _kit_done(desk: Desk, job: Job, told: Mapping[str, Any]) -> None:
    _tell_kit(desk, told)


def _tell_kit(desk: Desk, told: Mapping[str, Any] | None) -> None:
    offers = [
        {
            "name": one.name,
            "picture": one.address,
            "score": one.score,
            "gain": one.gain,
            "price": one.price,
            "is_owned": one.is_owned,
            "reason": one.reason,
        }
        for one in desk.offers
    ]
    _tell(desk, "kit", {"is": "kit", "offers": offers, "answer": told})


def _tell_looks(desk: Desk) -> None:
    """Tell the looks, best first; each has the number by which it is taken."""
    shown = [{**_shown(desk, one), "number": n} for n, one in enumerate(desk.looks)]
    shown.sort(key=lambda one: -desk.looks[one["number"]].rank)
    _tell(desk, "looks", {"is": "looks", "looks": shown})


def _shown(desk: Desk, one: Any) -> dict[str, Any]:
    """Return a plan as the page shows it; its picture is kept once."""
    if not one.jpeg:
        object.__setattr__(one, "address", None)
    elif not hasattr(one, "address"):
        object.__setattr__(one, "address", desk.keep(one.jpeg, "image/jpeg"))
    return {
        "look": one.look,
        "can": one.rig is not None,
        "picture": one.address,
        "score": one.score,
        "start_score": one.start_score,
        "verdict": one.verdict,
        "yield": one.yield_share,
        "metal": one.measures.get("reads_as_metal_share"),
        "moves": list(one.moves),
        "tolerances": list(one.tolerances),
        "needs": list(one.needs),
        "unknown": list(one.unknown),
        "small": one.small,
        "shutter": one.shutter,
        "reason": one.reason,
        "wish": one.wish,
        "room": one.room,
        "two_frames": one.two_frames,
        "two_frames_steps": [list(step) for step in one.two_frames_steps],
    }


def _setup_done(desk: Desk, job: Job, sheet: Any) -> None:
    _tell(
        desk,
        "setup",
        {
            "is": "setup",
            "revision": job.about,
            "pdf": desk.keep(sheet.pdf, "application/pdf"),
            "steps": [list(step) for step in sheet.steps],
            "torch": list(sheet.torch),
            "targets": list(sheet.targets),
            "cautions": list(sheet.cautions),
            "shutter": sheet.shutter,
            "is_kept": sheet.is_kept,
            "two_frames": [list(line) for line in sheet.two_frames],
        },
    )


def _tell(desk: Desk, what: str, message: dict[str, Any]) -> None:
    """Tell every tab, and those that come later."""
    desk.told[what] = message
    desk.clients.say(message)


def _nothing(desk: Desk, job: Job, content: Any) -> None:
    """Take no note: all was told in parts."""


WAYS = {
    "plan": _plan,
    "looks": _looks,
    "kit": _kit,
    "try offer": _try_offer,
    "stop": _stop,
    "take": _take,
    "setup": _setup,
}
PARTS: dict[str, Any] = {"plan": _plan_part, "looks": _look_part, "kit": _kit_part}
RESULTS: dict[str, Any] = {
    "plan": _plan_done,
    "looks": _nothing,
    "kit": _kit_done,
    "setup": _setup_done,
}
