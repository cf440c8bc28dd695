"""No photograph is decoded in the process that holds the work; one that kills its reader is named.

Wherever a photograph comes in: dropped on Start, on a lamp, on Shoot, put into the watched folder.
"""

from __future__ import annotations

import asyncio
import os
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
import pytest
from silent_tab import Tab

from lightplan.page import measuring, shoot_and_pick, starting
from lightplan.page.desk import Desk
from lightplan.page.uploads import Dropped
from lightplan.rigfiles import copy_rig
from lightplan.session.reader import Reader
from lightplan.tasks import lamp_photo, photo_facts, print_photo
from lightplan.tasks import shooting as tasks_shooting

if TYPE_CHECKING:
    from pathlib import Path

PATIENCE_S = 120
DEADLY = """
import os, signal
from lightplan.session import decoding

def thumb(path, usual=decoding.WAYS["thumb"]):
    if "deadly" in path.name:
        os.kill(os.getpid(), signal.SIGSEGV)
    return usual(path)

decoding.WAYS["thumb"] = thumb
decoding.main()
"""


@pytest.fixture
def work(tmp_path: Path) -> Path:
    return copy_rig("silver-bookplate-bright", tmp_path / "mine.toml").path


def photograph(number: int) -> bytes:
    """A white sheet with a dark bar, on grain."""
    rng = np.random.default_rng(number)
    pixels = rng.integers(40, 60, (900, 800, 3), np.uint8)
    pixels[150:750, 175:625] = 205
    pixels[300:400, 250:550] = 90
    return cv2.imencode(".jpg", pixels)[1].tobytes()


@pytest.fixture
def nothing_decoded_here(monkeypatch):
    def refuse(*_: Any, **__: Any) -> None:
        pytest.fail("a photograph was decoded in the page's own process")

    for module in (photo_facts, lamp_photo, print_photo):
        monkeypatch.setattr(module, "read_shot", refuse)
    monkeypatch.setattr(tasks_shooting, "small_picture", refuse)


async def until(found: Any) -> None:
    for _ in range(100 * PATIENCE_S):
        if found():
            return
        await asyncio.sleep(0.01)
    raise AssertionError("waited in vain")


def shown(desk: Desk) -> list[str]:
    """Return which photographs have a small picture, or a word of why not."""
    return sorted(name for name, one in desk.photos.items() if one["thumb"] or one["error"])


@pytest.mark.usefixtures("nothing_decoded_here")
def test_photographs_are_decoded_elsewhere_wherever_they_come_in(work):
    async def walk() -> tuple[Desk, Tab, list[dict[str, Any]]]:
        desk, tab = Desk(str(work)), Tab()
        desk._loop = asyncio.get_running_loop()
        desk.clients.add(tab)
        file = Dropped("shot.jpg", ".jpg", photograph(1))
        camera = await starting._camera(desk, file)
        size = {"size": {"width_mm": 90, "height_mm": 120}}
        printed = await starting._print(desk, Dropped("p.jpg", ".jpg", photograph(2), size))
        asked = {"photo": camera["mark"], "stock_at": [0.5, 0.4], "paper_at": [0.5, 0.7]}
        await starting._measure_stock(desk, tab, asked)
        try:
            await measuring._measure_lamp(desk, tab, {**asked, "element": "side softbox"})
        except Exception as error:  # noqa: BLE001 - it names no exposure, and was read to tell so
            tab.say({"is": "told", "text": str(error)})
        await shoot_and_pick._photo(desk, file)
        await until(lambda: any(p["thumb"] for p in desk.photos.values()))
        await shoot_and_pick._large(desk, tab, {"file": "shot.jpg"})
        desk.reader.close()
        return desk, tab, [camera, printed]

    desk, tab, (camera, printed) = asyncio.run(walk())
    assert camera["pixels"] == [800, 900]
    assert printed["choices"]
    told = {one["is"]: one for one in tab.heard}
    assert len(told["stock"]["reflectance"]) == 3
    assert "aperture, time and ISO" in told["told"]["text"]
    large = asyncio.run(desk.made("image", told["large"]["picture"].rpartition("/")[2]))
    assert large is not None
    assert large[0][:2] == b"\xff\xd8"


