"""Loops over plain arrays, compiled to machine code by numba when they are first called.

numba takes half a second to import, so that too waits for the first call: nothing on the way
to the command line, to scoring or to rig files pays for it. Compiled code is kept in the
platform's cache folder, for all processes and all runs.
"""

from __future__ import annotations

import functools
import gc
import importlib
import os
import sys
import tempfile
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar, cast

_Function = TypeVar("_Function", bound=Callable[..., Any])
_Item = TypeVar("_Item")
_Result = TypeVar("_Result")
ENVIRONMENT = "NUMBA_CACHE_DIR"
"""Where numba looks for its folder; what the maker has set there is kept."""
_MARK = "compiled"


def compiled(function: _Function) -> _Function:
    """Return the function compiled by numba, with IEEE arithmetic, on one thread.

    Compiled functions may call each other.
    """
    return cast("_Function", _Compiled(function, frozenset()))


def compiled_in_place(function: _Function) -> _Function:
    """Return the same for a function that makes no arrays and returns none, which is quicker.

    numba counts, in steps that no other core may interrupt, who holds each array and each part
    of one that is handed on: a third of the time of loops over corners. Whoever calls such a
    function holds its arrays as long as it runs, so that nothing need be counted in it.
    """
    return cast("_Function", _Compiled(function, frozenset(), counts=False))


def compiled_sums(function: _Function) -> _Function:
    """Return the same, but sums may be taken in any order: several terms at a time."""
    return cast("_Function", _Compiled(function, frozenset(("reassoc", "contract", "nsz"))))


def two_at_a_time(work: Callable[[_Item], _Result], items: Iterable[_Item]) -> list[_Result]:
    """Return what work gives for each item, on two threads: compiled loops run beside each other.

    >>> two_at_a_time(abs, [-1, 2, -3])
    [1, 2, 3]
    """
    wanted = list(items)
    if len(wanted) < 2:
        return [work(item) for item in wanted]
    with ThreadPoolExecutor(2) as hands:
        return list(hands.map(work, wanted))


_ORIGIN: dict[int, _Compiled] = {}
"""What each piece of machine code was compiled from; it lives as long as the process."""


class _Compiled:
    """A function that is compiled when it is first called."""

    def __init__(
        self, function: Callable[..., Any], free: frozenset[str], *, counts: bool = True
    ) -> None:
        self._function, self._free, self.counts = function, free, counts
        functools.update_wrapper(self, function)

    @functools.cached_property
    def machine_code(self) -> Callable[..., Any]:
        """What numba makes of it; those that it calls come first."""
        folder = _prepared()
        from numba import njit

        names = self._function.__globals__
        for name, called in self._calls.items():
            names[name] = called.machine_code
        make: Any = njit  # its stubs do not know all that it takes
        made = make(
            cache=folder is not None,
            error_model="numpy",
            nogil=True,
            fastmath=set(self._free),
            _nrt=self.counts,
            no_cfunc_wrapper=True,  # nobody calls that, and it takes time to compile
        )(self._function)
        _ORIGIN[id(made)] = self
        _renew_with(made, sorted(self.files))
        _load_alone(made)
        _without_collecting(made)
        names[self._function.__name__] = made  # the next call goes straight there
        return cast("Callable[..., Any]", made)

    @functools.cached_property
    def _calls(self) -> dict[str, _Compiled]:
        """Compiled functions that it calls, by the names it has for them."""
        names, used = self._function.__globals__, self._function.__code__.co_names
        found = {name: _ORIGIN.get(id(names.get(name)), names.get(name)) for name in used}
        return {name: one for name, one in found.items() if isinstance(one, _Compiled)}

    @functools.cached_property
    def files(self) -> frozenset[str]:
        """Source files of the function and of all that it calls."""
        own = frozenset((self._function.__code__.co_filename,))
        return own.union(*(called.files for called in self._calls.values()))

    def __call__(self, *args: Any) -> Any:
        return self.machine_code(*args)


