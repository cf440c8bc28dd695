"""What a second photograph of a set wins: one lamp off, or from another place.

    PYTHONPATH=. python tests/advice/several.py scenes JOBS.json.gz
    python tests/reference/slipped/render.py JOBS.json.gz RENDERED        (path tracer)
    PYTHONPATH=. python tests/advice/several.py photographs RENDERED PHOTOGRAPHS
    PYTHONPATH=. python tests/advice/several.py look PHOTOGRAPHS FOUND.json
    PYTHONPATH=. python tests/advice/several.py tell FOUND.json

Builds of the plans with two lamps or more, each with a hand's errors and one slip: a lamp moved
along its axis with its power turned up so that the middle of the sheet is as bright as planned, a
lamp moved across, a lamp turned up or down. Each is photographed as it stands, with each lamp off,
and from a place 150 mm aside, by cameras with noise of their own.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "slipped"))
sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "planned"))

from bases import base_rig
from camera_chain import jpeg, take
from photographs import chain_of_plan, exposure_of_plan, job_of, unpack, write_jobs
from slips import hand_built

from lightplan.estimate import estimate_together
from lightplan.estimate.telling import MOVES
from lightplan.scene.slips import slipped
from lightplan.shots.pipeline import look_at
from lightplan.tasks.advise import by_one_thread, plan_settings
from lightplan.tasks.photographed import context_of, photographed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.scene import Rig

PLANS = (
    "copper_gradient",
    "certificate_bright",
    "silver_gradient",
    "gold_hole_bright",
    "rose_gold_dark",
)
KINDS = ("farther and brighter", "across", "power")
ASIDE_MM = (120.0, 0.0, 90.0)
SPP = 96


@dataclass(frozen=True)
class Build:
    """A set with one slip: what is off, by (element, dimension)."""

    name: str
    plan: str
    kind: str
    values: dict[tuple[str, str], float]
    seed: int


def builds() -> Iterator[Build]:
    """Draw the builds, the same each time."""
    for number, plan in enumerate(PLANS):
        rig = base_rig(plan)
        lamps = [lamp for lamp in rig.lamps if lamp.on and not lamp.is_window]
        for i, kind in enumerate(KINDS):
            draw = np.random.default_rng([81, number, i])
            lamp = lamps[int(draw.integers(len(lamps)))]
            values: dict[tuple[str, str], float] = {}
            if kind == "power":
                size = float(draw.uniform(0.5, 1.2) * draw.choice([-1, 1]))
                values[lamp.name, "power_stops"] = size
            elif kind == "across":
                dimension = str(draw.choice(["x_mm", "y_mm"]))
                values[lamp.name, dimension] = float(draw.uniform(50, 110) * draw.choice([-1, 1]))
            else:
                place = lamp.placement
                far = math.dist(place.position_mm, (0.0, 0.0, 0.0))
                size = float(draw.uniform(0.15, 0.3) * far)
                way = -np.asarray(place.axes()[2]) * size
                values |= {(lamp.name, d): float(v) for d, v in zip(MOVES, way, strict=True)}
                values[lamp.name, "power_stops"] = 2 * math.log2((far + size) / far)
            yield Build(f"{plan}_{i}", plan, kind, values, 90_000 + 10 * number + i)


def views(build: Build) -> Iterator[tuple[str, Rig]]:
    """Yield the set as it is photographed, by the photograph's name."""
    rig = replace(slipped(hand_built(base_rig(build.plan), build.seed), build.values), freedoms=())
    yield f"{build.name}_all", rig
    for number, lamp in enumerate(rig.lamps):
        if lamp.on and not lamp.is_window:
            off = tuple(replace(x, on=x.on and x.name != lamp.name) for x in rig.lamps)
            yield f"{build.name}_off{number}", replace(rig, lamps=off)
    old = rig.camera.placement
    x, y, z = (float(v) for v in np.add(old.position_mm, ASIDE_MM))
    there = replace(rig.camera, placement=replace(old, position_mm=(x, y, z)))
    yield f"{build.name}_aside", replace(rig, camera=there)


