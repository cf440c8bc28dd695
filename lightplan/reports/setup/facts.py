"""What the setup sheet tells beyond the rig: settings, tolerances, what is promised."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.light.exposure import Settings


class ToleranceLike(Protocol):
    """How far one dimension of one element may be off: `minus` below, `plus` above.

    Dimensions as in the rig file, and "turn_deg", "lean_deg", "power_stops", "bow_mm".
    """

    @property
    def element(self) -> str:
        """Name of the element, "camera" or "sheet"."""

    @property
    def dimension(self) -> str:
        """What may be off."""

    @property
    def minus(self) -> float:
        """How far below, 0 or more; mm, degrees or stops."""

    @property
    def plus(self) -> float:
        """How far above, 0 or more."""


@dataclass(frozen=True, kw_only=True)
class SetupNote:
    """A further part of the sheet: a heading, and named lines under it."""

    heading: str
    lines: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class SetupFacts:
    """Facts about a rig that are not in the rig.

    Parameters
    ----------
    settings : Settings or None
        Exposure of the prediction.
    tolerances : sequence of tolerances
        Empty: the usual care of a tape measure and a phone's level is told.
    critical : sequence of (element, dimension)
        The measurement that matters most first.
    yield_share : float or None
        Share of builds that come out right (0 to 1).
    good_score : float or None
        The score from which one does.
    is_kept : bool
        Whether the predicted picture is one to keep.
    score : float or None
        Predicted, 0 to 100.
    foil_to_paper_stops : float or None
        How far the foil's light is above the paper's; widens the bracket.
    notes : sequence of SetupNote
        Printed after the camera settings: two frames, other products on this rig.
    is_changed : bool
        Whether the rig was changed after it was planned, so that nothing is promised of it.
    rig_digest, tool_version : str
        For the foot of the page, so that a sheet can be told from an older one.
    """

    settings: Settings | None = None
    tolerances: Sequence[ToleranceLike] = ()
    critical: Sequence[tuple[str, str]] = ()
    yield_share: float | None = None
    good_score: float | None = None
    is_kept: bool = True
    score: float | None = None
    foil_to_paper_stops: float | None = None
    notes: Sequence[SetupNote] = ()
    is_changed: bool = False
    rig_digest: str = ""
    tool_version: str = ""


NO_FACTS = SetupFacts()
