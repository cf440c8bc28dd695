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
from lightplan.light.compiled import grating_rays
from lightplan.light.glossy import Behind, looked_on
from lightplan.light.grating_lamps import GratingLamp, turn
from lightplan.light.grating_orders import ORDERS, colours
from lightplan.light.kept import Kept, Moves
from lightplan.light.metal_hits import metal_hits
from lightplan.light.outlook import summed
from lightplan.light.ray_bundle import Rays

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Singles
    from lightplan.light.cells import Patchwork
    from lightplan.light.detail import Detail
    from lightplan.light.emission import LampFace
    from lightplan.light.metal_hits import FoilFace
    from lightplan.light.mirrors import Mirrors
    from lightplan.light.outlook import Outlook
    from lightplan.optics.specular import SpecularCurve
    from lightplan.scene.sheet import Grating
    from lightplan.scene.surfaces import Surface


# Rays of a spot at the most: so many, or one for so many of `Detail.foil_rays`. A lamp's diffuser
# fills the lobes of some colours only, and of those few rays tell how bright they are.
MOST_RAYS, FOR_ONE = 610, 600


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
        most = max(MOST_RAYS, detail.foil_rays // FOR_ONE)
        count = int(np.clip(3 * detail.foil_rays // len(mirrors.points), 48, most))
        per_order = max(12, count // len(ORDERS))
        directions, self._carry = _drawn(mirrors, curve, grating, per_order)
        self.rays = Rays(mirrors.points, directions)
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
        self._brings = np.empty_like(self._carry)
        grating_rays.left_to_rays(self._carry, self.rays.surface, left, self._brings)
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


def _drawn(
    mirrors: Mirrors, curve: SpecularCurve, grating: Grating, count: int
) -> tuple[Singles, Singles]:
    """Return where all orders look, (n, k, 3), and what each way carries, (3, n, k).

    `count` ways of each order, one for each of so many wavelengths.
    """
    n = len(mirrors.points)
    wavelengths, colour = colours(count)
    across = grating.direction_rad - turn(mirrors)
    kicks = np.outer(list(ORDERS), wavelengths * 1e-6 * grating.lines_per_mm)
    # not `unit_square`, whose first coordinate runs evenly, as the wavelengths do
    square, shifts = point_sets.shifts(count), point_sets.shifts(n)[:, ::-1]
    frames = np.stack([mirrors.tangents, mirrors.others, mirrors.normals], axis=1)
    carry = np.empty((3, n, kicks.size), np.float32)
    onward = np.empty((3, n * kicks.size), np.float32)
    grating_rays.drawn(
        np.asarray(frames, np.float64),
        np.asarray(np.matmul(frames, mirrors.views[..., None])[..., 0], np.float64),
        np.array(mirrors.roughness),
        np.array([math.cos(across), math.sin(across)]),
        *curve.polarised,
        kicks,
        grating.strength * np.array([*ORDERS.values()]),
        colour,
        square,
        np.ascontiguousarray(shifts),
        carry,
        onward,
    )
    return onward.T.reshape(n, kicks.size, 3), carry
