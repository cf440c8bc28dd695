"""What long work says on its way, and how it is asked to stop.

Whatever takes longer than a blink takes one `watch` and calls it with a `Progress` between
its steps. A watch that raises `Stopped` ends the work there; `Stop` is the usual reason::

    stop = Stop()
    work(..., watch=stop.before(show))   # show draws a bar
    stop.ask()                           # from another thread: the work raises Stopped

What is stopped leaves its objects as they were before the call: old or new, never between.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, TypeAlias


@dataclass(frozen=True, kw_only=True)
class Progress:
    """How far a piece of work has come.

    Parameters
    ----------
    stage : str
        What is being done, in words that a maker reads ("tracing the foil").
    done, of : int
        Steps behind, and altogether in this stage; `of` 0 where nobody knows.
    note : str
        What else is worth a line ("best so far 84 of 100"); may be empty.
    """

    stage: str
    done: int = 0
    of: int = 0
    note: str = ""


Watch: TypeAlias = Callable[[Progress], None]
"""Is told of each step; may raise `Stopped`."""


class Stopped(Exception):
    """Work was broken off because somebody asked for it; no fault."""


class Asked(Protocol):
    """An event of a thread or of a process."""

    def is_set(self) -> bool:
        """Return whether somebody asked."""

    def set(self) -> None:
        """Ask."""


class Stop:
    """A wish to stop that one thread may have and another looks at between its steps.

    Parameters
    ----------
    event : Asked or None
        What holds the wish: of its own if None, or one shared with other processes.

    Examples
    --------
    >>> stop = Stop()
    >>> stop.check()
    >>> stop.ask()
    >>> stop.check()
    Traceback (most recent call last):
    ...
    lightplan.progress.Stopped: asked to stop
    """

    def __init__(self, event: Asked | None = None) -> None:
        self._event: Asked = threading.Event() if event is None else event

    @property
    def asked(self) -> bool:
        """Whether somebody asked to stop."""
        return self._event.is_set()

    def ask(self) -> None:
        """Ask the work to stop at its next step."""
        self._event.set()

    def check(self) -> None:
        """Raise `Stopped` if somebody asked; cheap enough for every step."""
        if self._event.is_set():
            raise Stopped("asked to stop")

    def before(self, watch: Watch) -> Watch:
        """Return a watch that checks for the wish, then tells `watch`."""

        def checked(progress: Progress) -> None:
            self.check()
            watch(progress)

        return checked


def unwatched(progress: Progress) -> None:
    """Watch nothing: what work is given when nobody looks on."""
