"""Rig files, the presets that come with lightplan, and the maker's own."""

from lightplan.rigfiles.digest import rig_digest
from lightplan.rigfiles.load import load_rig
from lightplan.rigfiles.loaded import LoadedRig, Thing
from lightplan.rigfiles.manage import PresetInfo, check_rig, copy_rig, list_rigs, save_rig, show_rig
from lightplan.rigfiles.plan_record import PlanRecord, RecordedTolerance
from lightplan.rigfiles.write import rig_to_toml, update_rig_file, write_rig

__all__ = [
    "LoadedRig",
    "PlanRecord",
    "PresetInfo",
    "RecordedTolerance",
    "Thing",
    "check_rig",
    "copy_rig",
    "list_rigs",
    "load_rig",
    "rig_digest",
    "rig_to_toml",
    "save_rig",
    "show_rig",
    "update_rig_file",
    "write_rig",
]
