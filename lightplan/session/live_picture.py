"""The live picture: one thread that owns one engine, and one slot that the latest rig takes.

A hand that moves sends rigs faster than light can be worked out. Whatever waits is replaced by
what comes after it, so nothing queues up: what is shown is never older than one picture.
"""

from __future__ import annotations

import threading
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeAlias

from lightplan.errors import LightplanError
from lightplan.progress import Stopped

if TYPE_CHECKING:
    from lightplan.scene import Rig
    from lightplan.tasks.live import LivePicture

LAYOUT_EVERY_S = 0.12
"""While the hand moves the drawing is sent this often, or less on a busy machine; the hand's own
thing follows at once."""


PAUSE_S = 0.1
"""A hand that sends nothing for so long pauses: a finer frame follows the hasty one."""
LIVE_PICTURE = "live picture"
"""Name of the thread that makes it."""


@dataclass(frozen=True, eq=False)
class Wanted:
    """A rig whose picture is wanted, and the mark by which its sender knows it."""

    rig: Rig
    revision: int
    mark: Any = None


Told: TypeAlias = Callable[[str, Wanted, Any], None]
"""Is told "frame", "layout" or "fault", what was wanted, and the frame, drawing or sentence."""


class Live:
    """Frames for whatever rig was shown last.

    Parameters
    ----------
    tell : callable
        Called from this object's own thread.
    """

    def __init__(self, tell: Told) -> None:
        self._tell = tell
        self._slot: Wanted | None = None
        self._ready = threading.Condition()
        self._closed = False
        self._next_layout = 0.0
        self._picture: LivePicture | None = None
        self._thread = threading.Thread(target=self._run, name=LIVE_PICTURE, daemon=True)
        self._thread.start()

    def show(self, rig: Rig, revision: int, mark: Any = None) -> None:
        """Ask for the picture of a rig; one that still waits is dropped."""
        with self._ready:
            self._slot = Wanted(rig, revision, mark)
            self._ready.notify()

    def close(self) -> None:
        """End the thread; a picture that is being made is still told."""
        with self._ready:
            self._closed = True
            self._ready.notify()
        self._thread.join(timeout=1.0)

    def _run(self) -> None:
        if (wanted := self._take(None)) is None:
            return
        self._one(wanted, "layout", _layout)  # the first picture takes seconds: drawings before it
        self._one(wanted, "frame", self._quick)
        while (wanted := self._take(None)) is not None:
            while wanted is not None:
                last = wanted
                self._one(last, "frame", self._hasty)
                begun = time.monotonic()
                if is_due := begun > self._next_layout:
                    self._one(last, "layout", _layout)
                    now = time.monotonic()
                    self._next_layout = now + max(LAYOUT_EVERY_S, 4 * (now - begun))
                wanted = self._take(PAUSE_S)
            if self._closed:
                return
            if not is_due:
                self._one(last, "layout", _layout)
            self._one(last, "frame", self._quick)

    def _hasty(self, rig: Rig) -> Any:
        return self._the_picture().frame(rig, hasty=True)

    def _quick(self, rig: Rig) -> Any:
        return self._the_picture().frame(rig, check=self._nobody_waits)

    def _nobody_waits(self) -> None:
        """End a picture for a hand that rests as soon as the hand moves again."""
        if self._slot is not None or self._closed:
            raise Stopped

    def _the_picture(self) -> LivePicture:
        if self._picture is None:  # not before somebody looks: the page itself is there first
            from lightplan.tasks.live import LivePicture

            self._picture = LivePicture()
        return self._picture

    def _take(self, patience_s: float | None) -> Wanted | None:
        """Return the next rig that is wanted; None when none comes in time, or at the end."""
        with self._ready:
            self._ready.wait_for(lambda: self._slot is not None or self._closed, patience_s)
            wanted, self._slot = self._slot, None
            return None if self._closed else wanted

    def _one(self, wanted: Wanted, kind: str, make: Callable[[Rig], Any]) -> None:
        try:
            made = make(wanted.rig)
        except Stopped:
            return  # the next picture is on its way
        except LightplanError as error:
            self._tell("fault", wanted, str(error))
            return
        except Exception as error:  # noqa: BLE001 - the thread must live on: the next rig may be fine
            traceback.print_exc()
            self._picture = None
            told = f"The picture failed inside lightplan: {type(error).__name__}."
            self._tell("fault", wanted, told)
            return
        self._tell(kind, wanted, made)


def _layout(rig: Rig) -> Any:
    from lightplan.tasks.layout import layout

    return layout(rig)
