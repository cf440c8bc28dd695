"""Print how far slopes of the light can be trusted, as Markdown.

    python tests/light/slopes_report.py [--each] [--full] [NAME...]

The slope of a layer against a place, turn, bow or the camera is its difference a little to both
sides over the way between. A light that is worked out smoothly has the same slope over short and
long ways; one that counts rays has not. Steps: 0.5 and 1 mm against 4 mm, for turns the way of the
thing's own corner, for the bow a tenth of that. Error: root mean square of the difference over that
of the slope over the long way, both of the means of BLOCKS blocks along the sheet. Slopes that
change the layer by less than FELT of its mean for a millimetre are left out: nobody sees them.

With --full the long slope comes from `Detail()`, which takes long.
"""

from __future__ import annotations

import argparse
import dataclasses
import importlib.util
import json
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

import lightplan
from lightplan.light import Detail, Engine

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from lightplan.scene import Placement, Rig

SHORT, LONG = (0.5, 1.0), 4.0
BLOCKS, FELT = 12, 5e-4
PRESETS = ("gold-card-above", "silver-bookplate-bright", "copper-label-gradient",
           "window-two-boards", "rose-gold-tag-dark", "cone-and-phone")  # fmt: skip
SCENES = ("s03_bounce_card", "s09_white_v", "full_rig")
LAYERS = ("paper", "foil")


@dataclasses.dataclass(frozen=True)
class Slope:
    """One slope: its error over each short way, as shares, and how much a millimetre changes."""

    rig: str
    layer: str
    what: str
    kind: str
    errors: tuple[float, ...]
    felt: float


