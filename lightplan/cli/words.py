"""Results in plain words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from lightplan.words.places import spot_words

if TYPE_CHECKING:
    from lightplan.tasks.predict import Finding, Judgement


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
        lines.append(f"{number}. {sentence(finding.what)} Look at {spot_words(x, y)}.")
        if finding.cause:
            lines.append(f"   Why: {sentence(finding.cause)}")
        if finding.move:
            lines.append(f"   Do:  {sentence(finding.move)}{_gain(finding.gain)}")
    return lines


def written_lines(paths: Iterable[Path]) -> list[str]:
    """Return where files were written."""
    return ["Wrote:", *(f"  {path}" for path in paths)]


def _gain(points: float) -> str:
    return f" (about {points:+.0f} points)" if points >= 0.5 else ""


def sentence(text: str) -> str:
    """Return a text with a capital and a full stop."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else text + "."
