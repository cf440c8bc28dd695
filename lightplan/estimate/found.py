"""What was found out about a rig as it stands."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lightplan.arrays import Doubles
    from lightplan.estimate.hypothesis import Hypothesis
    from lightplan.estimate.seen import SeenSheet
    from lightplan.estimate.telling import Doubt
    from lightplan.scene import Rig
    from lightplan.scene.foreign import Foreign
    from lightplan.scene.slips import Slip


@dataclass(frozen=True)
class CameraState:
    """What the camera did to the light, beside what the plan says.

    Attributes
    ----------
    exposure_stops, exposure_sigma : float
        More exposure than planned.
    balance_stops : float
        Red over blue, more than neutral.
    red_stops, blue_stops : float
        Of white balance, over green.
    vignette_stops : float
        Loss in the corners.
    contrast, lift_stops : float
        Of the tone curve: share of more contrast, stops that the shadows are lifted.
    """

    exposure_stops: float
    exposure_sigma: float
    balance_stops: float
    red_stops: float
    blue_stops: float
    vignette_stops: float
    contrast: float
    lift_stops: float


@dataclass(frozen=True)
class Rival:
    """Another explanation: what is off, and its share of belief."""

    slips: tuple[Slip, ...]
    belief: float


@dataclass(frozen=True)
class OtherView:
    """What another photograph of the set shows beside the first.

    Attributes
    ----------
    turned : tuple of (str, float)
        Lamps that are off (`OFF` stops) or turned in it, by how many stops.
    moved_mm : (float, float, float) or None
        Its lens beside the first photograph's; None where the camera stood still.
    """

    turned: tuple[tuple[str, float], ...]
    moved_mm: tuple[float, float, float] | None


@dataclass(frozen=True, eq=False)
class Estimate:
    """The rig as built.

    Attributes
    ----------
    planned, as_built : Rig
        The latter with the slips, without the small errors of a hand.
    hand : dict
        The small errors of a hand beside the slips, as far as the photograph tells them: off
        the plan by so much, by (element, dimension).
    slips : tuple of Slip
        Strongest first; of the set, not of the camera's settings.
    as_planned : bool
        The set is as planned, as far as this photograph tells.
    foreign : tuple of Foreign
    camera : CameraState
    lens_mm, lens_sigma_mm : (3,) float
        The lens off its planned place, and how surely that is known.
    rivals : tuple of Rival
        Other explanations that the photograph does not rule out.
    misfit : float
        What the explanation leaves, in standard deviations.
    seen : SeenSheet
    residual : (n, 3) float
        Photograph less rig as built in each cell, in stops.
    best : Hypothesis or None
        The explanation, with its fit.
    doubts : tuple of Doubt
        What the photographs cannot tell, the worst first.
    left : dict
        By lamp, what is uncertain of its "distance_mm" and its "power_stops".
    others : tuple of OtherView
        What the other photographs were taken for, where there are any.
    """

    planned: Rig
    as_built: Rig
    hand: dict[tuple[str, str], float]
    slips: tuple[Slip, ...]
    as_planned: bool
    foreign: tuple[Foreign, ...]
    camera: CameraState
    lens_mm: Doubles
    lens_sigma_mm: Doubles
    rivals: tuple[Rival, ...]
    misfit: float
    seen: SeenSheet = field(repr=False)
    residual: Doubles = field(repr=False)
    best: Hypothesis | None = field(repr=False, default=None)
    doubts: tuple[Doubt, ...] = ()
    others: tuple[OtherView, ...] = ()
    left: Mapping[str, Mapping[str, float]] = field(repr=False, default_factory=dict)
