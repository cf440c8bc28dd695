"""Print how the batch's rate grows with its workers: ``python tests/benchmarks/score_scaling.py``.

Options: number of frames (24) and the most workers (the cores there are). The machine's
load is printed first: on a busy one the figures say little.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from lightplan.shots.batch import score_batch, usable_cores
from lightplan.shots.context import PhotoContext
from lightplan.shots.pipeline import PhotoJudge, with_neighbour

SIZE = {"width_mm": 148.0, "height_mm": 105.0}
ROWS, COLS = 2000, 3000


def artwork() -> np.ndarray:
    """Foil of an invented label: a disc and a word."""
    art = np.zeros((840, 1184), np.uint8)
    cv2.circle(art, (592, 300), 170, 255, -1, cv2.LINE_AA)
    cv2.putText(art, "Thorn Lane", (140, 680), cv2.FONT_HERSHEY_TRIPLEX, 5, 255, 12, cv2.LINE_AA)
    return art.astype(np.float32) / 255


def photograph(seed: int) -> np.ndarray:
    """Return the label on a dark table, seen from above, with noise, uint8."""
    art = artwork()[..., None]
    sheet = (0.62 + art * np.array([-0.1, 0.02, 0.12], np.float32)).astype(np.float32)
    corners = np.array([[505, 260], [2551, 334], [2498, 1785], [452, 1711]], np.float32)
    ends = np.array([[0, 0], [1184, 0], [1184, 840], [0, 840]], np.float32) - 0.5
    plane = cv2.getPerspectiveTransform(ends, corners)
    seen = cv2.warpPerspective(sheet, plane, (COLS, ROWS), borderValue=(0.05, 0.05, 0.05))
    noise = np.random.default_rng(seed).normal(0, 3, (ROWS, COLS, 1))
    return np.clip(255 * seen ** (1 / 2.2) + noise, 0, 255).astype(np.uint8)


def frames_in(folder: Path, count: int) -> list[Path]:
    """Write a picture and link it until there are enough."""
    first = folder / "made.jpg"
    cv2.imwrite(str(first), photograph(0), [cv2.IMWRITE_JPEG_QUALITY, 95])
    paths = [folder / f"IMG_{i:03d}.jpg" for i in range(count)]
    for path in paths:
        os.link(first, path)
    return paths


def rate(paths: list[Path], judge: PhotoJudge, workers: int, out: Path) -> float:
    """Return frames a second from when every worker has answered once."""
    times = []
    for outcome in score_batch(paths, judge, workers=workers, out_dir=out):
        if outcome.result is None or outcome.result["score"] is None:
            raise RuntimeError(f"{outcome.file} was not judged: {outcome.error}")
        times.append(time.perf_counter())
    return (len(times) - workers) / (times[-1] - times[workers - 1])


def measured(count: int, most: int) -> dict[str, object]:
    """Return rates by number of workers: 1, 2, 4, ... up to `most`."""
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as where:
        folder = Path(where)
        paths = frames_in(folder, count)
        judge = PhotoJudge(with_neighbour(PhotoContext(**SIZE, artwork=artwork()), paths))
        rates: dict[int, float] = {}
        workers = 1
        while workers <= most:
            rates[workers] = round(rate(paths, judge, workers, folder / f"out{workers}"), 2)
            workers *= 2
    return {
        "cores": usable_cores(), "load": [round(v, 1) for v in os.getloadavg()],
        "frames": count, "megapixels": ROWS * COLS / 1e6, "rate_per_s": rates,
    }  # fmt: skip


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    print(json.dumps(measured(*(given + [24, usable_cores()][len(given) :]))))
