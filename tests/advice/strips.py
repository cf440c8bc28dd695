"""What a strip of foil beside the sheet adds: on pictures that the light model did not make.

    PYTHONPATH=. python tests/advice/strips.py scenes JOBS.json.gz
    python tests/reference/slipped/render.py JOBS.json.gz RENDERED
    PYTHONPATH=. python tests/advice/strips.py look RENDERED PHOTOGRAPHS FOUND.json
    PYTHONPATH=. python tests/advice/strips.py tell FOUND.json

The builds are those of ../reference/slipped, seen by a camera that zooms out; a strip lies on the
side of the sheet where it tells most of that plan. It is read where it lies, for the scenes have no
printed markers (tests/shots/test_strip.py finds those). Each photograph is advised on twice,
with and without what the strip shows.
"""

from __future__ import annotations

import json
import math
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "slipped"))

from bases import base_rig
from camera_chain import jpeg, take
from photographs import (
    chain_of_plan,
    exposure_of_plan,
    job_of,
    read_builds,
    rig_as_built,
    unpack,
    write_jobs,
)

from lightplan.estimate import estimate_together
from lightplan.shots.sheet.foil_strip import read_strip
from lightplan.shots.sheet.strip_layout import LENGTH_MM, WIDTH_MM
from lightplan.tasks.advise import by_one_thread, plan_settings
from lightplan.tasks.photographed import look_at_set, photographed, strip_of

if TYPE_CHECKING:
    from slips import Build

    from lightplan.scene import Rig

# Where the strip lies: as a complex number, x to the right and y away.
SIDES = {
    "copper_bright": 1,
    "rose_gold_dark": -1,
    "silver_bright": -1,
    "window_bright": 1,
    "silver_gradient": -1j,
}
WHICH = ("00", "01", "02", "03", "09", "outside", "right0")
"""Two things moved, two turned, light from outside twice, and nothing."""
LONG_SIDE, SPP = 900, 64
FROM_EDGE_MM, LONG_MM, WIDE_MM = 12.0, 170.0, 12.0


def middle_of(rig: Rig, side: complex) -> complex:
    """Return the middle of the strip, which leads away from the sheet."""
    half = rig.sheet.width_mm / 2 if complex(side).imag == 0 else rig.sheet.height_mm / 2
    return side * (half + FROM_EDGE_MM + LONG_MM / 2)


def zoomed_out(rig: Rig, side: complex) -> Rig:
    """Return a rig whose frame holds the sheet and the strip; the lens stays."""
    corners = [a * rig.sheet.width_mm / 2 + 1j * b * rig.sheet.height_mm / 2 for a, b in _SIGNS]
    along, across = LONG_MM / 2 * side, WIDE_MM / 2 * side * 1j
    corners += [middle_of(rig, side) + a * along + b * across for a, b in _SIGNS]
    points = np.array([[c.real, c.imag, 0.0] for c in corners])
    aim = (points.min(axis=0) + points.max(axis=0)) / 2
    camera = replace(
        rig.camera, placement=replace(rig.camera.placement, aim_mm=tuple(aim.tolist()))
    )
    right, up, forward = camera.axes()
    way = points - camera.placement.position_mm
    tan_x, tan_y = (1.1 * np.abs(way @ a / (way @ forward)).max() for a in (right, up))
    tan_x, tan_y = max(tan_x, tan_y / 2.2), max(tan_y, tan_x / 2.2)
    pixel = 2 * max(tan_x, tan_y) / LONG_SIDE
    rows, cols = (2 * math.ceil(t / pixel) for t in (tan_y, tan_x))
    wide, high = (n * pixel * camera.focal_length_mm for n in (cols, rows))
    seen = replace(camera, sensor_width_mm=wide, sensor_height_mm=high, pixels=(cols, rows))
    return replace(rig, camera=seen)


_SIGNS = ((-1, -1), (-1, 1), (1, -1), (1, 1))


def chosen() -> list[Build]:
    """Return the builds that are photographed with a strip."""
    return [
        b for b in read_builds() if b.base in SIDES and b.name.removeprefix(b.base)[1:] in WHICH
    ]


def scenes(out: Path) -> None:
    """Write the scenes to render: those of the builds, a mirror-like card beside the sheet."""
    jobs = []
    for build in chosen():
        side = SIDES[build.base]
        rig = zoomed_out(rig_as_built(build), side)
        cols, rows = rig.camera.pixels
        job = job_of(build.name, build.base, rig, SPP, size=(rows, cols))
        middle, foil = middle_of(rig, side), job["scene"]["materials"]["foil"]
        lies = complex(side).imag == 0
        wide, high = (LONG_MM, WIDE_MM) if lies else (WIDE_MM, LONG_MM)
        metal = {k: foil[k] for k in ("reflectance", "eta", "k") if k in foil}
        job["scene"]["cards"].append(
            {
                "center": [middle.real / 1000, middle.imag / 1000, 0.0002],
                "normal": [0, 0, 1],
                "up": [0, 1, 0],
                "width": wide / 1000,
                "height": high / 1000,
                "reflectance": [0, 0, 0],
                "specular": metal | {"alpha": foil["alpha_x"]},
            }
        )
        jobs.append(job)
    write_jobs(jobs, out)


