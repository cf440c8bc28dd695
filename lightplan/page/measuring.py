"""What a photograph settles: how much light a lamp gives, where its box names only watts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from lightplan.errors import BadInput
from lightplan.page.starting import is_place, read_dropped
from lightplan.page.uploads import Dropped

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lightplan.page.clients import Client
    from lightplan.page.desk import Desk


async def _measure_lamp(desk: Desk, client: Client, message: Mapping[str, Any]) -> None:
    """Take a lamp's light from a photograph of white paper 1 m in front of it."""
    from lightplan.tasks.changing import changed
    from lightplan.tasks.lamp_photo import SURE_STOPS

    photo, at = desk.dropped.get(str(message.get("photo"))), message.get("paper_at")
    if not isinstance(photo, Dropped) or not is_place(at):
        raise BadInput(
            field="photograph",
            wanted="dropped first, and pointed at",
            got="less",
            cure="drop it again",
        )
    name = str(message.get("element"))
    lux = float((await read_dropped(desk, photo, "lux", paper_at=at)).facts["lux"])
    document = desk.the_document()
    rig = changed(document.rig, [{"do": "output", "element": name, "lux_at_1_m": lux}])
    document.change(rig, f"measured {name}"[:200])
    desk.changed()
    words = f"{name}: {lux:.3g} lux at 1 m, to about {SURE_STOPS:g} stop, now stands in the rig."
    desk.clients.say({"is": "note", "text": words})


WAYS = {"measure lamp": _measure_lamp}
