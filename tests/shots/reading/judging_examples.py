"""Judging functions for the tests of the batch; imported by worker processes."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from lightplan.errors import PhotoError
from lightplan.shots.formats.reading import read_shot


def by_name(path: Path) -> dict[str, Any]:
    """Do what the file's name says."""
    name = path.stem
    if name.startswith("once"):  # fails the first time only
        tried = path.with_suffix(".tried")
        if not tried.exists():
            tried.touch()
            time.sleep(600)
    if name.startswith("hang"):
        time.sleep(600)
    if name.startswith("lock"):  # hangs in C, deaf to Python's signals
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTERM})
        np.linalg.eigvals(np.random.default_rng(0).random((6000, 6000)))
    if name.startswith("crash"):
        os.kill(os.getpid(), signal.SIGSEGV)
    if name.startswith("greedy"):
        return {"bytes": np.ones(8 << 30, np.uint8).size}
    if name.startswith("fault"):
        raise ZeroDivisionError("an honest mistake")
    if name.startswith("refuse"):
        raise PhotoError(field="the file", wanted="kind", got="cruel", cure="be kind", file=name)
    if name.startswith("nan"):
        return {"score": float("nan")}
    if name.startswith("slow"):
        time.sleep(0.3)
    return {"name": path.name, "length": path.stat().st_size}


def brightness(path: Path) -> dict[str, Any]:
    """Read a photograph and give its mean light."""
    shot = read_shot(path, long_side_px=500)
    return {"mean": float(cv2.mean(shot.linear)[1]), "pid": os.getpid(), "rss_kb": peak_kb()}


def megabytes(path: Path) -> dict[str, Any]:
    """Fill as many megabytes as the name says; give the pages faulted and what is held after."""
    import resource  # not on every system

    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    bytearray(b"x") * (int(path.stem.rstrip("bcde")) << 20)
    faults = resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return {"faults": faults, "rss_mb": pages * resource.getpagesize() >> 20}


def peak_kb() -> int:
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM"):
            return int(line.split()[1])
    return 0


def as_score(path: Path) -> dict[str, Any]:
    """Give the form the real judging gives, with a score out of the picture's brightness."""
    from lightplan.shots.results import PhotoScore

    shot = read_shot(path, long_side_px=500)
    level = tuple(float(v) for v in cv2.mean(shot.linear)[:3])
    return PhotoScore(
        file=path.name,
        path=str(path),
        score=100 * level[1],
        uncertainty=0.5,
        verdict="adjust",
        paper_level=level,
        settings=shot.settings,
    ).to_dict()
