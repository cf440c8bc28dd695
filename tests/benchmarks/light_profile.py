"""Where the time of a changed card goes: shares of processor time, printed as a table.

python tests/benchmarks/light_profile.py
"""

import cProfile
import pstats
import time

import numpy as np
from light_bench import scene_rig, with_moved_card

from lightplan.light import Detail, Engine

PARTS = {
    "light that the foil throws on cards and table": ("mirror_transfer.py", "update"),
    "rays and points of the foil": ("foil.py", "update"),
    "view factors between cells": ("bounce.py", "update"),
    "light of lamps, with shadows": ("direct.py", "update"),
    "solving all bounces, as paper and as foil": ("engine.py", "_settle"),
    "surroundings": ("sky.py", "update"),
    "the picture from the layers": ("camera_frame.py", "compose"),
    "what the camera sees beside the sheet": ("camera_frame.py", "update"),
}
SCENES = ("s03_bounce_card", "s09_white_v", "full_rig")
ROUNDS = 40


def main() -> None:
    print("| part | " + " | ".join(SCENES) + " |")
    print("|---|" + "---|" * len(SCENES))
    shares = [scene_shares(name) for name in SCENES]
    for part in (*PARTS, "all else"):
        print(f"| {part} | " + " | ".join(f"{100 * s[part]:.0f} %" for s in shares) + " |")


def scene_shares(name: str) -> dict[str, float]:
    """Share of the processor time in each part of `Engine.picture`."""
    detail = Detail.quick()
    start = scene_rig(name)
    rigs = [with_moved_card(start, step) for step in range(1, ROUNDS + 3)]
    engine = Engine(rigs[0], detail)
    foil = np.full((detail.camera_rows, detail.camera_cols), 0.5, np.float32)
    for rig in rigs[:2]:
        engine.picture(rig, foil)
    profile = cProfile.Profile(time.process_time)
    profile.enable()
    for rig in rigs[2:]:
        engine.picture(rig, foil)
    profile.disable()
    stats = pstats.Stats(profile)
    spent = {
        part: max(  # an update calls others of the same name, whose time it contains
            entry[3]
            for (path, _, function), entry in stats.stats.items()
            if path.endswith(f"light/{file}") and function == wanted and entry[3] > 0
        )
        for part, (file, wanted) in PARTS.items()
    }
    whole = next(v[3] for k, v in stats.stats.items() if k[2] == "picture")
    found = {part: seconds / whole for part, seconds in spent.items()}
    return found | {"all else": max(0.0, 1.0 - sum(found.values()))}


if __name__ == "__main__":
    main()
