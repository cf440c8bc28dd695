"""lightplan predict, view, demo."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, TypeAlias

import typer

from lightplan.cli.running import Answer, AsJson, Replace, run
from lightplan.cli.words import finding_lines, verdict_line, written_lines

RigName: TypeAlias = Annotated[
    str, typer.Argument(metavar="RIG", help="A rig file, or the name of a preset.")
]
OutFolder: TypeAlias = Annotated[
    Path, typer.Option("--out", metavar="DIR", help="Folder to write to; made if need be.")
]


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(predict)
    app.command()(view)
    app.command()(demo)


def predict(
    rig: RigName, out: OutFolder, replace: Replace = False, as_json: AsJson = False
) -> None:
    """Show what the camera will see, and where the glare falls.

    Writes picture.png, glare_map.png, report.json and layers.npz.

    Example: lightplan predict silver-bookplate-bright --out predicted
    """

    def job(progress: object) -> Answer:
        from lightplan.tasks import predict as task

        assert callable(progress)
        source = task.ready(rig, out, replace=replace)
        found = task.predict(source, pack=True, progress=progress)
        progress("writing")
        paths = task.write_prediction(found, out, replace=replace)
        document = found.report() | {"files": [str(path) for path in paths]}
        words = [
            found.rig.title,
            verdict_line(found.judgement),
            *finding_lines(found.findings),
            *written_lines(paths),
            "Take care, when you build it:",
            *(f"  {text}" for text in document["cautions"]),
        ]
        return Answer(document, words)

    run(job, as_json=as_json)


def view(
    rig: RigName,
    png: Annotated[
        Path | None, typer.Option("--png", metavar="FILE", help="Write a picture of the set.")
    ] = None,
    html: Annotated[
        Path | None,
        typer.Option("--html", metavar="FILE", help="Write a page to turn the set about, offline."),
    ] = None,
    replace: Replace = False,
    as_json: AsJson = False,
) -> None:
    """Show the set in 3-D, with the mirrored rays to each lamp and card.

    Opens a window, unless a file is asked for.

    Example: lightplan view silver-bookplate-bright --png set.png --html set.html
    """

    def job(progress: object) -> Answer:
        from lightplan.tasks import view as task

        assert callable(progress)
        paths = task.view(rig, png=png, html=html, replace=replace, progress=progress)
        return Answer({"files": [str(path) for path in paths]}, written_lines(paths))

    run(job, as_json=as_json)


def demo(
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder to write to.")] = Path(
        "lightplan-demo"
    ),
    as_json: AsJson = False,
) -> None:
    """Run the whole job on the shipped example, and say what it wrote.

    Example: lightplan demo
    """

    def job(progress: object) -> Answer:
        from lightplan.tasks import demo as task

        assert callable(progress)
        told = task.demo(out, progress=progress)
        careful = ["Take care, when you build it:"]
        careful += [f"  {text}" for text in told.document["cautions"]]
        words = [*told.words, *written_lines(told.files), *careful]
        return Answer(told.document, words)

    run(job, as_json=as_json)
