"""Advise: what is wrong with a test photograph of a rig, and the one move that cures it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lightplan.advice.causes import explain_findings
from lightplan.errors import BadInput
from lightplan.manifest import write_output
from lightplan.measures import Finding
from lightplan.reports.picture import picture_png
from lightplan.reports.report import exposure_entry, finding_entry, write_report
from lightplan.rigfiles import rig_digest
from lightplan.shots.pipeline import judge_photo
from lightplan.shots.results import PhotoScore
from lightplan.tasks.folder import prepare
from lightplan.tasks.predict import Prediction, Progress, RigLike, _quiet, as_rig, predict
from lightplan.tasks.score import context_for
from lightplan.version import __version__

FILES = ("report.json", "expected.png")
# A measure counts as different from the prediction beyond this many standard deviations
# of both, and beyond this share of the larger of the two; our choice.
SURE, APART = 3.0, 0.1
NOT_LIGHT = ("mask_confidence_share", "noise_stops")  # of the photograph, not of its light


@dataclass(frozen=True)
class Difference:
    """A measure that the photograph and the prediction do not share."""

    name: str
    photographed: float
    predicted: float


@dataclass(frozen=True, eq=False)
class Advice:
    """What a test photograph shows, beside what the rig should give.

    Attributes
    ----------
    photo : PhotoScore
    findings : tuple of Finding
        Of the photograph; causes and moves from the rig.
    differences : tuple of Difference
        Where photograph and prediction part: something stands elsewhere than planned.
    prediction : Prediction
    """

    photo: PhotoScore
    findings: tuple[Finding, ...]
    differences: tuple[Difference, ...]
    prediction: Prediction

    def report(self) -> dict[str, Any]:
        """Return report.json as plain values."""
        return {
            "file": self.photo.file,
            "score": self.photo.score,
            "verdict": self.photo.verdict,
            "reasons": list(self.photo.reasons),
            "measures": {name: pair[0] for name, pair in self.photo.measures.items()},
            "findings": [finding_entry(finding) for finding in self.findings],
            "differences": [
                {"measure": d.name, "photographed": d.photographed, "predicted": d.predicted}
                for d in self.differences
            ],
            "predicted_score": self.prediction.judgement.score,
            "exposure": exposure_entry(self.prediction.settings),
            "tool_version": __version__,
            "rig_digest": rig_digest(self.prediction.rig),
        }


def advise(photo: Path | str, *, rig: RigLike, progress: Progress = _quiet) -> Advice:
    """Return what is wrong with a test photograph of a rig, why, and one move against each fault.

    Causes come from the rig's own geometry: what the foil mirrors at the fault, and which
    lamp lights the place. Every move is tried on the predicted rig before it is told.

    Raises
    ------
    BadInput
        When the photograph or the rig cannot be read.
    """
    found = as_rig(rig)
    progress("looking at the photograph")
    where = Path(photo)
    if not where.is_file():
        raise BadInput(
            field="photograph",
            wanted="a file that is there",
            got=str(where),
            cure="check the name",
        )
    judged = judge_photo(where, context_for(found))
    progress("following the light")
    prediction = predict(found, explain=False)
    progress("looking for causes and cures")
    findings = explain_findings(found, prediction.layers, judged.findings)
    return Advice(judged, tuple(findings), _differences(judged, prediction), prediction)


def _differences(photo: PhotoScore, prediction: Prediction) -> tuple[Difference, ...]:
    apart = []
    for name, (value, uncertainty) in photo.measures.items():
        if name not in prediction.measures or name in NOT_LIGHT or name.endswith("_count"):
            continue
        other = prediction.measures[name]
        gap = abs(value - other.value)
        sure = SURE * (uncertainty**2 + other.uncertainty**2) ** 0.5
        if gap > sure and gap > APART * max(abs(value), abs(other.value)):
            apart.append(Difference(name, value, other.value))
    return tuple(apart)


def ready(photo: Path, folder: Path, *, replace: bool = False) -> None:
    """Refuse a folder that advice cannot be written to, before any work."""
    if photo.is_file():
        prepare(folder, FILES, replace=replace, inputs=[photo])


def write_advice(advice: Advice, folder: Path, *, replace: bool = False) -> tuple[Path, ...]:
    """Write report.json and the picture that the rig should give."""
    prepare(folder, FILES, replace=replace, inputs=[Path(advice.photo.path)])
    picture = picture_png(advice.prediction.picture)
    return (
        write_output(folder / "expected.png", picture, replace=replace),
        write_report(folder / "report.json", advice.report(), replace=replace),
    )
