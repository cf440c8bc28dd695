"""What the page loads once it answers: in one thread, in one order, before any other needs it.

Two threads that load modules of one package at once can each be given a half-loaded one by
Python, which breaks ties between them that way; then one of them fails for good.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

SIGHT = (
    "lightplan.tasks.live",
    "lightplan.tasks.layout",
    "lightplan.tasks.changing",
    "scipy.linalg",
    "scipy.spatial",
)
"""For the picture that follows the hand; also what light asks for late, in the thread that works
it out: the tools would be loading the same then."""
TOOLS = (
    "lightplan.tasks.closer",
    "lightplan.tasks.workbench",
    "lightplan.tasks.shooting",
    "lightplan.tasks.start",
    "lightplan.tasks.start_rig",
    "lightplan.tasks.lamp_photo",
    "lightplan.tasks.foil_artwork",
    "lightplan.tasks.rig_store",
    "lightplan.tasks.shelf",
)
"""For all else. Children that work send back objects of these modules."""


def load(names: Sequence[str]) -> None:
    """Load modules, one after the other."""
    for name in names:
        importlib.import_module(name)
