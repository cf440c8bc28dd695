"""What the Shoot and Plan stages are told: the set as built, drift, the shoot's story, the kit."""

from __future__ import annotations

import asyncio
import json
import os
import shutil
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from silent_tab import Tab

from lightplan.page import finding
from lightplan.page.desk import Desk
from lightplan.planning.result import NoPlan
from lightplan.progress import Stop
from lightplan.rigfiles import copy_rig, load_rig, write_rig
from lightplan.scene import Walls
from lightplan.session.decoding import THUMB_PX
from lightplan.tasks import shooting, workbench
from lightplan.tasks.advise import advise
from lightplan.tasks.photo_facts import pixels_at, small_picture
from lightplan.tasks.roomier import Roomier
from lightplan.tasks.workbench import Offered, Planned

SLIPPED = Path(__file__).parents[1] / "reference" / "slipped"


class Ears:
    """Who watches long work, and never wants it to stop."""

    def __init__(self) -> None:
        self.watch = lambda _: None
        self.part = lambda _: None

    def check(self) -> None:
        """Go on."""

    def given(self) -> dict[str, Any]:
        return {"watch": self.watch, "part": self.part, "stop": self}


@pytest.fixture(scope="module")
def set_up(tmp_path_factory):
    """The rig file of a plan, and a folder with two photographs of builds of it."""
    sys.path.insert(0, str(SLIPPED))
    from bases import base_rig

    folder = tmp_path_factory.mktemp("shoot")
    planned = load_rig(SLIPPED.parent / "planned" / "silver_bright.toml")
    rig = write_rig(planned, folder / "rig.toml", rig=base_rig("silver_bright"))
    photographs = folder / "photographs"
    photographs.mkdir()
    for number in ("04", "06"):
        shutil.copy(SLIPPED / "photographs" / f"silver_bright_{number}.jpg", photographs)
    return rig.path, photographs


def stands(found: dict[str, Any], number: int) -> dict[str, Any]:
    return {one["name"]: one["rings"] for one in found["sets"][number]["things"]}


@pytest.fixture(scope="module")
def advice(set_up):
    """What is said of one photograph; worked out once, as it takes seconds."""
    rig, photographs = set_up
    return advise(photographs / "silver_bright_04.jpg", rig=rig)


def test_the_set_as_built_stands_beside_the_set_as_planned(set_up, advice, monkeypatch):
    rig, photographs = set_up
    photo = photographs / "silver_bright_04.jpg"
    monkeypatch.setattr(shooting.advising, "advise", lambda *_, **__: advice)
    found = shooting.advise_work(photo, rig, photo.name, **Ears().given())
    planned, built = stands(found, 0), stands(found, 1)
    assert planned.keys() == built.keys() >= {"sky", "camera"}
    moved = {name for name in planned if planned[name] != built[name]}
    told = {
        slip["element"] for slip in found["report"]["slips"] if slip["dimension"].endswith("_mm")
    }
    assert told <= moved
    json.dumps({"sets": found["sets"], "report": found["report"]}, allow_nan=False)


def test_drift_is_told_against_the_earlier_photograph(set_up, advice, monkeypatch):
    rig, photographs = set_up
    photo, earlier = (photographs / f"silver_bright_{number}.jpg" for number in ("04", "06"))

    def drifted(path: Path, *, rig: Path, since: Path, watch: Any) -> Any:
        assert (path, since) == (photo, earlier)
        return replace(advice, since=since.name)

    monkeypatch.setattr(shooting.advising, "advise", drifted)
    found = shooting.advise_work(photo, rig, photo.name, earlier, **Ears().given())
    assert found["report"]["since"] == earlier.name
    assert found["expected"] == small_picture(earlier, 900)


