"""Photograph one set, and the same set after one thing has drifted.

    PYTHONPATH=. python tests/reference/slipped/drifted.py FOLDER

The light is the engine's own at full detail (what is compared is frame with frame), the set has
a hand's errors that the estimate does not know, and each frame goes through the camera chain
with noise of its own: tone curve, vignette, bent lens, JPEG.
"""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))  # the folders are no packages

from bases import base_rig, focal_35mm
from camera_chain import draw_chain, jpeg, take
from photographs import exposure_of_plan
from slips import hand_built

from lightplan.light import Detail
from lightplan.light.engine import Engine
from lightplan.light.exposure import camera_light
from lightplan.scene.setting_errors import ErrorDimension, built

if TYPE_CHECKING:
    from collections.abc import Callable

    from camera_chain import Chain

    from lightplan.light import Layers
    from lightplan.scene import Rig

PLAN, HAND, CAMERA, LONG_SIDE = "copper_gradient", 77, 7, 900
DRIFTS = {
    "lamp_right": ("small lamp", "x_mm", 10.0),
    "lamp_up": ("small lamp", "z_mm", 10.0),
    "softbox_left": ("side softbox", "x_mm", -10.0),
    "screen_up": ("tracing paper", "z_mm", 10.0),
}
"""By the photograph's name: what has drifted, along what, how far."""
PUT_BACK = (1.5, -1.0, 0.3)
"""Where the sheet was put back: mm along x and y, degrees."""


def light_of(rig: Rig) -> np.ndarray:
    """Return the camera's picture in cd/m2."""
    return lit(rig)[0]


def lit(rig: Rig, long_side: int = LONG_SIDE) -> tuple[np.ndarray, Layers]:
    """Return the camera's picture in cd/m2, and the layers that it is made of."""
    cols, rows = rig.camera.pixels
    scale = long_side / max(cols, rows)
    rows, cols = round(rows * scale), round(cols * scale)
    rig = replace(rig, camera=replace(rig.camera, pixels=(cols, rows)))
    layers = Engine(rig, Detail(camera_rows=rows, camera_cols=cols)).layers(rig)
    return camera_light(rig, layers), layers


def beside_sheet(rig: Rig, dx: float, dy: float, turn_deg: float) -> Rig:
    """Return everything, the camera too, as a sheet sees it that was put back elsewhere."""
    cosine, sine = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))

    def place(at: tuple[float, float, float]) -> tuple[float, float, float]:
        x, y, z = at[0] - dx, at[1] - dy, at[2]
        return (cosine * x + sine * y, cosine * y - sine * x, z)

    def moved(thing):
        at = thing.placement
        there = replace(at, position_mm=place(at.position_mm), aim_mm=place(at.aim_mm))
        return replace(thing, placement=there)

    return replace(
        rig,
        camera=moved(rig.camera),
        lamps=tuple(moved(x) for x in rig.lamps),
        cards=tuple(moved(x) for x in rig.cards),
        shells=tuple(replace(x, centre_mm=place(x.centre_mm)) for x in rig.shells),
    )


def photograph(
    plan: Rig, light: np.ndarray, noise: int, other: Callable[[Chain], Chain] | None = None,
    **off: float,
) -> bytes:  # fmt: skip
    """Return the JPEG that one camera, the same for all, takes of some light; or another one."""
    settings = exposure_of_plan(plan)
    chain = draw_chain(
        np.random.default_rng(CAMERA),
        clip_cd_m2=settings.clip_cd_m2,
        f_number=settings.f_number,
        time_s=settings.time_s,
        iso=settings.iso,
        focal_35mm=focal_35mm(plan),
        **off,
    )
    chain = chain if other is None else other(chain)
    return jpeg(take(light, chain, np.random.default_rng(noise)), chain)


def main() -> None:
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    plan = base_rig(PLAN)
    set_up = replace(hand_built(plan, HAND), freedoms=())
    light = light_of(set_up)
    taken = {
        "then": photograph(plan, light, 1),
        "put_back": photograph(plan, light_of(beside_sheet(set_up, *PUT_BACK)), 3),
        "colour": photograph(plan, light, 4, balance_stops=0.3),
    }
    for number, (name, (element, dimension, size)) in enumerate(DRIFTS.items(), 10):
        rig = built(set_up, (ErrorDimension(element, dimension, 1.0),), np.array([size]))
        taken[name] = photograph(plan, light_of(rig), number)
    for name, content in taken.items():
        (folder / f"{name}.jpg").write_bytes(content)


if __name__ == "__main__":
    main()
