"""Scoring against merely decoding the same 24-megapixel JPEGs, side by side.

Both use the same cores: OpenCV decodes whole pictures in as many threads as the batch has
workers. The two take turns in one run, so that a busy machine slows both; the figure is
the median of the turns' ratios, since what else the machine does changes from turn to turn.
Start of the workers is left out of the rate and told apart.
"""

from __future__ import annotations

import json
import os
import time
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest

from lightplan.process import usable_cores
from lightplan.shots.context import PhotoContext
from lightplan.shots.pipeline import PhotoJudge, with_neighbour
from lightplan.shots.sets.batch import score_batch

if TYPE_CHECKING:
    from pathlib import Path

ROWS, COLS = 4000, 6000
WIDTH_MM, HEIGHT_MM = 148.0, 105.0
TURNS, FRAMES, DRAWN = 3, 10, 2
LOAD_BEFORE = os.getloadavg()[0]
# The aim is 1.0, and 1.12 was reached before the sharpness was measured at the file's own scale and
# the foil was told from ink: 0.82 with artwork and 0.92 without since. A turn scatters by a tenth.
LEAST_RATIO = 0.7 if LOAD_BEFORE < 0.5 else 0.6


def artwork() -> np.ndarray:
    """Foil of an invented bookplate: a frame, a disc, a word."""
    art = np.zeros((840, 1184), np.uint8)
    cv2.rectangle(art, (60, 60), (1123, 779), 255, 10)
    cv2.circle(art, (592, 300), 140, 255, -1, cv2.LINE_AA)
    cv2.putText(art, "Ex libris", (240, 640), cv2.FONT_HERSHEY_TRIPLEX, 5, 255, 12, cv2.LINE_AA)
    return art.astype(float) / 255


def table_to_picture(tilt: float) -> np.ndarray:
    """Return the homography of a camera 500 mm away, from mm (x right, y near) to pixels."""
    turn = cv2.Rodrigues(np.array([tilt, 0.0, 0.02]))[0]
    lens = np.array([[14000.0, 0, COLS / 2 - 0.5], [0, 14000.0, ROWS / 2 - 0.5], [0, 0, 1]])
    return lens @ np.column_stack([turn[:, :2], [0.0, 0.0, 500.0]])


def photograph(seed: int) -> np.ndarray:
    """Return a sheet on a grey table, in perspective, with noise, (4000, 6000, 3) uint8."""
    rng = np.random.default_rng(seed)
    art = artwork().astype(np.float32)
    light = np.linspace(0.8, 1.1, art.shape[1], dtype=np.float32)[None, :, None]
    paper, foil = np.array([0.62, 0.61, 0.6]), np.array([0.5, 0.62, 0.72])
    sheet = (paper + art[..., None] * (foil - paper)).astype(np.float32) * light
    plane = table_to_picture(tilt=0.2 + 0.002 * seed) @ np.array(
        [[WIDTH_MM / 1184, 0, -WIDTH_MM / 2], [0, HEIGHT_MM / 840, -HEIGHT_MM / 2], [0, 0, 1]]
    )
    picture = np.full((ROWS, COLS, 3), 0.22, np.float32)
    picture += cv2.resize(rng.normal(0, 0.02, (500, 750)).astype(np.float32), (COLS, ROWS))[
        ..., None
    ]
    seen = cv2.warpPerspective(sheet, plane, (COLS, ROWS), borderValue=(-1, -1, -1))
    picture = np.where(seen >= 0, seen, picture)
    codes = 255 * np.clip(picture, 0, 1) ** (1 / 2.2)
    codes += rng.normal(0, 3.5, (ROWS, COLS, 1)).astype(np.float32)
    return np.clip(codes, 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def frames(tmp_path_factory) -> list[Path]:
    folder = tmp_path_factory.mktemp("frames")
    made = []
    for i in range(DRAWN):
        path = folder / f"made_{i}.jpg"
        cv2.imwrite(str(path), photograph(i), [cv2.IMWRITE_JPEG_QUALITY, 95])
        made.append(path)
    linked = [folder / f"IMG_{i:03d}.jpg" for i in range(FRAMES)]
    for i, path in enumerate(linked):
        os.link(made[i % len(made)], path)
    return linked


def decode_only(paths: list[Path], workers: int) -> float:
    """Return frames a second of OpenCV alone."""
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(lambda p: cv2.imread(str(p)).shape, paths[:workers]))  # warm
        start = time.perf_counter()
        sizes = list(pool.map(lambda p: cv2.imread(str(p)).shape, paths))
        seconds = time.perf_counter() - start
    assert set(sizes) == {(ROWS, COLS, 3)}
    return len(paths) / seconds


def score(paths: list[Path], judge: PhotoJudge, workers: int, out: Path) -> tuple[float, float]:
    """Return frames a second of the batch once its workers run, and the time before. [s]"""
    begun, times = time.perf_counter(), []
    for outcome in score_batch(paths, judge, workers=workers, out_dir=out):
        times.append(time.perf_counter())
        assert outcome.result is not None, outcome.error
        assert outcome.result["score"] is not None, outcome.result["reasons"]
    first = workers - 1  # from when every worker has answered once
    return (len(times) - 1 - first) / (times[-1] - times[first]), times[0] - begun


@pytest.mark.slow
@pytest.mark.parametrize("given", ["artwork", "no artwork"])
def test_scoring_keeps_up_with_decoding(frames, tmp_path, given):
    workers = usable_cores()
    cv2.setNumThreads(1)
    context = PhotoContext(
        width_mm=WIDTH_MM,
        height_mm=HEIGHT_MM,
        foil_kind="gold foil",
        artwork=artwork() if given == "artwork" else None,
    )
    judge = PhotoJudge(with_neighbour(context, frames))
    decoded, scored, starts = [], [], []
    for turn in range(TURNS):
        decoded.append(decode_only(frames, workers))
        rate, start = score(frames, judge, workers, tmp_path / f"out{turn}")
        scored.append(rate)
        starts.append(start)
    ratio = float(np.median(np.divide(scored, decoded)))
    told = {
        "given": given,
        "load_before": round(LOAD_BEFORE, 1),
        "megabytes_each": round(frames[0].stat().st_size / 1e6, 1),
        "workers": workers,
        "decoded_per_s": np.round(decoded, 2).tolist(),
        "ratio": round(ratio, 3),
        "scored_per_s": np.round(scored, 2).tolist(),
        "start_s": np.round(starts, 2).tolist(),
    }
    print(json.dumps(told))
    assert ratio > LEAST_RATIO, told


@pytest.mark.slow
@pytest.mark.skipif(usable_cores() < 2, reason="needs two cores")
@pytest.mark.skipif(os.getloadavg()[0] > 0.5, reason="the cores are busy with something else")
def test_two_workers_are_faster_than_one(frames, tmp_path):
    context = PhotoContext(
        width_mm=WIDTH_MM, height_mm=HEIGHT_MM, foil_kind="gold foil", artwork=artwork()
    )
    judge = PhotoJudge(with_neighbour(context, frames))
    one, two = (score(frames, judge, n, tmp_path / f"{n}")[0] for n in (1, 2))
    assert two > 1.3 * one, (one, two)  # two of two free cores; memory is shared
