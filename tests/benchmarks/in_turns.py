"""A changed card, drawn anew by two checkouts in turns: times, and how far their pictures differ.

python tests/benchmarks/in_turns.py BEFORE [--rounds 15] [--turns 4] [SCENE ...]

BEFORE is another checkout (`git worktree add BEFORE COMMIT`); the other one is that of this
file. Both are asked by this file's code, each turn in a process of its own. Processor time is
told, the least of all turns, for a busy machine only adds to it.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.scene import Rig

HERE = Path(__file__).parents[2]
SCENES = (
    "s03_bounce_card", "s09_white_v", "full_rig", "rainbow-bookmark", "moonflower-holographic",
    "silver-bookplate-bright", "rose-gold-tag-dark", "four-lamps", "eight-lamps",
)  # fmt: skip
LAMPS = {"four-lamps": 4, "eight-lamps": 8}
EDITS = ("card moved", "camera moved")


def rig_of(scene: str) -> Rig:
    """Return a stored scene, a preset, or the bounce card's scene with more lamps."""
    import light_bench
    from light_report import with_lamps

    from lightplan.rigfiles import load_rig

    if scene in LAMPS:
        return with_lamps(light_bench.scene_rig("s03_bounce_card"), LAMPS[scene])
    if (TESTS / "reference" / "pathtraced" / f"{scene}.json").exists():
        return light_bench.scene_rig(scene)
    return load_rig(scene).rig


TESTS = HERE / "tests"


def one_turn(scene: str, rounds: int, out: Path) -> None:
    """Store the processor times of each edit, (edits, rounds), and the last pictures."""
    import light_bench
    from threadpoolctl import threadpool_limits

    from lightplan.light import Detail, Engine

    rig, share = rig_of(scene), light_bench.foil_pattern()
    with threadpool_limits(1):
        engines = [Engine(rig, Detail.quick()) for _ in EDITS]
        times = np.empty((len(EDITS), rounds))
        for step in range(-3, rounds):
            for i, edit in enumerate(EDITS):
                moved = light_bench.EDITS[edit](rig, step)
                draw = partial(engines[i].picture, moved, share)
                times[i, step] = light_bench.seconds(draw, time.process_time)
        pictures = [engine.picture(engine.rig, share) for engine in engines]
    np.savez(out, times=times, pictures=np.array(pictures))


def asked(checkout: Path, scene: str, rounds: int) -> tuple[np.ndarray, np.ndarray]:
    """Return median milliseconds of each edit in a new process, and the pictures."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "turn.npz"
        paths = os.pathsep.join((str(checkout), str(HERE / "tests")))
        command = [sys.executable, __file__, "--turn", str(out), "--rounds", str(rounds), scene]
        subprocess.run(command, check=True, env=os.environ | {"PYTHONPATH": paths})
        with np.load(out) as found:
            return 1e3 * np.median(found["times"], axis=1), found["pictures"]


def compare(before: Path, scenes: list[str], rounds: int, turns: int) -> None:
    """Print a line for each scene."""
    print("| scene | edit | before, ms | now, ms | ratio | pictures differ by |")
    print("|---|---|---|---|---|---|")
    for scene in scenes:
        least = np.full((2, len(EDITS)), np.inf)
        shown = []
        for turn in range(turns):
            found = [asked(checkout, scene, rounds) for checkout in (before, HERE)]
            least = np.minimum(least, [times for times, _ in found])
            shown = [pictures for _, pictures in found] if turn == 0 else shown
        for i, edit in enumerate(EDITS):
            off = np.abs(shown[0][i] - shown[1][i]).max() / shown[0][i].max()
            old, new = least[:, i]
            print(
                f"| {scene} | {edit} | {old:.1f} | {new:.1f} | {new / old:.2f} | {off:.0e} |",
                flush=True,
            )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("before", nargs="?")
    parser.add_argument("scenes", nargs="*")
    parser.add_argument("--rounds", type=int, default=15)
    parser.add_argument("--turns", type=int, default=4)
    parser.add_argument("--turn", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_intermixed_args()
    if options.turn is not None:
        one_turn(options.before, options.rounds, options.turn)
        return
    before, scenes = Path(options.before).resolve(), options.scenes or list(SCENES)
    if not (before / "lightplan" / "light").is_dir():  # this checkout would be asked twice
        parser.error(f"{before} is no checkout of lightplan")
    compare(before, scenes, options.rounds, options.turns)


if __name__ == "__main__":
    main()
