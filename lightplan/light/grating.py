"""Holographic foil: light leaves the mirror direction by colour (grating equation).

Every spot looks, for a fixed set of wavelengths and orders, in the direction from which
that light is sent to the camera; roughness blurs each direction a little.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightplan.arrays import Doubles, Singles
from lightplan.geometry import points as point_sets
from lightplan.light.cells import METAL_TEXEL, Patchwork
from lightplan.light.detail import Detail
from lightplan.light.glossy import Mirrors
from lightplan.light.rays import Rays
from lightplan.light.surround import Surroundings
from lightplan.optics import grating as grating_law
from lightplan.optics import microfacet, spectra
from lightplan.optics.specular import SpecularCurve
from lightplan.scene.sheet import Grating
from lightplan.scene.surfaces import Surface

SHORTEST_NM, LONGEST_NM = 390.0, 730.0
# Share of the diffracted light in each order; common practice, no source: a shallow
# sinusoidal relief sends most of it to the first orders, evenly to both sides.
ORDERS = {1: 0.42, -1: 0.42, 2: 0.08, -2: 0.08}


class GratingLight:
    """Luminance that a grating sends to the camera from n spots."""

    def __init__(
        self, mirrors: Mirrors, curve: SpecularCurve, grating: Grating, detail: Detail
    ) -> None:
        count = int(np.clip(3 * detail.foil_rays // len(mirrors.points), 48, 610))
        per_order = max(12, count // len(ORDERS))
        directions, weights = [], []
        for order, share in ORDERS.items():
            found, weight = _look(mirrors, curve, grating, order, per_order)
            directions.append(found)
            weights.append(weight * np.float32(share * grating.strength))
        self._carry = np.concatenate(weights, axis=1)
        self.rays = Rays(mirrors.points, np.concatenate(directions, axis=1))

    def update(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, changed: frozenset[int]
    ) -> None:
        """Follow moved surfaces."""
        self.rays.update(surfaces, patchwork, changed, frozenset((0,)))

    def evaluate(self, texels: Singles, surroundings: Surroundings) -> Singles:
        """Return the luminance of each spot, (n, 3)."""
        seen = np.take(texels, np.where(self.rays.texel == METAL_TEXEL, 0, self.rays.texel), axis=0)
        if not surroundings.is_dark:
            row, col = np.nonzero(self.rays.escaped())
            seen[row, col] = surroundings.towards(self.rays.directions[row, col])
        return np.asarray(np.einsum("nkc,nkc->nc", seen, self._carry), np.float32)


def _look(
    mirrors: Mirrors, curve: SpecularCurve, grating: Grating, order: int, count: int
) -> tuple[Singles, Singles]:
    """Directions (n, k, 3) in which one order looks, and what each carries (n, k, 3)."""
    n = len(mirrors.points)
    wavelengths = SHORTEST_NM + (np.arange(count) + 0.5) / count * (LONGEST_NM - SHORTEST_NM)
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
