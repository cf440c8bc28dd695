"""What a rig file holds once it is read: the rig, and what stands beside it in the file."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from lightplan.rigfiles.plan_record import PlanRecord
    from lightplan.scene import Held, Output, Rig


@dataclass(frozen=True, kw_only=True)
class Thing:
    """Something the maker owns, or could buy.

    Parameters
    ----------
    kind : str
        "white board", "grey board", "black board", "silver board", "diffuser", "lamp",
        "window", "cone" or "tent"; or what holds these: "stand", "clamp", "boom", "tripod",
        "books" or "string".
    width_mm, height_mm : float
        Size of the board or of the lit face; of a cone or tent the foot and the height.
    price : float or None
        For one, in the maker's own money; None when not known.
    count : int
        How many there are, or may be bought.
    output : Output or None
        Of a lamp.
    depth_mm : float or None
        Of a lamp, from its face to its back.
    transmittance : (3,) float or None
        Of a diffuser.
    held : Held or None
        Of what holds things: from which height to which.
    """

    kind: str
    width_mm: float = 0.0
    height_mm: float = 0.0
    price: float | None = None
    count: int = 1
    name: str = ""
    output: Output | None = None
    depth_mm: float | None = None
    transmittance: tuple[float, float, float] | None = None
    held: Held | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class LoadedRig:
    """A rig file, read.

    Parameters
    ----------
    rig : Rig
    path : Path
        Of the file.
    digest : str
        sha256 of everything that makes the rig, see `lightplan.rigfiles.digest`.
    notes : str
        The maker's own words.
    plan : PlanRecord or None
    owned, shop : tuple of Thing
    assets : mapping of str to Path
        Pictures, photometric and mesh files that the rig names, as written there, and
        where they are.
    questions : tuple of str
        What in the rig can be, but is odd enough to ask about.
    """

    rig: Rig
    path: Path
    digest: str
    notes: str = ""
    plan: PlanRecord | None = None
    owned: tuple[Thing, ...] = ()
    shop: tuple[Thing, ...] = ()
    assets: Mapping[str, Path] = field(default_factory=lambda: MappingProxyType({}))
    questions: tuple[str, ...] = ()

    @property
    def inputs(self) -> tuple[Path, ...]:
        """The files it was read from, which no result may replace."""
        return (self.path, *self.assets.values())
