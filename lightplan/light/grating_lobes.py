"""Holographic foil: light leaves the mirror direction by colour (grating equation).

Every spot looks, for a fixed set of wavelengths and orders, in the direction from which
that light is sent to the camera; roughness blurs each direction a little. What such rays would
often miss, small lamps and the flanks of large ones, is looked at point by point instead.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry import points as point_sets
from lightplan.light.glossy import Behind, looked_on
from lightplan.light.grating_lamps import ORDERS, GratingLamp, turn, wavelengths_nm
from lightplan.light.kept import Kept, Moves
from lightplan.light.metal_hits import metal_hits
from lightplan.light.outlook import summed
from lightplan.light.ray_bundle import Rays
from lightplan.optics import grating as grating_law
from lightplan.optics import microfacet, spectra

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Singles
    from lightplan.light.cells import Patchwork
    from lightplan.light.detail import Detail
    from lightplan.light.emission import LampFace
    from lightplan.light.metal_hits import FoilFace
    from lightplan.light.mirrors import Mirrors
    from lightplan.light.outlook import Outlook
    from lightplan.optics.specular import SpecularCurve
    from lightplan.scene.sheet import Grating
    from lightplan.scene.surfaces import Surface


MOST_RAYS = 610


class GratingLight(Kept):
    """Luminance that a grating sends to the camera from n spots."""

    def __init__(
        self,
        mirrors: Mirrors,
        curve: SpecularCurve,
        grating: Grating,
        detail: Detail,
        foil: FoilFace | None,
    ) -> None:
        self._mirrors, self._curve, self._grating = mirrors, curve, grating
        self._foil, self._behind = foil, list[Behind]()
        count = int(np.clip(3 * detail.foil_rays // len(mirrors.points), 48, MOST_RAYS))
        per_order = max(12, count // len(ORDERS))
        directions, weights = [], []
        for order, share in ORDERS.items():
            found, weight = _look(mirrors, curve, grating, order, per_order)
            directions.append(found)
            weights.append(weight * np.float32(share * grating.strength))
        carry = np.concatenate(weights, axis=1)
        self._carry = np.ascontiguousarray(np.moveaxis(carry, -1, 0))
        self.rays = Rays(mirrors.points, np.concatenate(directions, axis=1))
        self._detail = detail
        self._lamps: dict[int, GratingLamp] = {}

    def renumber(self, moves: Moves) -> None:
        """Count surfaces and texels anew."""
        self.rays.renumber(moves)
        self._lamps = {moves.went[i]: lamp for i, lamp in self._lamps.items() if i in moves.went}
        for lamp in self._lamps.values():
            lamp.renumber(moves)

    def update(
        self,
        surfaces: Sequence[Surface],
        patchwork: Patchwork,
        lamps: Sequence[LampFace],
        changed: frozenset[int],
    ) -> None:
        """Follow moved surfaces."""
        self.rays.update(surfaces, patchwork, changed, frozenset((0,)))
        left = np.ones((len(self._mirrors.points), len(surfaces) + 1), np.float32)
        for lamp in lamps:
            if lamp.surface not in self._lamps:
                self._lamps[lamp.surface] = GratingLamp(
                    self._mirrors, self._curve, self._grating, self._detail
                )
            self._lamps[lamp.surface].update(lamp, surfaces, changed)
            left[:, lamp.surface] = 1.0 - self._lamps[lamp.surface].share
        share = np.take_along_axis(left, self.rays.surface.astype(np.intp), axis=1)
        self._brings = self._carry * share
        self._look_behind(surfaces, patchwork, lamps)

    def _look_behind(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, lamps: Sequence[LampFace]
    ) -> None:
        """See what silvered cards show, by some of the rays that meet them.

        Silver is rough: one ray of several that follow each other, of about one colour, tells
        what it shows, and carries what all of them bring.
        """
        self._behind = []
        if not patchwork.has_metal:
            return
        hits = list(metal_hits(self.rays, surfaces))
        each = max(1, -(-sum(len(hit.row) for hit in hits) // (self._detail.foil_rays // 4)))
        for hit in hits:
            # the first of each row, and each so many after it
            first = np.searchsorted(hit.row, hit.row)
            places = np.flatnonzero((np.arange(len(hit.row)) - first) % each == 0)
            carry = np.add.reduceat(self._brings[:, hit.row, hit.col], places, axis=1).T
            scene = (surfaces, patchwork, lamps)
            some = hit.some(places)
            self._behind.append(looked_on(some, carry, scene, rays=1, depth=1, foil=self._foil))

    def evaluate(self, outlook: Outlook, lamps: Sequence[LampFace]) -> Singles:
        """Return the luminance of each spot under each of the outlook's lights, (n, k, 3)."""
        total = outlook.brought(self.rays, self._brings)
        for rows, carry, light in self._behind:
            total += summed(rows, light.evaluate(outlook) * carry[:, None], len(total))
        for index, lamp in enumerate(lamps):
            total += self._lamps[lamp.surface].unit[:, None] * outlook.texels[1 + index]
        return np.asarray(total, np.float32)


def _look(
    mirrors: Mirrors, curve: SpecularCurve, grating: Grating, order: int, count: int
) -> tuple[Singles, Singles]:
    """Directions (n, k, 3) in which one order looks, and what each carries (n, k, 3)."""
    n = len(mirrors.points)
    wavelengths = wavelengths_nm(count)
    colour = spectra.wavelength_weights(wavelengths).astype(np.float32)
    # not `unit_square`, whose first coordinate runs evenly, as the wavelengths do
    square = point_sets.shifts(count)[None] + point_sets.shifts(n)[:, None, ::-1]
    square %= 1.0
    ax, ay = mirrors.roughness
    view = np.broadcast_to(mirrors.to_local(mirrors.views[:, None]), (n, count, 3)).reshape(-1, 3)
    half = microfacet.sample_visible_normals(view, ax, ay, square.reshape(-1, 2))
    frame = _facet_frame(half.astype(float), grating.direction_rad - turn(mirrors))
    outgoing = np.einsum("nc,nac->na", view.astype(float), frame)
    incoming, exists = grating_law.diffract(
        outgoing, order, np.tile(wavelengths, n), grating.lines_per_mm, 0.0
    )
    local = np.einsum("na,nac->nc", np.where(exists[:, None], incoming, 0.0), frame)
    unhidden = microfacet.g1(local[:, 0], local[:, 1], local[:, 2], ax, ay) * exists
    world = mirrors.to_world(local.reshape(n, count, 3))
    reflectance = curve.evaluate(np.abs(outgoing[:, 2]).astype(np.float32)).reshape(n, count, 3)
    weight = reflectance * colour[None] * unhidden.reshape(n, count, 1)
    return world, np.asarray(weight, np.float32)


def _facet_frame(normals: Doubles, across_rad: float) -> Doubles:
    """Axes of each facet; its first one lies across the lines, which lie in the facet."""
    across = np.array([math.cos(across_rad), math.sin(across_rad), 0.0])
    first = across - (normals @ across)[:, None] * normals
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    return np.stack([first, np.cross(normals, first), normals], axis=1)
