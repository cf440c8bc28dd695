"""Rig files, the presets that come with lightplan, and the maker's own."""

from lightplan.presets.digest import rig_digest
from lightplan.presets.load import load_rig
from lightplan.presets.loaded import LoadedRig, PlanRecord, Thing, Tolerance
from lightplan.presets.manage import (
    PresetInfo,
    check_rig,
    copy_rig,
    list_rigs,
    save_rig,
    show_rig,
)
from lightplan.presets.write import rig_to_toml, update_rig_file, write_rig

__all__ = [
    "LoadedRig",
    "PlanRecord",
    "PresetInfo",
    "Thing",
    "Tolerance",
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
