"""How bright each lamp's face is, and in which directions."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.ball import Ball
from lightplan.geometry.shapes import Flat
from lightplan.optics import photometry
from lightplan.units import from_stops

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Floats, Singles
    from lightplan.scene.lamps import AngularProfile, Lamp
    from lightplan.scene.rig import Rig
    from lightplan.scene.surfaces import Surface

USUAL_TIME_S = 1 / 125  # where the rig names none
GRAZING = 0.05  # least cosine when an intensity is turned into the luminance of a face


@dataclass(frozen=True)
class LampFace:
    """A lamp as the light sees it: its surface, its shape and its spread.

    Parameters
    ----------
    surface : int
        Index among the scene's surfaces.
    axes : (3, 3) float
        Right, up and facing direction.
    """

    surface: int
    shape: Flat | Ball
    axes: tuple[Doubles, Doubles, Doubles]
    profile: AngularProfile | None

    def profile_factor(self, points: Floats, spots: Floats, normals: Floats) -> Singles:
        """Return luminance towards points over the luminance of the same lamp unprofiled.

        Parameters
        ----------
        points : (n, 3) float
        spots, normals : (m, 3) float
            On the lamp, and which way it faces there.
        """
        step = np.asarray(points)[:, None] - np.asarray(spots)[None]
        leave = np.maximum(np.einsum("nmc,mc->nm", step, normals), 0.0)
        return self.towards(step, leave / np.maximum(np.linalg.norm(step, axis=-1), 1.0))

    def towards(self, directions: Floats, cosine_out: Floats) -> Singles:
        """Return the same for directions (..., 3) away from the lamp."""
        if self.profile is None:
            return np.ones(directions.shape[:-1], np.float32)
        right, up, normal = self.axes
        length = np.maximum(np.linalg.norm(directions, axis=-1), 1e-9)
        vertical = np.arccos(np.clip(directions @ normal / length, -1, 1))
        around = np.arctan2(directions @ up, directions @ right)
        shape = relative_intensity(self.profile, vertical, around)
        if isinstance(self.shape, Ball):
            return shape.astype(np.float32)
        return (shape / np.maximum(cosine_out, GRAZING)).astype(np.float32)


def lamp_faces(rig: Rig, surfaces: Sequence[Surface]) -> tuple[LampFace, ...]:
    """Return the faces of the rig's lamps, in the rig's order."""
    faces = []
    for index, surface in enumerate(surfaces):
        if surface.lamp is not None:
            lamp = rig.lamps[surface.lamp]
            axes = lamp.placement.axes()
            assert isinstance(surface.shape, Flat | Ball)
            faces.append(LampFace(index, surface.shape, axes, lamp.profile))
    return tuple(faces)


def lamp_luminances(rig: Rig, *, trimmed: bool = True) -> Doubles:
    """Return the luminance of every lamp's face per channel, (lamps, 3) cd/m2.

    With `trimmed` false: at full power and switched on.
    """
    white = _white_balance(rig)
    rows = []
    for lamp in rig.lamps:
        luminance = _full_luminance(lamp)
        if lamp.output.unit == "guide number":
            luminance /= _open_time(rig)  # a flash gives cd s/m2: the same light in any time
        if trimmed:
            luminance *= from_stops(lamp.trim_stops) if lamp.on else 0.0
        colour = np.ones(3)
        if lamp.colour_k is not None:
            colour = photometry.kelvin_to_rgb(lamp.colour_k, white)
        rows.append(luminance * colour)
    return np.array(rows).reshape(len(rig.lamps), 3)


def _white_balance(rig: Rig) -> float:
    """Return the camera's setting, or the colour of the first lamp that has one."""
    if rig.camera.white_balance_k is not None:
        return rig.camera.white_balance_k
    named = [lamp.colour_k for lamp in rig.lamps if lamp.colour_k is not None and lamp.on]
    return named[0] if named else 5500.0


def _open_time(rig: Rig) -> float:
    """Exposure time that a flash is set beside steady lamps with, s."""
    time_s = rig.camera.exposure.time_s
    return USUAL_TIME_S if time_s is None else time_s


def _full_luminance(lamp: Lamp) -> float:
    value, unit = lamp.output.of_light()
    luminance = photometry.luminance(
        value, unit, shape=lamp.shape, width_mm=lamp.width_mm, height_mm=lamp.height_mm
    )
    if lamp.profile is not None and unit == "lm":
        matte = 4 * math.pi if lamp.shape == "bulb" else math.pi
        return luminance * matte / _solid_content(lamp.profile)
    return luminance


def relative_intensity(profile: AngularProfile, vertical: Floats, around: Floats) -> Floats:
    """Return intensity over the greatest one, for angles in radians (any shape)."""
    table = profile.candela / profile.candela.max()
    turn = np.mod(around, 2 * math.pi)
    turn = _fold(turn, float(profile.horizontal_rad[-1]))
    row = np.interp(turn, profile.horizontal_rad, np.arange(len(profile.horizontal_rad)))
    col = np.interp(vertical, profile.vertical_rad, np.arange(len(profile.vertical_rad)))
    low_r = np.minimum(row.astype(int), max(len(table) - 2, 0))
    low_c = np.minimum(col.astype(int), table.shape[1] - 2)
    share_r, share_c = row - low_r, col - low_c
    next_r = np.minimum(low_r + 1, len(table) - 1)
    value = (1 - share_r) * (
        (1 - share_c) * table[low_r, low_c] + share_c * table[low_r, low_c + 1]
    ) + share_r * ((1 - share_c) * table[next_r, low_c] + share_c * table[next_r, low_c + 1])
    outside = (vertical > profile.vertical_rad[-1] + 1e-6) | (
        vertical < profile.vertical_rad[0] - 1e-6
    )
    return np.where(outside, 0.0, value)


def _fold(turn: Floats, last: float) -> Floats:
    """Mirror an angle into the part of the turn that a photometric file gives."""
    if last >= 2 * math.pi - 1e-6 or last == 0:
        return turn
    turn = np.where(turn > math.pi, 2 * math.pi - turn, turn)
    if last < math.pi - 1e-6:
        turn = np.where(turn > math.pi / 2, math.pi - turn, turn)
    return turn


def _solid_content(profile: AngularProfile) -> float:
    """Integral of the relative intensity over all directions, sr."""
    vertical = np.linspace(0, math.pi, 721)
    around = np.linspace(0, 2 * math.pi, 181)
    grid = relative_intensity(
        profile, vertical[:, None] + 0 * around, 0 * vertical[:, None] + around
    )
    ring = np.trapezoid(grid, around, axis=1) * np.sin(vertical)
    return float(np.trapezoid(ring, vertical))
