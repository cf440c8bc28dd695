"""A photograph tells the same at 640 and at 6000 pixels: the sheet is found at either size.

The larger file is the smaller one, enlarged with noise; what it should show is known exactly.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from lightplan.shots.pipeline import look_at
from lightplan.tasks.photographed import context_of

SLIPPED = Path(__file__).parents[1] / "reference" / "slipped"
sys.path.insert(0, str(SLIPPED))


@pytest.mark.parametrize("name", ["certificate_bright_04", "certificate_bright_10"])
def test_the_sheet_is_found_at_either_size(name, tmp_path):
    from bases import base_rig
    from camera_chain import enlarged

    context = context_of(base_rig(name.rpartition("_")[0]))
    photo = SLIPPED / "photographs" / f"{name}.jpg"
    small = look_at(photo, context).score
    large = look_at(enlarged(photo, tmp_path), context).score
    assert small.placed is not None
    assert large.placed is not None
    scale = large.placed.rows / small.placed.rows
    wanted = (np.array(small.placed.corners) + 0.5) * scale - 0.5
    # a soft picture's edges are known to about a pixel of the small one
    assert np.abs(np.array(large.placed.corners) - wanted).max() < 1.2 * scale
    assert large.score is not None
