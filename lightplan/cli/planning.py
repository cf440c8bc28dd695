"""lightplan plan, kit, setup, family."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeAlias

import typer

from lightplan.cli.predicting import OutFolder, RigName
from lightplan.cli.running import FAILED, Answer, AsJson, Replace, run
from lightplan.cli.words import written_lines

if TYPE_CHECKING:
    from lightplan.tasks.caution_words import RigLike
    from lightplan.tasks.looks import Progress
    from lightplan.tasks.plan import NoPlan, Plan, SearchProgress
    from lightplan.tasks.rig_store import LoadedRig, Rig
    from lightplan.units import LengthUnit

Paper: TypeAlias = Annotated[
    Literal["A4", "Letter"], typer.Option("--paper", help="Size of the printed page.")
]
Unit: TypeAlias = Annotated[
    Literal["mm", "cm", "in"], typer.Option("--unit", help="Lengths in mm, cm or inches.")
]
Seed: TypeAlias = Annotated[int, typer.Option("--seed", help="Same seed, same plan.")]


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(plan)
    app.command()(looks)
    app.command()(kit)
    app.command()(setup)
    app.command()(family)


def plan(
    rig: RigName,
    out: OutFolder,
    look: Annotated[
        str | None, typer.Option("--look", help="Another look than the rig file names.")
    ] = None,
    evaluations: Annotated[
        int | None,
        typer.Option("--evaluations", min=10, help="Rigs whose light is traced in the search."),
    ] = None,
    also: Annotated[
        list[str] | None,
        typer.Option("--also", metavar="RIG", help="Another product that shall use this rig."),
    ] = None,
    two_frames: Annotated[
        bool, typer.Option("--two-frames", help="Also plan one frame for foil, one for paper.")
    ] = False,
    paper: Paper = "A4",
    unit: Unit = "mm",
    seed: Seed = 0,
    replace: Replace = False,
    as_json: AsJson = False,
) -> None:
    """Place lamps and cards for the look, with tolerances and a sheet to build from.

    Ctrl-C ends the search with the best plan so far.

    Example: lightplan plan silver-bookplate-bright --out planned
    """

    def job(progress: object) -> Answer:
        from lightplan.tasks import plan as task

        assert callable(progress)
        source = task.load(rig)
        asked = PlanAsked(
            source,
            task.with_look(source.rig, look),
            PlanPage(out, paper, unit, replace),
            evaluations,
            seed,
            progress,
        )
        if also:
            task.ready(out, replace_files=replace, inputs=source.inputs)
            return _plan_several(asked, also)
        return _plan_one(asked, two_frames=two_frames)

    run(job, as_json=as_json)


@dataclass(frozen=True)
class PlanPage:
    """Where and how a plan is written."""

    out: Path
    paper: str
    unit: LengthUnit
    replace: bool


@dataclass(frozen=True, eq=False)
class PlanAsked:
    """What is to be planned: a rig file, its rig with the look that is wanted, and how long."""

    source: LoadedRig
    wanted: Rig
    page: PlanPage
    evaluations: int | None
    seed: int
    progress: Callable[[str], None]


def _searched(asked: PlanAsked) -> Plan | NoPlan:
    """Search for a plan; the best picture so far is shown, and Ctrl-C ends the search gently."""
    from lightplan.tasks import plan as task
    from lightplan.tasks.best_so_far import BestSoFar
    from lightplan.tasks.first_light import first_light
    from lightplan.tasks.plan_time import TimeLeft, expected
    from lightplan.tasks.stopping import gentle_stop

    source, page = asked.source, asked.page
    first_light(asked.wanted, lambda now: asked.progress(now.stage))
    effort = task.effort_of(asked.wanted, asked.evaluations)
    asked.progress(expected(asked.wanted, effort))
    left = TimeLeft()
    best_so_far = BestSoFar(page.out, replace_files=page.replace, inputs=source.inputs)
    with gentle_stop() as stop, best_so_far as best:

        def tell(found: SearchProgress) -> None:
            best.show(found)
            asked.progress(
                f"{found.stage}: {found.done} of {found.of}{left.words(found.done, found.of)}, "
                f"best score {found.score:.0f}, picture so far in {best.path}"
            )

        return task.plan(
            asked.wanted,
            owned=task.owned_items(source),
            seed=asked.seed,
            effort=effort,
            progress=tell,
            should_stop=stop.is_set,
        )


def _plan_one(asked: PlanAsked, *, two_frames: bool) -> Answer:
    from lightplan.cli.plan_words import no_plan_words, plan_words
    from lightplan.tasks import plan as task
    from lightplan.tasks.plan_hints import no_strip_words
    from lightplan.tasks.two_frames import two_frames_of, two_frames_offer, two_frames_words

    page = asked.page
    found = _searched(asked)
    if isinstance(found, task.NoPlan):
        more, room = _more_room(found, asked)
        words = no_plan_words(found, page.unit) + ([more] if more else [])
        return Answer(task.plan_document(found) | {"more_room": room}, words, FAILED)
    words = plan_words(found, page.unit)
    hint = no_strip_words(found, asked.source)
    words += [hint] if hint else []
    pair = None
    if two_frames:
        asked.progress("trying two frames")
        pair = two_frames_of(found.rig, seed=asked.seed)
        words += two_frames_words(pair, found.rig)
    asked.progress("writing")
    written = task.write_plan(
        found,
        asked.source,
        page.out,
        paper=page.paper,
        unit=page.unit,
        two_frames=pair,
        replace_files=page.replace,
    )
    if pair is None:
        rig_file, folder = str(page.out / "rig.toml"), str(page.out / "two-frames")
        judged, paper = written.prediction.judgement, found.rig.sheet.paper
        offer = two_frames_offer(judged, paper, rig_file, folder)
        words += [offer] if offer else []
    more, room = _more_room(found, asked)
    words += [more] if more else []
    written = task.note_more_room(written, page.out, room)
    return _careful(written.document, words, written.files, found.rig)


def _more_room(found: Plan | NoPlan, asked: PlanAsked) -> tuple[str, dict[str, Any] | None]:
    """Return what more room would give, in words and as values, where walls may hold a plan back.

    What there is of a plan is written by then.
    """
    from lightplan.tasks.plan import owned_items
    from lightplan.tasks.roomier import may_be_held_back, roomier, roomier_document, roomier_words
    from lightplan.tasks.stopping import gentle_stop

    if not may_be_held_back(found, asked.wanted):
        return "", None
    asked.progress("looking at what more room would give")
    owned = owned_items(asked.source)
    with gentle_stop() as stop:
        more = roomier(found, asked.wanted, owned, seed=asked.seed, should_stop=stop.is_set)
    words = roomier_words(more, asked.wanted, asked.page.unit, is_planned=bool(found))
    return words, roomier_document(more, words)


def _plan_several(asked: PlanAsked, also: list[str]) -> Answer:
    from lightplan.tasks import products
    from lightplan.tasks.stopping import gentle_stop

    page, count = asked.page, asked.evaluations
    with gentle_stop() as stop:
        found, sources = products.plan_products(
            asked.source,
            also,
            wanted=asked.wanted,
            seed=asked.seed,
            evaluations=products.RANGE_EVALUATIONS if count is None else count,
            progress=asked.progress,
            should_stop=stop.is_set,
        )
    files = products.write_range(
        found, sources, page.out, paper=page.paper, unit=page.unit, replace_files=page.replace
    )
    document, words = products.range_document(found), products.range_words(found, page.unit)
    return _careful(document, words, files, *(fit.nudged_rig for fit in found.fits))


def _careful(
    document: dict[str, Any], words: list[str], files: Iterable[Path], *rigs: RigLike | None
) -> Answer:
    """Return an answer with its files and the cautions of its rigs."""
    from lightplan.tasks.caution_words import care_lines, cautions_of

    files = list(files)
    told = {"files": [str(path) for path in files], "cautions": cautions_of(*rigs)}
    lines = written_lines(files) if files else []
    return Answer(document | told, [*words, *lines, *care_lines(*rigs)])


def looks(
    rig: RigName,
    out: OutFolder,
    look: Annotated[
        list[str] | None,
        typer.Option("--look", help="Only this look; may be given more than once."),
    ] = None,
    seed: Seed = 0,
    replace: Replace = False,
    as_json: AsJson = False,
) -> None:
    """Show every look of a product side by side, planned quickly, to choose by eye.

    Ctrl-C ends it with the looks that are done.

    Example: lightplan looks window-two-boards --out proof
    """

    def job(progress: object) -> Answer:
        from lightplan.cli.plan_words import looks_words
        from lightplan.tasks import looks as task
        from lightplan.tasks.stopping import asking

        assert callable(progress)
        source = task.load(rig)
        task.ready(source, out, replace_files=replace)

        def tell(found: Progress) -> None:
            progress(f"{found.stage}: {found.done} of {found.of} ({found.note})")

        with asking() as stop:
            found = task.looks(source, kinds=look or (), seed=seed, watch=tell, stop=stop)
        files = task.write_looks(found, source, out, replace_files=replace)
        document = task.proof_document(found)
        return _careful(document, looks_words(document), files, *found.rigs)

    run(job, as_json=as_json)


def kit(
    rig: RigName,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Write rig, picture and setup sheet of each."),
    ] = None,
    evaluations: Annotated[
        int, typer.Option("--evaluations", min=10, help="Rigs to judge for each thing.")
    ] = 80,
    paper: Paper = "A4",
    unit: Unit = "mm",
    seed: Seed = 0,
    replace: Replace = False,
    as_json: AsJson = False,
) -> None:
    """Say what would help before any money is spent, or that nothing needs buying.

    Example: lightplan kit window-two-boards --out kit
    """

    def job(progress: object) -> Answer:
        from lightplan.tasks import kit as task
        from lightplan.tasks.stopping import asking

        assert callable(progress)
        source = task.load(rig)
        if out is not None:
            task.prepare(out, task.kit_files(), replace=replace, inputs=source.inputs)

        def tell(told: Progress) -> None:
            progress(f"{told.stage}: {told.note} ({told.done} of {told.of})")

        with asking() as stop:
            found = task.kit(source, seed=seed, evaluations=evaluations, watch=tell, stop=stop)
        files: tuple[Path, ...] = ()
        if out is not None:
            progress("writing")
            files = task.write_kit(
                found, source, out, paper=paper, unit=unit, replace_files=replace
            )
        rigs = (source, None if found.cheapest is None else found.cheapest.rig)
        return _careful(task.kit_document(found), list(found.sentences), files, *rigs)

    run(job, as_json=as_json)


def setup(
    rig: RigName,
    out: Annotated[Path, typer.Option("--out", metavar="FILE.pdf", help="The sheet to write.")],
    template: Annotated[
        Path | None,
        typer.Option("--template", metavar="FILE.pdf", help="Full-size outlines of the cards."),
    ] = None,
    paper: Paper = "A4",
    unit: Unit = "mm",
    replace: Replace = False,
    as_json: AsJson = False,
) -> None:
    """Write the sheet to build a rig from: drawings, lengths, steps, settings, cautions.

    Example: lightplan setup silver-bookplate-bright --out setup.pdf --paper Letter --unit in
    """

    def job(progress: object) -> Answer:
        from lightplan.tasks import setup as task

        assert callable(progress)
        files = task.setup(
            rig, out, template=template, paper=paper, unit=unit, replace=replace, progress=progress
        )
        return _careful({}, [], files, rig)

    run(job, as_json=as_json)


def family(
    rig: RigName,
    card: Annotated[
        str | None, typer.Option("--card", metavar="NAME", help="The card on whose plane to look.")
    ] = None,
    distance: Annotated[
        float | None,
        typer.Option("--distance", min=10, help="Instead: a plane so many mm from the sheet."),
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE.png", help="Draw it.")] = None,
    unit: Unit = "mm",
    replace: Replace = False,
    as_json: AsJson = False,
) -> None:
    """Say where a card must lie and how large it must be, and where the camera sees itself.

    Example: lightplan family silver-bookplate-bright --card sky --out family.png
    """

    def job(_: object) -> Answer:
        from lightplan.cli.family_words import family_words
        from lightplan.tasks import mirror_angles as task
        from lightplan.tasks.family_document import family_document

        source = task.ready(rig, out, replace_file=replace)
        found = task.family(source, card=card, distance_mm=distance)
        document = family_document(found)
        words = family_words(document, unit)
        if out is not None:
            path = task.write_drawing(found, out, unit=unit, replace_file=replace)
            document["files"] = [str(path)]
            words += written_lines([path])
        return Answer(document, words)

    run(job, as_json=as_json)
