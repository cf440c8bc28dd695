"""Rig files damaged at random and made to hurt: check and predict must read or refuse them.

Run it by hand::

    python tests/mutate_rigs.py --mutations 1000 --seed 7

Each goes through check and predict in a child with 2 GB of memory and 60 s. Whatever ends
in anything but a rig or one of our own errors is kept and named; the script then ends
with 1. A short run is among the tests.
"""

from __future__ import annotations

import argparse
import contextlib
import multiprocessing
import os
import random
import re
import shutil
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))
MEMORY_BYTES = 2 << 30
HANG_S = 60.0
BUSY = 5.0
"""The limit is one of processor time, for the machine may be shared; of the clock so much more."""
VALUES = (
    "0",
    "-1",
    "1e-9",
    "1e9",
    "1e308",
    "nan",
    "inf",
    "-0.0",
    "true",
    '""',
    '"x"',
    "[]",
    "{}",
    "[1]",
    "[0, 0, 0]",
    "[1e9, 1e9, 1e9]",
    "1979-05-27",
    "'''\\n'''",
    "0x7fffffffffffffff",
    "9" * 400,
    '"\\u0000\\u001b[2J"',
    "[[[[]]]]",
    '"../../etc/passwd"',
    '"/dev/zero"',
    "0.000001",
    "359.9",
)


def mutated(text: str, rng: random.Random) -> str:
    """Return a rig file with a few changes: values, lines, bytes."""
    lines = text.split("\n")
    for _ in range(rng.choice((1, 1, 2, 4))):
        at = rng.randrange(len(lines))
        kind = rng.randrange(6)
        if kind <= 1 and "=" in lines[at]:
            lines[at] = f"{lines[at].partition('=')[0]}= {rng.choice(VALUES)}"
        elif kind == 2:
            lines.insert(at, lines[rng.randrange(len(lines))])
        elif kind == 3:
            del lines[at]
            lines = lines if lines else [""]
        elif kind == 4 and any(c.isdigit() for c in lines[at]):
            digits = [i for i, c in enumerate(lines[at]) if c.isdigit()]
            i = rng.choice(digits)
            lines[at] = (
                lines[at][:i] + rng.choice(("", "-", ".", "9", "e9", "00")) + lines[at][i + 1 :]
            )
        else:
            i = rng.randrange(len(lines[at]) + 1)
            lines[at] = (
                lines[at][:i] + chr(rng.choice((0, 9, 34, 91, 93, 61, 0xFFFD, 65))) + lines[at][i:]
            )
    return "\n".join(lines)


NUMBER = re.compile(r"(?<![\w.#\"'-])-?\d+(?:\.\d+)?(?![\w.])")
FACTORS = (-1.0, 0.0, 0.01, 0.1, 0.5, 0.9, 1.1, 2.0, 5.0, 30.0)


def bent(text: str, rng: random.Random) -> str:
    """Return a rig file that may well be one: numbers scaled, lines and whole tables left out.

    Most of what `mutated` makes is no TOML and gets no farther than its reader.
    """
    for _ in range(rng.choice((1, 2, 3))):
        kind, lines = rng.randrange(8), text.split("\n")
        there = [i for i, line in enumerate(lines) if "=" in line and line[:1] not in ("#", "f")]
        at = rng.choice(there)
        if kind == 0:
            del lines[at]
            text = "\n".join(lines)
        elif kind == 1:
            tables = text.split("\n[")
            last = rng.randrange(1, len(tables))
            text = "\n[".join(tables[:last] + tables[last + 1 :])
        elif kind == 2:
            lines[at] = f"{lines[at].partition('=')[0]}= {rng.choice(VALUES)}"
            text = "\n".join(lines)
        else:
            numbers = list(NUMBER.finditer(lines[at]))
            if numbers:
                one, factor = rng.choice(numbers), rng.choice(FACTORS)
                value = f"{float(one[0]) * factor:g}"
                lines[at] = lines[at][: one.start()] + value + lines[at][one.end() :]
                text = "\n".join(lines)
    return text