def test_the_story_of_a_shoot_goes_frame_by_frame(set_up, advice, monkeypatch):
    rig, photographs = set_up
    (photographs / "torn.jpg").write_bytes(b"\xff\xd8 nothing more")

    def known(path: Path, *, rig: Any, **more: Any) -> Any:
        if path.name == "torn.jpg":
            return advise(path, rig=rig, **more)
        score = 60.0 if "04" in path.name else 71.0
        return replace(advice, photo=replace(advice.photo, file=path.name, score=score))

    monkeypatch.setattr(shooting.shooting, "advise", known)
    found = shooting.shoot_work(photographs, rig, **Ears().given())
    assert [one["file"] for one in found["frames"]] == [
        "silver_bright_04.jpg",
        "silver_bright_06.jpg",
    ]
    assert "+11 points" in found["frames"][1]["words"]
    assert len(found["failed"]) == 1
    assert found["pdf"].startswith(b"%PDF")


def processor_s(process: int | None) -> float:
    """Return what a process has had of the processor, in seconds."""
    told = Path(f"/proc/{process}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")  # proc(5): utime, stime


def test_of_three_hundred_photographs_the_first_are_seen_once_they_are_painted(set_up, tmp_path):
    rig = copy_rig(set_up[0], tmp_path / "many.toml").path
    folder = tmp_path / "many photographs"
    folder.mkdir()
    rng = np.random.default_rng(3)
    grain = cv2.resize(rng.integers(0, 255, (300, 400, 3), np.uint8), (4000, 3000))  # 12 megapixels
    cv2.imwrite(str(folder / "shot-000.jpg"), grain)
    for number in range(1, 300):
        os.link(folder / "shot-000.jpg", folder / f"shot-{number:03d}.jpg")
    os.utime(folder / "shot-000.jpg", (1e9, 1e9))  # taken before: none is still being copied

    async def opened() -> tuple[list[dict[str, Any]], float]:
        desk = Desk(str(rig))
        desk.begin(asyncio.get_running_loop())
        tab = Tab()
        desk.clients.add(tab)
        await desk._can_work.wait()
        desk.reader.ask("thumb", folder / "none.jpg").exception()  # it listens
        begun = time.process_time() + processor_s(desk.reader.process_id)
        await desk.hear(tab, {"do": "photos"})
        while sum(one["is"] == "photo" for one in tab.heard) < 8:
            await asyncio.sleep(0.01)
        taken = time.process_time() + processor_s(desk.reader.process_id) - begun
        await desk.end()
        return tab.heard, taken

    small_picture(folder / "shot-000.jpg", THUMB_PX)
    begun = time.process_time()
    for number in range(8):
        small_picture(folder / f"shot-{number:03d}.jpg", THUMB_PX)
    painting = time.process_time() - begun
    heard, taken = asyncio.run(opened())
    # of the processor, since other programs may be busy: a second here, and all would be nineteen
    assert taken < 3 * painting, "the other 292 were waited for"
    listed = next(one for one in heard if one["is"] == "photos")
    assert len(listed["photos"]) == 300
    seen = [one["file"] for one in heard if one["is"] == "photo" and one["thumb"]]
    assert seen[:2] == ["shot-299.jpg", "shot-298.jpg"]  # what stands first on the page
    assert sum(one["is"] == "photos" for one in heard) <= 2


def test_what_is_offered_is_shown_with_its_price_and_can_be_laid_out(set_up):
    rig, _ = set_up
    desk = Desk(str(rig))
    standing = desk.the_document().rig
    offer = Offered(
        name="A3 white board",
        rig=standing,
        jpeg=b"jpeg",
        score=81.0,
        gain=9.5,
        price=12.0,
        is_owned=False,
        reason="",
    )
    finding._kit_part(desk, None, offer)
    finding._kit_done(desk, None, {"needs_nothing": False, "sentences": ["Buy a board."]})
    told = desk.told["kit"]
    assert told["offers"][0]["price"] == 12.0
    assert told["offers"][0]["picture"].startswith("/made/image/")
    assert told["answer"]["sentences"] == ["Buy a board."]


