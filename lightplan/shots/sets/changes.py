"""What changed from one frame to the next."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from lightplan.measures.measure import unit_of

if TYPE_CHECKING:
    from lightplan.shots.results import PhotoScore

# Changes below this many joint standard uncertainties are noise.
_SIGMAS = 2.0


@dataclass(frozen=True)
class MeasureChange:
    """One measure that changed by more than its uncertainty."""

    measure: str
    before: float
    after: float
    unit: str
    points: float


@dataclass(frozen=True)
class Changes:
    """The step from the frame before to this one.

    Parameters
    ----------
    before, after : str
        Names of the files.
    score : float or None
        Points gained; None where one of the two has no score.
    clear : bool
        True where the score changed by more than twice its joint uncertainty.
    verdict : (str, str) or None
        Before and after, where it changed.
    measures : tuple of MeasureChange
        What the points of the score went with, most points first, then the others.
    cured, new : tuple of str
        Findings that went and came.
    settings : tuple of str
        Camera settings that changed ("time_s 0.008 to 0.004").
    """

    before: str
    after: str
    score: float | None
    clear: bool
    verdict: tuple[str, str] | None
    measures: tuple[MeasureChange, ...]
    cured: tuple[str, ...]
    new: tuple[str, ...]
    settings: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return asdict(self)


def changes_between(before: PhotoScore, after: PhotoScore) -> Changes:
    """Return what changed from `before` to `after`."""
    gained, clear = _gained(before, after)
    old = {finding.code: finding.what for finding in before.findings}
    now = {finding.code: finding.what for finding in after.findings}
    changed = before.verdict != after.verdict
    return Changes(
        before=before.file,
        after=after.file,
        score=gained,
        clear=clear,
        verdict=(before.verdict, after.verdict) if changed else None,
        measures=_measures(before, after),
        cured=tuple(what for code, what in old.items() if code not in now),
        new=tuple(what for code, what in now.items() if code not in old),
        settings=_settings(before, after),
    )


def _gained(before: PhotoScore, after: PhotoScore) -> tuple[float | None, bool]:
    if before.score is None or after.score is None:
        return None, before.score is not after.score
    joint = math.hypot(*(p.uncertainty for p in (before, after) if p.uncertainty is not None))
    gained = after.score - before.score
    return gained, abs(gained) > max(0.5, _SIGMAS * joint)


def _measures(before: PhotoScore, after: PhotoScore) -> tuple[MeasureChange, ...]:
    points = {part.measure: part.points for part in after.parts}
    for part in before.parts:
        points[part.measure] = points.get(part.measure, part.points) - part.points
    found = []
    for name in sorted(set(before.measures) & set(after.measures)):
        (old, error), (new, other) = before.measures[name], after.measures[name]
        if abs(new - old) > _SIGMAS * math.hypot(error, other) and not _same(old, new):
            earned = points.get(name, 0.0)
            found.append(MeasureChange(name, old, new, unit_of(name), earned))
    return tuple(sorted(found, key=lambda change: -abs(change.points)))


def _same(old: float, new: float) -> bool:
    """Tell whether two values show the same three digits."""
    return f"{old:.3g}" == f"{new:.3g}"


def _settings(before: PhotoScore, after: PhotoScore) -> tuple[str, ...]:
    old, new = before.settings.to_dict(), after.settings.to_dict()
    return tuple(
        f"{name} {_show(old[name])} to {_show(new[name])}"
        for name in old
        if name != "taken" and old[name] != new[name]
    )


def _show(value: object) -> str:
    if value is None:
        return "not told"
    return f"{value:.4g}" if isinstance(value, float) else str(value)
