"""Glossy stock: a matte body under a clear coat, or under clear film.

Light enters through the coat (Fresnel), is scattered by the body, and leaves through it;
what is turned back inside is scattered again. Internal reflectance by Egan and Hilgeman
from the external one: 1 - (1 - F) / n2 (energy and the n2 law of radiance).

Film has air beneath: light crosses two faces and the film between them, forth and back as
often as they mirror it (powers add, the film is many wavelengths thick), and what lies under
it scatters it. What the film's underside mirrors back is scattered again.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry import points as point_sets
from lightplan.optics import fresnel, materials, microfacet
from lightplan.optics.specular import SpecularCurve, tabulate

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Floats
    from lightplan.scene.sheet import Film, Paper


COSINES = np.linspace(0.0, 1.0, 65)  # at which what a coat lets in is worked out
COAT_FACETS = 987  # of it, that a ray may meet


@lru_cache(maxsize=32)
def outside_reflectance(paper: Paper) -> float:
    """Return the reflectance of the stock's surface for light from all directions.

    >>> from lightplan.scene.sheet import Paper
    >>> round(outside_reflectance(Paper(coat_index=1.5)), 4)
    0.0918
    """
    cosine = (np.arange(4000) + 0.5) / 4000
    s, p = _mirrored(paper, cosine)
    return float(np.mean((s + p) * cosine))


def curve(paper: Paper) -> SpecularCurve:
    """Return what the stock's surface mirrors."""
    if paper.film is None:
        assert paper.coat_index is not None
        return materials.coat_curve(paper.coat_index)
    return tabulate(lambda cosine: _mirrored(paper, cosine))


def passes(paper: Paper, cosine: Floats) -> Floats:
    """Return the share of light that crosses the surface at the cosine of its angle outside."""
    angles: Doubles = np.clip(np.asarray(cosine, np.float64), 0.0, 1.0)
    if paper.film is None:
        assert paper.coat_index is not None
        return np.interp(angles, COSINES, _through_coat(paper.coat_index, paper.coat_roughness))
    once = _once_through(paper.film, angles)
    s, p = fresnel.dielectric(angles, paper.film.index)
    return np.asarray(0.5 * sum((1 - r) ** 2 * once / _returns(r * once) for r in (s, p)))


@lru_cache(maxsize=32)
def _through_coat(index: float, alpha: float) -> Doubles:
    """Return the share of light that a rough coat does not mirror, at each of `COSINES`.

    Its facets are those that the viewer sees (as of foil). What they mirror upwards leaves, some
    of it behind others, which masking loses as it does everywhere in the model; what they
    mirror downwards comes in.
    """
    square = point_sets.unit_square(COAT_FACETS)
    sine = np.sqrt(1.0 - COSINES**2)
    passed = []
    for across, up in zip(sine, COSINES, strict=True):
        view = np.broadcast_to([across, 0.0, up], (len(square), 3))
        half = microfacet.sample_visible_normals(view, alpha, alpha, square)
        cosine = np.clip(np.sum(view * half, axis=1), 0.0, 1.0)
        s, p = fresnel.dielectric(cosine, index)
        leaves = 2 * cosine * half[:, 2] > up
        passed.append(1.0 - float(np.mean(0.5 * (s + p) * leaves)))
    return np.asarray(passed)


def _mirrored(paper: Paper, cosine: Doubles) -> tuple[Doubles, Doubles]:
    """Return the s and p reflectance of the coat, or of both faces of the film."""
    assert paper.coat_index is not None
    s, p = fresnel.dielectric(cosine, paper.coat_index)
    if paper.film is None:
        return s, p
    once = _once_through(paper.film, cosine)
    s, p = (r + r * (1 - r) ** 2 * once**2 / _returns(r * once) for r in (s, p))
    return s, p


def _once_through(film: Film, cosine: Doubles) -> Doubles:
    """Return the share of light left after one way through the film, aslant a longer one."""
    inside = np.sqrt(1 - (1 - cosine**2) / film.index**2)
    return np.asarray(film.transmittance ** (1 / inside))


def _returns(mirrored: Doubles) -> Doubles:
    """Return what light that goes to and fro in the film is divided by; not 0 at grazing."""
    return np.maximum(1 - mirrored**2, 1e-12)


def body(paper: Paper) -> Floats:
    """Return the body's reflectance (3,) for light that is inside, all returns included.

    Luminance outside = body x passes(in) x passes(out) x E / pi for light at one angle.
    """
    reflectance = np.asarray(paper.reflectance)
    if paper.coat_index is None:
        return reflectance
    if paper.film is not None:
        return np.asarray(reflectance / (1 - outside_reflectance(paper) * reflectance))
    inside = 1 - (1 - outside_reflectance(paper)) / paper.coat_index**2
    return np.asarray(reflectance / (paper.coat_index**2 * (1 - inside * reflectance)))


def albedo(paper: Paper) -> tuple[float, float, float]:
    """Return the share of light from all round that the stock gives back, coat included."""
    if paper.coat_index is None:
        return paper.reflectance
    outside = outside_reflectance(paper)
    total = outside + body(paper) * lets_in(paper) ** 2
    r, g, b = (float(min(v, 1.0)) for v in total)
    return (r, g, b)


@lru_cache(maxsize=32)
def _through(paper: Paper) -> float:
    """Return the share of light from all directions that crosses the film."""
    cosine = (np.arange(4000) + 0.5) / 4000
    return float(np.mean(2 * passes(paper, cosine) * cosine))


@lru_cache(maxsize=32)
def _table(paper: Paper) -> tuple[Doubles, Doubles]:
    """Return even cosines and the shares of light that cross the surface at them."""
    cosine = np.linspace(0.0, 1.0, 513)
    return cosine, np.asarray(passes(paper, cosine), np.float64)


@dataclass(frozen=True)
class Entering:
    """Shares of light that a coated stock lets in, by the cosine of its angle outside.

    Read from a table, to 0.1 % of what crosses where it stands steeper than 3 degrees.
    """

    paper: Paper

    @classmethod
    def of(cls, paper: Paper) -> Entering | None:
        """Return that of a stock; None where all light comes in."""
        return None if paper.coat_index is None else cls(paper)

    def __call__(self, cosine: Floats) -> Doubles:
        """Return the shares at some cosines."""
        return np.asarray(np.interp(cosine, *_table(self.paper)), np.float64)


def lets_in(paper: Paper) -> float:
    """Return the share of light from all directions that crosses the surface."""
    return 1 - outside_reflectance(paper) if paper.film is None else _through(paper)
