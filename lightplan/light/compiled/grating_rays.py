"""Where a grating looks: by order and colour, through facets that its viewers see."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled
from lightplan.light.compiled.facets_drawn import facets_seen, turns_of
from lightplan.light.compiled.lobe_loops import masked, reflectance

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Integers, Singles


@compiled
def drawn(
    frames: Doubles,
    views: Doubles,
    roughness: Doubles,
    across: Doubles,
    s: Singles,
    p: Singles,
    kicks: Doubles,
    shares: Doubles,
    colour: Singles,
    square: Doubles,
    shifts: Doubles,
    carry: Singles,
    onward: Singles,
) -> None:
    """Write the ways of light that each facet's grating sends to the viewer, and what they count.

    Facets are drawn as by `facets_drawn.drawn`, one for each wavelength. In the facet's own frame
    the part of the way in the surface is shifted along the direction across the lines, which lie
    in the facet (C. Palmer, *Diffraction Grating Handbook*, section 2.1). Where there is no such
    way all is 0.

    Parameters
    ----------
    frames : (n, 3, 3) float
        Rows tangent, other, normal.
    views : (n, 3) float
        Directions to the viewer, in the spots' frames.
    roughness : (2,) float
        GGX alphas.
    across : (2,) float
        Unit direction across the lines, in these frames.
    s, p
        As in `lobe_loops.reflectance`.
    kicks : (orders, w) float
        Order times wavelength over the distance of the lines.
    shares : (orders,) float
        Of the light in each order.
    colour : (w, 3) float32
        What each wavelength adds to white.
    square, shifts : (w, 2) and (n, 2) float
        Points of the unit square, which each spot takes shifted.
    carry : (3, n, orders x w) float32
    onward : (3, n x orders x w) float32
        Directions in the world.
    """
    ax, ay, count = roughness[0], roughness[1], square.shape[0]
    turns, normals = turns_of(square), np.empty((count, 3))
    for i in range(views.shape[0]):
        vx, vy, vz = views[i, 0], views[i, 1], views[i, 2]
        facets_seen(vx, vy, vz, ax, ay, square, turns, shifts[i], normals)
        for k in range(count):
            hx, hy, hz = normals[k, 0], normals[k, 1], normals[k, 2]
            fx, fy, fz = _across_lines(hx, hy, hz, across[0], across[1])
            lx, ly, lz = hy * fz - hz * fy, hz * fx - hx * fz, hx * fy - hy * fx
            cosine = vx * hx + vy * hy + vz * hz
            along = -(vx * lx + vy * ly + vz * lz)
            mirrored = vx * fx + vy * fy + vz * fz
            for order in range(kicks.shape[0]):
                at = order * count + k
                place = i * kicks.shape[0] * count + at
                shifted = kicks[order, k] - mirrored
                rest = 1.0 - shifted * shifted - along * along
                if rest <= 0.0:
                    for c in range(3):
                        onward[c, place] = carry[c, i, at] = 0.0
                    continue
                out = math.sqrt(rest)
                ox = shifted * fx + along * lx + out * hx
                oy = shifted * fy + along * ly + out * hy
                oz = shifted * fz + along * lz + out * hz
                brings = masked(ox, oy, oz, ax, ay) * shares[order] if oz > 0 else 0.0
                for c in range(3):
                    onward[c, place] = (
                        frames[i, 0, c] * ox + frames[i, 1, c] * oy + frames[i, 2, c] * oz
                    )
                    shown = reflectance(abs(cosine), 0.5, s, p, c) * colour[k, c]
                    carry[c, i, at] = brings * shown


@compiled
def _across_lines(
    hx: float, hy: float, hz: float, across_x: float, across_y: float
) -> tuple[float, float, float]:
    """Return the direction in a facet that is nearest to the one across the lines."""
    lean = across_x * hx + across_y * hy
    fx, fy, fz = across_x - lean * hx, across_y - lean * hy, -lean * hz
    size = 1.0 / math.sqrt(fx * fx + fy * fy + fz * fz)
    return fx * size, fy * size, fz * size


@compiled
def left_to_rays(carry: Singles, surface: Integers, left: Singles, brings: Singles) -> None:
    """Write what rays bring, (3, n, r): what they carry, times what is left to them.

    Parameters
    ----------
    carry : (3, n, r) float32
    surface : (n, r) int
        What each ray meets, -1 for nothing.
    left : (n, s + 1) float32
        Of each surface, and last of what is none.
    """
    last = left.shape[1] - 1
    for c in range(3):
        for i in range(surface.shape[0]):
            for k in range(surface.shape[1]):
                met = surface[i, k]
                brings[c, i, k] = carry[c, i, k] * left[i, met if met >= 0 else last]
