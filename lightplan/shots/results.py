"""What is known of one photograph after it was judged, and its form in JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.measures import Finding, Gate, Judgement, Part, Verdict
from lightplan.shots.shot import ShotSettings

if TYPE_CHECKING:
    from pathlib import Path

Triple = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Placed:
    """Where the sheet lies in a photograph.

    Parameters
    ----------
    corners : tuple of 4 (row, column)
        Far left, far right, near right, near left, in pixels of the upright file.
    rows, cols : int
        Size of the upright file.
    confidence : float
        0 to 1.
    how : str
        "sides", "marker card", "artwork" or "by hand".
    """

    corners: tuple[tuple[float, float], ...]
    rows: int
    cols: int
    confidence: float
    how: str


@dataclass(frozen=True, kw_only=True)
class PhotoScore:
    """One photograph, judged or refused.

    Parameters
    ----------
    file, path : str
        Name without folder; place as given.
    score, uncertainty : float or None
        0 to 100 and its one-sigma uncertainty; None where it cannot be told.
    verdict : str
        "keep", "adjust", "retake" or "cannot tell".
    reasons : tuple of str
        The verdict in plain words, what weighs most first.
    measures : dict of str to (value, uncertainty)
        Units are in the names.
    parts, gates, findings : tuple
        Of `lightplan.measures`.
    paper_level, foil_level : (3,) float or None
        Median linear level of paper and of foil, red, green, blue, 1 = clip level.
    card_level : (3,) float or None
        The same of a marker card's middle grey, where one was seen.
    placed : Placed or None
        None where no sheet was found.
    details : dict
        Hot spots, specks, sharpness by ninths, crops and pixels left, as plain values.
    settings : Settings
        Exposure and lens.
    format, profile : str
    bits, reduction : int
        Of the file, and pixels of the file to one pixel that was measured.
    error : str or None
        One sentence, where the photograph could not be read or judged.
    seconds : float
        Time it took. [s]
    """

    file: str
    path: str
    score: float | None = None
    uncertainty: float | None = None
    verdict: Verdict = "cannot tell"
    reasons: tuple[str, ...] = ()
    measures: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    parts: tuple[Part, ...] = ()
    gates: tuple[Gate, ...] = ()
    findings: tuple[Finding, ...] = ()
    paper_level: Triple | None = None
    foil_level: Triple | None = None
    card_level: Triple | None = None
    placed: Placed | None = None
    details: Mapping[str, Any] = field(default_factory=dict)
    settings: ShotSettings = field(default_factory=ShotSettings)
    format: str = ""
    profile: str = ""
    bits: int = 8
    reduction: int = 1
    error: str | None = None
    seconds: float = 0.0

    @classmethod
    def refused(cls, path: Path, error: str, *, seconds: float = 0.0) -> PhotoScore:
        """Return the result of a photograph that could not be judged."""
        return cls(file=path.name, path=str(path), error=error, reasons=(error,), seconds=seconds)

    def value(self, name: str) -> float | None:
        """Return a measure's value, None where the picture did not allow it."""
        return self.measures[name][0] if name in self.measures else None

    def judgement(self) -> Judgement | None:
        """Return the verdict as the measures layer gave it; None for a refused photograph."""
        if self.error is not None:
            return None
        return Judgement(
            self.score, self.verdict, self.parts, self.gates, self.reasons, self.uncertainty
        )

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON.

        `measures` holds the bare values, as other programs read them, and
        `uncertainties` their one-sigma uncertainties.
        """
        plain: dict[str, Any] = {}
        for one in fields(self):
            plain[one.name] = _plain(getattr(self, one.name))
        plain["measures"] = {name: pair[0] for name, pair in self.measures.items()}
        plain["uncertainties"] = {name: pair[1] for name, pair in self.measures.items()}
        return plain

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> PhotoScore:
        """Return the result that `to_dict` wrote.

        >>> one = PhotoScore(file="a.jpg", path="a.jpg", measures={"foil_dark_share": (0.1, 0.01)})
        >>> PhotoScore.from_dict(one.to_dict()) == one
        True
        """
        told = dict(plain)
        errors = told.pop("uncertainties")
        told["measures"] = {n: (v, errors[n]) for n, v in told["measures"].items()}
        for name, kind in (("parts", Part), ("gates", Gate)):
            told[name] = tuple(kind(**entry) for entry in told[name])
        told["findings"] = tuple(_finding(entry) for entry in told["findings"])
        told["settings"] = ShotSettings(**told["settings"])
        told["reasons"] = tuple(told["reasons"])
        for name in ("paper_level", "foil_level", "card_level"):
            told[name] = None if told[name] is None else tuple(told[name])
        if told["placed"] is not None:
            corners = tuple((float(r), float(c)) for r, c in told["placed"]["corners"])
            told["placed"] = Placed(**{**told["placed"], "corners": corners})
        return cls(**told)


def _finding(entry: Mapping[str, Any]) -> Finding:
    x, y = entry["where_mm"]
    tuples = {"where_mm": (x, y), "measures": tuple(entry["measures"])}
    return Finding(**{**entry, **tuples})


def _plain(value: Any) -> Any:
    """Return dataclasses, mappings and tuples as dicts and lists, all the way down."""
    if hasattr(value, "__dataclass_fields__"):
        return {one.name: _plain(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(entry) for key, entry in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(entry) for entry in value]
    if isinstance(value, np.generic):
        value = value.item()
    return value
