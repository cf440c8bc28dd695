"""What a working process asks of its system: one thread of linear algebra, memory kept."""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from concurrent.futures import Future

Made = TypeVar("Made")

THREAD_SETTINGS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""Environment of a process that must keep its linear algebra to one thread."""
_ASKER_LOOKED_FOR_S = 1.0
_M_TRIM_THRESHOLD, _M_MMAP_MAX = -1, -4  # from glibc's malloc.h


def one_linear_thread() -> None:
    """Keep this process's linear algebra, and its children's, to one thread.

    To be called before numpy is loaded. What the light engine multiplies is small: a second
    thread gains nothing there, and where another program keeps a core busy the two wait for
    each other: a light of the planner then took five times as long. What the user's own
    environment says stays.
    """
    for name in THREAD_SETTINGS:
        os.environ.setdefault(name, "1")


def keep_memory(kept_bytes: int) -> None:
    """Let this process keep freed memory, up to about `kept_bytes`, and use it again.

    Left alone, glibc maps each large array afresh and the system clears all its pages:
    of a 24-megapixel JPEG that takes as long as a fifth of decoding it, of a light of the
    planner a tenth of the time. Other C libraries are left as they are.
    """
    if sys.platform != "linux":
        return
    set_option = getattr(ctypes.CDLL(None), "mallopt", None)
    if set_option is not None:
        set_option(_M_MMAP_MAX, 0)
        set_option(_M_TRIM_THRESHOLD, kept_bytes)


def python_that_runs(code: str, *given: str) -> list[str]:
    """Return the command by which another process of this Python runs a line of code.

    It takes no modules from the current folder (`-P`): a maker's own `numpy.py` beside their
    pictures is not what we mean.
    """
    return [sys.executable, "-P", "-c", code, *given]


def end_with_asker() -> None:
    """Let this process end, in the middle of its work too, once the one that began it is gone."""
    asker = os.getppid()

    def follow() -> None:
        while os.getppid() == asker:
            time.sleep(_ASKER_LOOKED_FOR_S)
        os._exit(0)

    threading.Thread(target=follow, daemon=True).start()


def beside(work: Callable[[], Made], name: str) -> Future[Made]:
    """Begin work in a thread of that name, and return what will hold its result.

    Compiled loops and large arrays run beside each other; nobody need wait for it.
    """
    hand = ThreadPoolExecutor(1, thread_name_prefix=name)
    made = hand.submit(work)
    hand.shutdown(wait=False)
    return made


def usable_cores() -> int:
    """Return the cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def limit_memory(extra_bytes: int) -> None:
    """Let this process grow by at most `extra_bytes` of address space."""
    if sys.platform == "win32":  # no address-space limit there; the time limit still holds
        return
    import resource

    pages = Path("/proc/self/statm")
    if not pages.exists():  # only Linux says how much is in use
        return
    used = int(pages.read_text().split()[0]) * resource.getpagesize()
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    wanted = used + extra_bytes
    if hard != resource.RLIM_INFINITY:
        wanted = min(wanted, hard)
    resource.setrlimit(resource.RLIMIT_AS, (wanted, hard))


_hush = threading.Lock()
_hushed = 0
_kept = -1


@contextlib.contextmanager
def natives_hushed() -> Iterator[None]:
    """Keep what compiled libraries print on stderr from the maker while within.

    They write past Python; several threads may be within at once.
    """
    global _hushed, _kept
    with _hush:
        if _hushed == 0:
            sys.stderr.flush()
            _kept = os.dup(2)
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, 2)
            os.close(nowhere)
        _hushed += 1
    try:
        yield
    finally:
        with _hush:
            _hushed -= 1
            if _hushed == 0:
                os.dup2(_kept, 2)
                os.close(_kept)
