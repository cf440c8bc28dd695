"""How a thing is held where it stands: by what, and from which height to which."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, TypeAlias, get_args

from lightplan.errors import RigError
from lightplan.scene import checks

if TYPE_CHECKING:
    from collections.abc import Mapping

HolderKind: TypeAlias = Literal["stand", "clamp", "boom", "tripod", "books", "string", "table"]
HOLDER_KINDS: tuple[HolderKind, ...] = get_args(HolderKind)
OwnedKind: TypeAlias = Literal[
    "white board",
    "grey board",
    "black board",
    "silver board",
    "diffuser",
    "lamp",
    "window",
    "cone",
    "tent",
    "stand",
    "clamp",
    "boom",
    "tripod",
    "books",
    "string",
]
"""What a maker may own: things that stand in a set, then what holds them."""
HIGHEST_MM = 5000.0

USUAL_HEIGHTS_MM: Mapping[HolderKind, tuple[float, float]] = MappingProxyType(
    {
        "stand": (0.0, 1300.0),  # 0.7 to 2 m over the floor, beside a table of 0.75 m
        "clamp": (40.0, 600.0),  # an arm of half a metre on the edge of the table
        "boom": (200.0, 1600.0),
        "tripod": (150.0, 1000.0),  # its middle column laid over the table
        "books": (0.0, 400.0),
        "string": (200.0, 1600.0),  # from ceiling or shelf
        "table": (0.0, 800.0),  # stands or lies there by itself
    }
)
"""Least and greatest height over the sheet of what each usually holds, mm; from memory."""


@dataclass(frozen=True, kw_only=True)
class Held:
    """What holds a lamp, a card or the camera.

    Parameters
    ----------
    by : str
        "stand" a light stand on the floor; "clamp" with an arm on the table's edge; "boom"
        an arm over the table; "tripod"; "books" leaned on or laid on a stack; "string" hung
        up; "table" nothing: it stands or lies there by itself.
    lowest_mm, highest_mm : float
        From which to which height over the sheet the middle of the thing can be.
    """

    by: HolderKind
    lowest_mm: float
    highest_mm: float

    def __post_init__(self) -> None:
        checks.one_of(self.by, HOLDER_KINDS, "held")
        for name in ("lowest_mm", "highest_mm"):
            checks.between(getattr(self, name), 0.0, HIGHEST_MM, name, "measure it over the sheet")
        if self.lowest_mm >= self.highest_mm:
            raise RigError(
                field="lowest_mm",
                wanted=f"below highest_mm ({self.highest_mm:g})",
                got=self.lowest_mm,
                cure="swap them, or leave both out",
            )


def usually_held(by: HolderKind) -> Held:
    """Return a holder with its usual heights.

    >>> usually_held("books")
    Held(by='books', lowest_mm=0.0, highest_mm=400.0)
    """
    lowest, highest = USUAL_HEIGHTS_MM[by]
    return Held(by=by, lowest_mm=lowest, highest_mm=highest)
