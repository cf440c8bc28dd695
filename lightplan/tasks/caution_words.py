"""Cautions that apply to rigs, as a command tells them."""

from __future__ import annotations

from lightplan.reports.cautions import cautions_for
from lightplan.tasks.predict import RigLike as RigLike
from lightplan.tasks.predict import as_rig


def cautions_of(*rigs: RigLike | None) -> list[str]:
    """Return the cautions of some rigs together, in their usual order."""
    return list(cautions_for(*(as_rig(rig) for rig in rigs if rig is not None)))


def care_lines(*rigs: RigLike | None) -> list[str]:
    """Return them as lines for the screen."""
    return ["Take care:", *(f"  {text}" for text in cautions_of(*rigs))]