NO_PLAN = Planned(
    look="rainbow", rig=None, record=None, jpeg=b"", score=None, start_score=None, verdict="",
    yield_share=None, measures={}, moves=(), tolerances=(), needs=(),
)  # fmt: skip


def test_looks_stand_in_the_order_of_a_proof_sheet_and_keep_their_numbers(set_up):
    desk = Desk(str(set_up[0]))
    tab = Tab()
    desk.clients.add(tab)
    for look, rank in (("rainbow", -1.0), ("gradient", 0.3), ("dark field", 0.7)):
        finding.PARTS["looks"](desk, None, replace(NO_PLAN, look=look, rank=rank))
    told = [(one["look"], one["number"]) for one in tab.heard[-1]["looks"]]
    assert told == [("dark field", 2), ("gradient", 1), ("rainbow", 0)]


def test_a_plan_tells_that_its_sheet_stays_small_in_the_frame(set_up):
    desk = Desk(str(set_up[0]))
    tab = Tab()
    desk.clients.add(tab)
    finding.RESULTS["plan"](desk, None, replace(NO_PLAN, small="crop to the sheet afterwards"))
    (told,) = tab.heard[-1]["plans"]
    assert told["small"] == "crop to the sheet afterwards"


def test_walls_that_leave_no_plan_are_told_beside_it(monkeypatch):
    rig = load_rig("silver-bookplate-bright").rig
    tight = replace(rig, room=replace(rig.room, walls=Walls(ceiling_mm=300)))
    more = Roomier(Walls(ceiling_mm=900), 88.0)
    nothing = NoPlan(
        in_the_way=(), reason="the camera passes through a wall", wish="", nearest=None
    )
    monkeypatch.setattr(workbench, "plan", lambda *_, **__: nothing)
    monkeypatch.setattr(workbench, "roomier", lambda *_, **__: more)
    given = Ears().given() | {"stop": Stop()}
    for one, said in ((tight, True), (rig, False)):
        found = workbench.plan_work(one, None, **given)
        assert found.rig is None
        assert ("and 900 mm from the sheet up to the ceiling, a quick plan" in found.room) is said


def test_the_ranking_tells_verdict_reasons_faults_and_where_the_sheet_lies(set_up):
    rig, photographs = set_up
    ranked = shooting.score_work(photographs, rig, **Ears().given())
    by_name = {one["file"]: one for one in ranked}
    good, torn = by_name["silver_bright_04.jpg"], by_name["torn.jpg"]
    assert (good["rank"], good["verdict"]) in {(1, "retake"), (2, "retake")}
    assert good["reasons"]
    assert {"what", "where_mm"} <= good["findings"][0].keys()
    assert len(good["placed"]["corners"]) == 4
    assert torn["score"] is None
    assert "torn.jpg" in torn["error"]
    json.dumps(ranked, allow_nan=False)


def test_a_spot_is_shown_pixel_for_pixel(tmp_path):
    rng = np.random.default_rng(2)
    codes = np.repeat(rng.integers(0, 255, (900, 1200, 1), np.uint8), 3, axis=2)  # grey
    cv2.imwrite(str(tmp_path / "a.png"), codes)
    whole = {"size": (100, 60)}
    part = cv2.imdecode(
        np.frombuffer(pixels_at(tmp_path / "a.png", (0.5, 0.25), **whole), np.uint8), 1
    )
    assert part.shape == (60, 100, 3)
    true = codes[225 - 30 : 225 + 30, 600 - 50 : 600 + 50]
    assert np.abs(part.astype(int) - true).mean() < 12  # JPEG of noise; another place differs by 85
    edge = pixels_at(tmp_path / "a.png", (1.0, 1.0), **whole)
    assert cv2.imdecode(np.frombuffer(edge, np.uint8), 1).shape == (60, 100, 3)
