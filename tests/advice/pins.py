"""How well a pin's shadows tell where lamps stand, in pictures of the path tracer.

    PYTHONPATH=. python tests/advice/pins.py scenes JOBS.json.gz
    python tests/reference/slipped/render.py JOBS.json.gz RENDERED        (path tracer)
    PYTHONPATH=. python tests/advice/pins.py photographs RENDERED PHOTOGRAPHS
    PYTHONPATH=. python tests/advice/pins.py look PHOTOGRAPHS

Each plan is built with a hand's errors and one lamp moved by 40 to 80 mm; the pin, 40 mm high and
6 mm thick, is black strips that cross, where most paper is free.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import distance_transform_edt

sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "slipped"))
sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "planned"))

from bases import base_rig
from camera_chain import jpeg, take
from photographs import chain_of_plan, exposure_of_plan, job_of, unpack, write_jobs
from slips import hand_built

from lightplan.estimate import Pin
from lightplan.scene import Card, Placement, Side
from lightplan.scene.slips import slipped
from lightplan.shots.pipeline import look_at
from lightplan.tasks.photographed import context_of
from lightplan.tasks.pinned import pin_in

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.scene import Rig

PLANS = (
    "silver_bright",
    "gold_hole_bright",
    "rose_gold_dark",
    "certificate_bright",
    "silver_gradient",
)
HEIGHT_MM, THICK_MM = 40.0, 6.0
SPP = 128


@dataclass(frozen=True)
class Case:
    """A set with a lamp off its place, and a pin on the sheet."""

    name: str
    plan: str
    lamp: str
    off_mm: tuple[float, float, float]
    seed: int


def cases() -> Iterator[Case]:
    """Draw the cases, the same each time: two a plan."""
    for number, plan in enumerate(PLANS):
        lamps = [x for x in base_rig(plan).lamps if x.on and not x.is_window]
        for i in range(2):
            draw = np.random.default_rng([91, number, i])
            lamp = lamps[int(draw.integers(len(lamps)))]
            way = draw.normal(size=3)
            x, y, z = (float(v) for v in way / np.linalg.norm(way) * draw.uniform(40, 80))
            yield Case(f"{plan}_pin{i}", plan, lamp.name, (x, y, z), 95_000 + 10 * number + i)


def free_place(rig: Rig) -> tuple[float, float]:
    """Return the place on the sheet that is farthest from foil and edges."""
    art = np.pad(rig.sheet.artwork > 0.02, 1, constant_values=True)
    far = distance_transform_edt(~art)[1:-1, 1:-1]
    row, col = np.unravel_index(int(np.argmax(far)), far.shape)
    rows, cols = far.shape
    x = ((col + 0.5) / cols - 0.5) * rig.sheet.width_mm
    y = (0.5 - (row + 0.5) / rows) * rig.sheet.height_mm
    return float(x), float(y)


def as_built(case: Case) -> Rig:
    """Return the set that stands, without the pin."""
    rig = hand_built(base_rig(case.plan), case.seed)
    names = ("x_mm", "y_mm", "z_mm")
    return slipped(rig, {(case.lamp, d): v for d, v in zip(names, case.off_mm, strict=True)})


def with_pin(rig: Rig) -> Rig:
    """Return a set with the pin on its sheet: two black strips that cross."""
    x, y = free_place(rig)
    middle = (x, y, HEIGHT_MM / 2 + 0.2)
    black = Side(reflectance=(0.03, 0.03, 0.03))
    strips = tuple(
        Card(
            name=f"pin {i}",
            placement=Placement(middle, (x + dx, y + dy, middle[2])),
            width_mm=THICK_MM,
            height_mm=HEIGHT_MM,
            front=black,
            back=black,
        )
        for i, (dx, dy) in enumerate(((100.0, 0.0), (0.0, 100.0), (70.0, 70.0), (70.0, -70.0)))
    )
    return replace(rig, cards=(*rig.cards, *strips), freedoms=())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=["scenes", "photographs", "look"])
    parser.add_argument("places", nargs="+", type=Path, metavar="PLACE")
    options = parser.parse_args()
    first, *rest = options.places
    if options.what == "scenes":
        write_jobs([job_of(c.name, c.plan, with_pin(as_built(c)), SPP) for c in cases()], first)
    elif options.what == "photographs":
        photograph_all(first, rest[0])
    else:
        for case in cases():
            path = first / f"{case.name}.jpg"
            if path.exists():
                print(line_of(case, path), flush=True)


def photograph_all(rendered: Path, out: Path) -> None:
    """Write the JPEGs of what was rendered."""
    out.mkdir(parents=True, exist_ok=True)
    known = {case.name: case for case in cases()}
    for part in sorted(rendered.glob("part*.npz")):
        with np.load(part) as file:
            for name in (key[: -len("_low")] for key in file.files if key.endswith("_low")):
                plan = base_rig(known[name].plan)
                draw = np.random.default_rng(known[name].seed)
                chain = chain_of_plan(plan, exposure_of_plan(plan), draw)
                codes = take(unpack(file, name), chain, draw)
                (out / f"{name}.jpg").write_bytes(jpeg(codes, chain))


def line_of(case: Case, path: Path) -> str:
    """Return in a line what the shadows tell, beside the truth."""
    plan = base_rig(case.plan)
    x, y = free_place(plan)
    pin = Pin(height_mm=HEIGHT_MM, thick_mm=THICK_MM, foot_mm=(round(x), round(y)))
    found = pin_in(look_at(path, context_of(plan)), plan, pin)
    if found is None:
        return f"{case.name}: the shadow tells nothing"
    away = np.hypot(found.foot_mm[0] - x, found.foot_mm[1] - y)
    told = []
    built = {lamp.name: lamp for lamp in as_built(case).lamps}
    known = found.known
    for i, (name, _) in enumerate(known.names[::3]):
        old = next(x for x in plan.lamps if x.name == name).placement.position_mm
        step = np.subtract(built[name].placement.position_mm, old)
        row = known.rows[i, 3 * i : 3 * i + 3]
        true, said = float(row @ step), float(known.measured[i])
        told.append(
            f"{name} {said:+.0f} mm across (is {true:+.0f}, deviation "
            f"{found.sigmas_mm[name]:.0f}), "
            f"{np.linalg.norm(old):.0f} mm away"
        )
    return f"{case.name}: foot {away:.1f} mm off; " + "; ".join(told)


if __name__ == "__main__":
    main()
