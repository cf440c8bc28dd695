"""From faults to causes and cures: what in the rig makes a fault, and which move helps."""

from lightplan.advice.causes import explain_findings

__all__ = ["explain_findings"]
