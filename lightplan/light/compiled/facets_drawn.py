"""Rays of a rough mirror: facets drawn from those that a viewer sees, and what each mirrors."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled
from lightplan.light.compiled.lobe_loops import masked, reflectance, s_share

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Singles


@compiled
def facets_seen(
    vx: float,
    vy: float,
    vz: float,
    ax: float,
    ay: float,
    square: Doubles,
    turns: Doubles,
    shift: Doubles,
    normals: Doubles,
) -> None:
    """Write the normals (r, 3) of facets drawn from those of GGX that one viewer sees.

    They are a disk's points, stretched (Dupuy and Benyoub, HPG 2023).

    Parameters
    ----------
    vx, vy, vz : float
        Direction to the viewer, in the spot's frame.
    ax, ay : float
        GGX alphas.
    square, turns : (r, 2) float
        Points of the unit square, and cosine and sine of the turn that the first of each tells.
    shift : (2,) float
        By which this viewer takes them.
    """
    turned = 2.0 * math.pi * shift[0]
    cosine_turned, sine_turned = math.cos(turned), math.sin(turned)
    scale = 1.0 / math.sqrt(vx * vx * ax * ax + vy * vy * ay * ay + vz * vz)
    x, y, z = vx * ax * scale, vy * ay * scale, vz * scale
    for k in range(square.shape[0]):
        right = turns[k, 0] * cosine_turned - turns[k, 1] * sine_turned  # of both turns' sum
        far = turns[k, 1] * cosine_turned + turns[k, 0] * sine_turned
        down = square[k, 1] + shift[1]
        up = (1.0 - (down - math.floor(down))) * (1.0 + z) - z
        side = math.sqrt(max(1.0 - up * up, 0.0))
        hx, hy, hz = (side * right + x) * ax, (side * far + y) * ay, max(up + z, 0.0)
        size = 1.0 / max(math.sqrt(hx * hx + hy * hy + hz * hz), 1e-300)
        normals[k, 0], normals[k, 1], normals[k, 2] = hx * size, hy * size, hz * size


@compiled
def turns_of(square: Doubles) -> Doubles:
    """Return cosine and sine (r, 2) of the turns that the first of points (r, 2) tell."""
    turns = np.empty((square.shape[0], 2))
    for k in range(square.shape[0]):
        angle = 2.0 * math.pi * square[k, 0]
        turns[k, 0], turns[k, 1] = math.cos(angle), math.sin(angle)
    return turns


@compiled
def drawn(
    frames: Doubles,
    views: Doubles,
    across: Doubles,
    polarised: bool,
    roughness: Doubles,
    s: Singles,
    p: Singles,
    square: Doubles,
    shifts: Doubles,
    carry: Singles,
    facets: Singles,
    onward: Singles,
) -> None:
    """Draw facets from those each of n viewers sees, and write where light comes from to them.

    Parameters
    ----------
    frames, views, across, polarised, roughness, s, p
        As in `weighed`.
    square, shifts : (r, 2) and (n, 2) float
        Points of the unit square, which each spot takes shifted.
    carry, facets : (3, n, r) and (n, r) float32
        What each ray's luminance counts, and the share of facets as they lie that it stands for.
    onward : (3, n * r) float32
        Directions in the world.
    """
    ax, ay, count = roughness[0], roughness[1], square.shape[0]
    turns, normals = turns_of(square), np.empty((count, 3))
    for i in range(views.shape[0]):
        vx, vy, vz = views[i, 0], views[i, 1], views[i, 2]
        of_view = masked(vx, vy, vz, ax, ay) if vz > 0 else 0.0
        facets_seen(vx, vy, vz, ax, ay, square, turns, shifts[i], normals)
        for k in range(count):
            hx, hy, hz = normals[k, 0], normals[k, 1], normals[k, 2]
            cosine = vx * hx + vy * hy + vz * hz
            ox, oy, oz = 2 * cosine * hx - vx, 2 * cosine * hy - vy, 2 * cosine * hz - vz
            for c in range(3):
                onward[c, i * count + k] = (
                    frames[i, 0, c] * ox + frames[i, 1, c] * oy + frames[i, 2, c] * oz
                )
            facets[i, k] = vz * hz / max(of_view * cosine, 1e-6) / count
            brings = masked(ox, oy, oz, ax, ay) / count if oz > 0 else 0.0
            share = 0.5
            if polarised:
                share = s_share(vx, vy, vz, hx, hy, hz, across[i])
                brings *= 0.5
            for c in range(3):
                carry[c, i, k] = brings * reflectance(cosine, share, s, p, c)
