"""The page as a person uses it, in a browser without a window."""

from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
import pytest
from websockets.sync.client import connect

from lightplan.rigfiles import load_rig
from lightplan.scene.dimensions import value_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

PATIENCE_MS = 180_000  # a new machine compiles its loops first


@pytest.fixture(scope="module")
def opened(open_tab) -> Iterator[Any]:
    """One tab for all tests, and what went wrong in it."""
    with open_tab("layout", ".things .thing", (1440, 900), PATIENCE_MS) as page:
        yield page


def until(found: Callable[[], Any], what: str, seconds: float = 90.0) -> Any:
    """Wait for something to be true."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if result := found():
            return result
        time.sleep(0.05)
    raise AssertionError(f"waited in vain for {what}")


def on_disk(served: Any, element: str, dimension: str) -> float:
    rig = load_rig(served.home / "works" / "silver-bookplate-bright.toml").rig
    return value_of(rig, element, dimension)


def drag(tab: Any, thing: str, by: tuple[float, float]) -> None:
    box = tab.locator(f'.plan .thing[data-name="{thing}"] .body').first.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    tab.mouse.move(x, y)
    tab.mouse.down()
    tab.mouse.move(x + by[0], y + by[1], steps=8)
    tab.mouse.up()


def test_a_lamp_is_dragged_the_picture_follows_and_undo_brings_it_back(tab, served):
    before = on_disk(served, "side softbox", "x_mm")
    height = on_disk(served, "side softbox", "z_mm")
    drawn = "document.addEventListener('picture-drawn', e => window.drawn = e.detail.revision)"
    tab.evaluate(drawn)
    drag(tab, "side softbox", (-40, 25))
    until(lambda: on_disk(served, "side softbox", "x_mm") < before - 20, "the file")
    # asked anew each time: the page's policy lets nobody evaluate text in it
    until(lambda: tab.evaluate("window.drawn > 0"), "a new picture")
    assert on_disk(served, "side softbox", "z_mm") == pytest.approx(height)  # seen from above
    tab.keyboard.press("Control+z")
    until(lambda: on_disk(served, "side softbox", "x_mm") == before, "the old place")
    tab.keyboard.press("Control+Shift+z")
    until(lambda: on_disk(served, "side softbox", "x_mm") < before - 20, "the new place")


def test_keys_alone_move_turn_resize_and_dim(tab, served):
    tab.focus('.plan .thing[data-name="sky"]')
    x, y, z = (on_disk(served, "sky", f"{axis}_mm") for axis in "xyz")
    for key in ("ArrowRight", "ArrowRight", "ArrowUp", "PageUp", "Shift+ArrowLeft"):
        tab.keyboard.press(key)
    until(
        lambda: (
            [on_disk(served, "sky", f"{axis}_mm") for axis in "xyz"]
            == pytest.approx([x + 9, y + 5, z + 5])
        ),
        "the steps of 5, 5, 5, 5 and 1 mm",
    )
    width = on_disk(served, "sky", "width_mm")
    tab.keyboard.press("]")
    until(lambda: on_disk(served, "sky", "width_mm") == width + 10, "a wider card")
    tab.focus('.side .thing[data-name="side softbox"]')
    trim = on_disk(served, "side softbox", "trim_stops")
    tab.keyboard.press("-")
    until(
        lambda: on_disk(served, "side softbox", "trim_stops") == pytest.approx(trim - 1 / 3),
        "a third of a stop",
    )


def test_what_a_spot_sees_is_shown_where_it_stands(tab):
    tab.wait_for_selector(".legend li")
    # the middle of the picture is foil of the bookplate's moon, which mirrors the card "sky"
    frame = tab.locator(".picture-frame").bounding_box()
    for share in (0.45, 0.5, 0.55, 0.6):
        tab.mouse.move(frame["x"] + frame["width"] / 2, frame["y"] + frame["height"] * share)
        if "sky" in (tab.text_content(".spot") or ""):
            break
    assert "This spot mirrors: sky" in tab.text_content(".spot")
    assert "hovered" in tab.get_attribute('.plan .thing[data-name="sky"]', "class")


def test_two_tabs_see_the_same(tab, served):
    other = tab.context.new_page()
    other.goto(f"{served.address}/#layout")
    other.wait_for_selector(".things .thing")
    tab.click("#work-title")
    tab.keyboard.type("Bookplates for spring")
    tab.keyboard.press("Enter")
    title = "document.getElementById('work-title')?.textContent"
    until(lambda: other.evaluate(title) == "Bookplates for spring", "the other tab's title")
    other.close()


def test_hostile_words_are_shown_and_never_run(tab):
    tab.on("dialog", lambda dialog: pytest.fail("a script of a title ran"))
    tab.click("#work-title")
    tab.keyboard.type('<img src=x onerror="alert(1)"><script>alert(2)</script>')
    tab.keyboard.press("Enter")
    title = "document.getElementById('work-title')?.textContent"
    until(lambda: (tab.evaluate(title) or "").startswith("<img"), "the hostile title")
    assert tab.locator("#work-title img").count() == 0
    tab.keyboard.press("Control+z")


def test_an_editor_s_change_is_asked_about(tab, served):
    path = served.home / "works" / "silver-bookplate-bright.toml"
    until(lambda: "saved" in tab.text_content("#saved"), "the disk")
    path.write_text(path.read_text("utf-8").replace("value = 2500", "value = 2600", 1), "utf-8")
    tab.click("text=Take its change")
    until(lambda: load_rig(path).rig.lamps[0].output.value == 2600.0, "their change")
    tab.wait_for_selector("#undo:enabled")


def test_the_same_spot_of_a_sheet_is_found_in_two_photographs(tab):
    one = np.array([[200, 310], [220, 800], [900, 905], [880, 150]], float)  # (row, column)
    other = np.array([[100, 90], [80, 600], [700, 640], [720, 60]], float)
    spot = (0.45, 0.5)
    found = tab.evaluate(
        """async ([one, other, spot]) => {
          const { sameSpot } = await import('/static/placing.js');
          const placed = (corners) => ({ corners, rows: 1000, cols: 1200 });
          return sameSpot(placed(one), placed(other), spot);
        }""",
        [one.tolist(), other.tolist(), spot],
    )
    ways = (np.float32(corners[:, ::-1]) for corners in (one, other))
    plane = cv2.getPerspectiveTransform(*ways)
    at = np.float32([[[1200 * spot[0], 1000 * spot[1]]]])
    true = cv2.perspectiveTransform(at, plane)[0, 0] / (1200, 1000)
    assert found == pytest.approx(true, abs=1e-4)


def test_more_moves_than_can_be_done_leave_no_queue(served):
    """Sent without a pause: of those that wait, the last alone is done."""
    count, told = 3000, []
    with connect(
        served.address.replace("http", "ws") + "/socket",
        origin=served.address,
        additional_headers={"Cookie": served.cookie()},
        max_size=None,
    ) as socket:
        for i in range(count):
            move = {"do": "move", "element": "sky", "position_mm": [i / 100, 220.0, 400.0]}
            asked = {"do": "edits", "edits": [move], "why": "moved sky", "gesture": "g", "mark": i}
            socket.send(json.dumps(asked))
        begun = time.monotonic()
        while time.monotonic() - begun < 90:
            message = socket.recv(timeout=90)
            if isinstance(message, str):
                told.append(json.loads(message)["is"])
            elif (
                json.loads(message[4 : 4 + int.from_bytes(message[:4], "little")])["mark"]
                == count - 1
            ):
                break
        else:
            raise AssertionError("the last move's picture never came")
    assert told.count("work") < count / 3
    until(lambda: on_disk(served, "sky", "x_mm") == pytest.approx((count - 1) / 100), "the last")
