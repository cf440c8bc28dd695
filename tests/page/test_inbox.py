"""Of what waits to be done, moves that a later move overtakes are left out, and nothing else."""

from __future__ import annotations

import asyncio
from typing import Any

from lightplan.page import inbox
from lightplan.page.clients import Client
from lightplan.page.inbox import Inbox


def edits(*given: dict[str, Any], gesture: Any = "drag") -> dict[str, Any]:
    return {"do": "edits", "gesture": gesture, "edits": list(given)}


def move(x: float, element: str = "sky") -> dict[str, Any]:
    return {"do": "move", "element": element, "position_mm": [x, 0, 0]}


def left(*messages: dict[str, Any]) -> list[dict[str, Any]]:
    async def through() -> list[dict[str, Any]]:
        box = Inbox()
        for message in messages:
            await box.put(message)
        return [dict(await box.get()) for _ in range(len(box._waiting))]

    return asyncio.run(through())


def test_the_last_of_a_hand_s_moves_is_done():
    assert left(*(edits(move(x)) for x in range(50))) == [edits(move(49))]
    size = {"do": "set", "element": "sky", "dimension": "width_mm"}
    found = left(edits({**size, "value": 1}), edits({**size, "value": 2}))
    assert found == [edits({**size, "value": 2})]


def test_whatever_is_a_step_or_of_another_thing_or_gesture_is_done_too():
    nudge = {"do": "nudge", "element": "sky", "by_mm": [5, 0, 0]}
    aim = {"do": "move", "element": "sky", "aim_mm": [0, 0, 0]}
    for two in (
        (edits(nudge), edits(nudge)),
        (edits(move(1)), edits(move(2, "lamp"))),
        (edits(move(1)), edits(aim)),
        (edits(move(1)), edits(move(2), gesture="other")),
        (edits(move(1), gesture=None), edits(move(2), gesture=None)),
        (edits(move(1)), {"do": "let go"}),
        (edits(move(1)), edits(move(2), nudge)),
        ({"do": "undo"}, {"do": "undo"}),
        (edits("x"), edits("x")),
        ({"do": "edits", "gesture": 1}, {"do": "edits", "gesture": 1}),
    ):
        assert left(*two) == list(two)
    kept = [edits(move(1)), {"do": "let go"}, edits(move(2))]
    assert left(*kept) == kept


def test_a_tab_that_asks_too_much_is_listened_to_no_more_for_a_while(monkeypatch):
    monkeypatch.setattr(inbox, "MOST_WAITING", 3)

    async def filled() -> None:
        box = Inbox()
        for _ in range(3):
            await box.put({"do": "undo"})
        fourth = asyncio.create_task(box.put({"do": "redo"}))
        await asyncio.sleep(0.05)
        assert not fourth.done()
        await box.get()
        await asyncio.wait_for(fourth, 5)

    asyncio.run(filled())


def test_a_slow_tab_gets_the_last_of_what_says_all():
    async def told() -> list[str]:
        client = Client(None)  # type: ignore[arg-type]
        for number in range(3):
            client.say({"is": "work", "revision": number})
            client.say({"is": "note", "text": str(number)})
        return [text for _, text in client._texts]

    assert asyncio.run(told()) == [
        '{"is": "note", "text": "0"}',
        '{"is": "note", "text": "1"}',
        '{"is": "work", "revision": 2}',
        '{"is": "note", "text": "2"}',
    ]
