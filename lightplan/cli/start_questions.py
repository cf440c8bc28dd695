"""lightplan start: the page's questions in the terminal."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from lightplan.cli.asking import ask
from lightplan.cli.running import Answer, AsJson, run
from lightplan.errors import BadInput


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
    photograph: Annotated[
        Path | None,
        typer.Option(
            "--print",
            metavar="PHOTO",
            help="A straight photograph of the print, from which the metal is told; "
            "instead of --artwork.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Answer a few questions and get a first rig file of your own product.

    Enter alone means "I do not know": something usual is taken, and marked in the file.

    Example: lightplan start --out tags.toml
    """

    def job(_: object) -> Answer:
        from lightplan.tasks.caution_words import care_lines, cautions_of
        from lightplan.tasks.start import questions
        from lightplan.tasks.start_rig import start_rig

        if artwork is not None and photograph is not None:
            raise BadInput(
                field="--print",
                wanted="given without --artwork",
                got="both",
                cure="leave one of them out",
            )

        answers: dict[str, Any] = {}
        for question in questions():
            if question["kind"] != "artwork":
                answers[question["id"]] = ask(question)
        picture, told = _foil(answers, artwork=artwork, photograph=photograph, colour=colour)
        loaded = start_rig(answers, out, artwork=picture)
        mask = loaded.path.parent / str(loaded.rig.sheet.artwork_file)
        words = [
            f"Written to {loaded.path}: {loaded.rig.title}.",
            *(f"{line} {mask}." for line in told),
            f"See it with: lightplan open {loaded.path}",
            *care_lines(loaded),
        ]
        document = {"path": str(loaded.path), "title": loaded.rig.title}
        return Answer(document | {"cautions": cautions_of(loaded)}, words)

    run(job, as_json=as_json)


def _foil(
    answers: dict[str, Any], *, artwork: Path | None, photograph: Path | None, colour: str | None
) -> tuple[bytes | None, list[str]]:
    """Return the metal as a picture, None for a sample, and what is to be said of it."""
    from lightplan.tasks.foil_artwork import mask_of_file, mask_of_print
    from lightplan.tasks.start_rig import size_of

    width, height = size_of(answers)
    if photograph is not None:
        picture, share = mask_of_print(photograph, colour=colour, width_mm=width, height_mm=height)
        return picture, [
            f"Told from the photograph: {100 * share:.0f} % of the sheet is metal. "
            "Look whether that is so; white is metal in"
        ]
    if artwork is None:
        return None, []
    return mask_of_file(artwork, colour=colour, width_mm=width, height_mm=height), []
