"""Synthetic sheets with known answers."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from lightplan.measures import SheetMaps

ROWS, COLS = 90, 120
WIDTH_MM, HEIGHT_MM = 148.0, 111.0

Field = Callable[[np.ndarray, np.ndarray], Any]


def build(
    foil_field: Field | float = 0.8,
    paper_field: Field | float = 0.6,
    *,
    rows: int = ROWS,
    cols: int = COLS,
    noise: float = 0.0,
    mask: str = "panel",
    **more: Any,
) -> SheetMaps:
    """Return maps of a sheet whose foil and paper follow fields of (x_mm, y_mm)."""
    x = ((np.arange(cols) + 0.5) / cols - 0.5)[None, :] * WIDTH_MM * np.ones((rows, 1))
    y = (0.5 - (np.arange(rows) + 0.5) / rows)[:, None] * HEIGHT_MM * np.ones((1, cols))
    foil = {
        "panel": (abs(x) < 0.35 * WIDTH_MM) & (abs(y) < 0.3 * HEIGHT_MM),
        "all": np.ones((rows, cols), bool),
        "none": np.zeros((rows, cols), bool),
        "disk": np.hypot(x, y) < 40.0,
    }[mask]
    parts = [
        np.asarray(field(x, y) if callable(field) else field, float)
        for field in (foil_field, paper_field)
    ]
    metal, stock = (p if p.ndim == 3 else np.broadcast_to(p, x.shape)[..., None] for p in parts)
    linear = np.where(foil[..., None], metal, stock) * np.ones(3)
    if noise:
        linear = linear * (1.0 + noise * np.random.default_rng(7).standard_normal(linear.shape))
    if more.pop("saturate", False):
        linear = np.minimum(linear, 1.0)
    return SheetMaps.from_linear(
        linear, foil.astype(np.float32), width_mm=WIDTH_MM, height_mm=HEIGHT_MM, **more
    )


@pytest.fixture
def sheet() -> Callable[..., SheetMaps]:
    """Return the builder of synthetic sheets."""
    return build


@pytest.fixture(scope="session")
def sheet_builder() -> Callable[..., SheetMaps]:
    """Return the builder, for tests that draw many examples."""
    return build
