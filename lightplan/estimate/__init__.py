"""The rig as it was built, from photographs: what slipped, how far, how surely."""

from lightplan.estimate.drift_search import FramePair
from lightplan.estimate.estimating import Photographed, estimate
from lightplan.estimate.found import CameraState, Estimate, OtherView, Rival
from lightplan.estimate.frame_change import drifted
from lightplan.estimate.pin import PaperSeen, Pin, PinFound, find_pin
from lightplan.estimate.seen import SeenSheet, seen_samples, seen_sheet, steps_of
from lightplan.estimate.several import estimate_together
from lightplan.estimate.strip import Strip
from lightplan.estimate.telling import HIDES, Doubt

__all__ = [
    "HIDES",
    "CameraState",
    "Doubt",
    "Estimate",
    "FramePair",
    "OtherView",
    "PaperSeen",
    "Photographed",
    "Pin",
    "PinFound",
    "Rival",
    "SeenSheet",
    "Strip",
    "drifted",
    "estimate",
    "estimate_together",
    "find_pin",
    "seen_samples",
    "seen_sheet",
    "steps_of",
]