def crafted(text: str) -> list[str]:
    """Return rig files that are made to hurt, two hundred of them."""
    good = text
    things = {
        "lamps": '[[lamps]]\nname = "{0}"\nposition_mm = [{0}, 300, 900]\n',
        "cards": '[[cards]]\nname = "{0}"\nposition_mm = [{0}, 900, 900]\n'
        "width_mm = 9\nheight_mm = 9\n",
        "shells": '[[shells]]\nname = "{0}"\nfoot_width_mm = 900\nfoot_depth_mm = 900\n',
        "props": '[[props]]\nname = "{0}"\nposition_mm = [{0}, 900, 0]\n',
        "owned": '[[owned]]\nkind = "lamp"\nwidth_mm = 9\nheight_mm = 9\nname = "{0}"\n',
        "freedoms": '[[freedoms]]\nelement = "camera"\ndimension = "x_mm"\nlow = 0\nhigh = {0}\n',
    }
    made = [
        good + "".join(part.format(i) for i in range(1, count))
        for part in things.values()
        for count in (5, 12, 30, 300, 3000)
    ]
    for key in ("a", "sheet", "lamps", "sheet.foil.grating", "room.walls", "plan.measures"):
        made += [f"{good}\n[{key}{'.a' * n}]\nb = 1\n" for n in (1, 15, 16, 2000, 200_000)]
        made += [f"{good}\n[{key}]\n{c * n}\n" for c in "[{\"'=.#\\" for n in (3, 999_000 // 9)]
    made += [f"{good}\n[room]\n{f}\n" for f in ("ambient_cd_m2 = 1e7", "has_table = false")]
    made += [f"{good}\n[room.walls]\n{f}\n" for f in ("width_mm = 100000", "ceiling_mm = 0.001")]
    made.append(f"{good}\n[room.probe]\nfile = '/dev/zero'\n")
    for value in VALUES:
        made.append(good.replace("title = ", f"title = {value} # ", 1))
        made.append(f"{good}\n[sheet.paper]\nreflectance = {value}\n")
    return (made * 3)[:200]


def serve(pipe: Connection) -> None:
    """Check and predict files in this process until the pipe closes; say how each ended."""
    from lightplan.errors import NoRoom
    from lightplan.faults import CAUGHT, as_told
    from lightplan.light import Detail
    from lightplan.process import limit_memory
    from lightplan.rigfiles import check_rig
    from lightplan.tasks.predict import predict

    limit_memory(MEMORY_BYTES)
    while True:
        try:
            path, full = pipe.recv()
        except EOFError:
            return
        told = "predicted"
        try:
            loaded = check_rig(path)
            detail = None if full else Detail.quick(camera_rows=60, camera_cols=80)
            predict(loaded, detail=detail, explain=False)
        except CAUGHT as error:
            said = as_told(error)
            told = f"{'no room' if isinstance(said, NoRoom) else 'refused'}: {said}"
        except Exception as error:  # noqa: BLE001 - the point of the exercise
            told = f"FAULT {type(error).__name__}: {error}"
        pipe.send(told)


def used_s(pid: int | None) -> float:
    """Return the processor time of a process that lives, where the system tells it. [s]"""
    try:
        told = Path(f"/proc/{pid}/stat").read_text("ascii").rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


class Child:
    """A child that is started anew when a file broke it."""

    def __init__(self) -> None:
        self._start()

    def _start(self) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.process = context.Process(target=serve, args=(theirs,), daemon=True)
        self.process.start()
        theirs.close()

    def ask(self, path: Path, *, full: bool) -> str:
        """Return how a file ended."""
        begun, used = time.monotonic(), used_s(self.process.pid)
        self.pipe.send((str(path), full))
        while used_s(self.process.pid) - used < HANG_S and time.monotonic() - begun < BUSY * HANG_S:
            with contextlib.suppress(EOFError, OSError):
                if self.pipe.poll(0.5):
                    return str(self.pipe.recv())
            if not self.process.is_alive():
                code = self.process.exitcode
                self._start()
                return f"FAULT crash, exit code {code}"
        self.end()
        self._start()
        return f"FAULT no answer within {HANG_S:g} s"

    def end(self) -> None:
        """End the child."""
        self.process.kill()
        self.process.join()


def run(
    mutations: int, crafts: int, seed: int, *, full: bool, seconds: float = 1e9
) -> tuple[Counter[str], list[str]]:
    """Return how many files ended how, and the faults."""
    rng = random.Random(seed)
    texts = [path.read_text("utf-8") for path in sorted((ROOT / "rigs").glob("*.toml"))]
    made = crafted(texts[0])
    rng.shuffle(made)
    ways = (mutated, bent)
    files = made[:crafts] + [ways[i % 2](rng.choice(texts), rng) for i in range(mutations)]
    ended, faults, end = Counter[str](), [], time.monotonic() + seconds
    child = Child()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        shutil.copytree(ROOT / "rigs" / "artwork", folder / "artwork")
        for number, text in enumerate(files):
            if time.monotonic() > end:
                break
            path = folder / "rig.toml"
            path.write_bytes(text.encode("utf-8", "surrogatepass"))
            told = child.ask(path, full=full)
            ended["FAULT" if told.startswith("FAULT") else told.partition(":")[0]] += 1
            if told.startswith("FAULT"):
                kept = Path(tempfile.gettempdir()) / f"mutated-{seed}-{number}.toml"
                shutil.copy(path, kept)
                faults.append(f"{kept}: {told}")
    child.end()
    return ended, faults


def main() -> int:
    """Damage as many as asked."""
    options = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    options.add_argument("--mutations", type=int, default=1000)
    options.add_argument("--crafted", type=int, default=200)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--seconds", type=float, default=1e9, help="stop after so long")
    options.add_argument("--quick", action="store_true", help="predict coarsely")
    told = options.parse_args()
    ended, faults = run(
        told.mutations, told.crafted, told.seed, full=not told.quick, seconds=told.seconds
    )
    for fault in faults:
        print(fault)
    print(f"seed {told.seed}: {dict(ended)}, {len(faults)} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
