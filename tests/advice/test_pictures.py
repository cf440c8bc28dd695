"""The pictures beside an advice."""

from __future__ import annotations

import dataclasses
import io

import hostile
import numpy as np
import pytest
from PIL import Image

from lightplan.tasks.advice_files import before_after
from lightplan.tasks.advise import advise


@pytest.mark.filterwarnings("error::RuntimeWarning")
def test_a_sheet_that_a_cone_hides_from_the_lens_is_drawn_as_it_would_be_seen(tmp_path):
    photo = tmp_path / "small.jpg"
    hostile.photograph(photo, "a sheet")
    few = dataclasses.replace(hostile.rig(0), lamps=hostile.rig(0).lamps[1:], cards=(), props=())
    advice = advise(photo, rig=few)
    assert advice.estimate is not None
    with Image.open(io.BytesIO(before_after(advice))) as drawn:
        codes = np.asarray(drawn.convert("RGB"))
    assert len(np.unique(codes)) > 9
