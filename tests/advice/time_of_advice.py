"""How long the advice on a 24-megapixel photograph takes; two checkouts in turns, where named.

    PYTHONPATH=. python tests/advice/time_of_advice.py PHOTOGRAPHS [--beside CHECKOUT] [--rounds 3]

PHOTOGRAPHS is the folder that tests/reference/slipped/photographs.py wrote. Each advice is a
process of its own on two cores, files written, as the command does it; loops are compiled by
then. Medians of the rounds, and ratios of the two checkouts.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "reference" / "slipped"))

from camera_chain import enlarged

HERE = Path(__file__).resolve().parents[2]
NAMES = ("silver_gradient_05", "certificate_bright_04", "copper_gradient_01", "silver_bright_06")
ONE = """
import sys, time
from pathlib import Path
began = time.perf_counter(), time.process_time()
sys.path.insert(0, "tests/reference/slipped")
from bases import base_rig
import json
from lightplan.tasks.advise import advise, write_advice
photo, out = Path(sys.argv[1]), Path(sys.argv[2])
rig = base_rig(photo.stem.rpartition("_")[0])
marks = [("loaded", time.perf_counter(), time.process_time())]
def watch(progress):
    marks.append((progress.stage, time.perf_counter(), time.process_time()))
told = advise(photo, rig=rig, watch=watch)
watch(type("End", (), {"stage": "told"}))
write_advice(told, out, rig=rig)
watch(type("End", (), {"stage": "written"}))
print(json.dumps([(s, w - began[0], c - began[1]) for s, w, c in marks]))
"""


def timed(checkout: Path, photo: Path) -> list[tuple[str, float, float]]:
    """Return (stage, wall, processor time) of one advice by a checkout, from its start."""
    paths = os.pathsep.join([str(checkout), os.environ.get("PYTHONPATH", "")])
    with tempfile.TemporaryDirectory() as out:
        done = subprocess.run(
            [sys.executable, "-c", ONE, str(photo), out],
            cwd=checkout, env={**os.environ, "PYTHONPATH": paths},
            capture_output=True, text=True, check=True,
        )  # fmt: skip
    return [tuple(mark) for mark in json.loads(done.stdout.splitlines()[-1])]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--beside", type=Path, help="another checkout, asked in turns")
    parser.add_argument("--rounds", type=int, default=3)
    options = parser.parse_args()
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, set(sorted(os.sched_getaffinity(0))[:2]))
    checkouts = [HERE] if options.beside is None else [HERE, options.beside.resolve()]
    with tempfile.TemporaryDirectory() as folder:
        for name in NAMES:
            photo = enlarged(options.folder / f"{name}.jpg", Path(folder))
            for checkout in checkouts:  # loops are compiled, files are in memory
                timed(checkout, photo)
            rounds = [[timed(c, photo) for c in checkouts] for _ in range(options.rounds)]
            print(name)
            ends = []
            for i, checkout in enumerate(checkouts):
                mine = [r[i] for r in rounds]
                wall, processor = np.median([[m[-1][1:], m[0][1:]] for m in mine], axis=0).T
                ends.append((wall[0] - wall[1], processor[0] - processor[1]))
                print(
                    f"  {'this' if i == 0 else checkout.name}: {wall[0]:.2f} s on the wall, "
                    f"{processor[0]:.2f} s of processor time; without loading {ends[-1][0]:.2f} "
                    f"and {ends[-1][1]:.2f}"
                )
                stages = zip(mine[0][:-1], mine[0][1:], strict=True)
                steps = [f"{a[0]} {b[1] - a[1]:.2f}/{b[2] - a[2]:.2f}" for a, b in stages]
                print("   ", "; ".join(steps), flush=True)
            if len(ends) == 2:
                wall, processor = (a / b for a, b in zip(*ends, strict=True))
                print(f"  ratio without loading: wall {wall:.2f}, processor time {processor:.2f}")


if __name__ == "__main__":
    main()
