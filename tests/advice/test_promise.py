"""Whether stated deviations of promised scores hold on photographs (path tracer, camera chain).

What was photographed is stored beside the builds; `promised.py` says how it came to be.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from lightplan.advice.promise import promised

STORED = Path(__file__).parents[1] / "reference" / "slipped"


def deviations(which):
    found = []
    for one in json.loads((STORED / f"promises_{which}.json").read_text("utf-8")):
        foretold = one["predicted_now"] + one["gain"]
        told, sigma = promised(one["before"], foretold, gain=one["gain"], spread=one["spread"])
        found.append(abs(np.mean(one["right"]) - told) / sigma)
    return np.array(found)


@pytest.mark.parametrize("which", ["design", "aside"])
def test_promises_hold_about_as_often_as_they_say(which):
    away = deviations(which)
    assert len(away) > 10
    # 68 and 95 % are stated; of a dozen one is a twelfth
    assert 0.5 <= np.mean(away <= 1) <= 0.85
    assert np.mean(away <= 2) >= 0.85


def test_a_promise_lies_between_photograph_and_prediction_and_never_beyond_the_scale():
    told, sigma = promised(60.0, 70.0, gain=20.0, spread=1.0)
    assert told == pytest.approx(75.0)
    assert sigma > promised(60.0, 80.0, gain=20.0, spread=1.0)[1]
    assert promised(95.0, 99.0, gain=20.0, spread=1.0)[0] == 100.0
