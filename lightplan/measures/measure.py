"""The measures that predicted and photographed pictures share."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.measures import band, clipping, colours, contrast, evenness, figure, metal
from lightplan.measures.levels import Levels

if TYPE_CHECKING:
    from lightplan.measures.clipping import Pairs
    from lightplan.measures.maps import SheetMaps, SheetPicture
    from lightplan.scene.look import Look


@dataclass(frozen=True, slots=True)
class Measure:
    """One measured quantity.

    Parameters
    ----------
    value : float
        In the unit that ends the measure's name.
    unit : str
        That unit.
    uncertainty : float
        Standard uncertainty (one sigma), same unit.
    """

    value: float
    unit: str
    uncertainty: float


class Measures(Mapping[str, Measure]):
    """Measures by name; what the picture does not allow is absent, never NaN.

    >>> found = Measures({"foil_dark_share": (0.25, 0.01)})
    >>> found["foil_dark_share"]
    Measure(value=0.25, unit='share', uncertainty=0.01)
    """

    __slots__ = ("_pairs",)

    def __init__(self, pairs: Mapping[str, tuple[float, float]]) -> None:
        self._pairs = dict(pairs)

    def __getitem__(self, name: str) -> Measure:
        value, uncertainty = self._pairs[name]
        return Measure(value, unit_of(name), uncertainty)

    def __iter__(self) -> Iterator[str]:
        return iter(self._pairs)

    def __len__(self) -> int:
        return len(self._pairs)

    def values_by_name(self) -> dict[str, float]:
        """Return the bare values."""
        return {name: pair[0] for name, pair in self._pairs.items()}

    def pairs(self) -> dict[str, tuple[float, float]]:
        """Return (value, uncertainty) by name."""
        return dict(self._pairs)

    def joined(self, other: Mapping[str, tuple[float, float]]) -> Measures:
        """Return these measures with others added or put in their place."""
        return Measures({**self._pairs, **other})


_UNITS = {
    "Lstar": "L*",
    "dE00": "dE00",
    "Cab": "C*ab",
    "deg": "deg",
    "stops": "stops",
    "share": "share",
    "count": "count",
    "mm": "mm",
    "mm2": "mm2",
    "px": "px",
}


def unit_of(name: str) -> str:
    """Return the unit that ends a measure's name.

    >>> unit_of("foil_gradient_stops_per_cm"), unit_of("paper_lightness_range_Lstar")
    ('stops/cm', 'L*')
    """
    if name.endswith("_stops_per_cm"):
        return "stops/cm"
    return _UNITS[name.rpartition("_")[2]]


def measure(
    maps: SheetMaps,
    look: Look,
    foil_kind: str | None,
    *,
    stock_reflectance: tuple[float, float, float] | None = None,
) -> Measures:
    """Return every measure that a predicted or photographed picture allows.

    Parameters
    ----------
    maps : SheetMaps
        The squared picture.
    look : Look
        Gives the direction along which gradient and split are measured.
    foil_kind : str or None
        A name of `lightplan.optics.materials.FOIL_KINDS`, for the colour to expect; None
        for a metal whose colour is not judged.
    stock_reflectance : (3,) float, optional
        Reflectance of the paper per channel, where it is known; neutral white stock
        (0.85) is assumed otherwise.

    Notes
    -----
    Definitions, units and sources are in ``docs/measures.md``.
    """
    valid_share = float(maps.valid.mean())
    found = measured(
        maps,
        Levels.of(maps),
        look,
        foil_kind,
        valid_share=valid_share,
        stock_reflectance=stock_reflectance,
    )
    return parted(found, 1)[0]


def measured(
    sheet: SheetPicture,
    levels: Levels,
    look: Look,
    foil_kind: str | None,
    *,
    valid_share: float,
    stock_reflectance: tuple[float, float, float] | None,
    wanted: frozenset[str] | None = None,
) -> Pairs:
    """Return every measure that levels allow; as `measure`, of one picture or of many.

    Parameters
    ----------
    wanted : frozenset of str or None
        Names that matter; work that serves none of them may be left out. None: all.
    """
    grid = sheet.grid
    found: Pairs = {
        "valid_share": (valid_share, 0.0),
        "mask_confidence_share": (sheet.confidence, 0.0),
        "foil_pixels_count": (float(len(grid.foil.pixels)), 0.0),
        "paper_pixels_count": (float(len(grid.paper.pixels)), 0.0),
        "noise_stops": (levels.noise_stops, 0.0),
    }
    found |= clipping.measures(sheet, levels, wanted)
    found |= evenness.measures(sheet, levels, stock_reflectance, wanted)
    found |= contrast.measures(sheet, levels, stock_reflectance, wanted)
    found |= colours.measures(levels, foil_kind, stock_reflectance, wanted)
    found |= figure.measures(sheet, levels, look, wanted)
    found |= band.measures(sheet, levels, look, wanted)
    found |= metal.measures(sheet, levels, stock_reflectance, wanted)
    return found


def parted(found: Pairs, count: int) -> list[Measures]:
    """Return the measures of each of `count` pictures."""
    table = np.empty((len(found), 2, count))
    for row, (value, uncertainty) in zip(table, found.values(), strict=True):
        row[0], row[1] = value, uncertainty
    pictures = table.transpose(2, 0, 1).tolist()
    return [
        Measures({name: (v, u) for name, (v, u) in zip(found, rows, strict=True)})
        for rows in pictures
    ]
