"""Plan: from a rig with freedoms and a look to a rig that can be built with a tape measure."""

from __future__ import annotations

import os
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

from lightplan.planning.effort import effort_for
from lightplan.planning.everything import plan_everything
from lightplan.planning.result import NoPlan as NoPlan
from lightplan.planning.result import Plan as Plan
from lightplan.planning.result import Robustness
from lightplan.process import usable_cores
from lightplan.progress import unwatched
from lightplan.reports.report import write_report
from lightplan.reports.setup.facts import SetupFacts
from lightplan.rigfiles import (
    LoadedRig,
    PlanRecord,
    RecordedTolerance,
    load_rig,
    rig_digest,
    write_rig,
)
from lightplan.tasks.first_light import first_light
from lightplan.tasks.folder import prepare
from lightplan.tasks.owned import owned_items as owned_items
from lightplan.tasks.predict import FILES, Prediction, RigLike, as_rig, predict, write_prediction
from lightplan.tasks.setup import write_setup
from lightplan.tasks.two_frames import two_frames_document, two_frames_note
from lightplan.version import __version__
from lightplan.words.leaning import keystone

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from pathlib import Path

    from lightplan.measures import Judgement
    from lightplan.planning.cupboard import Item
    from lightplan.planning.frame_pair import TwoFrames
    from lightplan.planning.planner import Effort as Effort
    from lightplan.planning.planner import SearchProgress as SearchProgress
    from lightplan.scene import Rig
    from lightplan.scene.setting_errors import SettingErrors
    from lightplan.units import LengthUnit

PLAN_FILES = ("rig.toml", "setup.pdf", "plan.json", *FILES)


def plan(
    rig: RigLike,
    *,
    owned: Sequence[Item] | None = None,
    seed: int = 0,
    effort: Effort | None = None,
    errors: SettingErrors | None = None,
    progress: Callable[[SearchProgress], None] | None = None,
    should_stop: Callable[[], bool] = lambda: False,
) -> Plan | NoPlan:
    """Return the best plan that a rig's things and what else is owned allow, with tolerances.

    Parameters
    ----------
    rig : Rig, LoadedRig, path or name of a preset
        Freedoms narrow what its things may do, what is locked stays; all else is open.
    owned : sequence of Item or None
        What may be brought in; None: what the rig's file says is owned.
    seed : int
        Same rig, seed and effort: same plan.
    effort : Effort or None
        How hard to search; None: ten to twenty seconds on two cores.
    errors : SettingErrors or None
        What hands and tape measure are expected to miss.
    progress : callable or None
        Told of each better rig.
    should_stop : callable
        Asked often; True ends the search with the best so far.

    Returns
    -------
    Plan or NoPlan
        NoPlan is false, and says what is in the way and the nearest wish that works.

    Raises
    ------
    BadInput
        When the rig cannot be read.
    """
    loaded = load_rig(rig) if isinstance(rig, str | os.PathLike) else rig
    if owned is None:
        owned = owned_items(loaded) if isinstance(loaded, LoadedRig) else ()
    if effort is None:
        effort = effort_of(as_rig(loaded))
    first_light(as_rig(loaded), unwatched)
    return plan_everything(
        as_rig(loaded),
        owned,
        seed=seed,
        effort=effort,
        errors=errors,
        progress=progress,
        should_stop=should_stop,
    )


def effort_of(rig: Rig, evaluations: int | None = None) -> Effort:
    """Return how hard to search for a rig on this machine."""
    return effort_for(rig, evaluations=evaluations, helpers=max(0, usable_cores() - 1))


@dataclass(frozen=True, eq=False)
class WrittenPlan:
    """Where a plan was written, and its document."""

    document: dict[str, Any]
    files: tuple[Path, ...]
    prediction: Prediction


def write_plan(
    found: Plan,
    source: LoadedRig,
    folder: Path,
    *,
    paper: str = "A4",
    unit: LengthUnit = "mm",
    two_frames: TwoFrames | None = None,
    replace_files: bool = False,
) -> WrittenPlan:
    """Write the new rig, its setup sheet, its prediction and plan.json."""
    prepare(folder, PLAN_FILES, replace=replace_files, inputs=source.inputs)
    prediction = predict(found.rig, pack=True)
    record = plan_record(
        found, score=prediction.judgement, measures=prediction.measures.values_by_name()
    )
    loaded = write_rig(
        source,
        folder / "rig.toml",
        rig=found.rig,
        plan=record,
        replace=replace_files,
        is_output=True,
    )
    note = None if two_frames is None else two_frames_note(two_frames, found.rig)
    facts = SetupFacts(
        settings=prediction.settings,
        tolerances=found.tolerances,
        critical=found.robustness.critical,
        yield_share=found.yield_share,
        good_score=found.robustness.good_score,
        is_kept=prediction.judgement.verdict == "keep",
        score=prediction.judgement.score,
        foil_to_paper_stops=_value(prediction, "foil_to_paper_stops"),
        notes=() if note is None else (note,),
        rig_digest=loaded.digest,
        tool_version=__version__,
    )
    setup = write_setup(
        prediction, folder / "setup.pdf", facts=facts, paper=paper, unit=unit, replace=replace_files
    )
    document = plan_document(found, two_frames) | {"rig_digest": loaded.digest}
    written = write_report(folder / "plan.json", document, replace=replace_files)
    shown = write_prediction(prediction, folder, replace=replace_files)
    return WrittenPlan(document, (loaded.path, setup, written, *shown), prediction)


