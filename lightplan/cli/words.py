"""Results in plain words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lightplan.measures import Finding, Judgement
    from lightplan.planning.result import Move


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


def move_line(move: Move) -> str:
    """Return one change of a plan, as "key: height of its middle 640 mm (was 600)"."""
    names = {
        "x_mm": ("right of the middle", "mm"),
        "y_mm": ("away from the middle", "mm"),
        "z_mm": ("height of its middle", "mm"),
        "aim_x_mm": ("aims right of the middle", "mm"),
        "aim_y_mm": ("aims beyond the middle", "mm"),
        "aim_z_mm": ("aims above the sheet", "mm"),
        "width_mm": ("width", "mm"),
        "height_mm": ("height", "mm"),
        "hole_mm": ("hole", "mm"),
        "trim_stops": ("power", "stops from full"),
    }
    what, unit = names.get(move.dimension, (move.dimension, ""))
    digits = 1 if unit.startswith("stops") else 0
    return f"{move.element}: {what} {move.after:.{digits}f} {unit} (was {move.before:.{digits}f})"
