"""The setup sheet and the full-size templates of a rig."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.manifest import write_output
from lightplan.reports.picture import picture_codes
from lightplan.reports.setup.facts import SetupFacts
from lightplan.reports.setup.map import glare_picture
from lightplan.reports.setup.setup_sheet import setup_pdf
from lightplan.reports.setup.template import write_template_pdf
from lightplan.rigfiles import LoadedRig, load_rig
from lightplan.tasks.folder import prepare_files
from lightplan.tasks.predict import Prediction, Progress, _quiet, predict
from lightplan.version import __version__

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.units import LengthUnit


def setup(
    rig: str,
    out: Path,
    *,
    template: Path | None = None,
    paper: str = "A4",
    unit: LengthUnit = "mm",
    replace: bool = False,
    progress: Progress = _quiet,
) -> tuple[Path, ...]:
    """Write the sheet to build a rig from, and full-size templates when asked.

    Tolerances come from the plan that the rig file keeps.
    """
    loaded = load_rig(rig)
    prepare_files([out, template], replace=replace, inputs=loaded.inputs)
    prediction = predict(loaded, explain=False, progress=progress)
    progress("drawing")
    facts = facts_of(loaded, prediction)
    files = [write_setup(prediction, out, facts=facts, paper=paper, unit=unit, replace=replace)]
    if template is not None:
        files.append(
            write_template_pdf(template, loaded.rig, paper=paper, unit=unit, replace=replace)
        )
    return tuple(files)


def write_setup(
    prediction: Prediction,
    path: Path,
    *,
    facts: SetupFacts,
    paper: str,
    unit: LengthUnit,
    replace: bool,
) -> Path:
    """Write the setup sheet of a predicted rig."""
    content = setup_bytes(prediction, facts=facts, paper=paper, unit=unit)
    return write_output(path, content, replace=replace)


def setup_bytes(
    prediction: Prediction, *, facts: SetupFacts, paper: str, unit: LengthUnit
) -> bytes:
    """Return the setup sheet of a predicted rig as a PDF."""
    return setup_pdf(
        prediction.rig,
        facts,
        paper=paper,
        unit=unit,
        picture=picture_codes(prediction.picture),
        glare_map=glare_picture(prediction.rig, prediction.layers),
    )


def facts_of(loaded: LoadedRig, prediction: Prediction) -> SetupFacts:
    """Return what the setup sheet tells beyond the rig."""
    kept = loaded.plan
    is_changed = kept is not None and kept.rig_digest not in ("", loaded.digest)
    if is_changed:
        kept = None  # what was tried is another rig
    name = "foil_to_paper_stops"
    ratio = prediction.measures[name].value if name in prediction.measures else None
    return SetupFacts(
        settings=prediction.settings,
        tolerances=() if kept is None else kept.tolerances,
        critical=() if kept is None else kept.critical,
        yield_share=None if kept is None else kept.yield_share,
        good_score=None if kept is None else kept.good_score,
        is_kept=prediction.judgement.verdict == "keep",
        is_changed=is_changed,
        score=prediction.judgement.score,
        foil_to_paper_stops=ratio,
        rig_digest=loaded.digest,
        tool_version=__version__,
    )
