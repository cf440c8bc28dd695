"""Print how the batch's rate grows with its workers, as a table in Markdown.

    python tests/benchmarks/score_scaling.py [frames (24)] [most workers (the cores there are)]

The machine's load stands above the table: on a busy one the figures say little.
Memory is the peak of a worker's resident set, its largest worker's; Linux only.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from lightplan.process import usable_cores
from lightplan.shots.context import PhotoContext
from lightplan.shots.pipeline import PhotoJudge, with_neighbour
from lightplan.shots.sets.batch import score_batch

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


@dataclass(frozen=True)
class WithMemory:
    """A judge that also tells what its process took at most."""

    judge: PhotoJudge

    def __call__(self, path: Path) -> dict[str, Any]:
        told = self.judge(path)
        # getrusage would count what the parent held when it started this process.
        lines = Path("/proc/self/status").read_text().splitlines()
        peak_kb = next(int(line.split()[1]) for line in lines if line.startswith("VmHWM"))
        return {**told, "peak_bytes": 1024 * peak_kb}


def rate(paths: list[Path], judge: WithMemory, workers: int, out: Path) -> tuple[float, float]:
    """Return frames a second from when every worker has answered once, and peak memory. [MB]"""
    times, peak = [], 0
    for outcome in score_batch(paths, judge, workers=workers, out_dir=out):
        if outcome.result is None or outcome.result["score"] is None:
            raise RuntimeError(f"{outcome.file} was not judged: {outcome.error}")
        times.append(time.perf_counter())
        peak = max(peak, outcome.result["peak_bytes"])
    return (len(times) - workers) / (times[-1] - times[workers - 1]), peak / 1e6


def table(count: int, most: int) -> str:
    """Return rates and memory for 1, 2, 4, ... workers, up to `most`."""
    cv2.setNumThreads(1)
    lines = [
        f"{usable_cores()} cores, load average {os.getloadavg()[0]:.1f}; {count} JPEGs of "
        f"{ROWS * COLS / 1e6:.0f} megapixels, artwork given.",
        "",
        "| workers | frames a second | against one | peak memory of a worker, MB |",
        "|---|---|---|---|",
    ]
    with tempfile.TemporaryDirectory() as where:
        folder = Path(where)
        paths = frames_in(folder, count)
        judge = PhotoJudge(with_neighbour(PhotoContext(**SIZE, artwork=artwork()), paths))
        workers, alone = 1, 0.0
        while workers <= most:
            found, peak = rate(paths, WithMemory(judge), workers, folder / f"out{workers}")
            alone = alone if alone else found
            lines.append(f"| {workers} | {found:.1f} | {found / alone:.2f} | {peak:.0f} |")
            workers *= 2
    return "\n".join(lines)


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    print(table(*(given + [24, usable_cores()][len(given) :])))
