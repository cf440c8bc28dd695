"""Measures, score and findings of sheet maps, wherever the picture came from."""

from lightplan.measures.maps import Background, SheetMaps
from lightplan.measures.measure import Measure, Measures, measure
from lightplan.measures.score import Gate, Judgement, Part, Verdict, judge, merit

__all__ = [
    "Background",
    "Gate",
    "Judgement",
    "Measure",
    "Measures",
    "Part",
    "SheetMaps",
    "Verdict",
    "judge",
    "measure",
    "merit",
]
