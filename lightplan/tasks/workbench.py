"""Long work for whoever watches it grow: a plan, the looks, the setup sheet.

Each function takes `watch`, `part` and `stop`, and can be done in a process of its own.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

from lightplan.light import Detail
from lightplan.measures.verdict import KEEP_FROM
from lightplan.planning.all_looks import wanted_looks
from lightplan.planning.effort import Effort, SearchProgress
from lightplan.planning.result import NoPlan, Plan
from lightplan.process import usable_cores
from lightplan.progress import Progress, Stop, Stopped, Watch
from lightplan.reports.cautions import cautions_for
from lightplan.reports.picture import picture_codes
from lightplan.reports.setup.elements import Element, elements_of
from lightplan.reports.setup.steps import how_far, steps_of
from lightplan.reports.setup.torch import torch_test
from lightplan.reports.setup.torch_drawing import torch_notes
from lightplan.rigfiles import LoadedRig, PlanRecord, load_rig
from lightplan.tasks.closer import exposure_words
from lightplan.tasks.first_light import first_light
from lightplan.tasks.kit import kit, worth_having
from lightplan.tasks.looks import look_jobs, rank
from lightplan.tasks.move_words import dimension_words, move_line
from lightplan.tasks.plan import plan, plan_record, unknown_powers
from lightplan.tasks.predict import predict
from lightplan.tasks.predicted_jpeg import cropped_jpeg, near_jpeg, near_size
from lightplan.tasks.roomier import may_be_held_back, roomier, roomier_words
from lightplan.tasks.setup import facts_of, setup_bytes
from lightplan.tasks.two_frames import note_where_one_fails, one_frame_fails
from lightplan.words.holders import holders_needed
from lightplan.words.leaning import small_words
from lightplan.words.places import place_words
from lightplan.workers import Workers

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.scene import Rig
    from lightplan.tasks.looks import ProofLook

PICTURE_PX = 720
SOON_PX = 480
PICTURE_EVERY_S = 2.0

Part = Callable[[Any], None]


@dataclass(frozen=True, eq=False)
class Picture:
    """A rig's picture: JPEG, and its score."""

    jpeg: bytes
    score: float | None


@dataclass(frozen=True, eq=False)
class Planned:
    """A plan that can be taken, with its picture and what is promised of it.

    `rig` and `record` are None where there is no plan; then `reason` and `wish` say why.
    """

    look: str
    rig: Rig | None
    record: PlanRecord | None
    jpeg: bytes
    score: float | None
    start_score: float | None
    verdict: str
    yield_share: float | None
    measures: dict[str, float]
    moves: tuple[str, ...]
    tolerances: tuple[str, ...]
    needs: tuple[str, ...]
    unknown: tuple[str, ...] = ()
    small: str = ""
    shutter: str = ""
    reason: str = ""
    wish: str = ""
    room: str = ""
    """Which walls hold it back, and how much room would do."""
    rank: float = -1.0
    """How well it reads as foil, by which a proof sheet is ordered; below 0 without a plan."""
    two_frames: str = ""
    """That the picture is of two frames joined, and why; empty where it is of one."""
    two_frames_steps: tuple[tuple[str, str], ...] = ()
    """How these are taken and joined: name and words."""


def plan_work(rig: Rig, effort: Effort | None, *, watch: Watch, part: Part, stop: Stop) -> Planned:
    """Return the best plan for a rig; its picture so far is told now and then.

    A wish to stop ends the search with the best that it has.
    """
    shown = 0.0

    def progress(found: SearchProgress) -> None:
        nonlocal shown
        note = "" if found.score is None else f"best so far {found.score:.0f} of 100"
        with contextlib.suppress(Stopped):  # the search itself asks, and gives its best so far
            watch(Progress(stage=found.stage, done=found.done, of=found.of, note=note))
            if time.monotonic() - shown > PICTURE_EVERY_S:
                part(Picture(near_jpeg(found.rig, SOON_PX), found.score))
                shown = time.monotonic()

    with contextlib.suppress(Stopped):
        first_light(rig, watch)
    effort = Effort(helpers=max(0, usable_cores() - 1)) if effort is None else effort
    found = plan(rig, effort=effort, progress=progress, should_stop=lambda: stop.asked)
    told = planned_of(found, rig)
    if stop.asked or not may_be_held_back(found, rig):
        return told
    with contextlib.suppress(Stopped):
        watch(Progress(stage="looking at what more room would give", done=0, of=1))
    more = roomier(found, rig, (), should_stop=lambda: stop.asked)
    return replace(told, room=roomier_words(more, rig, "mm", is_planned=bool(found)))


