"""A pin on the sheet of a photograph: found, its shadows read, and kept out of the levels."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.errors import BadInput
from lightplan.estimate import PaperSeen, Photographed, Pin, PinFound, find_pin, seen_sheet
from lightplan.estimate.cell_levels import CellLevels
from lightplan.tasks.photographed import photographed, radius2

if TYPE_CHECKING:
    from lightplan.arrays import Booleans
    from lightplan.measures import SheetMaps
    from lightplan.scene import Rig
    from lightplan.shots.pipeline import Looked

PAPER = 0.02
"""Share of foil up to which a pixel is bare paper."""
AROUND = 2.6
"""Of the pin's height: what is nearer to its foot is in its shadow or behind it."""


def pin_of(text: str) -> Pin:
    """Return a pin from the maker's words: height x thickness @ right, away of the sheet's middle.

    >>> pin_of("40x6@-30,25")
    Pin(height_mm=40.0, thick_mm=6.0, foot_mm=(-30.0, 25.0))

    Raises
    ------
    BadInput
        When these are no height, thickness and place that a pin can have.
    """
    size, _, place = text.lower().replace(" ", "").partition("@")
    try:
        height, thick = (float(part) for part in size.split("x"))
        x, y = (float(part) for part in place.split(","))
    except ValueError:
        height = thick = x = y = 0.0
    if not (5 <= height <= 300 and 0.5 <= thick <= height and max(abs(x), abs(y)) <= 5000):
        raise BadInput(
            field="--pin",
            wanted="height x thickness @ right, away of the sheet's middle in mm, as 40x6@-30,25",
            got=text,
            cure="measure the pin, and from the middle of the sheet to its foot, with a ruler",
        )
    return Pin(height_mm=height, thick_mm=thick, foot_mm=(x, y))


def pin_in(looked: Looked, rig: Rig, pin: Pin) -> PinFound | None:
    """Return what a pin's shadows tell in a photograph; None where none is found."""
    data = photographed(looked)
    if data is None or looked.sheet is None:
        return None
    maps = looked.sheet.maps
    paper = (maps.foil <= PAPER) & maps.valid & ~maps.clipped.any(axis=-1)
    seen = PaperSeen(
        np.asarray(maps.linear.mean(axis=-1), np.float32),
        np.asarray(paper, bool),
        maps.width_mm,
        maps.height_mm,
        np.asarray(rig.camera.placement.position_mm, float),
        _shares(rig, data),
    )
    return find_pin(rig, seen, pin)


def _shares(rig: Rig, data: Photographed) -> dict[str, float]:
    """Return each lamp's share of the light on the paper, as planned."""
    levels = CellLevels(rig, data.seen)
    found = levels.light(rig)
    paper = ~data.seen.is_foil
    light = (found.light[:, paper] if paper.any() else found.light).mean(axis=(1, 2))
    light[-1] *= float(np.mean(levels.room))
    whole = max(float(light.sum()), 1e-12)
    return {name: float(v) / whole for name, v in zip(found.names[:-1], light[:-1], strict=True)}


def with_pin(looked: Looked, rig: Rig, pin: Pin) -> Photographed:
    """Return the data of a photograph with a pin in it: shadows read, their surroundings left out.

    Raises
    ------
    BadInput
        Where no pin is found.
    """
    data, found = photographed(looked), pin_in(looked, rig, pin)
    if data is None or found is None or looked.sheet is None:
        raise BadInput(
            field="--pin",
            wanted="a pin's shadow on bare paper round the place that was named",
            got="none that tells where a lamp stands",
            cure="use a thicker pin on light paper, check the place, or leave --pin out",
            file=looked.score.file,
        )
    maps = looked.sheet.maps
    seen = seen_sheet(_without(maps, _near(maps, found, pin)), radius2(looked.sheet))
    return replace(data, seen=seen, known=(found.known,))


def _near(maps: SheetMaps, found: PinFound, pin: Pin) -> Booleans:
    rows, cols = maps.foil.shape
    x = ((np.arange(cols) + 0.5) / cols - 0.5) * maps.width_mm - found.foot_mm[0]
    y = (0.5 - (np.arange(rows) + 0.5) / rows) * maps.height_mm - found.foot_mm[1]
    return np.asarray(np.hypot(x[None], y[:, None]) < AROUND * pin.height_mm, bool)


def _without(maps: SheetMaps, near: Booleans) -> SheetMaps:
    """Return maps without some pixels; all of them where hardly any would be left."""
    valid = maps.valid & ~near
    return replace(maps, valid=valid) if valid.mean() > 0.15 else maps