def test_a_photograph_that_kills_its_reader_is_named_and_the_others_are_shown(work):
    folder = work.parent / "mine photographs"
    folder.mkdir()
    for number, name in enumerate(("a.jpg", "deadly.jpg", "z.jpg")):
        (folder / name).write_bytes(photograph(number))
        os.utime(folder / name, (1e9, 1e9))  # taken before: none is still being copied

    async def watched() -> tuple[Desk, Tab]:
        desk, tab = Desk(str(work)), Tab()
        desk.reader = Reader(program=DEADLY)
        desk.clients.add(tab)
        await shoot_and_pick._photos(desk, tab, {})
        await until(lambda: shown(desk) == ["a.jpg", "deadly.jpg", "z.jpg"])
        (folder / "later.jpg").write_bytes(photograph(9))  # lands in the folder afterwards
        shoot_and_pick.look_at_folder(desk)
        await until(lambda: "later.jpg" in shown(desk))
        with pytest.raises(Exception, match=r"^deadly\.jpg: .* ends the program"):
            await shoot_and_pick._advise(desk, tab, {"file": "deadly.jpg"})  # is not handed on
        desk.reader.close()
        return desk, tab

    desk, tab = asyncio.run(watched())
    assert {name for name, one in desk.photos.items() if one["thumb"]} == {
        "a.jpg", "z.jpg", "later.jpg",
    }  # fmt: skip
    assert desk.photos["deadly.jpg"]["error"].startswith("deadly.jpg: the photograph must be one")
    told = [one for one in tab.heard if one["is"] == "photo"]
    assert [one["file"] for one in told] == ["z.jpg", "deadly.jpg", "a.jpg", "later.jpg"]


def test_a_photograph_that_is_still_copied_is_waited_for(work):
    folder = work.parent / "mine photographs"
    folder.mkdir()
    whole = photograph(1)
    (folder / "card.jpg").write_bytes(whole[:4000])  # a card reader is at it
    (folder / "first.jpg").write_bytes(photograph(2))

    async def copied() -> tuple[list[dict[str, Any]], list[str]]:
        desk, tab = Desk(str(work)), Tab()
        desk.clients.add(tab)
        await shoot_and_pick._photos(desk, tab, {})
        await until(lambda: shown(desk))
        meanwhile = list(desk.photos)
        (folder / "card.jpg").write_bytes(whole)
        await until(lambda: "card.jpg" in shown(desk))
        desk.reader.close()
        return list(desk.photos.values()), meanwhile

    photos, meanwhile = asyncio.run(copied())
    assert meanwhile == ["first.jpg"]
    assert [one["error"] for one in photos] == ["", ""]


def test_a_photograph_that_is_written_again_is_read_again_and_one_that_went_is_gone(work):
    folder = work.parent / "mine photographs"
    folder.mkdir()
    for name in ("broken.jpg", "moved.jpg"):
        (folder / name).write_bytes(photograph(1)[:4000] + b"\xff\xd9")  # looks whole

    async def written() -> tuple[str, dict[str, Any], list[list[str]]]:
        desk, tab = Desk(str(work)), Tab()
        desk.clients.add(tab)
        await shoot_and_pick._photos(desk, tab, {})
        await until(lambda: len(shown(desk)) == 2)
        before = desk.photos["broken.jpg"]["error"]
        (folder / "broken.jpg").write_bytes(photograph(1))
        (folder / "moved.jpg").unlink()
        shoot_and_pick.look_at_folder(desk)
        await until(lambda: desk.photos["broken.jpg"]["thumb"])
        desk.reader.close()
        listed = [one["photos"] for one in tab.heard if one["is"] == "photos"]
        return before, desk.photos, [[one["file"] for one in photos] for photos in listed]

    before, photos, listed = asyncio.run(written())
    assert before.startswith("broken.jpg: ")
    assert photos["broken.jpg"]["error"] == ""
    assert listed[-1] == ["broken.jpg"]


def test_another_work_is_opened_while_small_pictures_are_painted(work):
    other = copy_rig(str(work), work.with_name("other.toml")).path
    folder = work.parent / "mine photographs"
    folder.mkdir()
    for number in range(6):
        (folder / f"{number}.jpg").write_bytes(photograph(number))

    async def opened() -> Desk:
        desk, tab = Desk(str(work)), Tab()
        desk._loop = asyncio.get_running_loop()
        desk.begin(asyncio.get_running_loop())
        desk.clients.add(tab)
        await shoot_and_pick._photos(desk, tab, {})
        await until(lambda: any(one["thumb"] for one in desk.photos.values()))
        desk.open(other)
        await shoot_and_pick._photos(desk, tab, {})
        assert desk.photos == {}
        await asyncio.gather(*desk.errands)
        await desk.end()
        return desk

    desk = asyncio.run(opened())
    assert desk.photos == {}
    assert desk.to_paint == []
