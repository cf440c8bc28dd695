"""Hot spots one by one: place, area and height. For photographs; too dear for a search."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from lightplan.measures.fault_places import pixel_to_mm, region_mask, unmixed_pixels
from lightplan.measures.levels import LEAST_CELLS, LEAST_LEVEL, Levels, luminance
from lightplan.measures.maps import CLIP_LEVEL, SheetMaps
from lightplan.measures.smooth import smooth_coefficients

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Integers, Singles
    from lightplan.measures.grid import Region

LEAST_STOPS = 1.0 / 3.0
"""A spot stands at least this far above the smooth level of its material. Our choice."""
LEAST_AREA_MM2 = 0.5
MOST_SPOTS = 20


@dataclass(frozen=True, slots=True)
class HotSpot:
    """One bright patch.

    Parameters
    ----------
    where_mm : (2,) float
        x, y of its middle, weighted with the light above the smooth level.
    area_mm2 : float
        Where the light above the smooth level is half its peak or more.
    height_stops : float
        Peak above the smooth level; a least value when it is clipped.
    clipped : bool
    on : str
        "foil" or "paper".
    """

    where_mm: tuple[float, float]
    area_mm2: float
    height_stops: float
    clipped: bool
    on: str


def hot_spots(maps: SheetMaps) -> tuple[HotSpot, ...]:
    """Return the hot spots of foil and paper, the largest amount of light first."""
    levels = Levels.of(maps)
    level = luminance(np.minimum(maps.linear, np.float32(CLIP_LEVEL)))
    found: list[tuple[float, HotSpot]] = []
    for on, region, stops, surface in (
        ("foil", maps.grid.foil, levels.foil_stops, maps.grid.foil_surface),
        ("paper", maps.grid.paper, levels.paper_stops, maps.grid.paper_surface),
    ):
        if len(stops) >= LEAST_CELLS:
            fit = smooth_coefficients(stops, surface)
            least = max(LEAST_STOPS, 4.0 * float(levels.noise_stops))
            found += _spots(maps, level, region, fit, least, on)
    found.sort(key=lambda pair: -pair[0])
    return tuple(spot for _, spot in found[:MOST_SPOTS])


def _spots(
    maps: SheetMaps, level: Singles, region: Region, fit: Doubles, least: float, on: str
) -> list[tuple[float, HotSpot]]:
    mask = region_mask(maps, region) & unmixed_pixels(maps)
    smooth = _smooth_field(maps, fit)
    calm = cv2.medianBlur(np.where(mask, level, smooth).astype(np.float32), 3)
    above = np.where(mask, calm - smooth, np.float32(0.0)).astype(np.float32)
    high = mask & (above > smooth * np.float32(2.0**least - 1.0) + np.float32(LEAST_LEVEL))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(high.astype(np.uint8), None)
    across, down = maps.pixel_mm
    found = []
    largest = np.argsort(-stats[1:, cv2.CC_STAT_AREA], kind="stable")
    order: Integers = 1 + largest[: 3 * MOST_SPOTS]
    for label in order if count > 1 else ():
        box = _round(np.asarray(stats[label, :4], np.int64), above.shape)
        spot = _one_spot(
            maps, above, smooth, np.asarray(labels, np.int32), int(label), mask, box, on
        )
        if spot is not None and spot[1].area_mm2 >= max(LEAST_AREA_MM2, 3.0 * across * down):
            found.append(spot)
    return found


def _round(box: Integers, shape: tuple[int, ...]) -> tuple[slice, slice]:
    """Return rows and columns of a box (left, top, width, height) with its size round it."""
    left, top, width, height = (int(v) for v in box)
    reach = max(width, height) + 4
    return (
        slice(max(0, top - reach), min(shape[0], top + height + reach)),
        slice(max(0, left - reach), min(shape[1], left + width + reach)),
    )


def _one_spot(
    maps: SheetMaps,
    above: Singles,
    smooth: Singles,
    labels: Integers,
    label: int,
    mask: Booleans,
    box: tuple[slice, slice],
    on: str,
) -> tuple[float, HotSpot] | None:
    """Return the spot round the peak of one blob, and its amount of light."""
    blob, near = labels[box] == label, above[box]
    peak = float(np.quantile(near[blob], 0.98))
    at = np.unravel_index(int(np.argmax(np.where(blob, near, -1.0))), near.shape)
    body = ((near >= 0.5 * peak) & mask[box]).astype(np.uint8)
    parts = cv2.connectedComponents(body)[1]
    if parts[at] == 0:
        return None
    rows, cols = np.nonzero(parts == parts[at])
    weight = near[rows, cols].astype(np.float64)
    weight /= weight.sum()
    across, down = maps.pixel_mm
    ground = float(smooth[box][at])
    row, col = float(rows @ weight) + box[0].start, float(cols @ weight) + box[1].start
    spot = HotSpot(
        where_mm=pixel_to_mm(maps, row, col),
        area_mm2=len(rows) * across * down,
        height_stops=float(np.log2((ground + peak + LEAST_LEVEL) / (ground + LEAST_LEVEL))),
        clipped=bool(maps.clipped[box][rows, cols].any()),
        on=on,
    )
    return peak * spot.area_mm2, spot


def _smooth_field(maps: SheetMaps, fit: Doubles) -> Singles:
    """Return the quadratic of log2 luminance as luminance on every pixel."""
    rows, cols = maps.foil.shape
    half = maps.grid.half_diagonal_mm
    x = (((np.arange(cols) + 0.5) / cols - 0.5) * maps.width_mm / half)[None, :]
    y = ((0.5 - (np.arange(rows) + 0.5) / rows) * maps.height_mm / half)[:, None]
    one, by_x, by_y, by_xx, by_xy, by_yy = fit
    stops = one + by_x * x + by_y * y + by_xx * x * x + by_xy * x * y + by_yy * y * y
    field: Singles = (2.0 ** np.clip(stops, -20.0, 6.0) - LEAST_LEVEL).astype(np.float32)
    return np.maximum(field, np.float32(0.0))
