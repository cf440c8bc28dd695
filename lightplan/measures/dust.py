"""Dust and scratches in mm. For photographs; too dear for a search.

Specks are what a grey closing (dark) or opening (bright) with a disc removes: things
thinner than the disc, of any length. Their size comes from second moments.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from lightplan.measures.fault_places import pixel_to_mm, unmixed_pixels
from lightplan.measures.levels import LEAST_LEVEL, luminance
from lightplan.measures.maps import CLIP_LEVEL, SheetMaps

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Singles
    from lightplan.measures.grid import Region

WIDEST_MM = 1.5
"""Wider things are not dust."""
LEAST_STOPS = 0.3
SCRATCH_ELONGATION = 4.0
SCRATCH_LENGTH_MM = 1.5
MOST_ON_PAPER = 200
"""More specks than this on the paper are taken as print and left out."""


@dataclass(frozen=True, slots=True)
class Speck:
    """A dust grain or a scratch.

    Parameters
    ----------
    kind : str
        "dust" or "scratch" (4 times as long as wide, and 1.5 mm or more).
    where_mm : (2,) float
    length_mm, width_mm : float
        Sides of the rectangle with the same second moments.
    bright : bool
        Brighter than its surroundings, else darker.
    on : str
        "foil" or "paper".
    """

    kind: str
    where_mm: tuple[float, float]
    length_mm: float
    width_mm: float
    bright: bool
    on: str


def specks(maps: SheetMaps) -> tuple[Speck, ...]:
    """Return dust and scratches on foil and paper, the longest first.

    A speck must be three pixels or more; below that noise cannot be told from dust.
    """
    level = luminance(np.minimum(maps.linear, np.float32(CLIP_LEVEL)))
    stops = np.log2(level + np.float32(LEAST_LEVEL))
    found: list[Speck] = []
    for on, region in (("foil", maps.grid.foil), ("paper", maps.grid.paper)):
        if len(region.pixels):
            here = _on(maps, stops, region, on)
            found += here if on == "foil" or len(here) <= MOST_ON_PAPER else []
    return tuple(sorted(found, key=lambda speck: -speck.length_mm))


def _on(maps: SheetMaps, stops: Singles, region: Region, on: str) -> list[Speck]:
    core = (region.core > 0) & unmixed_pixels(maps)
    if not core.any():
        return []
    across, down = maps.pixel_mm
    wide = [max(3, 2 * math.ceil(0.5 * WIDEST_MM / size) + 1) for size in (across, down)]
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (min(wide[0], 41), min(wide[1], 41)))
    filled = _fill(stops, core, wide)
    found = []
    for bright, operation in ((False, cv2.MORPH_BLACKHAT), (True, cv2.MORPH_TOPHAT)):
        hat = cv2.morphologyEx(filled, operation, disc)
        hat = np.where(core, hat, np.float32(0.0))
        values = hat[core]
        # Most of the sheet is clean: the typical hat is the noise's own.
        least = max(LEAST_STOPS, 4.0 * float(np.quantile(values, 0.75)))
        found += _measured(maps, hat > least, bright, on)
    return found


def _fill(stops: Singles, core: Booleans, wide: list[int]) -> Singles:
    """Return the stops with everything off the core replaced by the core's level near by."""
    size = (4 * wide[0] + 1, 4 * wide[1] + 1)
    weight = core.astype(np.float32)
    total = cv2.blur(weight, size)
    near = cv2.blur(stops * weight, size) / np.maximum(total, np.float32(1e-6))
    typical = np.float32(np.median(stops[core]))
    near = np.where(total > 1e-4, near, typical)
    return np.where(core, stops, near).astype(np.float32)


def _measured(maps: SheetMaps, hit: Booleans, bright: bool, on: str) -> list[Speck]:
    count, labels, stats, centres = cv2.connectedComponentsWithStats(hit.astype(np.uint8), None)
    across, down = maps.pixel_mm
    found = []
    for label in range(1, count):
        if stats[label, cv2.CC_STAT_AREA] < 3:
            continue
        left, top, width, height = (int(v) for v in stats[label, :4])
        rows, cols = np.nonzero(labels[top : top + height, left : left + width] == label)
        length, breadth = _sides(cols * across, rows * down, across * down)
        if breadth > WIDEST_MM:
            continue
        thin = length >= SCRATCH_LENGTH_MM and length >= SCRATCH_ELONGATION * breadth
        col, row = centres[label]
        found.append(
            Speck(
                "scratch" if thin else "dust",
                pixel_to_mm(maps, float(row), float(col)),
                length,
                breadth,
                bright,
                on,
            )
        )
    return found


def _sides(x_mm: Singles, y_mm: Singles, pixel_mm2: float) -> tuple[float, float]:
    """Return length and width of the rectangle with the points' second moments.

    A rectangle's variance along a side is side^2 / 12; each pixel adds its own.
    """
    own = pixel_mm2 / 12.0
    xx, yy = float(np.var(x_mm)) + own, float(np.var(y_mm)) + own
    xy = float(np.mean((x_mm - x_mm.mean()) * (y_mm - y_mm.mean())))
    mean, half = 0.5 * (xx + yy), math.hypot(0.5 * (xx - yy), xy)
    return math.sqrt(12.0 * (mean + half)), math.sqrt(12.0 * max(mean - half, own))
