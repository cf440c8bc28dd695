"""The look the maker wants of the metal."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias, get_args

from lightplan.scene import checks

LookKind: TypeAlias = Literal[
    "bright field", "gradient", "dark field", "split", "rainbow", "bright band", "flat copy"
]
LOOK_KINDS: tuple[LookKind, ...] = get_args(LookKind)


@dataclass(frozen=True, kw_only=True)
class Look:
    """What the foil should do in the picture.

    Parameters
    ----------
    kind : str
        "bright field" (foil lighter than the white of its stock, with a run of 1 to 2.5
        stops), "gradient" (a smooth run from dark to bright), "dark field" (foil dark,
        edges bright), "split" (half and half), "rainbow" (holographic foil shows its
        colours), "bright band" (a band with soft shoulders crosses the sheet) or "flat
        copy" (foil evenly bright, for records: it reads as print).
    direction_rad : float
        On the sheet, counter-clockwise from x. Gradient and split: towards the brighter
        side. Bright band: the way the band runs. [rad]
    strength_stops : float
        Span of brightness over the foil that is wanted. Used by gradient and split, and
        by the bright band: how far it rises above both of its sides.
    """

    kind: LookKind = "bright field"
    direction_rad: float = math.pi / 2
    strength_stops: float = 2.0

    def __post_init__(self) -> None:
        checks.one_of(self.kind, LOOK_KINDS, "look.kind")
        checks.angle(self.direction_rad, "look.direction_deg")
        checks.between(self.strength_stops, 0.2, 8.0, "look.strength_stops", "2 is a usual span")
