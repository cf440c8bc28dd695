"""Kill commands at random moments: nothing is lost, nothing half-written, the next run goes on.

Run it by hand::

    python tests/kill_runs.py --kills 300 --seed 7

Every round starts a command, sends INT, TERM or KILL after a random time, checks that the
maker's own files are as they were and that every file of ours is whole, starts the command
once more, and looks for scraps. The script ends with 1 and says the seed when anything is
wrong. `--folder` is kept for looking at.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import io
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
import zipfile
from collections import Counter
from pathlib import Path

from PIL import Image

PROGRAM = (sys.executable, "-m", "lightplan")
PRESET = "silver-bookplate-bright"
SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGKILL)
LIMIT_S = 300.0
GOES_ON_S = 30.0
"""A second run that has worked so long was not refused; it is ended, and must clear up."""


def commands(folder: Path) -> dict[str, tuple[list[str], float]]:
    """Return each command's words and about how long it takes. [s]"""
    quick = ["--evaluations", "10"]
    out = str(folder / "out")
    photo = str(folder / "shots" / "a.jpg")
    return {
        "save": (["rigs", "save", str(folder / "my.toml"), "kept", "--replace"], 1.0),
        "score": (["score", str(folder / "shots"), "--rig", PRESET, "--out", out], 5.0),
        "predict": (["predict", str(folder / "my.toml"), "--out", out], 4.0),
        "setup": (["setup", str(folder / "my.toml"), "--out", str(folder / "setup.pdf")], 5.0),
        "plan": (["plan", str(folder / "my.toml"), "--out", out, *quick], 20.0),
        "advise": (["advise", photo, "--rig", str(folder / "my.toml"), "--out", out], 10.0),
        "kit": (["kit", str(folder / "my.toml"), "--out", str(folder / "kit"), *quick], 60.0),
    }


def prepare(folder: Path) -> None:
    """Make the maker's own files: a rig, its artwork, two photographs, notes."""
    subprocess.run(
        [*PROGRAM, "rigs", "copy", PRESET, str(folder / "my.toml")], check=True, capture_output=True
    )
    (folder / "shots").mkdir()
    picture = Image.new("RGB", (600, 400), (30, 30, 34))
    picture.paste((170, 168, 160), (150, 100, 450, 300))
    for name in ("a.jpg", "b.jpg"):
        picture.save(folder / "shots" / name, quality=90)
    (folder / "out").mkdir()
    (folder / "out" / "notes.txt").write_text("left board on two books", "utf-8")


def own(folder: Path) -> dict[str, str]:
    """Return the fingerprints of the maker's own files."""
    files = [
        folder / "my.toml",
        *(folder / "artwork").iterdir(),
        *(folder / "shots").iterdir(),
        folder / "out" / "notes.txt",
    ]
    return {str(f): hashlib.sha256(f.read_bytes()).hexdigest() for f in files}


def half_written(folder: Path) -> list[str]:
    """Return files of ours that cannot be read to their end."""
    files = [p for p in folder.rglob("*") if p.is_file() and not p.name.endswith(".tmp")]
    return [str(path) for path in files if not is_whole(path.read_bytes(), path.suffix)]


def is_whole(data: bytes, suffix: str) -> bool:
    """Tell whether a file can be read to its end."""
    ends = {".pdf": b"%%EOF", ".html": b"</html>"}
    try:
        if suffix == ".json":
            json.loads(data)
        elif suffix in (".png", ".jpg"):
            Image.open(io.BytesIO(data)).load()
        elif suffix == ".npz":
            return zipfile.ZipFile(io.BytesIO(data)).testzip() is None
    except (OSError, ValueError, zipfile.BadZipFile):
        return False
    return data.rstrip().endswith(ends.get(suffix, b""))


def scraps(folder: Path, temporary: Path) -> list[str]:
    """Return what a killed run left half-made."""
    found = [p for p in folder.rglob("*") if p.name.startswith(".lightplan-")]
    found += list(folder.rglob("best_so_far.png"))
    return [str(p) for p in [*found, *temporary.glob("lightplan-*")]]


def one_kill(name: str, folder: Path, temporary: Path, rng: random.Random) -> list[str]:
    """Kill a command and run it again; return what is wrong."""
    words, usual = commands(folder)[name]
    number = rng.choice(SIGNALS)
    moment = rng.uniform(0.0, 1.1 * usual)
    env = os.environ | {"TMPDIR": str(temporary), "LIGHTPLAN_HOME": str(folder / "home")}
    before = own(folder)
    faults = []
    with subprocess.Popen(
        [*PROGRAM, *words],
        env=env,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    ) as made:
        time.sleep(moment)
        made.send_signal(number)
        if name in ("plan", "kit") and number == signal.SIGINT:
            time.sleep(0.3)
            made.send_signal(number)
        said = made.communicate(timeout=LIMIT_S)[1].decode("utf-8", "replace")
    late = moment > 0.4  # before, the interpreter itself is not ready for more than to end
    if late and number != signal.SIGKILL and "Traceback" in said:
        faults.append("a traceback: " + said[-400:])
    if own(folder) != before:
        faults.append("a maker's file was lost or changed")
    faults += [f"half a file: {path}" for path in half_written(folder)]
    code, said = second_run(words, env)
    if code == 2 or "Traceback" in said:
        faults.append("the second run: " + said[-400:])
    if own(folder) != before:
        faults.append("a maker's file was lost or changed by the second run")
    faults += [f"half a file after the second run: {path}" for path in half_written(folder)]
    faults += [f"a scrap: {path}" for path in scraps(folder, temporary)]
    return [f"{name}, {signal.Signals(number).name} after {moment:.2f} s: {f}" for f in faults]


def second_run(words: list[str], env: dict[str, str]) -> tuple[int, str]:
    """Return exit code and complaints of a run that nobody kills, unless it takes too long."""
    with subprocess.Popen(
        [*PROGRAM, *words], env=env, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    ) as made:
        try:
            said = made.communicate(timeout=GOES_ON_S)[1]
        except subprocess.TimeoutExpired:
            made.terminate()
            said = made.communicate()[1]
    return made.returncode, said.decode("utf-8", "replace")


def main() -> int:
    """Kill as often as asked, the commands in turn."""
    options = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    options.add_argument("--kills", type=int, default=300)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--commands", nargs="*", default=None)
    options.add_argument("--seconds", type=float, default=float("inf"), help="stop after so long")
    told = options.parse_args()
    # A shell's background job ignores INT, and so would all that it starts.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    rng = random.Random(told.seed)
    end, faults, done = time.monotonic() + told.seconds, [], Counter[str]()
    with tempfile.TemporaryDirectory(prefix="kills-") as place:
        folder, temporary = Path(place) / "work", Path(place) / "tmp"
        folder.mkdir()
        temporary.mkdir()
        prepare(folder)
        names = list(commands(folder)) if told.commands is None else told.commands
        with contextlib.suppress(KeyboardInterrupt):  # what was done until then is told
            for number in range(told.kills):
                if time.monotonic() > end:
                    break
                name = names[number % len(names)]
                found = one_kill(name, folder, temporary, rng)
                done[name] += 1
                faults += found
                for fault in found:
                    print(fault, flush=True)
    print(f"seed {told.seed}: {sum(done.values())} kills {dict(done)}, {len(faults)} faults")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
