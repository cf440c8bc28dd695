"""Whole searches side by side, one in each process that there is.

A search that is done whole in one process does not wait for the others' steps, and does not hang
on who does it. So whoever is free begins the next.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Protocol

from lightplan.planning.exploring import Search, Searched, searched
from lightplan.planning.helper import Died

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.planning.effort import Report
    from lightplan.planning.helper import Helper
    from lightplan.scene import Rig

_LOOKED_FOR_S = 0.1
"""How often it is looked whether to stop, while nothing is left to do here."""


class Referee(Protocol):
    """Who asked for searches; it is never asked by two threads at once."""

    def needs(self, number: int) -> bool:
        """Return whether a search is worth its time, by what is known so far."""
        ...

    def begun(self, number: int, search: Search) -> Search:
        """Return a search as it is to be done, by what is known as it begins."""
        ...

    def note(self, number: int, found: Searched | None) -> None:
        """Take what a search found; None where nothing can be built, or it was not begun."""
        ...


class Alongside:
    """Searches that this process and its helpers do side by side.

    Parameters
    ----------
    searches : sequence of Search
        Begun in this order.
    helpers : sequence of Helper
        Owing no answers.
    rig : Rig
        Of the bench that the helpers have.
    referee : Referee
    """

    def __init__(
        self, searches: Sequence[Search], helpers: Sequence[Helper], rig: Rig, referee: Referee
    ) -> None:
        self._searches, self._helpers, self._rig, self._referee = searches, helpers, rig, referee
        self._turn = threading.RLock()
        self._waiting = list(range(len(searches)))
        self._at: dict[Helper, int] = {}
        self._is_over = False

    def run(self, should_stop: Callable[[], bool], progress: Report | None) -> None:
        """Do all that is needed; after a stop each search that was begun tells its best so far."""

        def ends() -> bool:
            if should_stop():
                self._end()
            return self._is_over

        number = self._next()  # ours in any case, so that something is found
        helpers = self._helpers[: len(self._waiting)]
        threads = [threading.Thread(target=self._ask, args=(h,), daemon=True) for h in helpers]
        for thread in threads:
            thread.start()
        while number is not None:
            self._do_here(number, ends, progress)
            number = self._next()
            while number is None and any(thread.is_alive() for thread in threads):
                ends()
                for thread in threads:
                    thread.join(_LOOKED_FOR_S)
                number = self._next()  # what a helper that died has left

    def _do_here(self, number: int, ends: Callable[[], bool], progress: Report | None) -> None:
        def is_over() -> bool:
            return ends() or not self._needs(number)

        with self._turn:
            search = self._referee.begun(number, self._searches[number])
        self._note(number, searched(search, is_over, progress))

    def _ask(self, helper: Helper) -> None:
        """Have a helper do one search after the other."""
        while (number := self._next(helper)) is not None:
            try:
                found = helper.ended(self._rig)
            except Died:
                with self._turn:
                    del self._at[helper]
                    self._waiting.insert(0, number)
                return
            with self._turn:
                del self._at[helper]
                self._note(number, found)

    def _next(self, helper: Helper | None = None) -> int | None:
        """Return the next search that is needed, begun by a helper if one is named; or None."""
        with self._turn:
            while self._waiting:
                number = self._waiting.pop(0)
                if self._is_over or not self._referee.needs(number):
                    self._referee.note(number, None)
                    continue
                if helper is not None:
                    # under the lock: nobody asks it to stop before it has begun
                    search = self._referee.begun(number, self._searches[number])
                    helper.begin(search, self._rig)
                    self._at[helper] = number
                return number
        return None

    def _needs(self, number: int) -> bool:
        with self._turn:
            return self._referee.needs(number)

    def _note(self, number: int, found: Searched | None) -> None:
        """Hand over what was found, and end what is not needed any more by that."""
        with self._turn:
            self._referee.note(number, found)
            for helper, at in self._at.items():
                if not self._referee.needs(at):
                    helper.stop()

    def _end(self) -> None:
        """Begin nothing more, and have the searches of helpers end."""
        with self._turn:
            if not self._is_over:
                self._is_over = True
                for helper in self._at:
                    helper.stop()
