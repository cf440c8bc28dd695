"""The ledger of a shoot: frames, rigs as built, moves, scores, and which move won what."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lightplan.advice.memory import Memory
from lightplan.errors import BadInput
from lightplan.faults import CAUGHT, as_told
from lightplan.manifest import write_output
from lightplan.progress import Progress, Watch, unwatched
from lightplan.reports.cautions import cautions_for
from lightplan.reports.ledger import Note, ledger_html, ledger_pdf, small_picture
from lightplan.reports.picture import picture_codes
from lightplan.reports.report import json_text
from lightplan.rigfiles import LoadedRig, load_rig
from lightplan.rigfiles.write import write_rig
from lightplan.scene import Rig
from lightplan.shots.sets.batch import photographs_in
from lightplan.tasks.advice_files import as_built_toml
from lightplan.tasks.advise import Advice, advise
from lightplan.tasks.first_look import taken_at
from lightplan.tasks.folder import prepare
from lightplan.tasks.remembering import LEDGER as LEDGER
from lightplan.tasks.remembering import MEMORY_FILE, memory_text, with_frame

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.tasks.predict import RigLike

RIG_FILE = "rig.toml"
FILES = ("shoot.html", "shoot.pdf", "shoot.json", MEMORY_FILE, RIG_FILE)
TOLD_FROM = 1.0  # points


@dataclass(frozen=True, eq=False)
class Frame:
    """One photograph of a shoot with its advice.

    Attributes
    ----------
    advice : Advice
    won : float or None
        Points over the frame before; None for the first, or where one has no score.
    after : str
        The move that was told at the frame before; empty where there was none.
    """

    advice: Advice
    won: float | None
    after: str


@dataclass(frozen=True, eq=False)
class Shoot:
    """A shoot folder, read."""

    folder: Path
    title: str
    frames: tuple[Frame, ...]
    failed: tuple[str, ...]
    careful: tuple[str, ...] = ()
    """The cautions of the set."""
    memory: Memory = field(default_factory=Memory)
    """What the frames asked for: the next one is advised on with it."""

    def document(self) -> dict[str, Any]:
        """Return shoot.json as plain values."""
        return {
            "title": self.title,
            "frames": [
                {
                    "file": f.advice.photo.file,
                    "taken": f.advice.photo.settings.taken,
                    "score": f.advice.photo.score,
                    "won": f.won,
                    "after_move": f.after,
                    **{
                        k: f.advice.report()[k]
                        for k in ("as_planned", "slips", "foreign", "first_move", "sentence")
                    },
                }
                for f in self.frames
            ],
            "failed": list(self.failed),
            "cautions": list(self.careful),
        }


def rig_of(folder: Path, out: Path | None = None) -> LoadedRig:
    """Return the rig that a shoot's ledger keeps from an earlier run.

    Raises
    ------
    BadInput
        When no ledger is there, or it keeps no rig.
    """
    kept = (folder / LEDGER if out is None else out) / RIG_FILE
    if not kept.is_file():
        raise BadInput(
            field="--rig",
            wanted="the plan of the set, the first time",
            got=f"no {RIG_FILE} in {kept.parent}",
            cure="name the rig; the ledger keeps a copy from then on",
        )
    return load_rig(kept)


def shoot(folder: Path, *, rig: RigLike, watch: Watch = unwatched) -> Shoot:
    """Return the ledger of a folder of test photographs of one set, in the order they were taken.

    Each is advised on with what the frames before it asked for.

    Raises
    ------
    BadInput
        When there is no folder, or no photograph in it, or the rig cannot be read.
    """
    if not folder.is_dir():
        raise BadInput(
            field="FOLDER",
            wanted="a folder of photographs",
            got=str(folder),
            cure="name the folder of the shoot",
        )
    loaded = rig if isinstance(rig, Rig | LoadedRig) else load_rig(rig)
    planned = loaded if isinstance(loaded, Rig) else loaded.rig
    paths = photographs_in([folder])
    if not paths:
        raise BadInput(
            field="FOLDER",
            wanted="at least one photograph",
            got="none",
            cure="name the folder that holds them",
            file=str(folder),
        )
    found, failed, memory = [], [], Memory()
    for number, path in enumerate(sorted(paths, key=lambda p: (taken_at(p), p.name))):
        watch(Progress(stage=path.name, done=number, of=len(paths)))
        try:
            found.append(advise(path, rig=planned, memory=memory))
        except CAUGHT as error:  # one odd file does not end a shoot
            failed.append(str(as_told(error)))
        else:
            memory = with_frame(memory, found[-1])
    frames, careful = tuple(_frames(found)), cautions_for(planned)
    return Shoot(folder, planned.title, frames, tuple(failed), careful, memory)


def _frames(found: Sequence[Advice]) -> list[Frame]:
    frames: list[Frame] = []
    before: Advice | None = None
    for advice in found:
        won, after = None, ""
        if before is not None:
            if advice.photo.score is not None and before.photo.score is not None:
                won = advice.photo.score - before.photo.score
            after = "" if before.first_move is None else before.first_move.text
        frames.append(Frame(advice, won, after))
        before = advice
    return frames


def write_shoot(found: Shoot, out: Path, *, rig: RigLike, replace: bool = False) -> list[Path]:
    """Write shoot.html, shoot.pdf, shoot.json, memory.json, each rig as built, and the plan itself.

    With the plan in it the ledger knows its rig: see `rig_of`.
    """
    loaded = rig if isinstance(rig, Rig | LoadedRig) else load_rig(rig)
    kept = out / RIG_FILE
    is_kept = isinstance(loaded, LoadedRig) and loaded.path.resolve() == kept.resolve()
    prepare(out, [f for f in FILES if f != RIG_FILE or not is_kept], replace=replace)
    notes = [_note(frame) for frame in found.frames]
    written = [
        write_output(
            out / "shoot.html",
            ledger_html(found.title, notes, careful=found.careful),
            replace=replace,
        ),
        write_output(out / "shoot.pdf", shoot_pdf(found), replace=replace),
    ]
    for frame in found.frames:
        if frame.advice.estimate is not None:
            name = f"{Path(frame.advice.photo.file).stem}-as-built.toml"
            written.append(as_built_toml(frame.advice, out / name, loaded, replace=replace))
    if isinstance(loaded, LoadedRig) and not is_kept:
        write_rig(loaded, kept, replace=replace, is_output=True)
        written.append(kept)
    kept_memory = memory_text(found.memory)
    written.append(write_output(out / MEMORY_FILE, kept_memory, replace=replace))
    written.append(write_output(out / "shoot.json", json_text(found.document()), replace=replace))
    return written


def shoot_pdf(found: Shoot) -> bytes:
    """Return the ledger as printed pages."""
    notes = [_note(frame) for frame in found.frames]
    return ledger_pdf(found.title, notes, careful=found.careful)


def _note(frame: Frame) -> Note:
    advice = frame.advice
    assert advice.looked is not None
    shot = advice.looked.shot
    codes = picture_codes(shot.transfer.linear(shot.preview(480)))
    taken = advice.photo.settings.taken
    move = advice.first_move
    costs = [t for t in advice.things if t.cost >= TOLD_FROM or not advice.things]
    found = tuple(f"{t.what[:1].upper()}{t.what[1:]}." for t in costs)
    if advice.estimate is None:
        found = (advice.sentence,)
    elif not found:
        found = ("As planned, or what differs costs nothing.",)
    return Note(
        file=advice.photo.file,
        taken="" if taken is None else taken.replace("T", " "),
        score=advice.photo.score,
        found=found,
        move="" if move is None else move.text,
        won=won_words(frame),
        picture=small_picture(codes),
    )


def won_words(frame: Frame) -> str:
    """Return what a frame won over the one before, as a sentence; empty where that is not known."""
    if frame.won is None:
        return ""
    points = f"{frame.won:+.0f} point{'' if abs(round(frame.won)) == 1 else 's'}"
    return (
        f'After "{frame.after}": {points}.' if frame.after else f"Since the frame before: {points}."
    )


def shoot_words(found: Shoot) -> list[str]:
    """Return the ledger as lines for a maker."""
    words = [f"{found.title}: {len(found.frames)} frames."]
    for number, frame in enumerate(found.frames, 1):
        won = won_words(frame)
        words.append(f"{number}. {frame.advice.sentence}" + (f" {won}" if won else ""))
    return words + [f"Not read: {text}" for text in found.failed]
