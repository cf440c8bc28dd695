"""The whole job on the shipped example."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from lightplan.errors import MissingFeature
from lightplan.planning.planner import Effort
from lightplan.planning.result import NoPlan
from lightplan.process import usable_cores
from lightplan.rigfiles import LoadedRig, load_rig, write_rig
from lightplan.tasks.caution_words import cautions_of
from lightplan.tasks.folder import prepare
from lightplan.tasks.looks import Proof, ProofLook, looks, proof_files, stem, write_looks
from lightplan.tasks.owned import owned_items
from lightplan.tasks.plan import PLAN_FILES, plan, write_plan
from lightplan.tasks.predict import FILES, Prediction, Progress, _quiet, predict, write_prediction
from lightplan.tasks.view import view

if TYPE_CHECKING:
    from pathlib import Path

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
    _prepare(out)
    source = load_rig(EXAMPLE)
    files = [write_rig(source, out / "my-rig.toml", is_output=True).path]
    before = predict(source, pack=True, progress=progress)
    files += write_prediction(before, out / "predicted")
    words = [f"Example: {source.rig.title}.", f"As it stands it scores {_score(before)}."]
    progress("planning every look")
    proof = looks(source)
    files += write_looks(proof, source, out / "proof")
    words += ["Every look side by side is in proof/proof.png.", *_chosen(proof)]
    begun = _begun(source, proof, out / "proof")
    progress("planning")
    effort = Effort(evaluations=EVALUATIONS, polish=20, helpers=max(0, usable_cores() - 1))
    found = plan(begun.rig, owned=owned_items(begun), effort=effort)
    document: dict[str, Any] = {"before": before.report()}
    shown = source
    if not isinstance(found, NoPlan):
        written = write_plan(found, begun, out / "planned")
        files += written.files
        words.append(
            f"Planned, it scores {_score(written.prediction)}; of 100 builds with usual errors "
            f"of hand, {100 * found.yield_share:.0f} come out right."
        )
        document["plan"] = written.document
        shown = load_rig(out / "planned" / "rig.toml")
    progress("drawing the set")
    files += _drawn(shown, out, words)
    document["cautions"] = cautions_of(shown, *proof.rigs)
    words.append("Look at proof/proof.png first, then print planned/setup.pdf.")
    return Told(tuple(words), document | {"files": [str(f) for f in files]}, tuple(files))


def _prepare(out: Path) -> None:
    prepare(out / "predicted", FILES)
    prepare(out / "planned", PLAN_FILES)
    prepare(out / "proof", proof_files())
    prepare(out, ("my-rig.toml", "set.png", "set.html"))


def _drawn(source: LoadedRig, out: Path, words: list[str]) -> tuple[Path, ...]:
    """Draw the set in 3-D; what this machine cannot draw is said."""
    try:
        return view(source, png=out / "set.png", html=out / "set.html")
    except MissingFeature as lack:
        words.append(str(lack))
        return view(source, html=out / "set.html")


def _best(proof: Proof) -> ProofLook | None:
    """Return the look that reads most as foil among those to keep, or of all."""
    kept = [one for one in proof.shown if one.judgement and one.judgement.verdict == "keep"]
    return next(iter(kept or proof.shown), None)


def _chosen(proof: Proof) -> list[str]:
    best = _best(proof)
    return [] if best is None else [f"Chosen from it: {best.look}."]


def _begun(source: LoadedRig, proof: Proof, folder: Path) -> LoadedRig:
    """Return the rig of the look that was chosen: what a maker saw is what is planned on."""
    best = _best(proof)
    return source if best is None else load_rig(folder / f"{stem(best.look)}.toml")


def _score(prediction: Prediction) -> str:
    score = prediction.judgement.score
    return "nothing that can be told" if score is None else f"{score:.0f} of 100"
