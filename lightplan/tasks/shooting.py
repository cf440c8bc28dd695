"""Photographs of a shoot for whoever watches: small pictures at once, verdicts, advice."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from lightplan.errors import BadInput
from lightplan.progress import Progress, Stop, Watch
from lightplan.rigfiles import load_rig
from lightplan.safe_write import atomic_write
from lightplan.shots.formats.reading import SUFFIXES
from lightplan.tasks import advise as advising
from lightplan.tasks import shoot as shooting
from lightplan.tasks.advice_files import before_after
from lightplan.tasks.layout import outlines
from lightplan.tasks.photo_facts import small_picture
from lightplan.tasks.predicted_jpeg import whole_jpeg
from lightplan.tasks.score import score_photos

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.shots.sets.ranking import Ranked

Part = Callable[[Any], None]
SHOWN_PX = 900


def photographs(folder: Path) -> list[Path]:
    """Return the photographs in a folder, by name."""
    if not folder.is_dir():
        return []
    found = (p for p in folder.iterdir() if p.suffix.lower() in SUFFIXES and p.is_file())
    return sorted((p for p in found if not p.name.startswith(".")), key=lambda p: p.name)


def score_work(
    folder: Path, rig: Path, *, watch: Watch, part: Part, stop: Stop
) -> list[dict[str, Any]]:
    """Return all photographs of a folder as judged and ranked, best first, as plain values."""

    def told(done: int, of: int, name: str) -> None:
        watch(Progress(stage="judging photographs", done=done, of=of, note=name))

    found = score_photos([folder], rig=rig, out=folder / ".lightplan-scores", progress=told)
    return [_told(one) for one in found.ranked]


def _told(one: Ranked) -> dict[str, Any]:
    """Return a frame's place in its set, and what was found of the frame itself."""
    photo = one.photo.to_dict()
    names = ("verdict", "reasons", "error", "findings", "placed")
    return one.to_dict() | {name: photo[name] for name in names}


def advise_work(
    photo: Path,
    rig: Path,
    name: str,
    since: Path | None = None,
    *,
    watch: Watch,
    part: Part,
    stop: Stop,
) -> dict[str, Any]:
    """Return what a test photograph shows beside its plan, as plain values with pictures.

    Parameters
    ----------
    since : Path or None
        An earlier photograph: what changed since then is told instead.
    """
    advice = advising.advise(photo, rig=rig, since=since, watch=watch)
    can = advice.looked is not None and advice.state is not None
    built = None if advice.estimate is None else advice.estimate.as_built
    return {
        "report": advice.report() | {"file": name},
        "photo": small_picture(photo, SHOWN_PX),
        "expected": whole_jpeg(advice.planned, SHOWN_PX)
        if since is None
        else small_picture(since, SHOWN_PX),
        "both": before_after(advice) if can else None,
        "sets": None if built is None else [outlines(advice.planned), outlines(built)],
    }


def shoot_work(folder: Path, rig: Path, *, watch: Watch, part: Part, stop: Stop) -> dict[str, Any]:
    """Return the ledger of a shoot: frame by frame what was seen, moved and won; and its PDF."""
    loaded = load_rig(rig)
    found = shooting.shoot(folder, rig=loaded, watch=watch)
    watch(Progress(stage="writing it down"))
    frames = [
        told | {"words": shooting.won_words(frame)}
        for told, frame in zip(found.document()["frames"], found.frames, strict=True)
    ]
    pdf = shooting.shoot_pdf(found)
    return {"title": found.title, "frames": frames, "failed": list(found.failed), "pdf": pdf}


def verdicts(path: Path) -> dict[str, Any]:
    """Return what the maker said of photographs: {file: {verdict, reason}}."""
    try:
        kept = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return kept if isinstance(kept, dict) else {}


def keep_verdict(path: Path, *, file: str, verdict: str | None, reason: str) -> dict[str, Any]:
    """Keep what the maker says of a photograph; None takes it back. Return all that is kept."""
    if verdict not in (None, "keep", "retake"):
        raise BadInput(field="verdict", wanted="keep or retake", got=verdict, cure="choose one")
    kept = verdicts(path)
    kept.pop(file, None)
    if verdict is not None:
        kept[file] = {"verdict": verdict, "reason": reason[:500]}
    atomic_write(path, json.dumps(kept, indent=1, ensure_ascii=False), replace=True)
    return kept
