"""Pictures in which one thing changes, made of numbers: what the eye ranks, the measure must."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np

from lightplan.measures import SheetMaps, measure
from lightplan.scene.look import Look

ROWS, COLS = 180, 240
WIDTH_MM, HEIGHT_MM = 148.0, 111.0
X = (((np.arange(COLS) + 0.5) / COLS - 0.5) * WIDTH_MM)[None, :] * np.ones((ROWS, 1))
Y = ((0.5 - (np.arange(ROWS) + 0.5) / ROWS) * HEIGHT_MM)[:, None] * np.ones((1, COLS))
WAY = X / WIDTH_MM + 0.5

Array = Any


def plate() -> Array:
    return ((abs(X) < 52) & (abs(Y) < 36)).astype(np.float32)


def shapes() -> Array:
    """Return 60 leaves of 5 to 9 mm scattered over the sheet."""
    rng = np.random.default_rng(4)
    found = np.zeros((ROWS, COLS), bool)
    for _ in range(60):
        x, y = rng.uniform(-66, 66), rng.uniform(-48, 48)
        long, turn = rng.uniform(2.5, 4.5), rng.uniform(0, np.pi)
        u = (X - x) * np.cos(turn) + (Y - y) * np.sin(turn)
        v = (Y - y) * np.cos(turn) - (X - x) * np.sin(turn)
        found |= (u / long) ** 2 + (v / (0.5 * long)) ** 2 < 1
    return found.astype(np.float32)


def picture(
    stops: Array,
    mask: Array,
    *,
    paper: float = 0.7,
    light: Array = 1.0,
    noise: float = 0.004,
    foil: Any = (1.02, 1.0, 0.93),
    blur_px: float = 0.7,
) -> SheetMaps:
    """Return a photograph's sheet: foil at stops over white, white at `paper`, under a light."""
    metal = paper * np.exp2(np.asarray(stops, float))[..., None] * np.array(foil)
    lit = (np.ones((ROWS, COLS)) * light)[..., None]
    linear = np.where(mask[..., None] > 0.5, metal, paper) * lit
    linear = cv2.GaussianBlur(linear.astype(np.float32), (0, 0), blur_px)
    rng = np.random.default_rng(9)
    seen = np.clip(linear + noise * rng.standard_normal(linear.shape), 0, 1)
    return SheetMaps.from_linear(seen, mask, width_mm=WIDTH_MM, height_mm=HEIGHT_MM)


def reads(maps: SheetMaps, kind: str | None = "silver foil") -> float:
    return measure(maps, Look(), kind)["reads_as_metal_share"].value


def window(blur_mm: float, share: float = 0.4, step: float = 2.5) -> Array:
    """Return stops of a mirrored window: an upright bright patch with blurred edges."""
    centre, half = 0.08 * WIDTH_MM, 0.5 * share * 104
    level = (abs(X - centre) < half).astype(np.float32)
    sigma = blur_mm * COLS / WIDTH_MM
    level = cv2.GaussianBlur(level, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)
    return 0.4 + np.log2(2.0**-step + (1 - 2.0**-step) * level)


def band(share: float, step: float = 2.5) -> Array:
    """Return stops of a soft band whose upper half covers a share of the plate's width."""
    if share in (0.0, 1.0):
        return np.full_like(X, 0.4 if share else 0.4 - step)
    half, soft = 0.5 * share * 104, min(8.0, 20 * share, 20 * (1 - share) + 1)
    rise = 1 / (1 + np.exp((abs(X) - half) / (0.3 * soft)))
    return 0.4 + np.log2(2.0**-step + (1 - 2.0**-step) * rise)
