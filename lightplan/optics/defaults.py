"""Numbers to start from where nothing was measured, each with its range and its source.

The entries "from memory" are common practice without a published source: they are there to
be replaced by a measurement or by a test shot.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Mapping

Quantity: TypeAlias = Literal[
    "reflectance", "transmittance", "GGX alpha", "refractive index", "thickness nm", "lines per mm"
]


@dataclass(frozen=True)
class MaterialDefault:
    """A default number.

    Parameters
    ----------
    quantity : str
        What it is.
    value : float
    low, high : float
        Range in which real goods lie.
    source : str
        Where the range is from.
    """

    quantity: Quantity
    value: float
    low: float
    high: float
    source: str


_MEMORY = "from memory"
_BACKING = "ISO 13655 sample backing, as quoted by the graphic-arts institute Fogra"
_STOPS = "light loss in stops as listed by a gaffer's filter table; range of 1/4 stop assumed"
_ROOMS = "reflectances recommended by EN 12464-1 for rooms (from memory)"


def _diffusion(stops: float) -> MaterialDefault:
    low, high = 2.0 ** -(stops + 0.25), min(2.0 ** -(stops - 0.25), 1.0)
    return MaterialDefault("transmittance", 2.0**-stops, low, high, _STOPS)


DEFAULTS: Mapping[str, MaterialDefault] = MappingProxyType(
    {
        "white paper": MaterialDefault("reflectance", 0.85, 0.79, 0.91, _BACKING),
        "white card": MaterialDefault("reflectance", 0.85, 0.80, 0.90, _MEMORY),
        "foam board": MaterialDefault("reflectance", 0.85, 0.80, 0.90, _MEMORY),
        "grey card": MaterialDefault("reflectance", 0.18, 0.17, 0.19, "18 % by definition"),
        "black card": MaterialDefault("reflectance", 0.045, 0.03, 0.06, _MEMORY),
        "black backing": MaterialDefault("reflectance", 0.035, 0.025, 0.050, _BACKING),
        "black velvet": MaterialDefault("reflectance", 0.005, 0.003, 0.01, _MEMORY),
        "black camera": MaterialDefault("reflectance", 0.04, 0.02, 0.08, _MEMORY),
        "silver board": MaterialDefault("reflectance", 0.80, 0.65, 0.90, _MEMORY),
        "silver board roughness": MaterialDefault("GGX alpha", 0.35, 0.20, 0.50, _MEMORY),
        "wooden table": MaterialDefault("reflectance", 0.40, 0.20, 0.60, _MEMORY),
        "walls": MaterialDefault("reflectance", 0.50, 0.50, 0.80, _ROOMS),
        "ceiling": MaterialDefault("reflectance", 0.70, 0.70, 0.90, _ROOMS),
        "floor": MaterialDefault("reflectance", 0.20, 0.20, 0.40, _ROOMS),
        "quarter diffusion": _diffusion(1 / 3),
        "half diffusion": _diffusion(0.75),
        "full diffusion": _diffusion(1.5),
        "heavy frost": _diffusion(2.0),
        "light grid cloth": _diffusion(2.0),
        "grid cloth": _diffusion(2.5),
        "bleached muslin": _diffusion(2.0),
        "tracing paper": MaterialDefault("transmittance", 0.55, 0.40, 0.70, _MEMORY),
        "opal acrylic 3 mm": MaterialDefault("transmittance", 0.45, 0.30, 0.60, _MEMORY),
        "clear acrylic": MaterialDefault(
            "transmittance", 0.92, 0.85, 0.93, "data page of an acrylic-sheet maker"
        ),
        "glossy foil roughness": MaterialDefault(
            "GGX alpha", 0.05, 0.01, 0.15, "no published value for stamping foil found; from memory"
        ),
        "brushed metal along": MaterialDefault(
            "GGX alpha", 0.05, 0.02, 0.10, "documentation of the Mitsuba 3 plugin roughconductor"
        ),
        "brushed metal across": MaterialDefault(
            "GGX alpha", 0.30, 0.10, 0.40, "documentation of the Mitsuba 3 plugin roughconductor"
        ),
        "gloss coat roughness": MaterialDefault("GGX alpha", 0.10, 0.02, 0.20, _MEMORY),
        "lacquer": MaterialDefault("refractive index", 1.5, 1.45, 1.60, _MEMORY),
        "foil aluminium": MaterialDefault(
            "thickness nm",
            30.0,
            15.0,
            50.0,
            "glossary of a stamping-press maker, range from memory",
        ),
        "holographic foil": MaterialDefault(
            "lines per mm",
            1000.0,
            800.0,
            1200.0,
            "Tamulevičius et al., Sci. Rep. 8, 14245 (2018): about 1 um; range of a grating maker",
        ),
    }
)
