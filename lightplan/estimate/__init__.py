"""The rig as it was built, from photographs: what slipped, how far, how surely."""

from lightplan.estimate.drift import drifted
from lightplan.estimate.drift_search import FramePair
from lightplan.estimate.estimating import Photographed, estimate
from lightplan.estimate.result import CameraState, Estimate, Rival
from lightplan.estimate.seen import SeenSheet, seen_sheet, steps_of

__all__ = [
    "CameraState",
    "Estimate",
    "FramePair",
    "Photographed",
    "Rival",
    "SeenSheet",
    "drifted",
    "estimate",
    "seen_sheet",
    "steps_of",
]
