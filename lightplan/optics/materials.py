"""What foils, coats and boards are made of: reflectance curves and default numbers.

Colour of the tinted foils as modelled, straight on (CIELAB under D65; the figures follow from
`_TINTS`, which has no published source):

============== ==== ===== ==== =========
foil           L*   C*ab  hue  plausible hue (from memory)
============== ==== ===== ==== =========
gold foil      89   44    91°  80 to 95
rose gold foil 86   16    20°  10 to 50
copper foil    81   36    60°  50 to 70
============== ==== ===== ==== =========
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from lightplan.optics import cie_tables, fresnel
from lightplan.optics.constants import refractive_index
from lightplan.optics.defaults import DEFAULTS
from lightplan.optics.spectra import linear_srgb
from lightplan.optics.specular import SpecularCurve, tabulate

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import ArrayLike

    from lightplan.arrays import Doubles

LACQUER_INDEX = DEFAULTS["lacquer"].value
ALUMINIUM_THICKNESS_NM = DEFAULTS["foil aluminium"].value


@dataclass(frozen=True, kw_only=True)
class Tint:
    """Dye of a foil's lacquer, as optical depth for one pass straight through.

    A band edge that absorbs the wavelengths below it, and one absorption band:
    ``edge / (1 + exp((w - edge_nm) / edge_width_nm)) + band exp(-((w - band_nm) /
    band_width_nm)^2)``. The shapes and figures are this project's own model, fitted by eye
    to the colour names of the trade (from memory, no source).
    """

    edge: float = 0.0
    edge_nm: float = 500.0
    edge_width_nm: float = 15.0
    band: float = 0.0
    band_nm: float = 530.0
    band_width_nm: float = 40.0

    def depth(self, wavelength_nm: ArrayLike) -> Doubles:
        """Return the optical depth at each wavelength."""
        wave = np.asarray(wavelength_nm, float)
        edge = self.edge / (1.0 + np.exp((wave - self.edge_nm) / self.edge_width_nm))
        band = self.band * np.exp(-np.square((wave - self.band_nm) / self.band_width_nm))
        return np.asarray(edge + band)


_TINTS: Mapping[str, Tint] = MappingProxyType(
    {
        "silver foil": Tint(),
        "gold foil": Tint(edge=0.60, edge_nm=505.0, edge_width_nm=18.0),
        "rose gold foil": Tint(edge=0.16, edge_nm=500.0, band=0.22, band_nm=525.0),
        "copper foil": Tint(edge=0.55, edge_nm=545.0, edge_width_nm=18.0),
        "holographic foil": Tint(),
    }
)
_METALS: Mapping[str, str] = MappingProxyType(
    {
        "gold leaf": "gold",
        "silver leaf": "silver",
        "aluminium": "aluminium",
        "copper": "copper",
        "chromium": "chromium",
        "nickel": "nickel",
    }
)
FOIL_KINDS: tuple[str, ...] = (*_TINTS, *_METALS)


@cache
def foil_curve(kind: str) -> SpecularCurve:
    """Return the mirror reflectance of a foil or bare metal under daylight.

    Foils are a 30 nm aluminium film (Rakić 1995) behind a lacquer of index 1.5, dyed for
    gold, rose gold and copper. Leaf and plain metals are thick bare metal. Channels are
    linear sRGB under D65; the red of gold leaf exceeds 1 because it lies outside sRGB.

    Parameters
    ----------
    kind : str
        One of `FOIL_KINDS`.

    Raises
    ------
    KeyError
        For another name.

    Examples
    --------
    >>> [round(float(v), 2) for v in foil_curve("gold leaf").evaluate(1.0)]
    [1.04, 0.73, 0.36]
    """
    if kind in _TINTS:
        return _spectral_curve(lambda cosine, wave: lacquered_aluminium(cosine, wave, _TINTS[kind]))
    metal = _METALS[kind]
    return _spectral_curve(
        lambda cosine, wave: fresnel.conductor(cosine, *refractive_index(metal, wave))
    )


def conductor_curve(eta: ArrayLike, k: ArrayLike) -> SpecularCurve:
    """Return the curve of a bare metal from its constants for R, G and B.

    Parameters
    ----------
    eta, k : (3,) float
    """
    return tabulate(lambda cosine: fresnel.conductor(cosine, eta, k))


def coat_curve(index: float) -> SpecularCurve:
    """Return the curve of the outer surface of a varnish or laminate of that index."""
    return tabulate(lambda cosine: fresnel.dielectric(cosine, index))


def lacquered_aluminium(
    cosine: ArrayLike,
    wavelength_nm: ArrayLike,
    tint: Tint | None = None,
    *,
    thickness_nm: float | None = ALUMINIUM_THICKNESS_NM,
) -> tuple[Doubles, Doubles]:
    """Return s and p reflectances of aluminium under a lacquer of index 1.5.

    The lacquer is micrometres thick, so its inner reflections add as power, not as
    amplitude: ``R = r + (1 - r)^2 t^2 m / (1 - r t^2 m)``, with r the outer surface, m the
    metal seen from the lacquer and t one pass through the dye along the refracted ray.

    Parameters
    ----------
    cosine : (...) float
        Of the angle of incidence in the air.
    wavelength_nm : (...) float
        Broadcast with `cosine`. [nm]
    tint : Tint or None
        None for clear lacquer.
    thickness_nm : float or None
        Of the aluminium, on a backing of index 1.5; None for a thick layer. [nm]
    """
    cosine = np.asarray(cosine, float)
    inside = np.sqrt(1.0 - (1.0 - cosine**2) / LACQUER_INDEX**2)
    surface = fresnel.dielectric(cosine, LACQUER_INDEX)
    metal = _aluminium_in_lacquer(inside, wavelength_nm, thickness_nm)
    depth = np.zeros(()) if tint is None else tint.depth(wavelength_nm)
    there_and_back = np.exp(-2.0 * depth / inside)
    s, p = (
        r + (1.0 - r) ** 2 * there_and_back * m / (1.0 - r * there_and_back * m)
        for r, m in zip(surface, metal, strict=True)
    )
    return s, p


def _aluminium_in_lacquer(
    cosine: Doubles, wavelength_nm: ArrayLike, thickness_nm: float | None
) -> tuple[Doubles, Doubles]:
    n, k = refractive_index("aluminium", wavelength_nm)
    if thickness_nm is None:
        return fresnel.conductor(cosine, n / LACQUER_INDEX, k / LACQUER_INDEX)
    return fresnel.film(
        cosine,
        wavelength_nm=wavelength_nm,
        front_index=LACQUER_INDEX,
        film_index=n + 1j * k,
        back_index=LACQUER_INDEX,
        thickness_nm=thickness_nm,
    )


def _spectral_curve(
    reflectance: Callable[[Doubles, Doubles], tuple[Doubles, Doubles]],
) -> SpecularCurve:
    wave = cie_tables.WAVELENGTH_NM

    def channels(cosine: Doubles) -> tuple[Doubles, Doubles]:
        s, p = reflectance(cosine, wave)
        return linear_srgb(wave, s), linear_srgb(wave, p)

    return tabulate(channels)