def note_more_room(
    written: WrittenPlan, folder: Path, more_room: Mapping[str, Any] | None
) -> WrittenPlan:
    """Return a plan whose plan.json, written anew, tells the room that would do better.

    Parameters
    ----------
    written : WrittenPlan
        It was written before that was looked for, so that Ctrl-C leaves it whole.
    more_room : mapping or None
        Of `roomier_document`; None leaves the file as it is.
    """
    if more_room is None:
        return written
    document = written.document | {"more_room": dict(more_room)}
    write_report(folder / "plan.json", document, replace=True)
    return replace(written, document=document)


def plan_record(found: Plan, *, score: Judgement, measures: Mapping[str, float]) -> PlanRecord:
    """Return what is kept of a plan in its rig file, so that the light can be built again."""
    return PlanRecord(
        score=score.score,
        yield_share=found.yield_share,
        good_score=found.robustness.good_score,
        measures=measures,
        tolerances=tolerances_of(found.robustness),
        critical=found.robustness.critical,
        rig_digest=rig_digest(found.rig),
        made_with=f"lightplan {__version__}",
        stopped_because=found.stopped_because,
    )


def plan_document(found: Plan | NoPlan, two_frames: TwoFrames | None = None) -> dict[str, Any]:
    """Return plan.json as plain values."""
    document: dict[str, Any] = {
        "tool_version": __version__,
        "planned": bool(found),
        "more_room": None,
    }
    if isinstance(found, NoPlan):
        document |= {
            "moves": [],
            "tolerances": [],
            "yield": None,
            "covered": {},
            "stopped_because": found.reason,
            "in_the_way": [limit.sentence for limit in found.in_the_way],
            "wish": found.wish,
            "wish_score": None if found.nearest is None else found.nearest.score,
            "wish_moves": []
            if found.nearest is None
            else [asdict(move) for move in found.nearest.moves],
        }
        return document
    document |= {
        "score": found.score,
        "start_score": found.start_score,
        "moves": [asdict(move) for move in found.moves],
        "arrangement": found.arrangement,
        "brought_in": list(found.brought_in),
        "left_out": list(found.left_out),
        "tolerances": [asdict(tolerance) for tolerance in found.tolerances],
        "critical": [list(pair) for pair in found.robustness.critical],
        "yield": found.yield_share,
        "unknown_powers": list(unknown_powers(found)),
        "yields": dict(found.robustness.yields),
        "good_score": found.robustness.good_score,
        "covered": dict(found.covered),
        "stopped_because": found.stopped_because,
        "evaluations": found.evaluations,
        "limits": [limit.sentence for limit in found.limits],
        "keystone_share": keystone(found.rig.camera, found.rig.sheet)[2],
        "measures": dict(found.measures),
    }
    if two_frames is not None:
        document["two_frames"] = two_frames_document(two_frames)
    return document


def unknown_powers(found: Plan) -> tuple[str, ...]:
    """Return, of each lamp of which only the watts are known, whether that matters.

    What is unknown is how many lumens each watt gives. Where the plan outlives being off by
    that much in the lamp's power, it matters little; else one photograph settles it.
    """
    told = []
    for lamp in found.rig.lamps:
        unknown = lamp.output.unknown_stops()
        if not lamp.on or unknown <= 0:
            continue
        reach = [
            min(t.minus, t.plus)
            for t in found.tolerances
            if (t.element, t.dimension) == (lamp.name, "power_stops")
        ]
        share = f"{lamp.name}: its watts leave its light open by {unknown:.1f} stops either way"
        if reach and reach[0] >= unknown:
            told.append(f"{share}, which matters little here.")
        else:
            told.append(
                f"{share}. One photograph settles it: white copy paper 1 m in front of it at full "
                "power, the room dark; or set its power by the picture on the sheet."
            )
    return tuple(told)


def tolerances_of(found: Robustness) -> tuple[RecordedTolerance, ...]:
    """Return tolerances as a rig file keeps them."""
    return tuple(
        RecordedTolerance(
            element=t.element,
            dimension=t.dimension,
            minus=round(t.minus, 3),  # they grow in steps; 0.30000000000000004 reads badly
            plus=round(t.plus, 3),
        )
        for t in found.tolerances
    )


def ready(folder: Path, *, replace_files: bool = False, inputs: Sequence[Path] = ()) -> None:
    """Refuse a folder that a plan cannot be written to, before the search is begun."""
    prepare(folder, PLAN_FILES, replace=replace_files, inputs=inputs)


def with_look(rig: Rig, kind: str | None) -> Rig:
    """Return the rig with another look, when one is asked for.

    The file that was loaded stays as it is: what differs from it is what gets written.
    """
    if kind is None:
        return rig
    return replace(rig, look=replace(rig.look, kind=kind))  # type: ignore[arg-type]


def load(rig: str) -> LoadedRig:
    """Return a rig file or preset."""
    return load_rig(rig)


def _value(prediction: Prediction, name: str) -> float | None:
    return prediction.measures[name].value if name in prediction.measures else None
