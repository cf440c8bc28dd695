"""Holographic foil: light leaves the mirror direction by colour (grating equation).

Every spot looks, for a fixed set of wavelengths and orders, in the direction from which
that light is sent to the camera; roughness blurs each direction a little. Small lamps,
which such rays would often miss, are looked at point by point instead.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from lightplan.arrays import Doubles, Floats, Singles
from lightplan.geometry import points as point_sets
from lightplan.geometry.shapes import Ball, Flat
from lightplan.light.cells import METAL_TEXEL, Patchwork
from lightplan.light.detail import Detail
from lightplan.light.emission import LampFace
from lightplan.light.glossy import Mirrors
from lightplan.light.rays import Rays
from lightplan.light.surround import Surroundings
from lightplan.light.visibility import Visibility
from lightplan.optics import grating as grating_law
from lightplan.optics import microfacet, spectra
from lightplan.optics.specular import SpecularCurve
from lightplan.scene.sheet import Grating
from lightplan.scene.surfaces import Surface

SHORTEST_NM, LONGEST_NM = 390.0, 730.0
# Share of the diffracted light in each order; common practice, no source: a shallow
# sinusoidal relief sends most of it to the first orders, evenly to both sides.
ORDERS = {1: 0.42, -1: 0.42, 2: 0.08, -2: 0.08}
SMALL_RAD = 0.2  # lamps with a half width below this are looked at point by point
LAMP_POINTS = 13
LEAST_WAVELENGTHS, MOST_WAVELENGTHS = 34, 233


class GratingLight:
    """Luminance that a grating sends to the camera from n spots."""

    def __init__(
        self, mirrors: Mirrors, curve: SpecularCurve, grating: Grating, detail: Detail
    ) -> None:
        self._mirrors, self._curve, self._grating = mirrors, curve, grating
        count = int(np.clip(3 * detail.foil_rays // len(mirrors.points), 48, 610))
        per_order = max(12, count // len(ORDERS))
        directions, weights = [], []
        for order, share in ORDERS.items():
            found, weight = _look(mirrors, curve, grating, order, per_order)
            directions.append(found)
            weights.append(weight * np.float32(share * grating.strength))
        self._carry = np.concatenate(weights, axis=1)
        self.rays = Rays(mirrors.points, np.concatenate(directions, axis=1))
        self._sights: dict[int, Visibility] = {}
        self._lamps: dict[int, Singles] = {}

    def update(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, lamps: Sequence[LampFace],
        changed: frozenset[int],
    ) -> None:  # fmt: skip
        """Follow moved surfaces."""
        self.rays.update(surfaces, patchwork, changed, frozenset((0,)))
        self._left = np.ones(len(surfaces) + 1, np.float32)
        for lamp in lamps:
            if _half_width(lamp) > SMALL_RAD:
                self._lamps.pop(lamp.surface, None)
                continue
            self._left[lamp.surface] = 0.0
            self._lamps[lamp.surface] = self._from_lamp(lamp, surfaces, changed)

    def _from_lamp(
        self, lamp: LampFace, surfaces: Sequence[Surface], changed: frozenset[int]
    ) -> Singles:
        """Luminance (n, 3) for unit luminance of a small lamp."""
        spots = lamp.shape.sample(LAMP_POINTS * (4 if isinstance(lamp.shape, Ball) else 1))
        sight = self._sights.setdefault(lamp.surface, Visibility())
        owners = np.full(len(spots.points), lamp.surface)
        start = self._mirrors.points
        free = sight.update(surfaces, changed, start, self._mirrors.owners, spots.points, owners)
        total = np.zeros((len(start), 3), np.float32)
        for index, (point, normal) in enumerate(zip(spots.points, spots.normals, strict=True)):
            step = point - start
            squared = np.sum(step * step, axis=1)
            step /= np.sqrt(squared)[:, None]
            leave = -step @ normal
            kept = np.maximum(leave, 0.0) * spots.areas[index] / squared * free[:, index]
            if lamp.profile is not None:
                kept *= lamp.towards(-step, np.maximum(leave, 0.0))
            total += self._sent_on(step) * kept[:, None].astype(np.float32)
        return total

    def _sent_on(self, light: Doubles) -> Singles:
        """Share per solid angle of light from given directions that reaches the camera."""
        mirrors, grating = self._mirrors, self._grating
        view = mirrors.to_local(mirrors.views[:, None])[:, 0]
        out = mirrors.to_local(light[:, None])[:, 0]
        both = np.maximum(view[:, 2] + out[:, 2], 1e-3)
        across = grating.direction_rad - _turn(mirrors)
        wavelengths, colour = self._spectrum(both)
        reflectance = self._curve.evaluate(view[:, 2])
        total = np.zeros((len(view), 3), np.float32)
        for order, share in ORDERS.items():
            kick = order * wavelengths * 1e-6 * grating.lines_per_mm
            density = _facets(mirrors, view, out, kick.astype(np.float32), across)
            total += np.float32(share * grating.strength) * (density @ colour)
        jacobian = out[:, 2] / both**2 * (out[:, 2] > 0)
        return np.asarray(total * reflectance * jacobian[:, None], np.float32)

    def _spectrum(self, both: Floats) -> tuple[Doubles, Singles]:
        """Wavelengths close enough for the blur, and their colours."""
        blur = 0.4 * min(self._mirrors.roughness) * float(np.median(both))
        span = (LONGEST_NM - SHORTEST_NM) * 1e-6 * self._grating.lines_per_mm
        count = int(np.clip(span / blur, LEAST_WAVELENGTHS, MOST_WAVELENGTHS))
        wavelengths = _wavelengths(count)
        return wavelengths, spectra.wavelength_weights(wavelengths).astype(np.float32)

    def evaluate(
        self, texels: Singles, surroundings: Surroundings, lamps: Sequence[LampFace]
    ) -> Singles:
        """Return the luminance of each spot, (n, 3)."""
        seen = np.take(texels, np.where(self.rays.texel == METAL_TEXEL, 0, self.rays.texel), axis=0)
        seen *= self._left[self.rays.surface][..., None]
        if not surroundings.is_dark:
            row, col = np.nonzero(self.rays.escaped())
            seen[row, col] = surroundings.towards(self.rays.directions[row, col])
        total = np.einsum("nkc,nkc->nc", seen, self._carry)
        for index, lamp in enumerate(lamps):
            if lamp.surface in self._lamps:
                total += self._lamps[lamp.surface] * texels[1 + index]
        return np.asarray(total, np.float32)


def _half_width(lamp: LampFace) -> float:
    """Half the angle that a lamp fills as seen from the sheet's middle, rad."""
    shape = lamp.shape
    if isinstance(shape, Flat):
        size = max(shape.half_width, shape.half_height)
    else:
        size = shape.radius if isinstance(shape, Ball) else math.inf
    return size / max(math.hypot(*shape.centre), 1.0)


