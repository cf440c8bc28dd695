"""Thin lines of foil that show more or less paper, here so and there so, are no change of light."""

from __future__ import annotations

import numpy as np
import pytest

from lightplan.estimate.cell_levels import to_stops
from lightplan.estimate.fit import Columns, Fitter
from lightplan.estimate.frame_change import COST_OF_CHANGE
from lightplan.estimate.seen import SeenSheet
from lightplan.estimate.thin_lines import FitterOfLines

COUNT, SHARE = 60, 0.35
LAMP = ("lamp", "x_mm")
LENS = [("camera", axis) for axis in ("x_mm", "y_mm", "z_mm")]
KNOWN = {"clip_cd_m2": 100.0, "exposure_sigma": 0.12, "steady": 0.04, "edge_mm": 0.1}


def fitted(change, seed, *, of_lines):
    """Fit a lamp's step to lines whose own mixing is drawn; return its value and what it explains.

    The lamp brightens cells from left to right; of this foil paper is brighter in blue.
    """
    draw = np.random.default_rng(seed)
    x = np.linspace(-1, 1, COUNT)
    mixing = np.broadcast_to(0.25 * np.array([0.1, 0.5, 1.3]), (COUNT, 3))
    light = np.full((COUNT, 3), 30.0)
    slope = np.repeat(x[:, None], 3, axis=1)
    own = SHARE * np.convolve(draw.normal(size=COUNT + 8), np.ones(9) / 3, "valid")
    stops = to_stops(light, 100.0) + change * slope + own[:, None] * mixing
    stops += draw.normal(0, 0.004, (COUNT, 3))
    seen = SeenSheet(
        stops=stops, noise=np.full((COUNT, 3), 0.004), ended=stops > 9,
        is_foil=np.ones(COUNT, bool), purity=np.full(COUNT, 0.75), x_mm=100 * x, y_mm=0 * x,
        spread_mm=2.0, radius2=0 * x,
    )  # fmt: skip
    fitter = Fitter(seen=seen, **KNOWN)
    if of_lines:
        fitter = FitterOfLines(seen=seen, **KNOWN, mixed=SHARE * mixing)
    values = np.concatenate([slope[..., None], np.zeros((COUNT, 3, 3))], axis=-1)
    still, free = (Columns.of([LAMP, *LENS], values, [s, 1, 1, 1]) for s in (1e-6, 1.0))
    one, none = fitter.fit(light, free), fitter.fit(light, still)
    return one.values[LAMP], one.sigmas[LAMP], none.cost - one.cost, one


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_what_lines_are_mixed_with_is_not_taken_for_a_lamp_that_moved(seed):
    assert abs(fitted(0.0, seed, of_lines=True)[2]) < COST_OF_CHANGE


def test_cell_by_cell_it_would_be():
    assert max(fitted(0.0, seed, of_lines=False)[2] for seed in (1, 2, 3, 4)) > COST_OF_CHANGE


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_lamp_that_moved_is_still_told(seed):
    value, sigma, explained, _ = fitted(0.04, seed, of_lines=True)
    assert explained > 16.0
    assert abs(value - 0.04) < 4 * sigma


def test_what_is_left_is_told_in_stops_of_each_channel():
    *_, one = fitted(0.0, 1, of_lines=True)
    cells = one.residual
    assert cells.shape == (COUNT, 3)
    # it is the lines' own mixing: blue most, red hardly
    spread = cells.std(axis=0)
    assert spread[2] > 2 * spread[1] > 4 * spread[0]
