"""The whole job on the shipped example."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lightplan.errors import MissingFeature
from lightplan.planning.plan import Effort
from lightplan.planning.result import NoPlan
from lightplan.process import usable_cores
from lightplan.rigfiles import load_rig, write_rig
from lightplan.tasks.folder import prepare
from lightplan.tasks.plan import PLAN_FILES, plan, write_plan
from lightplan.tasks.predict import FILES, Prediction, Progress, _quiet, predict, write_prediction
from lightplan.tasks.view import view

EXAMPLE = "silver-bookplate-bright"
EVALUATIONS = 150


@dataclass(frozen=True, eq=False)
class Told:
    """What the demo did: lines for the maker, a document, and the files."""

    words: tuple[str, ...]
    document: dict[str, Any]
    files: tuple[Path, ...]


def demo(out: Path, *, progress: Progress = _quiet) -> Told:
    """Predict the shipped example, plan it better, show it in 3-D, and say what was written."""
    prepare(out / "predicted", FILES)
    prepare(out / "planned", PLAN_FILES)
    prepare(out, ("my-rig.toml", "set.png", "set.html"))
    source = load_rig(EXAMPLE)
    files = [write_rig(source, out / "my-rig.toml", is_output=True).path]
    before = predict(source, progress=progress)
    files += write_prediction(before, out / "predicted")
    words = [f"Example: {source.rig.title}.", f"As it stands it scores {_score(before)}."]
    progress("planning")
    effort = Effort(evaluations=EVALUATIONS, polish=20, helpers=max(0, usable_cores() - 1))
    found = plan(source, effort=effort)
    document: dict[str, Any] = {"before": before.report()}
    if not isinstance(found, NoPlan):
        written = write_plan(found, source, out / "planned")
        files += written.files
        words.append(
            f"Planned, it scores {_score(written.prediction)}; of 100 builds with usual errors "
            f"of hand, {100 * found.yield_share:.0f} come out right."
        )
        document["plan"] = written.document
    progress("drawing the set")
    try:
        files += view(source, png=out / "set.png", html=out / "set.html")
    except MissingFeature as lack:
        words.append(str(lack))
        files += view(source, html=out / "set.html")
    words.append("Look at predicted/glare_map.png first, then print planned/setup.pdf.")
    return Told(tuple(words), document | {"files": [str(f) for f in files]}, tuple(files))


def _score(prediction: Prediction) -> str:
    score = prediction.judgement.score
    return "nothing that can be told" if score is None else f"{score:.0f} of 100"
