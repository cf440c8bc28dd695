"""lightplan rigs: list, show, check, save and copy rig files."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lightplan.cli.predicting import RigName
from lightplan.cli.running import Answer, AsJson, Replace, run

rigs = typer.Typer(
    no_args_is_help=True,
    help="The presets: list them, show one, check a file, keep your own.\n\n"
    "Example: lightplan rigs list",
)


def add_to(app: typer.Typer) -> None:
    """Add these commands."""
    app.add_typer(rigs, name="rigs")


@rigs.command("list")
def list_(as_json: AsJson = False) -> None:
    """List the presets, shipped ones and yours.

    Example: lightplan rigs list
    """

    def job(_: object) -> Answer:
        from lightplan.tasks.rig_store import list_rigs

        found = list_rigs()
        rows = [
            {
                "name": r.name,
                "title": r.title,
                "look": r.look,
                "foil": r.foil,
                "sheet_mm": [r.width_mm, r.height_mm],
                "is_yours": not r.shipped,
                "path": str(r.path),
                "error": r.error,
            }
            for r in found
        ]
        width = max((len(r.name) for r in found), default=0)
        yours = {True: "", False: " (yours)"}
        words = [f"{r.name:<{width}}  {r.error or r.title}{yours[r.shipped]}" for r in found]
        return Answer({"rigs": rows}, words)

    run(job, as_json=as_json)


@rigs.command()
def show(rig: RigName, as_json: AsJson = False) -> None:
    """Print a rig file.

    Example: lightplan rigs show gold-card-above
    """

    def job(_: object) -> Answer:
        from lightplan.tasks.rig_store import load_rig, show_rig

        text = show_rig(rig)
        loaded = load_rig(rig)
        document = {"name": rig, "path": str(loaded.path), "digest": loaded.digest, "text": text}
        return Answer(document, [text.rstrip("\n")])

    run(job, as_json=as_json)


@rigs.command()
def check(rig: RigName, as_json: AsJson = False) -> None:
    """Say whether a rig file is good, or what is wrong with it.

    Example: lightplan rigs check my-rig.toml
    """

    def job(_: object) -> Answer:
        from lightplan.tasks.rig_store import check_rig

        loaded = check_rig(rig)
        document = {
            "ok": True,
            "path": str(loaded.path),
            "digest": loaded.digest,
            "questions": list(loaded.questions),
        }
        words = [f"{loaded.path} is good: {loaded.rig.title}."]
        return Answer(document, words + [f"Is this meant? {asked}" for asked in loaded.questions])

    run(job, as_json=as_json)


@rigs.command()
def save(
    rig: RigName,
    name: Annotated[str, typer.Argument(metavar="NAME", help="What to call it.")],
    replace: Replace = False,
    as_json: AsJson = False,
) -> None:
    """Keep a rig among your own presets.

    Example: lightplan rigs save my-rig.toml seed-packet-labels
    """

    def job(_: object) -> Answer:
        from lightplan.tasks.rig_store import save_rig

        path = save_rig(rig, name, replace=replace).path
        return Answer({"name": name, "path": str(path)}, [f"Kept as {name} in {path}."])

    run(job, as_json=as_json)


@rigs.command()
def copy(
    rig: RigName,
    to: Annotated[Path, typer.Argument(metavar="FILE", help="The file to write.")],
    replace: Replace = False,
    as_json: AsJson = False,
) -> None:
    """Copy a preset to a file of your own, to change it there.

    Example: lightplan rigs copy silver-bookplate-bright my-rig.toml
    """

    def job(_: object) -> Answer:
        from lightplan.tasks.rig_store import copy_rig

        path = copy_rig(rig, to, replace=replace).path
        return Answer({"path": str(path)}, [f"Copied to {path}."])

    run(job, as_json=as_json)
