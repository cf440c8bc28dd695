"""Scores of photographs as a table for programs: `scores.csv` and `scores.json`."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
LEADING = (
    "set",
    "rank",
    "file",
    "score",
    "uncertainty",
    "verdict",
    "error",
    "likeness",
    "ties",
    "flags",
    "findings",
)


@dataclass(frozen=True, eq=False)
class ScoreRow:
    """One photograph of a set.

    Parameters
    ----------
    entry : mapping
        Plain values: `file`, `score`, `verdict`, `measures` (name to value), `findings`,
        `error`; further ones (`uncertainty`, `reasons`, `parts`, `gates`, `placed`,
        `details`, `settings`) are shown where they are given.
    rank : int or None
        1 is best.
    likeness : float or None
        0 to 100, how like the middle of its set.
    ties : tuple of str
        Files that cannot be told from this one by their score.
    flags : tuple of str
        Sentences: how it left the set.
    group : str
        Which of two sets it belongs to; empty where there is one.
    picture, clipped : bytes, str or None
        JPEG thumbnail and PNG overlay: bytes are embedded in the page, a string is the
        place of the file beside it.
    """

    entry: Mapping[str, Any]
    rank: int | None = None
    likeness: float | None = None
    ties: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    group: str = ""
    picture: bytes | str | None = None
    clipped: bytes | str | None = None

    @property
    def file(self) -> str:
        """Name of the photograph."""
        return str(self.entry["file"])

    @property
    def score(self) -> float | None:
        """0 to 100."""
        value = self.entry.get("score")
        return None if value is None else float(value)

    @property
    def verdict(self) -> str:
        """One of the four verdicts; "error" for a photograph that was refused."""
        return "error" if self.entry.get("error") else str(self.entry["verdict"])

    @property
    def measures(self) -> dict[str, float]:
        """Values by name."""
        return {str(name): float(value) for name, value in self.entry["measures"].items()}


def scores_json(rows: Sequence[ScoreRow]) -> str:
    """Return a JSON list with one object for each photograph, in the order given.

    One object to a line: of 10,000 photographs a page of text each would be no use.
    """
    lines = [json.dumps(_with_place(row), ensure_ascii=False, allow_nan=False) for row in rows]
    return "[\n" + ",\n".join(lines) + "\n]\n"


def _with_place(row: ScoreRow) -> dict[str, Any]:
    fixed = {
        "file": row.file,
        "score": row.score,
        "verdict": row.entry["verdict"],
        "measures": row.measures,
        "findings": list(row.entry["findings"]),
        "error": row.entry.get("error"),
    }
    placed = {
        "rank": row.rank,
        "likeness": row.likeness,
        "ties": list(row.ties),
        "flags": list(row.flags),
        "set": row.group,
    }
    return {**row.entry, **fixed, **placed}


def scores_csv(rows: Sequence[ScoreRow]) -> str:
    """Return a table with one line for each photograph (RFC 4180), measures in columns.

    A text that a spreadsheet would take for a formula gets an apostrophe before it; the
    names in `scores.json` are exact.
    """
    names = sorted({name for row in rows for name in row.measures})
    file = io.StringIO(newline="")
    table = csv.writer(file, lineterminator="\r\n")
    table.writerow([*LEADING, *names])
    for row in rows:
        table.writerow([_safe(value) for value in (*_leading(row), *_values(row, names))])
    return file.getvalue()


def _leading(row: ScoreRow) -> tuple[Any, ...]:
    findings = "; ".join(str(finding["what"]) for finding in row.entry["findings"])
    return (
        row.group,
        row.rank,
        row.file,
        _figure(row.score),
        _figure(row.entry.get("uncertainty")),
        row.entry["verdict"],
        row.entry.get("error"),
        _figure(row.likeness),
        "; ".join(row.ties),
        "; ".join(row.flags),
        findings,
    )


def _values(row: ScoreRow, names: Sequence[str]) -> list[str | None]:
    measures = row.measures
    return [_figure(measures.get(name)) for name in names]


def _figure(value: float | None) -> str | None:
    """Return a number in six digits, so that tables compare well."""
    return None if value is None else f"{value:.6g}"


def _safe(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, str) and value.startswith(FORMULA_STARTS) and not _is_number(value):
        return f"'{value}"
    return value


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
