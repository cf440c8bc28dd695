"""Render relief with Mitsuba 3, an independent path tracer, from the same height field.

    PYTHONPATH=. python tests/reference/relief/make.py [--samples 4096]

writes `waves.npz` (a sheet of wavy foil) and `disc.npz` (a disc pressed into a sheet that is
foil all over, its flank wide enough to be seen): `foil`, the mean of each pixel in cd/m2, and
`foil_se`, its standard error from `PARTS` independent pictures. The rigs are those of `RIGS`.
"""

from __future__ import annotations

import argparse
import math
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "pathtraced"))  # the folders are no packages
sys.path.insert(0, str(Path(__file__).parents[1] / "planned"))

import numpy as np
from mitsuba_scene import build, start
from rig_scene import scene_of

from lightplan.scene import (
    Camera,
    Card,
    Conductor,
    Foil,
    Lamp,
    Output,
    Paper,
    Placement,
    Relief,
    Rig,
    Room,
    Sheet,
    Side,
    Waviness,
)
from lightplan.scene.relief import mirror_normals, wave_height

FOLDER = Path(__file__).parent
SIZE = (64, 96)
PARTS = 8
STEP_MM = 0.25
RADIUS_MM = 24.0
ALUMINIUM = Conductor(eta=(1.3456, 0.96521, 0.61722), k=(7.4746, 6.3995, 5.3031))


def disc() -> Any:
    """Return the artwork of a disc in the middle of the sheet, 4 pixels to the mm."""
    y, x = np.mgrid[:256, :384] + 0.5
    away = np.hypot((x - 192) / 4, (y - 128) / 4)
    return np.clip((RADIUS_MM - away) * 4 + 0.5, 0, 1)


def rig(foil: Foil, paper: Paper) -> Rig:
    """Return a softbox in the mirror direction, a board beside it, and a grey room."""
    sheet = Sheet(width_mm=96, height_mm=64, foil=foil, paper=paper, artwork=disc())
    softbox = Lamp(
        name="softbox",
        placement=Placement((60.0, 260.0, 480.0)),
        width_mm=260,
        height_mm=200,
        output=Output(value=900, unit="cd/m2"),
    )
    board = Card(
        name="board",
        placement=Placement((-330.0, 120.0, 260.0)),
        width_mm=300,
        height_mm=420,
        front=Side(reflectance=(0.85, 0.8, 0.7)),
        back=Side(reflectance=(0.85, 0.8, 0.7)),
    )
    camera = Camera(
        placement=Placement((0.0, -250.0, 480.0)),
        focal_length_mm=120,
        sensor_width_mm=24,
        sensor_height_mm=16,
        body=None,
    )
    return Rig(
        title="relief",
        sheet=sheet,
        camera=camera,
        lamps=(softbox,),
        cards=(board,),
        room=Room(ambient_cd_m2=(30.0, 30.0, 40.0)),
    )


RIGS = {
    "waves": rig(
        Foil(conductor=ALUMINIUM, roughness=(0.04, 0.04)),
        Paper(waviness=Waviness(slope_rad=math.radians(1.0), wavelength_mm=12.0, seed=3)),
    ),
    "disc": rig(
        Foil(
            conductor=ALUMINIUM, roughness=(0.12, 0.12), relief=Relief(depth_mm=0.9, flank_mm=4.0)
        ),
        Paper(),
    ),
}


def height_field(rig: Rig) -> tuple[Any, Any, Any, Any]:
    """Return x, y, height and normals on a grid of `STEP_MM`."""
    sheet = rig.sheet
    x = np.arange(-sheet.width_mm / 2, sheet.width_mm / 2 + 1e-9, STEP_MM)
    y = np.arange(-sheet.height_mm / 2, sheet.height_mm / 2 + 1e-9, STEP_MM)
    x, y = np.meshgrid(x, y)
    if sheet.paper.waviness is not None:
        return x, y, wave_height(sheet.paper.waviness, x, y), mirror_normals(sheet, x, y)
    assert sheet.foil.relief is not None
    depth, flank = sheet.foil.relief.depth_mm, sheet.foil.relief.flank_mm
    inwards = RADIUS_MM - np.hypot(x, y)
    return x, y, -depth * np.clip(inwards / flank, 0, 1), None


def mesh(rig: Rig) -> dict[str, Any]:
    """Return the sheet of the path tracer's scene, m."""
    x, y, z, normals = height_field(rig)
    rows, cols = x.shape
    corner = (np.arange(rows - 1)[:, None] * cols + np.arange(cols - 1)).ravel()
    faces = np.concatenate(
        [
            np.stack([corner, corner + 1, corner + cols + 1], 1),
            np.stack([corner, corner + cols + 1, corner + cols], 1),
        ]
    )
    made = {
        "shape": "mesh",
        "width": rig.sheet.width_mm / 1000,
        "height": rig.sheet.height_mm / 1000,
        "vertices": np.stack([x, y, z], -1).reshape(-1, 3) / 1000,
        "faces": faces,
    }
    return made if normals is None else made | {"normals": normals.reshape(-1, 3)}


def main() -> None:
    """Render and store."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--samples", type=int, default=4096)
    samples = parser.parse_args().samples
    mi = start()
    for name, case in RIGS.items():
        scene = scene_of(case, SIZE)
        scene["sheet"] = mesh(case)
        built = build(mi, scene, "foil")
        sensor = mi.load_dict(sensor_of(mi, scene["camera"]))
        integrator = mi.load_dict({"type": "path", "max_depth": 8})
        parts = [
            np.array(
                mi.render(built, sensor=sensor, integrator=integrator, seed=i, spp=samples // PARTS)
            )
            for i in range(PARTS)
        ]
        mean, spread = np.mean(parts, 0), np.std(parts, 0, ddof=1) / math.sqrt(PARTS)
        np.savez_compressed(
            FOLDER / f"{name}.npz", foil=mean.astype(np.float16), foil_se=spread.astype(np.float16)
        )


def sensor_of(mi: Any, camera: dict[str, Any]) -> dict[str, Any]:
    """Return the camera with a box filter: a pixel is the mean over its square."""
    place = mi.ScalarTransform4f().look_at(
        origin=camera["position"], target=camera["look_at"], up=camera["up"]
    )
    return {
        "type": "perspective",
        "fov_axis": "y",
        "fov": camera["vfov_deg"],
        "to_world": place,
        "film": {
            "type": "hdrfilm",
            "width": camera["width"],
            "height": camera["height"],
            "rfilter": {"type": "box"},
        },
    }


if __name__ == "__main__":
    main()