def planned_of(found: Plan | NoPlan, rig: Rig) -> Planned:
    """Return a plan ready to be shown and taken."""
    if isinstance(found, NoPlan):
        return replace(_nothing(rig, found.reason, found.wish), jpeg=near_jpeg(rig, PICTURE_PX))
    rows, cols = near_size(found.rig, PICTURE_PX)
    detail = Detail(camera_rows=rows, camera_cols=cols)
    prediction = predict(found.rig, detail=detail, explain=False)
    measures = prediction.measures.values_by_name()
    record = plan_record(found, score=prediction.judgement, measures=measures)
    return Planned(
        look=rig.look.kind,
        rig=found.rig,
        record=record,
        jpeg=cropped_jpeg(picture_codes(prediction.picture), found.rig),
        score=prediction.judgement.score,
        start_score=found.start_score,
        verdict=prediction.judgement.verdict,
        yield_share=found.yield_share,
        measures=measures,
        moves=tuple(move_line(move) for move in found.moves),
        tolerances=_critical(record),
        needs=needs_of(found.rig),
        unknown=unknown_powers(found),
        small=small_words(found.rig.camera, found.rig.sheet),
        shutter=exposure_words(found.rig, prediction.layers),
    )


def _critical(record: PlanRecord) -> tuple[str, ...]:
    """Return the measurements that matter most, with how far each may be off."""
    words = []
    for element, dimension in record.critical[:4]:
        of = next(
            (t for t in record.tolerances if (t.element, t.dimension) == (element, dimension)), None
        )
        if of is not None:
            words.append(f"{element}, {dimension_words(dimension)}: {how_far(of, 'mm')}")
    return tuple(words)


def needs_of(rig: Rig) -> tuple[str, ...]:
    """Return the names of what a rig is set up with, and what holds it."""
    on = [lamp.name for lamp in rig.lamps if lamp.on]
    things = (*on, *(card.name for card in rig.cards), *(shell.name for shell in rig.shells))
    return (*things, *holders_needed(rig))


def looks_work(path: Path, *, watch: Watch, part: Part, stop: Stop) -> int:
    """Plan a product in every look that it can carry, and tell each as it is found."""
    loaded = load_rig(path)
    can, cannot = wanted_looks(loaded.rig)
    jobs = look_jobs(loaded, can, seed=0)
    first_light(loaded.rig, watch)
    watch(Progress(stage="planning looks", done=0, of=len(jobs)))
    with Workers("lightplan.tasks.looks:proof_look", usable_cores(), stop=stop) as workers:
        for done, (_, answer) in enumerate(workers.answers(jobs), 1):
            part(_of_look(answer, loaded.rig))
            watch(Progress(stage="planning looks", done=done, of=len(jobs)))
    for kind, reason in cannot.items():
        part(replace(_nothing(loaded.rig, reason), look=kind))
    return len(jobs)


def _of_look(answer: ProofLook, rig: Rig) -> Planned:
    found = answer.plan
    if found is None or answer.codes is None or answer.judgement is None:
        return replace(_nothing(rig, answer.reason), look=answer.look)
    record = plan_record(found, score=answer.judgement, measures=answer.measures)
    joined = answer.joined
    told = Planned(
        look=answer.look,
        rig=found.rig,
        record=record,
        jpeg=cropped_jpeg(answer.codes, found.rig),
        score=answer.judgement.score,
        start_score=found.start_score,
        verdict=answer.judgement.verdict,
        yield_share=found.yield_share,
        unknown=unknown_powers(found),
        small=small_words(found.rig.camera, found.rig.sheet),
        measures=dict(answer.measures),
        moves=tuple(move_line(move) for move in found.moves),
        tolerances=_critical(record),
        needs=needs_of(found.rig),
        rank=rank(rig, answer),
    )
    if joined is None:
        return told
    why = one_frame_fails(answer.judgement, rig.sheet.paper)
    return replace(
        told,
        jpeg=cropped_jpeg(joined.codes, found.rig),
        two_frames=f"{joined.shown} {why}.",
        two_frames_steps=joined.note.lines,
    )


