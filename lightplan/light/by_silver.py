"""What lamps bring to foil by way of silver where its rays would meet that by chance.

Narrow foil looks at silver by rays that follow its own lobe. In the far flank of that lobe a
few of them meet the place of the silver where it mirrors a lamp, hundreds of times as bright as
what most of them see: specks. So each ray counts what it sees of a lamp by as much as the lobe's
rays are denser there than the facets of the silver that show the lamp, and the rest is brought
by ways that are drawn from these (the two shares of every place add up to 1; E. Veach and
L. J. Guibas, SIGGRAPH 1995).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.shapes import Flat
from lightplan.light.glints import Between, Receivers, ways_of_lamp
from lightplan.optics import microfacet

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Floats, Integers, Singles
    from lightplan.light.emission import LampFace
    from lightplan.light.metal_hits import MetalHit
    from lightplan.scene.surfaces import Surface

# Ways for each spot of the foil and lamp, by the silver's facets and as many evenly: so many at
# the least and the most, and as many in between as make this number altogether.
LEAST_DRAWN, MOST_DRAWN, DRAWN = 16, 64, 300_000
RARE = 0.5  # share of a ray's below which it may be a speck


@dataclass(frozen=True, eq=False)
class BySilver:
    """Foil spots and one silvered face that some of their rays meet.

    Parameters
    ----------
    receivers : Receivers
        n spots of the foil.
    rays, drawn : int
        Rays and ways of each of them.
    mirror : Between
    normal : (3,) float
        Out of the face.
    surfaces, lamps
        The scene.
    of_rays : (lamps, m) float32
        What each of the m rays that meet the face is to count of what it sees there of a lamp.
    """

    receivers: Receivers
    rays: int
    drawn: int
    mirror: Between
    normal: Doubles
    surfaces: Sequence[Surface]
    lamps: Sequence[LampFace]
    of_rays: Singles

    @classmethod
    def of(
        cls,
        receivers: Receivers,
        rays: int,
        hit: MetalHit,
        surfaces: Sequence[Surface],
        lamps: Sequence[LampFace],
    ) -> BySilver | None:
        """Return how rays that meet a face share lamps; None where none of them may be a speck."""
        shape = surfaces[hit.surface].shape
        narrow = min(receivers.roughness) < min(hit.roughness)
        if not (lamps and narrow and isinstance(shape, Flat)):
            return None
        normal = np.asarray(shape.normal, float)
        is_front = bool(hit.spots[4][0] @ normal > 0)
        mirror = Between(hit.surface, is_front, hit.curve, hit.roughness)
        each = DRAWN // (len(lamps) * len(receivers.points))
        drawn = min(max(each, LEAST_DRAWN), MOST_DRAWN)
        given = (receivers, rays, drawn, mirror, normal if is_front else -normal, surfaces, lamps)
        bare = cls(*given, np.zeros((0, 0), np.float32))
        of_rays = np.array([bare._share(hit.row, hit.spots[0], lamp) for lamp in lamps])
        return cls(*given, of_rays) if of_rays.min(initial=1.0) < RARE else None

    def brought(self) -> Singles:
        """Return what lamps of luminance 1 bring beside the rays' share, (3, n, lamps)."""
        n = len(self.receivers.points)
        total = np.zeros((3, n, len(self.lamps)), np.float32)
        for index, lamp in enumerate(self.lamps):
            ways, kept = ways_of_lamp(self.receivers, self.mirror, self.surfaces, lamp, self.drawn)
            kept = kept * (1.0 - self._share(ways.row, ways.places, lamp))
            for channel in range(3):
                total[channel, :, index] = np.bincount(ways.row, kept[channel], n)
        return total

    def _share(self, row: Integers, places: Doubles, lamp: LampFace) -> Singles:
        """Return the rays' share (m,) of what some spots see of a lamp at places of the silver."""
        spots = self.receivers
        assert spots.views is not None
        way = places - spots.points[row]
        near = np.linalg.norm(way, axis=1)
        way = way / near[:, None]
        on = np.asarray(lamp.shape.centre) - places
        far = np.linalg.norm(on, axis=1)
        on = on / far[:, None]
        local = np.einsum("mac,mc->ma", spots.frames[row], way)
        arrive = -(way @ self.normal)
        by_rays = _drawn(spots.views[row], local, spots.roughness) * arrive / near**2
        half = on - way
        up = half @ self.normal
        level = np.maximum(np.sum(half * half, axis=1) - up * up, 0.0)
        a = self.mirror.roughness[0]
        steep = 1.0 + level / np.maximum(up * a, 1e-9) ** 2
        turn = (1.0 / near + 1.0 / far) / np.maximum(up, 1e-4)  # of the slope with the place
        by_facets = turn**2 / (np.pi * a * a * steep**2)
        rays, ways = self.rays * np.maximum(by_rays, 0.0), self.drawn * by_facets
        return np.asarray(rays / np.maximum(rays + ways, 1e-30), np.float32)


def _drawn(views: Floats, light: Floats, roughness: tuple[float, float]) -> Doubles:
    """Return the density (m,) per solid angle of rays drawn from the facets that viewers see."""
    ax, ay = roughness
    half = views + light
    half = half / np.maximum(np.linalg.norm(half, axis=1, keepdims=True), 1e-9)
    shape = (half[:, 0] / ax) ** 2 + (half[:, 1] / ay) ** 2 + half[:, 2] ** 2
    masks = microfacet.g1(views[:, 0], views[:, 1], views[:, 2], ax, ay)
    return np.asarray(masks / (4 * np.pi * ax * ay * shape**2 * np.maximum(views[:, 2], 1e-4)))
