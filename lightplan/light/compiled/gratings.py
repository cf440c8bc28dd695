"""What the facets of a grating send on from given directions, all orders and colours added up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled_sums

if TYPE_CHECKING:
    from lightplan.arrays import Singles


@compiled_sums
def diffracted(
    view: Singles,
    out: Singles,
    roughness: Singles,
    across: Singles,
    kicks: Singles,
    shares: Singles,
    colour: Singles,
    total: Singles,
) -> None:
    """Add the share per solid angle of light from `out` (n, 3) that is sent to `view` (n, 3).

    Facets that turn light of an order and wavelength by the grating equation from one to the
    other: their GGX density, times cosines, over the change of that direction with the
    facet's, times Smith's masking of the view. All in the spots' own frames.

    Parameters
    ----------
    roughness, across : (2,) float32
        GGX alphas, and the unit direction across the lines.
    kicks : (orders, wavelengths) float32
        Order times wavelength over the distance of the lines.
    shares : (orders,) float32
    colour : (3, wavelengths) float32
    total : (n, 3) float32
        What is added to.
    """
    one, small, tiny = np.float32(1.0), np.float32(1e-3), np.float32(1e-6)
    none = np.float32(0.0)
    ax, ay, gx, gy = roughness[0], roughness[1], across[0], across[1]
    ix, iy = one / ax, one / ay
    norm = one / (np.float32(np.pi) * ax * ay)
    for i in range(view.shape[0]):
        vx, vy, vz = view[i, 0], view[i, 1], view[i, 2]
        sx, sy, sz = vx + out[i, 0], vy + out[i, 1], vz + out[i, 2]
        up = max(vz, none)
        reach = up + np.sqrt(vx * vx * ax * ax + vy * vy * ay * ay + up * up)
        masking = np.float32(2.0) * up / max(reach, np.float32(1e-30)) / max(vz, small)
        if sz <= none or masking <= none:
            continue
        for order in range(kicks.shape[0]):
            red, green, blue = none, none, none
            for w in range(kicks.shape[1]):
                kick = kicks[order, w]
                hx, hy = sx - kick * gx, sy - kick * gy
                size = np.sqrt(hx * hx + hy * hy + sz * sz)
                tilt = (hx * gx + hy * gy) / size
                level = np.sqrt(max(one - tilt * tilt, tiny))
                tilt *= kick / level
                # laid into this first facet, the direction across the lines turns it by little
                stay, more = one + tilt / size, kick * (one - one / level)
                hx, hy, hz = hx * stay + more * gx, hy * stay + more * gy, sz * stay
                scale = one / np.sqrt(hx * hx + hy * hy + hz * hz)
                hx, hy, hz = hx * scale, hy * scale, hz * scale
                before = max(vx * hx + vy * hy + vz * hz, none)
                both = max(sx * hx + sy * hy + sz * hz, small)
                light = max(both - before, none) / (both * max(both - tilt, small))
                x, y = hx * ix, hy * iy
                shape = x * x + y * y + hz * hz
                density = norm / (shape * shape) * before * light
                density = density if hz > none else none
                red += density * colour[0, w]
                green += density * colour[1, w]
                blue += density * colour[2, w]
            part = masking * shares[order]
            total[i, 0] += part * red
            total[i, 1] += part * green
            total[i, 2] += part * blue