def look(rendered: Path, photos: Path, out: Path) -> None:
    """Photograph, and fit each with and without the strip."""
    photos.mkdir(parents=True, exist_ok=True)
    found = []
    for part in sorted(rendered.glob("*.npz")):
        with np.load(part) as file:
            there = {key[: -len("_low")] for key in file.files if key.endswith("_low")}
            for build in chosen():
                if build.name in there:
                    photo = photos / f"{build.name}.jpg"
                    photo.write_bytes(_taken(build, unpack(file, build.name)))
                    found.append(_outcome(build, photo))
                    print(found[-1], flush=True)
    out.write_text(json.dumps(found, indent=0), "utf-8")


def _taken(build: Build, light: Any) -> bytes:
    plan, draw = base_rig(build.base), np.random.default_rng(build.camera_seed)
    size = {s.kind: s.size for s in build.slips}
    rig = zoomed_out(plan, SIDES[build.base])
    chain = chain_of_plan(rig, exposure_of_plan(plan), draw, stops=size.get("exposure", 0.0))
    return jpeg(take(light, chain, draw), chain)


def _outcome(build: Build, photo: Path) -> dict[str, Any]:
    plan, side = base_rig(build.base), SIDES[build.base]
    rig = zoomed_out(plan, side)
    looked = look_at_set(photo, rig)
    told: dict[str, Any] = {
        "name": build.name,
        "slips": [(s.element, s.dimension, s.size) for s in build.slips],
    }
    data = photographed(looked)
    if data is None or looked.sheet is None:
        return told
    turn = complex(side) * 1j  # the slip stands on end
    centre = complex(WIDTH_MM / 2, -LENGTH_MM / 2)
    way = (turn, middle_of(rig, side) - turn * centre)
    size = (plan.sheet.width_mm, plan.sheet.height_mm)
    seen = read_strip(looked.shot, looked.sheet, size, way)
    assert seen is not None
    strip = strip_of(seen, looked.sheet.found.shape)
    clip = plan_settings(plan).clip_cd_m2
    for name, one in (("without", data), ("with", replace(data, strip=strip))):
        made = by_one_thread(lambda one=one: estimate_together(rig, (one,), clip_cd_m2=clip))
        slips = [(s.element, s.dimension, s.value, s.uncertainty) for s in made.slips]
        told[name] = [("not in the rig", "", 0, 0)] * bool(made.foreign) + slips
        told[f"{name}_doubts"] = [(d.element, d.kind, d.sigma) for d in made.doubts]
    residual = made.best.fitted.residual[len(data.seen) :]
    return told | {"strip_stops": float(np.sqrt(np.mean(residual**2)))}


def tell(found: list[dict[str, Any]]) -> list[str]:
    """Return the figures as lines."""
    seen = [f for f in found if "with" in f]
    lines = [f"photographs {len(found)}, sheet found in {len(seen)}"]
    kinds = {
        "moved or turned": [f for f in seen if f["slips"] and f["slips"][0][0] != "foreign"],
        "light from outside": [f for f in seen if f["slips"] and f["slips"][0][0] == "foreign"],
        "nothing": [f for f in seen if not f["slips"]],
    }
    for kind, some in kinds.items():
        for way in ("without", "with"):
            right = sum(_is_right(f, way) for f in some)
            silent = sum(not f[way] for f in some)
            lines.append(
                f"{kind}, {way} the strip: {right} of {len(some)} right, "
                f"{len(some) - right - (silent if kind != 'nothing' else 0)} wrong"
            )
    rms = [f["strip_stops"] for f in seen]
    lines.append(f"what is left in the strip, root mean square: {np.median(rms):.3f} stops, median")
    return lines


def _is_right(one: dict[str, Any], way: str) -> bool:
    wanted = {"not in the rig" if s[0] == "foreign" else s[0] for s in one["slips"]}
    return not one[way] if not wanted else bool(one[way]) and one[way][0][0] in wanted


def main() -> None:
    what, *places = sys.argv[1:]
    if what == "scenes":
        scenes(Path(places[0]))
    elif what == "look":
        look(*map(Path, places))
    else:
        print("\n".join(tell(json.loads(Path(places[0]).read_text("utf-8")))))


if __name__ == "__main__":
    main()
