"""Results in plain words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from lightplan.units import LengthUnit, show_length

if TYPE_CHECKING:
    from lightplan.measures import Finding, Judgement
    from lightplan.planning.result import Move

MOVED_WORDS = {
    "z_mm": "height of its middle ",
    "aim_x_mm": "aims at a point ",
    "aim_y_mm": "aims at a point ",
    "aim_z_mm": "aims at a height of ",
    "width_mm": "width ",
    "height_mm": "length ",
    "hole_mm": "hole ",
}


def verdict_line(judgement: Judgement) -> str:
    """Return score and verdict in a line."""
    if judgement.score is None:
        return f"Verdict: {judgement.verdict}."
    return f"Score {judgement.score:.0f} of 100: {judgement.verdict}."


def finding_lines(findings: Sequence[Finding]) -> list[str]:
    """Return each finding with its place, cause and move."""
    lines = []
    for number, finding in enumerate(findings, 1):
        x, y = finding.where_mm
        lines.append(f"{number}. {_sentence(finding.what)} Look at {place_words(x, y)}.")
        if finding.cause:
            lines.append(f"   Why: {_sentence(finding.cause)}")
        if finding.move:
            lines.append(f"   Do:  {_sentence(finding.move)}{_gain(finding.gain)}")
    return lines


def place_words(x_mm: float, y_mm: float) -> str:
    """Return a place on the sheet as the maker finds it.

    >>> place_words(-12.0, 30.4)
    '12 mm left of and 30 mm beyond the middle'
    >>> place_words(0.2, 0.0)
    'the middle'
    """
    across = "" if abs(x_mm) < 0.5 else f"{abs(x_mm):.0f} mm {'right' if x_mm > 0 else 'left'} of"
    away = "" if abs(y_mm) < 0.5 else f"{abs(y_mm):.0f} mm {'beyond' if y_mm > 0 else 'before'}"
    parts = [part for part in (across, away) if part]
    return f"{' and '.join(parts)} the middle" if parts else "the middle"


def written_lines(paths: Iterable[Path]) -> list[str]:
    """Return where files were written."""
    return ["Wrote:", *(f"  {path}" for path in paths)]


def _gain(points: float) -> str:
    return f" (about {points:+.0f} points)" if points >= 0.5 else ""


def _sentence(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else text + "."


def move_line(move: Move, unit: LengthUnit = "mm") -> str:
    """Return one change of a plan, in the words of the setup sheet.

    >>> from lightplan.planning.result import Move
    >>> move_line(Move(element="softbox", dimension="x_mm", before=-480.0, after=-350.4))
    'softbox: 350 mm left (was 480 mm left)'
    >>> move_line(Move(element="key", dimension="trim_stops", before=0.0, after=-1.0))
    'key: 1 stop below full power, 50 % of its light (was full power)'
    """
    before, after = (_setting(move.dimension, v, unit) for v in (move.before, move.after))
    what = MOVED_WORDS.get(move.dimension, "")
    return f"{move.element}: {what}{after} (was {before})"


def _setting(dimension: str, value: float, unit: LengthUnit) -> str:
    from lightplan.reports.setup_steps import power_words
    from lightplan.reports.setup_words import away_towards, left_right

    if dimension == "trim_stops":
        return power_words(round(value, 2))
    if dimension.endswith("x_mm"):
        return left_right(value, unit)
    if dimension.endswith("y_mm"):
        return away_towards(value, unit)
    return show_length(value, unit)
