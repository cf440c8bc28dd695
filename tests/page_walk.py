"""Walking through the page as a person does: stages, presses and keys at a person's speed."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import Any

TYPING_MS = 180
"""Between keys; four times as long before each press: a person who looks first."""
FOLDER = os.environ.get("LIGHTPLAN_SCREENSHOTS")
"""Where pictures of the stages are written, if anywhere."""
BRISK_MS = TYPING_MS if FOLDER else 20
"""The same where no time is promised: a person's speed if the times are to be written down."""


def go(tab: Any, stage: str) -> None:
    tab.evaluate(f"location.hash = '{stage}'")
    tab.wait_for_selector(f"main[data-stage={stage}] h1")


def shot(tab: Any, name: str, *, height: int = 860) -> None:
    """Take a picture of the stage for the documents, where a folder is named."""
    if FOLDER:
        usual = tab.viewport_size
        tab.set_viewport_size({**usual, "height": height})
        tab.mouse.move(2, 400)
        tab.screenshot(path=Path(FOLDER) / f"{name}.png")
        tab.set_viewport_size(usual)


def press(tab: Any, what: str, **more: Any) -> None:
    """Look, then press."""
    tab.wait_for_timeout(4 * TYPING_MS)
    tab.click(what, **more)


def answer(tab: Any, words: str) -> None:
    """Press an answer of the question that is asked."""
    press(tab, f".question >> text='{words}'")


def stop(tab: Any, patience_ms: int) -> None:
    """Stop a search that may end by itself just now."""
    with contextlib.suppress(Exception):
        tab.click(".busy >> text=Stop", timeout=2000)
    tab.wait_for_selector(".busy", state="detached", timeout=patience_ms)


def act_out_the_questions(tab: Any) -> None:
    """Answer all questions about a gift tag, as a person does who has read nothing."""
    go(tab, "start")
    tab.click("text=Describe my product")
    answer(tab, "Gift tag")
    tab.get_by_label("Width").type("55", delay=TYPING_MS)
    tab.get_by_label("Height").type("90", delay=TYPING_MS)
    answer(tab, "That is it")
    shot(tab, "start-foil")
    for words in ("Gold foil", "Forest green", "I have none at hand", "Phone, main lens"):
        answer(tab, words)
    for words in ("Softbox", "LED panel", "Go on"):
        answer(tab, words)
    tab.click("[aria-label='One more: White boards, A3']")
    answer(tab, "Go on")
    for what in ("Clamps with an arm", "Tripods"):
        press(tab, f"[aria-label='One more: {what}']")
    shot(tab, "start-holders")
    for words in ("Go on", "I can make it dark", "Wood"):
        answer(tab, words)
    tab.get_by_label("Name of this work").type("Spring gift tags", delay=TYPING_MS)
    tab.keyboard.press("Enter")
