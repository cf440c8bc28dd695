"""The error tree. Every message is one sentence with its cure.

::

    LightplanError
    ├── BadInput            the maker's input cannot be used (exit code 2)
    │   ├── RigError        a value of a rig, or of a rig file
    │   │   └── ManyFaults  several of these at once
    │   ├── ArtworkError    the foil artwork picture
    │   ├── PhotoError      a photograph that cannot be judged
    │   │   └── BlackFrame  one without any light
    │   └── ProfileError    a light probe or a photometric (IES) file
    ├── MissingFeature      an optional part of the machine is absent (3-D, cluster)
    └── NoRoom              memory, disk or another means of the machine is at its end
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Self

from lightplan.shown import printable

if TYPE_CHECKING:
    from collections.abc import Sequence


class LightplanError(Exception):
    """Base of everything lightplan raises on purpose."""


class BadInput(LightplanError):
    """Input that cannot be used.

    Parameters
    ----------
    field : str
        What is wrong, as the maker would name it ("lamps.key.width_mm").
    wanted : str
        What was wanted, to follow "must be" ("greater than 0").
    got : object
        What came; shown shortened.
    cure : str
        What to do, an imperative without full stop.
    file : str or None
        The file the value came from, when there is one.
    line : int or None
        Its line there, from 1, when it is known.
    """

    def __init__(
        self,
        *,
        field: str,
        wanted: str,
        got: object,
        cure: str,
        file: str | None = None,
        line: int | None = None,
    ) -> None:
        self.field, self.wanted, self.got, self.cure, self.file = field, wanted, got, cure, file
        self.line = line
        super().__init__(self.sentence())

    @property
    def faults(self) -> tuple[BadInput, ...]:
        """All that is wrong, one after the other; itself where it is one thing."""
        return (self,)

    def sentence(self) -> str:
        """Return the message as one sentence.

        >>> print(BadInput(field="f_number", wanted="greater than 0", got=-4.0, cure="use 8"))
        f_number must be greater than 0 (got -4.0); use 8.
        """
        where = f"{self.file}: " if self.file else ""
        if self.line is not None:
            where += f"line {self.line}: "
        return f"{where}{self.field} must be {self.wanted} (got {_short(self.got)}); {self.cure}."

    def within(self, prefix: str = "", *, file: str | None = None) -> Self:
        """Return the same error with `prefix` before its field and the file's name."""
        field = f"{prefix}.{self.field}" if prefix else self.field
        return type(self)(
            field=field,
            wanted=self.wanted,
            got=self.got,
            cure=self.cure,
            file=file if file is not None else self.file,
            line=self.line,
        )

    def at(self, line: int | None) -> Self:
        """Return the same error with its line."""
        return type(self)(
            field=self.field,
            wanted=self.wanted,
            got=self.got,
            cure=self.cure,
            file=self.file,
            line=line,
        )


class RigError(BadInput):
    """A rig, or a rig file, with a value that cannot be."""


class ManyFaults(RigError):
    """Several things that are wrong with a rig file, each with its own sentence on a line.

    Parameters
    ----------
    faults : sequence of BadInput
        Two or more.
    """

    def __init__(self, faults: Sequence[BadInput]) -> None:
        self._faults = tuple(faults)
        first = faults[0]
        super().__init__(
            field=first.field,
            wanted=first.wanted,
            got=first.got,
            cure=first.cure,
            file=first.file,
            line=first.line,
        )

    @property
    def faults(self) -> tuple[BadInput, ...]:
        """All that is wrong."""
        return self._faults

    def sentence(self) -> str:
        """Return a sentence for each fault, each on its own line."""
        return "\n".join(fault.sentence() for fault in self._faults)

    def within(self, prefix: str = "", *, file: str | None = None) -> Self:
        """Return the same faults with `prefix` before their fields and the file's name."""
        return type(self)([fault.within(prefix, file=file) for fault in self._faults])


def together(faults: Sequence[BadInput]) -> BadInput:
    """Return one error that tells all faults; a single one is itself."""
    return faults[0] if len(faults) == 1 else ManyFaults(faults)


class ArtworkError(BadInput):
    """Foil artwork that cannot be read or does not fit its sheet."""


class PhotoError(BadInput):
    """A photograph that cannot be read or judged."""


class BlackFrame(PhotoError):
    """A photograph without any light."""


class ProfileError(BadInput):
    """A light probe or photometric file that cannot be read."""


class MissingFeature(LightplanError):
    """Something this machine lacks; the message says what and how to get it."""


class NoRoom(LightplanError):
    """Memory, disk or another means of the machine is at its end; the input may be good."""


_NAMES_A_FILE = re.compile(r"(?:[.~]{0,2}[/\\\\]|[A-Za-z]:[/\\\\])[^\n]*\Z")
"""A long path is cut at its front: what a maker looks for is the name at its end."""


def end_of(path: str, limit: int) -> str:
    """Return a path whose front is cut where it is long: the file's name is at its end.

    >>> end_of("/a/very/long/way/tag.png", 10)
    '…y/tag.png'
    """
    return path if len(path) <= limit else f"…{path[1 - limit :]}"


def _short(value: object, limit: int = 60) -> str:
    text = value if isinstance(value, str) else repr(value)
    if isinstance(value, str) and len(text) > limit and _NAMES_A_FILE.match(text):
        return printable(end_of(text, limit))
    text = printable(" ".join(text[: 20 * limit].split()))
    return text if len(text) <= limit else text[: limit - 1] + "…"
