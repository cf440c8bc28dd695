"""Measures, score and findings of sheet maps, wherever the picture came from."""

from lightplan.measures.findings import Finding, find_faults
from lightplan.measures.maps import Background, SheetMaps
from lightplan.measures.measure import Measure, Measures, measure
from lightplan.measures.verdict import Gate, Judgement, Part, Verdict, judge, merit, merits

__all__ = [
    "Background",
    "Finding",
    "Gate",
    "Judgement",
    "Measure",
    "Measures",
    "Part",
    "SheetMaps",
    "Verdict",
    "find_faults",
    "judge",
    "measure",
    "merit",
    "merits",
]
