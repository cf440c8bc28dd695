"""The look the maker wants of the metal."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias, get_args

from lightplan.scene import checks

LookKind: TypeAlias = Literal["bright field", "gradient", "dark field", "split", "rainbow"]
LOOK_KINDS: tuple[LookKind, ...] = get_args(LookKind)


@dataclass(frozen=True, kw_only=True)
class Look:
    """What the foil should do in the picture.

    Parameters
    ----------
    kind : str
        "bright field" (foil evenly bright), "gradient" (a smooth run from dark to
        bright), "dark field" (foil dark, edges bright), "split" (half and half) or
        "rainbow" (holographic foil shows its colours).
    direction_rad : float
        Towards the brighter side on the sheet, counter-clockwise from x. Used by
        gradient and split. [rad]
    strength_stops : float
        Span of brightness over the foil that is wanted. Used by gradient and split.
    """

    kind: LookKind = "bright field"
    direction_rad: float = math.pi / 2
    strength_stops: float = 2.0

    def __post_init__(self) -> None:
        checks.one_of(self.kind, LOOK_KINDS, "look.kind")
        checks.angle(self.direction_rad, "look.direction_deg")
        checks.between(self.strength_stops, 0.2, 8.0, "look.strength_stops", "2 is a usual span")
