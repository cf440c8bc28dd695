"""The plans whose builds are photographed: those of ../planned, foils as dyed and framed anew."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))  # the folders are no packages
sys.path.insert(0, str(Path(__file__).parents[1] / "planned"))

from typing import TYPE_CHECKING

from lightplan.rigfiles import load_rig

if TYPE_CHECKING:
    from lightplan.scene import Rig

PLANNED = Path(__file__).parents[1] / "planned"
RIGS = Path(__file__).parents[3] / "rigs"
PRESETS = {
    "brushed_dark": "brushed-plant-tag",
    "brushed_split": "brushed-plant-tag",
    "certificate_bright": "certificate-a4-bowed",
    "cone_bright": "cone-and-phone",
    "copper_bright": "copper-label-gradient",
    "copper_gradient": "copper-label-gradient",
    "gold_hole_bright": "gold-card-above",
    "rainbow_aslant": "rainbow-bookmark",
    "rainbow_fine": "rainbow-bookmark",
    "rose_gold_dark": "rose-gold-tag-dark",
    "silver_bright": "silver-bookplate-bright",
    "silver_gradient": "silver-bookplate-bright",
    "window_bright": "window-two-boards",
}
LONG_SIDE = 640
ROOM = 1.32  # the frame is so much larger than the sheet


def base_rig(name: str) -> Rig:
    """Return a plan with the dyed foil of its preset; the frame holds the sheet and some table."""
    rig = load_rig(PLANNED / f"{name}.toml").rig
    if rig.sheet.foil.grating is not None:  # the path tracer's grating is of a bare metal
        return framed(rig)
    kind = load_rig(RIGS / f"{PRESETS[name]}.toml").rig.sheet.foil.kind
    foil = replace(rig.sheet.foil, conductor=None, kind=kind)
    return framed(replace(rig, sheet=replace(rig.sheet, foil=foil)))


def framed(rig: Rig, long_side: int = LONG_SIDE) -> Rig:
    """Return a rig whose frame holds the sheet and some table, in few pixels."""
    right, up, forward = rig.camera.axes()
    corners = np.array([[x, y, 0.0] for x in (-1, 1) for y in (-1, 1)])
    corners *= [rig.sheet.width_mm / 2, rig.sheet.height_mm / 2, 0]
    way = corners - rig.camera.placement.position_mm
    tan_x, tan_y = (ROOM * np.abs(way @ a / (way @ forward)).max() for a in (right, up))
    tan_x, tan_y = max(tan_x, tan_y / 1.5), max(tan_y, tan_x / 1.5)
    pixel = 2 * max(tan_x, tan_y) / long_side
    rows, cols = (2 * math.ceil(t / pixel) for t in (tan_y, tan_x))
    focal = rig.camera.focal_length_mm
    camera = replace(
        rig.camera,
        sensor_width_mm=cols * pixel * focal,
        sensor_height_mm=rows * pixel * focal,
        pixels=(cols, rows),
    )
    return replace(rig, camera=camera)


def picture_size(rig: Rig) -> tuple[int, int]:
    """Return rows and columns of the photographs of a plan."""
    cols, rows = rig.camera.pixels
    return rows, cols


def focal_35mm(rig: Rig) -> float:
    """Return the focal length that gives the same view on a 36 x 24 mm frame, by the diagonal."""
    camera = rig.camera
    return (
        43.2666
        * camera.focal_length_mm
        / math.hypot(camera.sensor_width_mm, camera.sensor_height_mm)
    )
