"""The command line: it translates words to tasks and results to words, and decides nothing."""

from __future__ import annotations

import sys

_STOPPED, _ENDED = 130, 143
_NOTHING_LOST = "Stopped; nothing was left half-written."

try:  # Ctrl-C before there is a handler: what Python does itself before this cannot be told so
    import signal
except KeyboardInterrupt:
    print(_NOTHING_LOST, file=sys.stderr)
    sys.exit(_STOPPED)

TYPE_CHECKING = False  # as typing has it, which would take its time
if TYPE_CHECKING:
    from types import FrameType
    from typing import NoReturn

__all__ = ["Ended", "main"]


class Ended(KeyboardInterrupt):
    """The system, or who runs this program, asked it to end (SIGTERM)."""


def main() -> NoReturn:
    """Run the command line and leave with its exit code.

    Ctrl-C and SIGTERM are heeded from the first moment on, while everything else is still
    being loaded; a compiled module that is interrupted there, be it in the middle of the work,
    may tell it as any other fault.
    """
    asked: list[int] = []
    usual = signal.getsignal(signal.SIGINT)

    def stop(number: int, _: FrameType | None) -> None:
        asked.append(number)
        raise Ended if number == signal.SIGTERM else KeyboardInterrupt

    sys.unraisablehook = _asked_again
    if usual is signal.default_int_handler:  # not where it is ignored, as in the background
        signal.signal(signal.SIGINT, stop)
    signal.signal(signal.SIGTERM, stop)
    try:
        from lightplan.process import one_linear_thread

        one_linear_thread()
        from lightplan.cli.app import main as run

        if asked:  # what was being loaded passed over it
            raise KeyboardInterrupt
        code = run()
    except BaseException:
        if not asked:
            raise
        print(_NOTHING_LOST, file=sys.stderr)
        code = _ENDED if asked[-1] == signal.SIGTERM else _STOPPED
    if asked or usual is signal.default_int_handler:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # the work is done: only leaving is left
    sys.exit(code)


AGAIN_S = 0.02


def _asked_again(lost: sys.UnraisableHookArgs) -> None:
    """Ask once more to stop where Python lost it: in a callback, which passes over every fault."""
    if not issubclass(lost.exc_type, KeyboardInterrupt):
        sys.__unraisablehook__(lost)
        return
    import _thread  # when it is needed: what is imported above takes time of its own
    import threading

    number = signal.SIGTERM if issubclass(lost.exc_type, Ended) else signal.SIGINT
    again = threading.Timer(AGAIN_S, _thread.interrupt_main, (number,))
    again.daemon = True
    again.start()  # here a fault would be lost too
