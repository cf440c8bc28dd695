"""lightplan open: the page."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from lightplan.cli.running import Answer, AsJson, run


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.command("open")(open_)


def open_(
    work: Annotated[
        str | None,
        typer.Argument(
            metavar="RIG", help="A rig file, the name of a preset, or a folder with a rig.toml."
        ),
    ] = None,
    port: Annotated[
        int | None,
        typer.Option("--port", metavar="N", min=1, max=65535, help="Port; else a free one."),
    ] = None,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Whether to open the browser.")
    ] = True,
    as_json: AsJson = False,
) -> None:
    """Open the page: describe, choose, lay out, build, shoot and keep, by hand and eye.

    The page is served on this machine alone, to whoever has the address that is printed. It
    needs no network, and nothing leaves the machine. A shipped preset is copied to a work of
    your own first. End it with Ctrl-C; everything is on the disk by then.

    Example: lightplan open silver-bookplate-bright
    """

    def job(_: object) -> Answer:
        from lightplan.page.serve import serve

        said: dict[str, str] = {}

        def say(address: str, title: str) -> None:
            said.update(address=address, title=title)
            if not as_json:
                print(f"{title}: {address}", flush=True)
                print("Ctrl-C ends it.", file=sys.stderr, flush=True)

        serve(work, port=port, browser=browser, say=say)
        return Answer(said, ["Closed; everything is on the disk."])

    run(job, as_json=as_json)
