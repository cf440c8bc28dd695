"""Glossy stock: a matte body under a clear coat.

Light enters through the coat (Fresnel), is scattered by the body, and leaves through it;
what is turned back inside is scattered again. Internal reflectance by Egan and Hilgeman
from the external one: 1 - (1 - F) / n2 (energy and the n2 law of radiance).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from lightplan.arrays import Floats
from lightplan.optics import fresnel
from lightplan.scene.sheet import Paper


@lru_cache(maxsize=32)
def outside_reflectance(index: float) -> float:
    """Return the reflectance of the coat for light from all directions.

    >>> round(outside_reflectance(1.5), 4)
    0.0918
    """
    cosine = (np.arange(4000) + 0.5) / 4000
    s, p = fresnel.dielectric(cosine, index)
    return float(np.mean((s + p) * cosine))


def passes(index: float, cosine: Floats) -> Floats:
    """Return the share of light that crosses the coat at the cosine of its angle outside."""
    s, p = fresnel.dielectric(np.clip(np.asarray(cosine, float), 0.0, 1.0), index)
    return np.asarray(1.0 - 0.5 * (s + p))


def body(paper: Paper) -> Floats:
    """Return the body's reflectance (3,) for light that is inside, all returns included.

    Luminance outside = body x passes(in) x passes(out) x E / pi for light at one angle.
    """
    reflectance = np.asarray(paper.reflectance)
    if paper.coat_index is None:
        return reflectance
    inside = 1 - (1 - outside_reflectance(paper.coat_index)) / paper.coat_index**2
    return np.asarray(reflectance / (paper.coat_index**2 * (1 - inside * reflectance)))


def albedo(paper: Paper) -> tuple[float, float, float]:
    """Return the share of light from all round that the stock gives back, coat included."""
    if paper.coat_index is None:
        return paper.reflectance
    outside = outside_reflectance(paper.coat_index)
    total = outside + body(paper) * (1 - outside) ** 2
    r, g, b = (float(min(v, 1.0)) for v in total)
    return (r, g, b)
