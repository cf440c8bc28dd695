"""The rig as it was built, from photographs: what slipped, how far, how surely."""

from lightplan.estimate.estimating import Photographed, changed_since, estimate
from lightplan.estimate.result import CameraState, Estimate, Rival
from lightplan.estimate.seen import SeenSheet, seen_sheet

__all__ = [
    "CameraState",
    "Estimate",
    "Photographed",
    "Rival",
    "SeenSheet",
    "changed_since",
    "estimate",
    "seen_sheet",
]
