"""Three hundred bad and odd photographs in one batch: each judged or refused by name.

Run it by hand::

    python tests/odd_photographs.py --count 300 --seed 7

Valid files of every kind are damaged, cut short, renamed and mixed with links, folders and
pipes; the batch must answer for every one, and all good ones must be judged.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import fuzz_reading
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

ODD = (
    b"IMG_\xff%d",
    b"esc\x1b[2J%d",
    b"two\nlines%d",
    b"=1+%d",
    b"<b>%d",
    b"[red]%d",
    b"%d",
    b" %d ",
)


def make(folder: Path, count: int, seed: int) -> tuple[list[Path], set[str]]:
    """Write the files; return all paths, and the names of those that are whole."""
    rng = np.random.default_rng(seed)
    seeds = fuzz_reading.make_seeds(rng)
    paths, good = [], set()
    for number in range(count):
        kind = list(seeds)[number % len(seeds)]
        name = os.fsdecode(ODD[number % len(ODD)] % number) + Path(kind).suffix
        path = folder / name
        paths.append(path)
        fate = number % 10
        if fate == 0:
            path.write_bytes(seeds[kind])
            good.add(path.name)
        elif fate == 1:
            path.write_bytes(seeds[kind][: int(rng.integers(0, len(seeds[kind])))])
        elif fate == 2:
            data = bytearray(seeds[kind])
            data[len(data) // 3 :] = bytes(len(data) - len(data) // 3)
            path.write_bytes(data)
        elif fate == 3:
            make_other(path, number)
        else:
            path.write_bytes(fuzz_reading.mutate(seeds[kind], rng))
    return paths, good


def make_other(path: Path, number: int) -> None:
    """Make something that is no file in a photograph's place."""
    kind = (number // 10) % 5
    if kind == 0:
        path.symlink_to(path.name)
    elif kind == 1:
        path.symlink_to("nothing")
    elif kind == 2:
        path.mkdir()
    elif kind == 3:
        os.mkfifo(path)
    else:
        path.write_bytes(b"")


def main() -> int:
    """Judge them all."""
    from lightplan.shots.context import PhotoContext
    from lightplan.shots.pipeline import PhotoJudge
    from lightplan.shots.sets.batch import score_batch

    options = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    options.add_argument("--count", type=int, default=300)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--workers", type=int, default=None)
    told = options.parse_args()
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "shots"
        folder.mkdir()
        paths, good = make(folder, told.count, told.seed)
        judge = PhotoJudge(PhotoContext(width_mm=96.0, height_mm=80.0))
        ended, faults, seen = Counter[str](), [], set()
        for outcome in score_batch(paths, judge, out_dir=Path(place) / "out", workers=told.workers):
            seen.add(outcome.path)
            if outcome.result is not None:
                ended["judged"] += 1
                continue
            ended["refused"] += 1
            text = str(outcome.error)
            if outcome.file not in text or "fault" in text or outcome.file in good:
                faults.append(f"{outcome.file!r}: {text}")
        faults += [f"{p.name!r}: no answer" for p in paths if str(p) not in seen]
    for fault in faults:
        print(fault)
    print(
        f"seed {told.seed}: {dict(ended)} of {told.count} in {time.monotonic() - begun:.0f} s, "
        f"{len(faults)} faults"
    )
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
