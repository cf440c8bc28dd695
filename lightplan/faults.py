"""What the system or Python says, told as one of our own errors: one sentence with its cure.

The edges (command line, page) catch `CAUGHT` and tell `as_told`; nothing between has to.
"""

from __future__ import annotations

import errno
import os
from typing import Final

from lightplan.errors import BadInput, LightplanError, NoRoom, end_of

CAUGHT: Final = (LightplanError, OSError, MemoryError, UnicodeError, RecursionError, ImportError)
"""What an edge catches. Anything else is a fault of the program and shows where."""

LONGEST_NAME = 160
"""Characters of a path that are told."""
_FULL = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
_BUSY = frozenset({errno.EMFILE, errno.ENFILE, errno.EAGAIN, errno.ENOMEM})


def as_told(error: BaseException) -> LightplanError:
    """Return an error that was caught as one of ours.

    Parameters
    ----------
    error : BaseException
        One of `CAUGHT`.

    Returns
    -------
    LightplanError
        `BadInput` where another file, name or folder helps, `NoRoom` where the machine is at
        its end, and what is one of ours already as it is.

    Examples
    --------
    >>> print(as_told(PermissionError(13, "Permission denied", "tag.png")))
    tag.png: file must be one that can be used (got Permission denied); check its name and who may read or write it.
    """  # noqa: E501 - the sentence is one line
    if isinstance(error, LightplanError):
        return error
    if isinstance(error, MemoryError):
        return NoRoom(
            "The memory of this machine must hold the work (got more than it has free); close "
            "other programs, or use smaller pictures and fewer things in the rig."
        )
    if isinstance(error, OSError):
        return _of_system(error)
    if isinstance(error, ImportError):  # libraries load late: where memory ends, one may not
        return NoRoom(
            f"The libraries of this program must load (got {error}); close other programs where "
            "memory is short, or else install lightplan again."
        )
    if isinstance(error, RecursionError):
        return BadInput(
            field="content",
            wanted="nested a few levels deep",
            got="far more levels",
            cure="take the inner tables apart",
        )
    return BadInput(
        field="text", wanted="text in UTF-8", got=str(error), cure="save it as UTF-8, or rename it"
    )


def _of_system(error: OSError) -> LightplanError:
    what = error.strerror if error.strerror else type(error).__name__
    name = error.filename
    where = None if name is None else end_of(os.fsdecode(str(name)), LONGEST_NAME)
    place = "" if where is None else f"{where}: "
    if error.errno in _FULL:
        return NoRoom(
            f"{place}The disk must have room for what is written (got {what}); free some of it, or "
            "choose another folder."
        )
    if error.errno in _BUSY:
        return NoRoom(
            f"{place}The system must have means left for the work (got {what}); close other "
            "programs."
        )
    if error.errno == errno.ENAMETOOLONG:
        return BadInput(
            field="file name",
            wanted="as short as this disk takes",
            got=what,
            cure="give a shorter name",
            file=where,
        )
    return BadInput(
        field="file",
        wanted="one that can be used",
        got=what,
        cure="check its name and who may read or write it",
        file=where,
    )
