"""Rigs: list, show, check, save and copy them."""

from lightplan.rigfiles import LoadedRig as LoadedRig
from lightplan.rigfiles import check_rig as check_rig
from lightplan.rigfiles import copy_rig as copy_rig
from lightplan.rigfiles import list_rigs as list_rigs
from lightplan.rigfiles import load_rig as load_rig
from lightplan.rigfiles import save_rig as save_rig
from lightplan.rigfiles import show_rig as show_rig
from lightplan.scene import Rig as Rig
