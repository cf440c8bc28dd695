"""lightplan start: the page's questions in the terminal."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from lightplan.cli.asking import ask
from lightplan.cli.running import Answer, AsJson, run


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command()(start)


def start(
    out: Annotated[
        Path, typer.Option("--out", metavar="FILE", help="The rig file to write.")
    ] = Path("my-rig.toml"),
    artwork: Annotated[
        Path | None,
        typer.Option("--artwork", metavar="FILE", help="Your artwork: PNG, SVG or PDF."),
    ] = None,
    colour: Annotated[
        str | None,
        typer.Option("--colour", metavar="RRGGBB", help="The colour of the artwork that is metal."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Answer a few questions and get a first rig file of your own product.

    Enter alone means "I do not know": something usual is taken, and marked in the file.

    Example: lightplan start --out tags.toml
    """

    def job(_: object) -> Answer:
        from lightplan.tasks.care import care_lines, cautions_of
        from lightplan.tasks.foil_artwork import mask_of_file
        from lightplan.tasks.start import questions
        from lightplan.tasks.start_rig import size_of, start_rig

        answers: dict[str, Any] = {}
        for question in questions():
            if question["kind"] != "artwork":
                answers[question["id"]] = ask(question)
        picture = None
        if artwork is not None:
            width, height = size_of(answers)
            picture = mask_of_file(artwork, colour=colour, width_mm=width, height_mm=height)
        loaded = start_rig(answers, out, artwork=picture)
        words = [
            f"Written to {loaded.path}: {loaded.rig.title}.",
            f"See it with: lightplan open {loaded.path}",
            *care_lines(loaded),
        ]
        document = {"path": str(loaded.path), "title": loaded.rig.title}
        return Answer(document | {"cautions": cautions_of(loaded)}, words)

    run(job, as_json=as_json)
