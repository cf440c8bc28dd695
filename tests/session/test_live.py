from __future__ import annotations

import threading
import time
from typing import Any

import cv2
import numpy as np
import pytest

from lightplan.rigfiles import load_rig
from lightplan.scene.dimensions import set_values
from lightplan.session.live_picture import Live, Wanted
from lightplan.tasks.live import CLIPPED, NO_FOIL, LivePicture

PATIENCE_S = 300  # the first picture may have to compile its loops


class Ear:
    def __init__(self) -> None:
        self.told: list[tuple[str, Wanted, Any]] = []
        self.changed = threading.Condition()

    def __call__(self, kind: str, wanted: Wanted, made: Any) -> None:
        with self.changed:
            self.told.append((kind, wanted, made))
            self.changed.notify_all()

    def wait_for(self, kind: str, revision: int) -> Any:
        def found() -> list[Any]:
            return [m for k, w, m in self.told if k == kind and w.revision == revision]

        with self.changed:
            assert self.changed.wait_for(found, timeout=PATIENCE_S)
            return found()[0]


@pytest.fixture(scope="module")
def rig():
    return load_rig("silver-bookplate-bright").rig


def moved(rig: Any, y_mm: float) -> Any:
    return set_values(rig, {("sky", "y_mm"): y_mm})


def test_two_hundred_rigs_at_once_build_up_no_queue(rig):
    ear = Ear()
    live = Live(ear)
    for i in range(200):
        live.show(moved(rig, 150.0 + 0.1 * i), i)
        time.sleep(0.001)
    ear.wait_for("frame", 199)
    frames = [w.revision for kind, w, _ in ear.told if kind == "frame"]
    assert frames == sorted(frames)
    assert len(frames) < 60
    ear.wait_for("layout", 199)
    live.close()


@pytest.fixture(scope="module")
def frame(rig):
    return LivePicture().frame(rig)


def test_the_frame_says_what_the_foil_sees(frame):
    # the card "sky" fills the family of angles of this rig, as its file works out by hand
    assert frame.names == ("sky",)
    assert frame.shares == (1.0,)
    assert set(np.unique(frame.sees)) <= {0, CLIPPED, NO_FOIL}
    picture = cv2.imdecode(np.frombuffer(frame.jpeg, np.uint8), cv2.IMREAD_COLOR)
    assert picture.shape == (frame.rows, frame.cols, 3)
    on_foil, beside = picture[frame.sees != NO_FOIL], picture[frame.sees == NO_FOIL]
    assert on_foil.mean() > 3 * beside.mean()  # bright silver on midnight blue


def test_a_moved_card_gives_the_frame_of_a_fresh_start(rig):
    used, other = LivePicture(), moved(rig, 330.0)
    used.frame(rig)
    again, fresh = used.frame(other), LivePicture().frame(other)
    assert np.array_equal(again.sees, fresh.sees)
    assert again.names == fresh.names


def test_clipping_is_told_from_the_light(rig):
    from dataclasses import replace

    exposure = replace(rig.camera.exposure, f_number=1.0, time_s=1.0, iso=6400.0)
    bright = replace(rig, camera=replace(rig.camera, exposure=exposure))
    frame = LivePicture().frame(bright)
    assert frame.foil_clipped == 1.0
    assert (frame.sees[frame.sees != NO_FOIL] >= CLIPPED).all()


def test_a_hasty_frame_looks_like_the_quick_one_and_is_exposed_alike(rig):
    picture = LivePicture()
    other = moved(rig, 330.0)
    quick, hasty = picture.frame(other), picture.frame(other, hasty=True)
    assert hasty.settings.clip_cd_m2 == pytest.approx(quick.settings.clip_cd_m2, rel=0.02)
    codes = [cv2.imdecode(np.frombuffer(f.jpeg, np.uint8), 1).astype(int) for f in (quick, hasty)]
    # seen by eye: two codes of 255 between two pictures of which one is worked out coarsely
    assert np.abs(codes[0] - codes[1]).mean() < 2


def test_a_finer_frame_follows_when_the_hand_pauses(rig):
    ear = Ear()
    live = Live(ear)
    live.show(rig, 0)
    ear.wait_for("frame", 0)
    live.show(moved(rig, 200.0), 1)
    ear.wait_for("layout", 1)
    with ear.changed:
        two = ear.changed.wait_for(
            lambda: sum(k == "frame" and w.revision == 1 for k, w, _ in ear.told) == 2, PATIENCE_S
        )
    live.close()
    assert two


class Slow:
    """Makes hasty frames at once, and fine ones only while nobody asks for another."""

    def __init__(self) -> None:
        self.at_a_fine_one = threading.Event()

    def frame(self, rig: Any, *, hasty: bool = False, check: Any = None) -> str:
        if hasty:
            return "hasty"
        self.at_a_fine_one.set()
        ends = time.monotonic() + 20
        while time.monotonic() < ends:
            check()
            time.sleep(0.001)
        return "fine"


def test_a_hand_that_moves_again_does_not_wait_for_the_finer_frame(rig, monkeypatch):
    monkeypatch.setattr("lightplan.session.live_picture._layout", lambda _: {})
    ear, slow = Ear(), Slow()
    live = Live(ear)
    live._picture = slow  # type: ignore[assignment]
    live.show(rig, 0)
    assert slow.at_a_fine_one.wait(PATIENCE_S)
    begun = time.monotonic()
    live.show(rig, 1)
    assert ear.wait_for("frame", 1) == "hasty"
    assert time.monotonic() - begun < 10  # the finer one would take twice as long
    live.close()
    assert "fine" not in [made for _, _, made in ear.told]


def test_the_picture_that_follows_the_hand_is_exposed_as_every_other(rig):
    # the places at which exposure looks are kept from frame to frame; they are the usual ones
    from lightplan.light.exposure import settings_for
    from lightplan.light.keeper import layers_of
    from lightplan.tasks.live import detail_of

    picture = LivePicture()
    for y_mm in (330.0, 250.0):
        frame = picture.frame(moved(rig, y_mm))
        layers = layers_of(moved(rig, y_mm), detail_of(frame.rows, frame.cols, hasty=False))
        on_sheet = np.isfinite(layers.camera_paper[..., 0])
        share = picture._masks.share[on_sheet]
        paper, foil = layers.camera_paper[on_sheet], layers.camera_foil[on_sheet]
        assert frame.settings == settings_for(moved(rig, y_mm), paper, foil, share)
