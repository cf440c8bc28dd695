"""Cautions that apply to rigs, as a command tells them."""

from __future__ import annotations

from lightplan.reports.cautions import cautions_for
from lightplan.tasks.predict import RigLike as RigLike
from lightplan.tasks.predict import as_rig


def cautions_of(*rigs: RigLike | None) -> list[str]:
    """Return the cautions of some rigs, each once, in their usual order.

    One that another goes on from is told by that.
    """
    found = [text for rig in rigs if rig is not None for text in cautions_for(as_rig(rig))]
    longest = (max((o for o in found if o.startswith(text)), key=len) for text in found)
    return list(dict.fromkeys(longest))


def care_lines(*rigs: RigLike | None) -> list[str]:
    """Return them as lines for the screen."""
    return ["Take care:", *(f"  {text}" for text in cautions_of(*rigs))]
