"""Rig files, the presets that come with lightplan, and the maker's own."""

from lightplan.presets.load import load_rig
from lightplan.presets.loaded import LoadedRig, PlanRecord, Thing, Tolerance

__all__ = ["LoadedRig", "PlanRecord", "Thing", "Tolerance", "load_rig"]
