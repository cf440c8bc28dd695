"""What an advice needs of its plan alone: worked out while the photograph is looked at."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

from lightplan.estimate.light_store import LightStore
from lightplan.estimate.unknowns import steps_of, unknowns_of
from lightplan.light import Detail
from lightplan.light.exposure import Settings, settings_for, sheet_share
from lightplan.light.keeper import layers_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from lightplan.scene import Rig

Made = TypeVar("Made")


def by_one_thread(work: Callable[[], Made]) -> Made:
    """Return what work makes; threads of linear algebra wait for each other on small systems."""
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1, "blas"):
        return work()


def begun(plan: Rig) -> LightStore:
    """Return the lights of a plan with what every photograph of it is compared with."""
    lights = LightStore(plan)
    lights.look_ahead(steps_of(unknowns_of(plan)))
    return lights


def plan_settings(rig: Rig) -> Settings:
    """Return the settings with which a plan is to be photographed."""
    detail = replace(Detail.quick(camera_rows=8, camera_cols=8), sheet_long_side=120)
    layers = layers_of(rig, detail)
    return settings_for(rig, layers.sheet_paper, layers.sheet_foil, sheet_share(rig, layers))


def exposed_more(settings: Settings, stops: float) -> Settings:
    """Return settings that give so many stops more, by time."""
    return replace(
        settings, clip_cd_m2=settings.clip_cd_m2 / 2.0**stops, time_s=settings.time_s * 2.0**stops
    )