def _renew_with(made: Any, files: list[str]) -> None:
    """Let what is kept of a function count as old when any of some files has changed.

    numba by itself looks at the function's own file, and would go on with what it had from
    another file's function before that was changed.
    """
    kept = getattr(getattr(made, "_cache", None), "_cache_file", None)
    if kept is not None and hasattr(kept, "_source_stamp"):
        stats = [(name, Path(name).stat()) for name in files if Path(name).exists()]
        stamp = tuple((name, s.st_mtime_ns, s.st_size) for name, s in stats)
        kept._source_stamp = stamp  # noqa: SLF001 - numba has no public way to say it


def _load_alone(made: Any) -> None:
    """Let what is kept of a function be loaded without all that it takes to compile one.

    numba would first import and register what it knows of every type and operator: half as
    much time as its own import. Machine code needs of that the counting of references alone, and
    numba asks for the rest itself when it comes to compiling.
    """
    kept: Any = getattr(made, "_cache", None)
    needed = ("_load_overload", "_guard_against_spurious_io_errors", "load_overload")
    if not all(hasattr(kept, name) for name in needed):
        return
    try:
        counting: Any = importlib.import_module("numba.core.runtime").rtsys
    except (ImportError, AttributeError):  # another numba, that has it elsewhere
        return

    def load_overload(signature: Any, target: Any) -> Any:  # None where a file cannot be read
        counting.initialize(target)
        with kept._guard_against_spurious_io_errors():  # noqa: SLF001 - as numba itself does
            return kept._load_overload(signature, target)  # noqa: SLF001 - the same

    kept.load_overload = load_overload


def _without_collecting(made: Any) -> None:
    """Let a function be compiled without looks for garbage among all that the compiler makes.

    Hardly any of it is, and to look takes a tenth of the time.
    """
    compile_it = made.compile

    def compiled_at_once(signature: Any) -> Any:
        if not gc.isenabled():  # within another's, or as the caller wants it
            return compile_it(signature)
        gc.disable()
        try:
            return compile_it(signature)
        finally:
            gc.enable()

    made.compile = compiled_at_once


@lru_cache(maxsize=1)
def _prepared() -> Path | None:
    """Return the cache folder after telling numba of it; None where nothing can be kept.

    Without it loops are compiled anew in every process, which is slow but right. A folder
    for all users' temporary files will not do: who writes there could have his code run.
    """
    given = os.environ.get(ENVIRONMENT)
    folder = Path(given) if given else _own_folder()
    if not _can_write(folder):
        return None
    os.environ[ENVIRONMENT] = str(folder)  # for numba, and for processes that we start
    import numba

    numba.config.CACHE_DIR = str(folder)  # type: ignore[attr-defined]  # if imported before
    _spare_scipy()
    return folder


def _spare_scipy() -> None:
    """Let numba go without looking for scipy's linear algebra, of which our loops use nothing.

    To load that takes as long as numba itself. The user's own compiled functions find it as
    ever: numba looks once more where it is needed.
    """
    looked_for = "scipy.linalg.cython_blas"
    if looked_for in sys.modules or "numba.np.arraymath" in sys.modules:
        return
    sys.modules[looked_for] = None  # type: ignore[assignment]  # "not there", to who imports it
    try:
        from numba.np import arraymath
    finally:
        del sys.modules[looked_for]
    arraymath._HAVE_BLAS = True  # noqa: SLF001 - numba has no public way to say it


def _own_folder() -> Path:
    import platformdirs

    return Path(platformdirs.user_cache_dir("lightplan", appauthor=False)) / "compiled"


def _can_write(folder: Path) -> bool:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def first_use_words() -> str | None:
    """Return a sentence of progress where the loops are not compiled yet, else None."""
    folder = _prepared()
    if folder is not None and _mark(folder).exists():
        return None
    once = "once" if folder is not None else "in every run, as the cache folder cannot be written"
    return f"compiling the light's loops for this computer ({once}; about 15 s)"


def remember_use() -> None:
    """Note that the loops have been compiled and kept."""
    folder = _prepared()
    if folder is not None:
        try:
            _mark(folder).touch()
        except OSError:
            return  # then it is said once more


def _mark(folder: Path) -> Path:
    """Return the file that tells: one for each version of our loops and of numba."""
    import numba

    newest = max(path.stat().st_mtime_ns for path in Path(__file__).parent.rglob("*.py"))
    return folder / f"{_MARK}-{numba.__version__}-{newest}"
