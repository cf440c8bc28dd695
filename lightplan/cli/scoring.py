"""lightplan score, watch, advise, shoot."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeAlias

import typer

from lightplan.cli.predicting import OutFolder
from lightplan.cli.running import FAILED, Answer, AsJson, Replace, run, say
from lightplan.cli.words import written_lines
from lightplan.errors import BadInput

if TYPE_CHECKING:
    from lightplan.tasks.score import SetScore
    from lightplan.tasks.watch import Changes, Watched

RigOption: TypeAlias = Annotated[
    str | None,
    typer.Option("--rig", metavar="RIG", help="Rig file or preset: its sheet, artwork and look."),
]


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(score)
    app.command()(watch)
    app.command()(advise)
    app.command()(shoot)


def score(
    photos: Annotated[
        list[str] | None,
        typer.Argument(metavar="PHOTO...", help="Photographs, or folders of them."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder to write to.")
    ] = None,
    rig: RigOption = None,
    artwork: Annotated[
        Path | None, typer.Option("--artwork", metavar="PNG", help="PNG or SVG, white is foil.")
    ] = None,
    size: Annotated[
        str | None,
        typer.Option("--size", metavar="WxH", help="Sheet in mm, as 120x160; without a rig."),
    ] = None,
    look: Annotated[
        str | None, typer.Option("--look", help="Another look than the rig file names.")
    ] = None,
    against: Annotated[
        Path | None,
        typer.Option("--against", metavar="DIR", help="A second folder to compare with."),
    ] = None,
    corners: Annotated[
        Path | None,
        typer.Option("--corners", metavar="FILE.json", help="Corners given by hand, by file."),
    ] = None,
    full: Annotated[
        bool, typer.Option("--full", help="Also list hot spots, dust and scratches (slower).")
    ] = False,
    workers: Annotated[
        int | None, typer.Option("--workers", min=1, help="Processes; else one to each core.")
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option("--cluster", metavar="ADDRESS", help="A running Dask scheduler to use."),
    ] = None,
    cluster_outside: Annotated[
        bool, typer.Option("--cluster-outside", help="Allow a scheduler outside your own networks.")
    ] = False,
    again: Annotated[
        bool, typer.Option("--again", help="Judge everything anew instead of going on.")
    ] = False,
    card: Annotated[
        Path | None,
        typer.Option("--card", metavar="FILE.pdf", help="Only write a marker card and foil slips."),
    ] = None,
    replace: Replace = False,
    as_json: AsJson = False,
) -> None:
    """Judge test photographs and rank them, with reasons and a contact sheet.

    Writes scores.csv, scores.json and contact_sheet.html. Stopped with Ctrl-C, a second
    run goes on where the first stopped.

    Example: lightplan score shots --rig silver-bookplate-bright --out scored
    """

    def job(progress: object) -> Answer:
        assert callable(progress)
        if card is not None:
            return _write_card(card, replace=replace)
        if not photos or out is None:
            raise BadInput(
                field="PHOTO and --out",
                wanted="given",
                got="one of them missing",
                cure="name photographs and --out DIR, or --card FILE.pdf",
            )
        from lightplan.tasks import score as task

        task.ready(out, replace_files=replace)
        found = task.score_photos(
            photos,
            rig=rig,
            artwork=artwork,
            size_mm=None if size is None else _size(size),
            look=look,
            against=against,
            out=out,
            corners=None if corners is None else _corners(corners),
            full=full,
            workers=workers,
            cluster=cluster,
            cluster_outside=cluster_outside,
            resume=not again,
            progress=lambda done, of, name: progress(f"{done} of {of}: {name}"),
        )
        progress("writing")
        files = task.write_scores(found, out, replace_files=replace)
        code = FAILED if found.failed else 0
        words = _score_words(found) + written_lines(files)
        return Answer(task.scores_document(found, files), words, code)

    run(job, as_json=as_json)


def _write_card(path: Path, *, replace: bool) -> Answer:
    from lightplan.tasks.score import write_marker_card

    written = write_marker_card(path, replace=replace)
    words = [
        f"Wrote {written}.",
        "Print it at 100 %: a card to lay beside the sheet, and slips for strips of its foil.",
    ]
    return Answer({"files": [str(written)]}, words)


def _size(text: str) -> tuple[float, float]:
    parts = text.lower().replace(" ", "").split("x")
    try:
        width, height = (float(part) for part in parts)
    except ValueError:
        width = height = 0.0
    if not (5 <= width <= 5000 and 5 <= height <= 5000):
        raise BadInput(
            field="--size",
            wanted="width x height in mm, as 120x160",
            got=text,
            cure="measure the sheet",
        )
    return width, height


def _corners(path: Path) -> dict[str, Any]:
    """Corners by file name: {"a.jpg": [[row, column], four of them]}."""
    import numpy as np

    cure = 'give {"name.jpg": [[row, column], ...four]} from the far left, clockwise'
    wanted = "JSON with four corners for each file name"
    try:
        found = {
            name: np.array(v, float) for name, v in json.loads(path.read_text("utf-8")).items()
        }
    except (OSError, ValueError, AttributeError, TypeError):
        raise BadInput(
            field="--corners", wanted=wanted, got="something else", cure=cure, file=str(path)
        ) from None
    for name, corners in found.items():
        if corners.shape != (4, 2) or not np.isfinite(corners).all():
            raise BadInput(field=name, wanted=wanted, got=corners, cure=cure, file=str(path))
    return found


def _score_words(found: SetScore) -> list[str]:
    words = [f"{found.title}: {len(found.ranked)} photographs, best first."]
    if found.guessed_size:
        words.append("The sheet's size is not known; lengths are for one 150 mm long (--size).")
    for one in found.ranked[:20]:
        photo = one.photo
        score = " --" if photo.score is None else f"{photo.score:3.0f}"
        reason = photo.reasons[0] if photo.reasons else ""
        place = "  - " if photo.score is None else f"{one.rank:3d}."
        words.append(f"{place} {score}  {photo.verdict:<11}  {photo.file}  {reason}")
        if one.ties:
            words.append(f"          cannot be told from {', '.join(one.ties[:3])}")
        words += [f"          {flag.sentence}" for flag in one.flags]
    if len(found.ranked) > 20:
        words.append(f"... and {len(found.ranked) - 20} more on the contact sheet.")
    if found.comparison is not None:
        words.append(found.comparison.sentence)
        words += [f"  {reason.sentence}" for reason in found.comparison.reasons]
    if found.failed:
        words.append(f"{found.failed} could not be read; the contact sheet says why.")
    return words


def watch(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where new frames land.")],
    rig: Annotated[str, typer.Option("--rig", metavar="RIG", help="Rig file or preset.")],
    present: Annotated[
        bool, typer.Option("--present", help="Judge first what lies there already.")
    ] = False,
    frames: Annotated[
        int | None, typer.Option("--frames", min=1, help="Stop after so many frames.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Advise on each new frame as it lands: one line, one move. Ctrl-C ends it.

    What changed since the frame before stands below. A file is read once it is whole.

    With --json the object is printed at the end.

    Example: lightplan watch shots --rig silver-bookplate-bright
    """

    def job(_: object) -> Answer:
        from lightplan.tasks import watch as task
        from lightplan.tasks.caution_words import care_lines, cautions_of
        from lightplan.tasks.stopping import gentle_stop

        seen: list[Watched] = []
        careful = cautions_of(rig)
        if not as_json:
            say(care_lines(rig))
        with gentle_stop() as stop:
            for found in task.watch(folder, rig=rig, stop=stop, include_present=present):
                seen.append(found)
                if not as_json:
                    say(_watch_words(found))
                if frames is not None and len(seen) >= frames:
                    stop.set()
        told = [one.photo.to_dict() for one in seen]
        return Answer({"frames": told, "cautions": careful}, [f"{len(seen)} frames judged."])

    run(job, as_json=as_json)


