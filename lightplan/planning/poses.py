"""Where the camera stands: as it is given, or leaning so that the sheet fills the frame."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.mirror.self_view import self_view
from lightplan.scene.clearance import camera_fits
from lightplan.scene.framing import FILLED, framed, framing, held_upright, leaning

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.scene import Camera, Rig

LEANS_RAD = (math.radians(32.0), math.radians(44.0))
"""From upright. Less shows the camera in the foil or asks for boards overhead, more draws the
sheet together; a picture is squared afterwards. Common practice, no source."""
SAME_RAD = math.radians(4.0)
_UPRIGHT_GAINS = 1.06


@dataclass(frozen=True)
class Pose:
    """A camera where it may stand, and in words what changes."""

    camera: Camera
    words: str


def poses(rig: Rig) -> Iterator[Pose]:
    """Yield where the camera may stand, the given place first where it is good enough.

    Locked, or with freedoms of its own, it stays. Else it is as far away as fills the frame,
    in its own direction and leaning more, turned upright where that leaves more pixels; but not
    lower than what holds it, and never in a wall, the ceiling or the table.
    """
    camera = rig.camera
    if camera.locked or any(f.element == "camera" for f in rig.freedoms):
        yield Pose(camera, "as given")
        return
    given = np.asarray(camera.placement.position_mm)
    now = framing(camera, rig.sheet)
    fits = FILLED[0] <= now.filled <= FILLED[1] and now.inside == 1.0
    azimuth = math.atan2(given[1], given[0]) if np.hypot(*given[:2]) > 1.0 else -math.pi / 2
    lean = math.atan2(float(np.hypot(*given[:2])), float(given[2]))
    found = [lean] if _is_clear(rig, camera) else []
    found += [other for other in LEANS_RAD if abs(other - lean) > SAME_RAD]
    for one in found:
        moved = _held(_roomiest(rig, leaning(azimuth, one)))
        is_good = fits and one == lean and camera_fits(rig)
        if is_good and _taken(rig, moved) < _UPRIGHT_GAINS * _taken(rig, camera):
            yield Pose(camera, "as given")
            continue
        if _within(rig, moved):
            yield Pose(moved, f"camera leaning by {math.degrees(one):.0f} degrees")


def _is_clear(rig: Rig, camera: Camera) -> bool:
    """Whether the foil does not show the camera itself."""
    seen = self_view(camera, rig.sheet)
    return seen is None or seen.share < 0.02


def _roomiest(rig: Rig, towards: np.ndarray) -> Camera:
    """Return the camera level, or upright where the sheet then takes more of the file."""
    level = framed(rig.camera, rig.sheet, towards)
    upright = framed(held_upright(rig.camera), rig.sheet, towards)
    gain = _taken(rig, upright) / max(_taken(rig, level), 1e-9)
    return upright if gain > _UPRIGHT_GAINS else level


def _held(camera: Camera) -> Camera:
    """Return the camera as far out as what holds it is high at the least.

    A small tag would have a phone closer to the table than its tripod goes.
    """
    x, y, z = camera.placement.position_mm
    if camera.held is None or z >= camera.held.lowest_mm or z <= 0:
        return camera
    farther = camera.held.lowest_mm / z
    place = (x * farther, y * farther, camera.held.lowest_mm)
    return replace(camera, placement=replace(camera.placement, position_mm=place))


def _taken(rig: Rig, camera: Camera) -> float:
    found = framing(camera, rig.sheet)
    return found.across * found.down


def _within(rig: Rig, camera: Camera) -> bool:
    """Whether the camera can stand there: in the room, within the reach, as what holds it goes."""
    x, y, z = camera.placement.position_mm
    reach = rig.room.reach
    if z >= reach.highest_mm or math.hypot(x, y) >= reach.farthest_mm:
        return False
    return camera_fits(replace(rig, camera=camera))


def moved(rig: Rig, pose: Pose) -> Rig:
    """Return a rig with its camera in a pose."""
    return rig if pose.camera is rig.camera else replace(rig, camera=pose.camera)
