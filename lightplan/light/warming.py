"""Half of the loops compiled by a process beside this one, when light is first worked out.

The compiler runs on one thread of a process. So a second one compiles what light asks for last
while this one begins with what it asks for first; each keeps what it has made where the other
finds it.
"""

from __future__ import annotations

import os
import subprocess
import threading

import numpy as np

from lightplan.compiled import ENVIRONMENT
from lightplan.light import edge_on_grid, exposure, rim
from lightplan.light.camera_frame import CameraFrame
from lightplan.light.cells import Patchwork
from lightplan.light.detail import Detail
from lightplan.light.emission import lamp_faces
from lightplan.light.foil import FoilLight
from lightplan.light.glints import Receivers, glints
from lightplan.light.lattice import Lattice
from lightplan.light.lobes import Lobes
from lightplan.light.targets import targets_of
from lightplan.process import end_with_asker, python_that_runs, usable_cores
from lightplan.scene import Camera, Card, Foil, Lamp, Placement, Relief, Rig, Sheet
from lightplan.scene.surfaces import build_surfaces

DETAIL = Detail.quick(camera_rows=6, camera_cols=8)


def warm_beside() -> None:
    """Begin to compile in a process of its own; to be asked for where nothing is compiled yet.

    Nobody needs wait for it, and it may fail: then all is compiled here. Where there is one core,
    or nothing can be kept, none is begun.
    """
    if not os.environ.get(ENVIRONMENT) or usable_cores() < 2:
        return
    code, quiet = f"from {__name__} import warm; warm()", subprocess.DEVNULL
    child = subprocess.Popen(python_that_runs(code), stdin=quiet, stdout=quiet, stderr=quiet)
    threading.Thread(target=child.wait, daemon=True).start()


def warm() -> None:
    """Compile what light asks for last, the last first."""
    end_with_asker()
    rig = _rig()
    surfaces = build_surfaces(rig)
    patchwork = Patchwork(surfaces, len(rig.lamps), DETAIL.cells, DETAIL.texels)
    lamps = lamp_faces(rig, surfaces)
    lattice = Lattice.over(rig.sheet, 13)
    foil = FoilLight.of_foil(rig, lattice, DETAIL)
    points, normals = lattice.points(rig.sheet)
    above = points + np.array([0.0, 0.0, 200.0])
    frames = np.tile(np.diag([1.0, -1.0, -1.0]), (len(points), 1, 1))
    glints(Receivers(above, frames, np.arange(len(points))), foil.face.between, surfaces, lamps, 2)
    targets = targets_of(surfaces, patchwork, 9, frozenset(range(len(surfaces))))
    mirrors = foil.face.mirrors(points, normals, normals)
    Lobes(mirrors, foil.face.curve, None).over(targets, lamps)
    _pictures(rig, lattice)
    frame = CameraFrame(rig, lattice, DETAIL)
    frame.update(surfaces, patchwork, frozenset(range(len(surfaces))))
    frame.show(np.zeros((*lattice.shape, 3), np.float32))


def _pictures(rig: Rig, lattice: Lattice) -> None:
    """Ask for the stamped edge, and for the artwork as pixels see it."""
    x, y = lattice.x_mm, lattice.y_mm
    flanks = rim.Rim(x, y, np.zeros((4, len(y), len(x), 3), np.float32))
    edge_on_grid.edge_on_grid(rig.sheet, x, y, flanks).glow(flanks)
    rim.flank_light(rig, flanks)
    exposure.foil_share(rig, *np.meshgrid(x, y), blur_mm=20.0)


def _rig() -> Rig:
    """Return a small set with stamped foil, a lamp and a card."""
    artwork = np.zeros((24, 32))
    artwork[6:18, 8:24] = 1.0
    sheet = Sheet(width_mm=148.0, height_mm=105.0, artwork=artwork, foil=Foil(relief=Relief()))
    place = Placement((-300.0, 0.0, 200.0))
    return Rig(
        title="warming",
        sheet=sheet,
        camera=Camera(placement=Placement((0.0, -300.0, 400.0))),
        lamps=(Lamp(name="key", placement=Placement((0.0, 500.0, 500.0))),),
        cards=(Card(name="card", placement=place, width_mm=200.0, height_mm=200.0),),
    )
