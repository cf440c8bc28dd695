"""More detail moves the answer by less than the error that is claimed.

Claimed: 1 % root mean square over the sheet for the usual detail (the bound that holds
against the path tracer), 3 % for the quick one that follows the mouse. Where the foil mirrors a
board with a lamp close before it, as the bookplate's does, rays meet its hot spot unevenly: 1.3 %
and 4.1 % were seen there. The quick one counts the stock's unevenness as roughness; what that
alone does comes on top and has a bound of its own.
"""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from lightplan.light import Detail, Engine
from lightplan.rigfiles import load_rig

RIGS = Path(__file__).parents[2] / "rigs"
CLAIMED = {
    "gold-card-above": (0.0125, 0.03),
    "silver-bookplate-bright": (0.015, 0.045),
    "copper-label-gradient": (0.0125, 0.03),
}
USUAL = Detail(sheet_long_side=121, camera_rows=16, camera_cols=24)
QUICK = dataclasses.replace(Detail.quick(camera_rows=16, camera_cols=24), sheet_long_side=121)
FINER = dataclasses.replace(
    USUAL, cells=20, texels=96, direct_long_side=73, bounce_long_side=31, lamp_spots=233,
    cell_lamp_spots=89, sky_rays=987, cell_sky_rays=233, foil_long_side=41,
    foil_rays=4_500_000, foil_spots=144, mirror_spots=55, mirror_rounds=6,
)  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("name", CLAIMED)
def test_more_detail_changes_less_than_the_claimed_error(name):
    rig = load_rig(RIGS / f"{name}.toml").rig
    level = dataclasses.replace(FINER, follows_relief=False)
    finer, flat, usual, quick = (Engine(rig, d).sheet(rig) for d in (FINER, level, USUAL, QUICK))
    for layer, name_of in enumerate(("paper", "foil")):
        off = {
            "usual": difference(usual[layer], finer[layer]),
            "quick": difference(quick[layer], flat[layer]),
            "quick, unevenness too": difference(quick[layer], finer[layer]),
        }
        print(f"{name} {name_of}:", {key: f"{share:.2%}" for key, share in off.items()})
        assert off["usual"] < CLAIMED[name][0]
        assert off["quick"] < CLAIMED[name][1]
        assert off["quick, unevenness too"] < 0.07  # seen: 6.0 % on the copper label


def difference(found, true):
    """Root mean square difference over the mean."""
    true = true.astype(float)
    return np.sqrt(np.mean((found - true) ** 2)) / true.mean()
