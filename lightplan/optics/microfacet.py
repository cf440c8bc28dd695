"""The GGX microfacet surface: slopes, masking, sampling of the visible normals.

B. Walter et al., "Microfacet models for refraction through rough surfaces", EGSR 2007;
E. Heitz, "Understanding the masking-shadowing function", JCGT 3(2), 2014; sampling by
J. Dupuy and A. Benyoub, "Sampling visible GGX normals with spherical caps", HPG 2023.

Directions are unit vectors in the surface's own frame: x along the first roughness, z the
normal. `alpha` is used as it stands, not squared. All functions keep float32.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from lightplan.arrays import Floats


def d(hx: Floats, hy: Floats, hz: Floats, ax: ArrayLike, ay: ArrayLike) -> Floats:
    """Return the density of normals: facet area per surface area and solid angle.

    Parameters
    ----------
    hx, hy, hz : (...) float
        Microfacet normal.
    ax, ay : (...) float
        GGX alpha along x and y.

    Returns
    -------
    (...) float
        1/sr; 0 below the surface. Its integral with hz over the hemisphere is 1.

    Examples
    --------
    >>> round(float(d(np.float64(0), np.float64(0), np.float64(1), 0.1, 0.1)), 4)
    31.831
    """
    ax, ay = _like(hz, ax), _like(hz, ay)
    shape = np.square(hx / ax) + np.square(hy / ay) + np.square(hz)
    density = 1.0 / (np.asarray(np.pi, shape.dtype) * ax * ay * np.square(shape))
    return np.where(hz > 0.0, density, np.zeros((), density.dtype))


def g1(vx: Floats, vy: Floats, vz: Floats, ax: ArrayLike, ay: ArrayLike) -> Floats:
    """Return Smith's masking 1 / (1 + Lambda): the share of facets seen; 0 below the surface.

    Parameters
    ----------
    vx, vy, vz : (...) float
        Direction.
    ax, ay : (...) float
        GGX alpha along x and y.

    Examples
    --------
    >>> half = np.sqrt(0.5)
    >>> round(float(g1(half, np.float64(0), half, 0.2, 0.2)), 6)
    0.990195
    """
    up = np.maximum(vz, 0.0)
    reach = np.square(vx * _like(vz, ax)) + np.square(vy * _like(vz, ay)) + np.square(up)
    total = up + np.sqrt(reach)
    return np.asarray(2.0 * up / np.maximum(total, np.finfo(total.dtype).tiny))


def sample_visible_normals(view: Floats, ax: ArrayLike, ay: ArrayLike, u: Floats) -> Floats:
    """Return microfacet normals drawn from those the viewer sees.

    Parameters
    ----------
    view : (n, 3) float
        Directions to the viewer, z >= 0.
    ax, ay : float or (n,) float
        GGX alpha along x and y.
    u : (n, 2) float
        Numbers in 0..1, random or of a low-discrepancy set.

    Returns
    -------
    (n, 3) float
        Unit normals in the dtype of `view`; their density is `visible_density`.
    """
    ax, ay = _like(view, ax), _like(view, ay)
    x, y, z = view[:, 0] * ax, view[:, 1] * ay, view[:, 2]
    inverse = 1.0 / np.sqrt(x * x + y * y + z * z)
    x, y, z = x * inverse, y * inverse, z * inverse
    angle = u[:, 0].astype(view.dtype, copy=False) * view.dtype.type(2.0 * np.pi)
    up = (1.0 - u[:, 1].astype(view.dtype, copy=False)) * (1.0 + z) - z
    side = np.sqrt(np.maximum(1.0 - up * up, 0.0))
    normal = np.empty((len(view), 3), view.dtype)
    hx, hy = (side * np.cos(angle) + x) * ax, (side * np.sin(angle) + y) * ay
    hz = np.maximum(up + z, 0.0)
    length = np.maximum(np.sqrt(hx * hx + hy * hy + hz * hz), np.finfo(view.dtype).tiny)
    normal[:, 0], normal[:, 1], normal[:, 2] = hx / length, hy / length, hz / length
    return normal


def _like(pattern: Floats, alpha: ArrayLike) -> Floats:
    """Return alpha in the float type of `pattern`."""
    return np.asarray(alpha, np.asarray(pattern).dtype)
