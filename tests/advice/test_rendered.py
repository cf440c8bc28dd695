"""What the path tracer's pictures are smoothed by, before they are photographed."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np

WHERE = Path(__file__).parents[1] / "reference/slipped/render.py"


def smoothed(*given):
    made = importlib.util.spec_from_file_location("slipped_render", WHERE)
    module = importlib.util.module_from_spec(made)
    made.loader.exec_module(module)
    return module.smoothed(*given)


def test_a_pixel_that_was_lost_costs_no_other():
    light = np.full((24, 30, 3), 2.0)
    light[7, 9] = np.nan
    on_sheet = np.zeros((24, 30), bool)
    on_sheet[4:20, 5:25] = True
    light[~on_sheet] = 0.5
    found = smoothed(light, on_sheet, 1.5)
    np.testing.assert_allclose(found[on_sheet], 2.0)
    np.testing.assert_allclose(found[~on_sheet], 0.5)
