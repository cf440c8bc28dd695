"""The memory of a shoot in its ledger: read before a frame is advised on, written after it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from lightplan.advice.memory import AskedMoves, Memory, RememberedMoves, remembered_move
from lightplan.errors import BadInput
from lightplan.manifest import write_output

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.tasks.advise import Advice

LEDGER = "ledger"
MEMORY_FILE = "memory.json"
FORMAT = 1


def memory_path(folder: Path) -> Path:
    """Return where a shoot folder keeps its memory."""
    return folder / LEDGER / MEMORY_FILE


def read_memory(path: Path) -> Memory:
    """Return the memory of a shoot; an empty one where none is kept yet.

    Raises
    ------
    BadInput
        When the file is there and is no memory.
    """
    try:
        text = path.read_text("utf-8")
    except FileNotFoundError:
        return Memory()
    except (OSError, ValueError):
        raise _odd(path) from None
    try:
        told = json.loads(text)
        if told["format"] != FORMAT:
            raise ValueError
        return Memory(tuple(_frame(one) for one in told["frames"]))
    except (ValueError, KeyError, TypeError):
        raise _odd(path) from None


def _odd(path: Path) -> BadInput:
    return BadInput(
        field="the memory of the shoot",
        wanted=f"{MEMORY_FILE} as lightplan writes it",
        got="something else",
        cure="take it away: 'lightplan shoot' writes it anew from the photographs",
        file=str(path),
    )


def _frame(one: dict[str, Any]) -> RememberedMoves:
    asked = one["asked"]
    return RememberedMoves(
        file=str(one["file"]),
        score=_number(one["score"]),
        stops=_number(one["stops"]),
        balance=_number(one["balance"]),
        asked=None
        if asked is None
        else AskedMoves(
            text=str(asked["text"]),
            element=str(asked["element"]),
            parts=tuple((str(d), float(v)) for d, v in asked["parts"]),
            undoes=bool(asked["undoes"]),
            takes_back=bool(asked["takes_back"]),
            steps=None
            if asked["steps"] is None
            else tuple((str(d), float(v)) for d, v in asked["steps"]),
        ),
    )


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def write_memory(path: Path, memory: Memory, *, replace: bool = False) -> Path:
    """Write the memory of a shoot, over an earlier one of ours."""
    path.parent.mkdir(parents=True, exist_ok=True)
    return write_output(path, memory_text(memory), replace=replace)


def memory_text(memory: Memory) -> str:
    """Return the memory of a shoot as it is kept."""
    frames = [_plain(frame) for frame in memory.frames]
    return json.dumps({"format": FORMAT, "frames": frames}, indent=1, ensure_ascii=False)


def _plain(frame: RememberedMoves) -> dict[str, Any]:
    asked = frame.asked
    return {
        "file": frame.file,
        "score": frame.score,
        "stops": frame.stops,
        "balance": frame.balance,
        "asked": None
        if asked is None
        else {
            "text": asked.text,
            "element": asked.element,
            "parts": [list(part) for part in asked.parts],
            "undoes": asked.undoes,
            "takes_back": asked.takes_back,
            "steps": None if asked.steps is None else [list(step) for step in asked.steps],
        },
    }


def with_frame(memory: Memory, advice: Advice) -> Memory:
    """Return a memory with one more frame; frames of that name and later ones give way."""
    move, known = advice.first_move, memory.before(advice.photo.file)
    frame = RememberedMoves(
        file=advice.photo.file,
        score=advice.photo.score,
        stops=advice.exposure_over_plan,
        balance=None if advice.estimate is None else advice.estimate.camera.balance_stops,
        asked=None if move is None else remembered_move(move, advice.slips, known.last),
    )
    return Memory((*known.frames, frame))


def memory_of(folder: Path, since: object = None) -> Memory:
    """Return what the shoot in a folder has asked for.

    Raises
    ------
    BadInput
        When there is no such folder, its memory is damaged, or drift is asked for beside it.
    """
    if since is not None:
        raise BadInput(
            field="--shoot",
            wanted="one of --shoot and --since",
            got="both",
            cure="leave one out: drift is told against the earlier photograph alone",
        )
    if not folder.is_dir():
        raise BadInput(
            field="--shoot",
            wanted="the folder of the shoot",
            got=str(folder),
            cure="make it, or check the name",
        )
    return read_memory(memory_path(folder))


def remember(folder: Path, advice: Advice, *, replace: bool = False) -> Path:
    """Keep what a frame asked for in the ledger of its shoot."""
    path = memory_path(folder)
    return write_memory(path, with_frame(read_memory(path), advice), replace=replace)