def _watch_words(found: Watched) -> list[str]:
    from lightplan.tasks.watch import sentence_of

    words = [sentence_of(found)]
    if found.changes is not None:
        told = "; ".join(_change_words(found.changes))
        words.append(f"  Since {found.changes.before}: {told}")
    return words


def _change_words(changes: Changes) -> list[str]:
    words = []
    if changes.score is not None:
        sure = "" if changes.clear else ", too little to be sure of"
        words.append(f"{changes.score:+.0f} points{sure}")
    words += [f"cured: {text}" for text in changes.cured]
    words += [f"new: {text}" for text in changes.new]
    words += [f"camera: {text}" for text in changes.settings]
    return words if words else ["no change"]


def advise(
    photo: Annotated[
        list[Path],
        typer.Argument(
            metavar="PHOTO...", help="A test photograph; more of the same set sharpen it."
        ),
    ],
    rig: Annotated[str, typer.Option("--rig", metavar="RIG", help="The rig it was taken with.")],
    out: OutFolder,
    since: Annotated[
        Path | None,
        typer.Option(
            "--since", metavar="PHOTO", help="Say what changed since an earlier photograph."
        ),
    ] = None,
    pin: Annotated[
        str | None,
        typer.Option(
            "--pin",
            metavar="HxT@X,Y",
            help="A pin on the last photograph's sheet: height, thickness, place in mm.",
        ),
    ] = None,
    shoot: Annotated[
        Path | None,
        typer.Option(
            "--shoot",
            metavar="FOLDER",
            help="Remember there what was asked: it is the plan of the next photograph.",
        ),
    ] = None,
    replace: Replace = False,
    as_json: AsJson = False,
) -> None:
    """Say how a photographed set differs from its plan, and the one move to make first.

    Writes report.json, as_built.toml (the rig as it stands, as a rig file), before_after.png
    (the photograph beside the picture after the move) and residual.png (what is left). With
    --shoot a move that was asked for and made is not told as a fault of the next photograph.
    More photographs of the set as it stands, one lamp off or from another place, are fitted
    together with the first, which is the one that is judged.

    Example: lightplan advise shots/IMG_1.jpg --rig silver-bookplate-bright --out advice
    """

    def job(progress: object) -> Answer:
        assert callable(progress)
        from lightplan.tasks.first_look import glance, load_ahead

        load_ahead("lightplan.tasks.advise", "lightplan.tasks.advice_files")
        progress(glance(photo[0]))
        from lightplan.tasks import advise as task
        from lightplan.tasks.caution_words import care_lines

        loaded = task.ready(rig, photo, out, since, replace=replace)
        found = task.advise(
            photo[0],
            rig=loaded,
            others=photo[1:],
            pin=None if pin is None else task.pin_of(pin),
            since=since,
            memory=None if shoot is None else task.memory_of(shoot, since),
            watch=lambda p: progress(f"{p.note} {p.stage}".strip()),
        )
        progress("drawing before and after")
        files = task.write_advice(found, out, rig=loaded, replace=replace)
        if shoot is not None:
            files = (*files, task.remember(shoot, found, replace=replace))
        return Answer(
            found.report() | {"files": [str(f) for f in files]},
            task.advice_words(found) + written_lines(files) + care_lines(found.planned),
        )

    run(job, as_json=as_json)