@dataclass(frozen=True, eq=False)
class Offered:
    """What would help: what is owned, planned, or something to buy, with its picture."""

    name: str
    rig: Rig
    jpeg: bytes
    score: float
    gain: float
    price: float | None
    is_owned: bool
    reason: str


def kit_work(path: Path, *, watch: Watch, part: Part, stop: Stop) -> dict[str, Any]:
    """Tell what is worth having for a product, best first, each with its picture."""
    loaded = load_rig(path)

    def tell(progress: Progress) -> None:
        with contextlib.suppress(Stopped):  # the search itself asks
            watch(progress)

    found = kit(loaded, watch=tell, stop=stop)
    for offer in worth_having(found):
        assert offer.rig is not None
        part(
            Offered(
                name=offer.name,
                rig=offer.rig,
                jpeg=near_jpeg(offer.rig, PICTURE_PX),
                score=offer.score,
                gain=offer.score - found.base.score,
                price=offer.price,
                is_owned=not offer.items,
                reason=offer.reason,
            )
        )
    return {"needs_nothing": found.needs_nothing, "sentences": list(found.sentences)}


def _nothing(rig: Rig, reason: str, wish: str = "") -> Planned:
    """Return why there is no plan."""
    return Planned(
        look=rig.look.kind,
        rig=None,
        record=None,
        jpeg=b"",
        score=None,
        start_score=None,
        verdict="",
        yield_share=None,
        measures={},
        moves=(),
        tolerances=(),
        needs=(),
        reason=reason,
        wish=wish,
    )


def _where(step: str, elements: Sequence[Element]) -> tuple[str, ...]:
    """Return what each thing of a step is and where it stands, in words."""
    told = []
    for element in elements:
        if f"({element.number})" in step:
            parts = [element.size, place_words(element.position_mm, "mm"), element.stance]
            told.append("; ".join(part for part in parts if part))
    return tuple(told)


@dataclass(frozen=True, eq=False)
class WorkbenchSheet:
    """A setup sheet: the PDF, and its steps, test and cautions to be read on screen."""

    pdf: bytes
    steps: tuple[tuple[str, str, str, tuple[str, ...]], ...]
    torch: tuple[str, ...]
    targets: tuple[dict[str, Any], ...]
    cautions: tuple[str, ...]
    shutter: str
    is_kept: bool
    two_frames: tuple[tuple[str, str], ...] = ()
    """How the picture is taken in two frames: name and words; empty where one is enough."""


def setup_work(path: Path, *, watch: Watch, part: Part, stop: Stop) -> WorkbenchSheet:
    """Return the setup sheet of a rig file."""
    watch(Progress(stage="following the light"))
    loaded: LoadedRig = load_rig(path)
    prediction = predict(loaded, explain=False)
    stop.check()
    watch(Progress(stage="drawing the sheet"))
    rig = loaded.rig
    note = note_where_one_fails(rig, prediction.judgement)
    facts = replace(facts_of(loaded, prediction), notes=() if note is None else (note,))
    elements = elements_of(rig)
    steps = steps_of(rig, elements, facts, "mm")
    score = prediction.judgement.score
    test = torch_test(rig)
    return WorkbenchSheet(
        pdf=setup_bytes(prediction, facts=facts, paper="A4", unit="mm"),
        steps=tuple(
            (step.name, step.text, step.tolerance, _where(step.name, elements)) for step in steps
        ),
        torch=tuple(torch_notes(test)),
        targets=tuple(asdict(target) for target in test.targets),
        cautions=cautions_for(rig),
        shutter=exposure_words(rig, prediction.layers),
        is_kept=score is not None and score >= KEEP_FROM,
        two_frames=() if note is None else tuple(note.lines),
    )
