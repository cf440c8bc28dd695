"""A polarising filter on the lens: what it passes of a mirrored ray.

Light from lamps and cards is taken as unpolarised. A mirror reflection then has its s and
p parts (Fresnel); an ideal filter passes the part along its axis.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Floats, Singles
    from lightplan.optics.specular import SpecularCurve

UNPOLARISED_SHARE = 0.5  # what an ideal filter passes of matte light


def across_views(axis: Doubles, views: Floats) -> Doubles:
    """Return the part of the filter's axis that lies across each view (n, 3), of length 1."""
    across = axis - (views @ axis)[:, None] * views
    return np.asarray(across / np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-9))


def polarised_reflectance(
    curve: SpecularCurve, cosine: Floats, half: Floats, views: Floats, axis: Doubles
) -> Singles:
    """Return the reflectance seen through the filter.

    Parameters
    ----------
    cosine : (n, k) float
        Of the angle between viewer and facet.
    half : (n, k, 3) float
        Facet normals in the world.
    views : (n, 3) float
        Directions to the camera.
    axis : (3,) float
        The filter's axis in the world; its part across each view counts.

    Returns
    -------
    (n, k, 3) float32
        Reflectance; half of it for light that is not polarised.
    """
    s, p = curve.evaluate_sp(np.asarray(cosine, np.float32))
    across = across_views(axis, views)
    s_axis = np.cross(views[:, None], half)
    size = np.linalg.norm(s_axis, axis=-1)
    along = np.einsum("nkc,nc->nk", s_axis, across) / np.maximum(size, 1e-9)
    share = np.where(size > 1e-6, along**2, 0.5)[..., None]
    return np.asarray(UNPOLARISED_SHARE * (share * s + (1 - share) * p), np.float32)