def _builder() -> Any:
    path = Path(__file__).with_name("conftest.py")
    spec = importlib.util.spec_from_file_location("light_conftest", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def rig_of(name: str) -> Rig:
    """Return a preset, or a stored scene."""
    path = Path(__file__).parents[1] / "reference" / "pathtraced" / f"{name}.json"
    if not path.exists():
        return lightplan.load_rig(name).rig
    rig: Rig = _builder().build_rig(json.loads(path.read_text("utf-8")))
    return rig


def shifted(place: Placement, axis: int, step: float) -> Placement:
    """Return a place moved along an axis, its facing kept."""
    off = np.eye(3)[axis] * step
    position, aim = (np.add(p, off) for p in (place.position_mm, place.aim_mm))
    return dataclasses.replace(place, position_mm=tuple(position), aim_mm=tuple(aim))


def turned(place: Placement, axis: int, angle: float) -> Placement:
    """Return a place turned about its own right (0) or up (1)."""
    along = place.axes()[axis]
    way = np.subtract(place.aim_mm, place.position_mm)
    cosine, sine = math.cos(angle), math.sin(angle)
    way = way * cosine + np.cross(along, way) * sine
    aim = tuple(np.add(place.position_mm, way))
    return dataclasses.replace(place, aim_mm=aim)


def changes(rig: Rig) -> Iterator[tuple[str, str, Callable[[float], Rig]]]:
    """Yield what can change, its kind, and the rig after a step of so many millimetres."""
    for kind in ("lamps", "cards"):
        things = getattr(rig, kind)
        for index, thing in enumerate(things):

            def put(place: Placement, kind: str = kind, index: int = index) -> Rig:
                some = list(getattr(rig, kind))
                some[index] = dataclasses.replace(some[index], placement=place)
                return dataclasses.replace(rig, **{kind: tuple(some)})

            place = thing.placement
            for axis, name in enumerate("xyz"):
                yield (
                    f"{thing.name} {name}",
                    "place",
                    lambda s, a=axis, p=place, put=put: put(shifted(p, a, s)),
                )
            size = [getattr(thing, n, None) for n in ("width_mm", "height_mm")]
            if None in size:
                continue
            corner = math.hypot(*size) / 2
            for axis, name in enumerate(("right", "up")):
                yield (
                    f"{thing.name} about its {name}",
                    "turn",
                    lambda s, a=axis, p=place, put=put, c=corner: put(turned(p, a, s / c)),
                )
    sheet = rig.sheet
    bow_mm = max(sheet.flatness.bow_mm, 1.0)  # to both sides of a flat sheet is another shape

    def bowed(step: float) -> Rig:
        flat = dataclasses.replace(sheet.flatness, bow_mm=bow_mm + step / 10)
        return dataclasses.replace(rig, sheet=dataclasses.replace(sheet, flatness=flat))

    yield "bow", "bow", bowed
    for axis, name in enumerate("xyz"):

        def stood(step: float, axis: int = axis) -> Rig:
            camera = rig.camera
            moved = shifted(camera.placement, axis, step)
            return dataclasses.replace(rig, camera=dataclasses.replace(camera, placement=moved))

        yield f"camera {name}", "camera", stood


def blocks(layer: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """Return the mean light of even blocks, of all channels together."""
    rows, cols = layer.shape[:2]
    across = max(1, round(BLOCKS * cols / max(rows, cols)))
    down = max(1, round(BLOCKS * rows / max(rows, cols)))
    light = layer.mean(axis=-1).astype(np.float64)
    return np.asarray(cv2.resize(light, (across, down), interpolation=cv2.INTER_AREA))


def slopes(name: str, *, full: bool) -> Iterator[Slope]:
    """Yield the slopes of one rig at the quick detail."""
    rig = rig_of(name)
    size = {"camera_rows": 8, "camera_cols": 8}
    engine = Engine(rig, Detail.quick(**size))
    finer = Engine(rig, Detail(**size)) if full else engine

    def slope(by: Engine, change: Callable[[float], Rig], way: float) -> list[Any]:
        ends = [[blocks(v) for v in by.sheet(change(side * way))] for side in (-1, 1)]
        return [(b - a) / (2 * way) for a, b in zip(*ends, strict=True)]

    mean = [blocks(v).mean() for v in engine.sheet(rig)]
    for what, kind, change in changes(rig):
        exact = slope(finer, change, LONG)
        short = [slope(engine, change, way) for way in (*SHORT, *((LONG,) if full else ()))]
        for k, layer in enumerate(LAYERS):
            size_of = float(np.sqrt(np.mean(exact[k] ** 2)))
            felt = size_of / max(mean[k], 1e-12)
            errors = (
                [float(np.sqrt(np.mean((s[k] - exact[k]) ** 2))) / size_of for s in short]
                if (size_of > 0)
                else [0.0 for _ in short]
            )
            if felt >= FELT:
                yield Slope(name, layer, what, kind, tuple(errors), felt)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", metavar="NAME")
    parser.add_argument("--each", action="store_true", help="list every slope too")
    parser.add_argument("--full", action="store_true", help="against slopes at full detail")
    options = parser.parse_intermixed_args()
    found = [
        slope
        for name in options.names or (*SCENES, *PRESETS)
        for slope in slopes(name, full=options.full)
    ]
    ways = [f"{way} mm" for way in (*SHORT, *((LONG,) if options.full else ()))]
    print(f"{len(found)} slopes that are felt, against {LONG} mm:\n")
    print(
        "| layer | of | slopes | "
        + " | ".join(f"median, {w}" for w in ways)
        + " | "
        + " | ".join(f"within 5 %, {w}" for w in ways)
        + " | worst at 1 mm |"
    )
    print("|---" * (4 + 2 * len(ways)) + "|")
    for layer in LAYERS:
        for kind in ("place", "turn", "bow", "camera"):
            some = [s for s in found if (s.layer, s.kind) == (layer, kind)]
            if not some:
                continue
            errors = np.array([s.errors for s in some])
            worst = some[int(errors[:, 1].argmax())]
            cells = [f"{100 * v:.1f} %" for v in np.median(errors, axis=0)]
            cells += [f"{100 * v:.0f} %" for v in (errors <= 0.05).mean(axis=0)]
            print(
                f"| {layer} | {kind} | {len(some)} | "
                + " | ".join(cells)
                + f" | {100 * worst.errors[1]:.0f} % ({worst.rig}: {worst.what}) |"
            )
    if options.each:
        print("\n| rig | layer | what | changes by, %/mm | " + " | ".join(ways) + " |")
        print("|---" * (4 + len(ways)) + "|")
        for s in sorted(found, key=lambda s: -s.errors[1]):
            shares = " | ".join(f"{100 * e:.1f} %" for e in s.errors)
            print(f"| {s.rig} | {s.layer} | {s.what} | {100 * s.felt:.2f} | {shares} |")


if __name__ == "__main__":
    main()