def _facets(mirrors: Mirrors, view: Singles, out: Singles, kick: Singles, across: float) -> Singles:
    """Density of facets (n, wavelengths) that send light on, as the viewer sees them."""
    ax, ay = mirrors.roughness
    hx = (view[:, 0] + out[:, 0])[:, None] - kick * np.float32(math.cos(across))
    hy = (view[:, 1] + out[:, 1])[:, None] - kick * np.float32(math.sin(across))
    hz = np.broadcast_to((view[:, 2] + out[:, 2])[:, None], hx.shape)
    size = np.sqrt(hx * hx + hy * hy + hz * hz)
    hx, hy, hz = hx / size, hy / size, hz / size
    seen = view[:, :1] * hx + view[:, 1:2] * hy + view[:, 2:] * hz
    masking = microfacet.g1(view[:, 0], view[:, 1], view[:, 2], ax, ay)[:, None]
    density = microfacet.d(hx, hy, hz, ax, ay) * masking * np.maximum(seen, 0)
    return np.asarray(density / np.maximum(view[:, 2:], 1e-3), np.float32)


def _wavelengths(count: int) -> Doubles:
    return SHORTEST_NM + (np.arange(count) + 0.5) / count * (LONGEST_NM - SHORTEST_NM)


def _look(
    mirrors: Mirrors, curve: SpecularCurve, grating: Grating, order: int, count: int
) -> tuple[Singles, Singles]:
    """Directions (n, k, 3) in which one order looks, and what each carries (n, k, 3)."""
    n = len(mirrors.points)
    wavelengths = _wavelengths(count)
    colour = spectra.wavelength_weights(wavelengths).astype(np.float32)
    square = (point_sets.unit_square(count)[None] + point_sets.shifts(n)[:, None]) % 1.0
    ax, ay = mirrors.roughness
    view = np.broadcast_to(mirrors.to_local(mirrors.views[:, None]), (n, count, 3)).reshape(-1, 3)
    half = microfacet.sample_visible_normals(view, ax, ay, square.reshape(-1, 2))
    frame = _facet_frame(half.astype(float))
    outgoing = np.einsum("nc,nac->na", view.astype(float), frame)
    incoming, exists = grating_law.diffract(
        outgoing, order, np.tile(wavelengths, n), grating.lines_per_mm,
        grating.direction_rad - _turn(mirrors),
    )  # fmt: skip
    local = np.einsum("na,nac->nc", np.where(exists[:, None], incoming, 0.0), frame)
    carried = exists & (local[:, 2] > 0)
    world = mirrors.to_world(local.reshape(n, count, 3))
    reflectance = curve.evaluate(np.abs(outgoing[:, 2]).astype(np.float32)).reshape(n, count, 3)
    weight = reflectance * colour[None] * carried.reshape(n, count, 1)
    return world, np.asarray(weight, np.float32)


def _facet_frame(normals: Doubles) -> Doubles:
    """Axes of each facet, its first one kept as close to the spot's own as can be."""
    first = np.array([1.0, 0.0, 0.0]) - normals[:, :1] * normals
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    return np.stack([first, np.cross(normals, first), normals], axis=1)


def _turn(mirrors: Mirrors) -> float:
    """Direction on the sheet of the spots' first axis."""
    return float(np.arctan2(mirrors.tangents[0, 1], mirrors.tangents[0, 0]))