def photograph_all(rendered: Path, out: Path) -> None:
    """Write the JPEGs of what was rendered: one camera a build, noise of its own each."""
    out.mkdir(parents=True, exist_ok=True)
    light = {}
    for part in sorted(rendered.glob("part*.npz")):
        with np.load(part) as file:
            names = [key[: -len("_low")] for key in file.files if key.endswith("_low")]
            light |= {name: unpack(file, name) for name in names}
    for build in builds():
        plan = base_rig(build.plan)
        draw = np.random.default_rng(build.seed)
        chain = chain_of_plan(plan, exposure_of_plan(plan), draw)
        for name, _ in views(build):
            if name in light:
                (out / f"{name}.jpg").write_bytes(jpeg(take(light[name], chain, draw), chain))


def looked(build: Build, folder: Path) -> dict[str, Any]:
    """Return what one photograph says of a build, and several together."""
    plan = base_rig(build.plan)
    context, clip = context_of(plan), plan_settings(plan).clip_cd_m2
    data = {}
    for name, _ in views(build):
        path = folder / f"{name}.jpg"
        seen = photographed(look_at(path, context)) if path.exists() else None
        if seen is not None:
            data[name[len(build.name) + 1 :]] = seen
    told: dict[str, Any] = {
        "name": build.name,
        "kind": build.kind,
        "values": [[*name, value] for name, value in build.values.items()],
        "sets": {},
    }
    if "all" not in data:
        return told
    off = [name for name in data if name.startswith("off")]
    sets = {"one": [], "one lamp off": off[:1], "each lamp off": off, "from aside": ["aside"]}
    sets["each lamp off, and from aside"] = [*off, "aside"]
    for words, names in sets.items():
        photos = [data["all"], *(data[n] for n in names if n in data)]
        if words != "one" and len(photos) < 2:
            continue
        found = by_one_thread(lambda p=photos: estimate_together(plan, p, clip_cd_m2=clip))
        told["sets"][words] = entry(found, build)
    return told


def entry(found: Any, build: Build) -> dict[str, Any]:
    """Return what was found: the slips, how it took the others, and what is left uncertain."""
    element = next(iter(build.values))[0]
    return {
        "slips": [[s.element, s.dimension, s.value, s.uncertainty] for s in found.slips],
        "hand": [[*n, v] for n, v in found.hand.items() if n[0] == element],
        "others": [[list(o.turned), o.moved_mm] for o in found.others],
        "left": dict(found.left[element]),
        "misfit": found.misfit,
    }


def tell(found: list[dict[str, Any]]) -> list[str]:
    """Return the table as lines."""
    lines = []
    words = dict.fromkeys(w for one in found for w in one["sets"])
    for kind in KINDS:
        mine = [one for one in found if one["kind"] == kind]
        for way in words:
            sets = [(one, one["sets"][way]) for one in mine if way in one["sets"]]
            named = [_named(one, s) for one, s in sets]
            left = np.array([[s["left"]["distance_mm"], s["left"]["power_stops"]] for _, s in sets])
            middle = np.median(left, axis=0) if len(sets) else (math.nan, math.nan)
            lines.append(
                f"{kind}, {way}: {len(sets)} builds; thing named {sum(named)}; left of the lamp's "
                f"distance {middle[0]:.0f} mm, of its power {middle[1]:.2f} stops (medians)"
            )
    return lines


def _named(one: dict[str, Any], found: dict[str, Any]) -> bool:
    return bool(found["slips"]) and found["slips"][0][0] == one["values"][0][0]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=["scenes", "photographs", "look", "tell"])
    parser.add_argument("places", nargs="+", type=Path, metavar="PLACE")
    parser.add_argument("--only", nargs="*", help="names of builds")
    options = parser.parse_args()
    first, *rest = options.places
    if options.what == "scenes":
        jobs = [job_of(n, b.plan, rig, SPP) for b in builds() for n, rig in views(b)]
        write_jobs(jobs, first)
    elif options.what == "photographs":
        photograph_all(first, rest[0])
    elif options.what == "look":
        found = []
        for build in (b for b in builds() if options.only is None or b.name in options.only):
            found.append(looked(build, first))
            print(json.dumps(found[-1], default=float), flush=True)
        rest[0].write_text(json.dumps(found, indent=0, default=float), "utf-8")
    else:
        print("\n".join(tell(json.loads(first.read_text("utf-8")))))


if __name__ == "__main__":
    main()
