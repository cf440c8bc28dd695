"""Photographs of builds with known slips, and their plans."""

from __future__ import annotations

import sys
from functools import lru_cache
from pathlib import Path

import pytest

SLIPPED = Path(__file__).parents[1] / "reference" / "slipped"
sys.path.insert(0, str(SLIPPED))


@lru_cache(maxsize=1)
def _builds():
    from photographs import ALL, read_builds

    return {build.name: build for build in read_builds(*ALL)}


@pytest.fixture
def builds():
    """Return the builds that were photographed, by name."""
    return _builds()


@lru_cache(maxsize=16)
def _planned(plan):
    """Return a plan and its lights: what is asked of them hangs on no photograph, nor on order."""
    from bases import base_rig

    from lightplan.tasks.begun import begun

    rig = base_rig(plan)
    return rig, begun(rig)


@lru_cache(maxsize=32)
def _advised(name):
    from lightplan.tasks import advise

    rig, lights = _planned(name.rpartition("_")[0])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(advise, "begun", lambda _: lights)
        return advise.advise(SLIPPED / "photographs" / f"{name}.jpg", rig=rig)


@pytest.fixture
def advised():
    """Return a function from a stored photograph's name to its advice, each worked out once."""
    return _advised


@pytest.fixture
def searched():
    """Return a function from a stored photograph's name to the search in it."""
    from bases import base_rig

    from lightplan.estimate.estimating import data_of
    from lightplan.estimate.search import FitSearch
    from lightplan.tasks.advise import plan_settings
    from lightplan.tasks.photographed import look_at_set, photographed

    def found(name):
        rig = base_rig(name.rpartition("_")[0])
        photo = photographed(look_at_set(SLIPPED / "photographs" / f"{name}.jpg", rig))
        clip = plan_settings(rig).clip_cd_m2
        return FitSearch(rig, *data_of(rig, photo, clip, None))

    return found
