"""Cards, diffusers, cones and tents: everything that only passes light on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias, get_args

from lightplan.arrays import Vector, vector
from lightplan.errors import RigError
from lightplan.scene import checks

if TYPE_CHECKING:
    from lightplan.scene.holding import Held
    from lightplan.scene.placement import Placement

CardFinish: TypeAlias = Literal["white", "grey", "black", "silver"]
CARD_FINISHES: tuple[CardFinish, ...] = get_args(CardFinish)
ShellShape: TypeAlias = Literal["cone", "tent"]


@dataclass(frozen=True, kw_only=True)
class Side:
    """One side of a card.

    Parameters
    ----------
    finish : str
        "white", "grey" and "black" scatter evenly; "silver" is a metallised board.
    reflectance : (3,) float
        Share of the light that it gives back, per channel.
    roughness : float
        GGX alpha of a silver side.
    """

    finish: CardFinish = "white"
    reflectance: tuple[float, float, float] = (0.85, 0.85, 0.85)
    roughness: float = 0.35

    def __post_init__(self) -> None:
        checks.one_of(self.finish, CARD_FINISHES, "finish")
        checks.triple(self.reflectance, 0.0, 1.0, "reflectance")
        checks.between(self.roughness, 0.02, 1.0, "roughness", "0.35 is a silvered board")


@dataclass(frozen=True, kw_only=True)
class Hole:
    """A round hole in a card: diameter, and its middle from the card's middle (right, up)."""

    diameter_mm: float
    offset_mm: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        checks.positive(self.diameter_mm, "hole.diameter_mm")
        checks.count(self.offset_mm, 2, "hole.offset_mm")
        for value in self.offset_mm:
            checks.between(value, -5000.0, 5000.0, "hole.offset_mm", "measure it")


@dataclass(frozen=True, kw_only=True)
class Card:
    """A flat board, or a flat diffuser when it lets light through.

    Parameters
    ----------
    name : str
        Unique in the rig.
    placement : Placement
        Centre and the point that its front faces.
    width_mm, height_mm : float
    front, back : Side
    transmittance : (3,) float
        Share of light that passes through and is scattered; 0 for a board.
    hole : Hole or None
    held : Held or None
        What holds it; None: not said.
    locked : bool
        Planning leaves it as it is.
    """

    name: str
    placement: Placement
    width_mm: float
    height_mm: float
    front: Side = Side()
    back: Side = Side()
    transmittance: tuple[float, float, float] = (0.0, 0.0, 0.0)
    hole: Hole | None = None
    held: Held | None = None
    locked: bool = False

    def __post_init__(self) -> None:
        checks.positive(self.width_mm, "width_mm", "measure the card")
        checks.positive(self.height_mm, "height_mm", "measure the card")
        checks.triple(self.transmittance, 0.0, 1.0, "transmittance")
        _keeps_energy(self.front, self.transmittance)
        _keeps_energy(self.back, self.transmittance)
        if self.hole is not None:
            _hole_fits(self.hole, self.width_mm, self.height_mm)

    @property
    def is_diffuser(self) -> bool:
        """Whether it lets light through."""
        return max(self.transmittance) > 0.0


@dataclass(frozen=True, kw_only=True)
class Shell:
    """A diffusing cone or tent that stands over the sheet.

    Parameters
    ----------
    shape : str
        "cone": a truncated cone; "tent": a box without floor.
    centre_mm : (3,) float
        Middle of its foot.
    foot_width_mm, foot_depth_mm : float
        Inner size at the foot; a cone uses `foot_width_mm` as its diameter.
    top_width_mm : float
        Diameter of a cone's upper rim, or of the round hole in a tent's roof; the camera
        looks through it. 0 closes a tent.
    height_mm : float
    reflectance, transmittance : (3,) float
    locked : bool
        Planning leaves it as it is.
    """

    name: str
    shape: ShellShape = "cone"
    centre_mm: Vector = (0.0, 0.0, 0.0)
    foot_width_mm: float = 400.0
    foot_depth_mm: float = 400.0
    top_width_mm: float = 100.0
    height_mm: float = 400.0
    reflectance: tuple[float, float, float] = (0.45, 0.45, 0.45)
    transmittance: tuple[float, float, float] = (0.45, 0.45, 0.45)
    locked: bool = False

    def __post_init__(self) -> None:
        checks.one_of(self.shape, get_args(ShellShape), "shape")
        object.__setattr__(self, "centre_mm", vector(self.centre_mm, "centre_mm"))
        for name in ("foot_width_mm", "foot_depth_mm", "height_mm"):
            checks.positive(getattr(self, name), name)
        checks.between(
            self.top_width_mm,
            1.0 if self.shape == "cone" else 0.0,
            10000.0,
            "top_width_mm",
            "the camera looks through this opening",
        )
        checks.triple(self.transmittance, 0.0, 1.0, "transmittance")
        checks.triple(self.reflectance, 0.0, 1.0, "reflectance")
        _keeps_energy(Side(reflectance=self.reflectance), self.transmittance)


def _keeps_energy(side: Side, transmittance: tuple[float, float, float]) -> None:
    worst = max(r + t for r, t in zip(side.reflectance, transmittance, strict=True))
    if worst > 1.0 + 1e-9:
        raise RigError(
            field="reflectance + transmittance",
            wanted="at most 1 in every channel",
            got=worst,
            cure="lower one of them; nothing gives more light than it gets",
        )


def _hole_fits(hole: Hole, width_mm: float, height_mm: float) -> None:
    x, y = (abs(v) + hole.diameter_mm / 2 for v in hole.offset_mm)
    if x >= width_mm / 2 or y >= height_mm / 2:
        raise RigError(
            field="hole.diameter_mm",
            wanted="small enough to lie inside the card",
            got=hole.diameter_mm,
            cure="make the hole smaller or the card larger",
        )
