"""The process that decodes photographs: one after the other, inside limits, whatever they are.

It is told what to read on its standard input and answers on its standard output, in the form of
`framing`, until nobody speaks to it any more.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import IO, Any, TypeAlias

from lightplan.errors import BadInput, LightplanError
from lightplan.process import keep_memory, limit_memory
from lightplan.session import messages

Facts: TypeAlias = dict[str, Any]
Read: TypeAlias = tuple[Facts, tuple[bytes, ...]]
Way: TypeAlias = Callable[..., Read]

MEMORY_BYTES = 3 << 30
"""On top of what it has when it begins; what a worker that judges photographs may take."""
KEPT_BYTES = 64 << 20
"""Of freed memory so much is kept for the next photograph: small pictures need no more."""
TIME_S = 60.0
"""The longest that one photograph may take; who asks ends this process then."""
GRACE_S = 15.0
"""After that and so long again it ends by itself: who asked may have gone."""
BEHIND_THE_HAND = 5
"""Niceness: the picture that follows the hand goes before it."""
PARTS = ("field", "wanted", "got", "cure")
"""Of a refusal, as they are sent."""
THUMB_PX, LARGE_PX = 480, 2400


def _thumb(path: Path) -> Read:
    from lightplan.tasks.photo_facts import small_picture

    return {}, (small_picture(path, THUMB_PX),)


def _large(path: Path) -> Read:
    from lightplan.tasks.photo_facts import small_picture

    return {}, (small_picture(path, LARGE_PX),)


def _pixels(path: Path, *, at: Sequence[float]) -> Read:
    from lightplan.tasks.photo_facts import pixels_at

    across, down = at
    return {}, (pixels_at(path, (float(across), float(down))),)


def _camera(path: Path) -> Read:
    from lightplan.tasks.photo_facts import lens_of_photo, small_picture

    found = lens_of_photo(path)
    told = {"equivalent_mm": found.equivalent_mm, "pixels": list(found.pixels)}
    return {**told, "is_phone": found.is_phone}, (small_picture(path),)


def _stock(path: Path, *, stock_at: Sequence[float], paper_at: Sequence[float]) -> Read:
    from lightplan.tasks.photo_facts import stock_beside_paper

    stock, paper = ((float(across), float(down)) for across, down in (stock_at, paper_at))
    found = stock_beside_paper(path, stock_at=stock, paper_at=paper)
    return {"reflectance": list(found)}, ()


def _lux(path: Path, *, paper_at: Sequence[float]) -> Read:
    from lightplan.tasks.lamp_photo import lux_at_one_metre

    across, down = paper_at
    return {"lux": lux_at_one_metre(path, (float(across), float(down)))}, ()


def _print(path: Path, *, width_mm: float, height_mm: float) -> Read:
    from lightplan.tasks.print_photo import artwork_of_print

    found = artwork_of_print(path, width_mm=width_mm, height_mm=height_mm)
    rows, cols = found.codes.shape[:2]
    return {"rows": rows, "cols": cols}, (found.codes.tobytes(), found.cover.tobytes())


WAYS: dict[str, Way] = {
    "thumb": _thumb,
    "large": _large,
    "pixels": _pixels,
    "camera": _camera,
    "stock": _stock,
    "lux": _lux,
    "print": _print,
}
"""What can be asked of a photograph."""


def main() -> None:
    """Answer until nobody asks any more; this is the child."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # what libraries print is no answer
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that asks
    if hasattr(os, "nice"):
        os.nice(BEHIND_THE_HAND)
    import cv2

    import lightplan.tasks.photo_facts  # noqa: F401 - before anybody waits for it

    cv2.setNumThreads(1)
    limit_memory(MEMORY_BYTES)
    keep_memory(KEPT_BYTES)
    with contextlib.suppress(EOFError, OSError):
        messages.write(answers, {"is": "ready"})
        while True:
            _answer_one(sys.stdin.buffer, answers)


def _answer_one(asked: IO[bytes], answers: IO[bytes]) -> None:
    from lightplan.shots.sets.worker import set_alarm

    order, _ = messages.read(asked)
    set_alarm(TIME_S + GRACE_S)
    told, bodies = _told(Path(order["path"]), order["way"], order["given"])
    set_alarm(0.0)
    messages.write(answers, told, *bodies)


def _told(path: Path, way: str, given: Mapping[str, Any]) -> Read:
    """Return what is read of a photograph, or the five parts of why it is not."""
    try:
        facts, bodies = WAYS[way](path, **given)
    except BadInput as error:
        return {"is": "refused", **{name: str(getattr(error, name)) for name in PARTS}}, ()
    except LightplanError as error:
        return {"is": "failed", "text": str(error)}, ()
    except MemoryError:
        return {"is": "too large"}, ()
    except Exception as fault:  # noqa: BLE001 - one photograph must not end the next one's reading
        what = " ".join(f"{type(fault).__name__}: {fault}".split())[:200]
        return {"is": "failed", "text": f"{path.name}: reading it broke off ({what})."}, ()
    return {"is": "read", "facts": facts}, bodies