def shoot(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Test photographs of one set.")],
    rig: Annotated[
        str | None,
        typer.Option(
            "--rig", metavar="RIG", help="The plan of the set; else the one its ledger keeps."
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder to write to; else FOLDER/ledger."),
    ] = None,
    replace: Replace = False,
    as_json: AsJson = False,
) -> None:
    """Write the ledger of a shoot: frames, rigs as built, moves, and which move won what.

    Writes shoot.html, shoot.pdf, shoot.json, the rig as built of each frame, and a copy of the
    plan: from then on the folder knows its rig.

    Example: lightplan shoot shots --rig silver-bookplate-bright
    """

    def job(progress: object) -> Answer:
        from lightplan.tasks import shoot as task
        from lightplan.tasks.caution_words import care_lines

        assert callable(progress)
        plan = task.rig_of(folder, out) if rig is None else rig
        found = task.shoot(
            folder, rig=plan, watch=lambda p: progress(f"{p.done + 1} of {p.of}: {p.stage}")
        )
        progress("writing")
        where = folder / task.LEDGER if out is None else out
        files = task.write_shoot(found, where, rig=plan, replace=replace)
        code = FAILED if found.failed else 0
        document = found.document() | {"files": [str(f) for f in files]}
        words = task.shoot_words(found) + written_lines(files) + care_lines(plan)
        return Answer(document, words, code)

    run(job, as_json=as_json)
