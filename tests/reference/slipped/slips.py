"""What can go wrong when a plan is built: slips drawn at random, and the rigs built with them.

A slip is an element, a dimension and a size, drawn within the ranges of README.md. A build is
a planned rig with slips, and with the small errors of a hand in everything.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np

from lightplan.errors import RigError
from lightplan.scene import Lamp, Output, Placement, Rig
from lightplan.scene.clearance import broken
from lightplan.scene.sanity import refuse_impossible
from lightplan.scene.setting_errors import ErrorDimension, SettingErrors, built, error_dimensions

HAND = SettingErrors()
KINDS = (
    "place",
    "turn",
    "power",
    "missing",
    "bow",
    "camera",
    "room",
    "foreign",
    "exposure",
    "white balance",
)
IN_CAMERA = ("exposure", "white balance")


@dataclass(frozen=True)
class Slip:
    """One thing that is not as planned.

    `size` is in mm, degrees or stops; `extra` says more of foreign light and colours.
    """

    kind: str
    element: str
    dimension: str
    size: float
    extra: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Build:
    """A photograph to be taken: which plan, what slipped, and the seeds of hand and camera."""

    name: str
    base: str
    slips: tuple[Slip, ...]
    hand_seed: int | None
    camera_seed: int

    def to_dict(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_dict(cls, plain: dict[str, Any]) -> Build:
        slips = tuple(Slip(**one) for one in plain["slips"])
        return cls(**{**plain, "slips": slips})


def hand_built(rig: Rig, seed: int | None) -> Rig:
    """Return the rig with every dimension off by a hand's error (None: exactly as planned)."""
    if seed is None:
        return rig
    dimensions = error_dimensions(rig, HAND)
    draw = np.random.default_rng(seed).uniform(-1, 1, len(dimensions))
    return built(rig, dimensions, draw * [d.size for d in dimensions])


def slipped(rig: Rig, slips: tuple[Slip, ...]) -> Rig:
    """Return the rig with its slips; those of the camera's settings change no rig."""
    for slip in slips:
        rig = _one(rig, slip)
    return rig


def _one(rig: Rig, slip: Slip) -> Rig:
    if slip.kind in IN_CAMERA:
        return rig
    if slip.kind == "missing":
        lamps = tuple(replace(x, on=x.on and x.name != slip.element) for x in rig.lamps)
        cards = tuple(x for x in rig.cards if x.name != slip.element)
        return replace(rig, lamps=lamps, cards=cards, freedoms=())
    if slip.kind == "room":
        level = tuple(slip.size * c for c in slip.extra["colour"])
        return replace(rig, room=replace(rig.room, ambient_cd_m2=level))
    if slip.kind == "foreign":
        return replace(rig, lamps=(*rig.lamps, _foreign(slip)))
    return built(rig, (ErrorDimension(slip.element, slip.dimension, 1.0),), np.array([slip.size]))


def _foreign(slip: Slip) -> Lamp:
    """Return a bright thing that is not in the plan, as a face without a body."""
    x = slip.extra
    return Lamp(
        name="foreign",
        shape="rectangle",
        width_mm=x["width_mm"],
        height_mm=x["height_mm"],
        placement=Placement(tuple(x["position_mm"])),
        output=Output(value=slip.size, unit="cd/m2"),
        is_window=True,
    )


def can_be(rig: Rig, plan: Rig) -> bool:
    """Whether a hand could have built it: nothing through another, nothing in the picture."""
    try:
        refuse_impossible(rig)
    except RigError:
        return False
    before = {(x.rule, x.elements): x.excess_mm for x in broken(plan)}
    return all(
        x.rule == "reach" or x.excess_mm <= before.get((x.rule, x.elements), 0.0) + 2.0
        for x in broken(rig)
    )


def draw_slip(rig: Rig, kind: str, light: float, draw: np.random.Generator) -> Slip | None:
    """Draw one slip of a kind; None where the rig has nothing that could slip so.

    `light` is the luminance that clips, cd/m2: room and foreign light are drawn beside it.
    """
    sign = float(draw.choice([-1.0, 1.0]))
    movable = [x.name for x in (*rig.lamps, *rig.cards) if not getattr(x, "is_window", False)]
    steady = [x.name for x in rig.shells]
    if kind == "place":
        name = str(draw.choice([*movable, *steady]))
        axes = ("x_mm", "y_mm") if name in steady else ("x_mm", "y_mm", "z_mm")
        return Slip(kind, name, str(draw.choice(axes)), sign * _spread(draw, 20, 150))
    if kind == "turn":
        bulbs = [x.name for x in rig.lamps if x.shape == "bulb"]
        names = [n for n in movable if n not in bulbs]
        dimension = str(draw.choice(["turn_deg", "lean_deg"]))
        return Slip(kind, str(draw.choice(names)), dimension, sign * _spread(draw, 3, 15))
    if kind == "power":
        lamps = [x.name for x in rig.lamps if not x.is_window]
        if not lamps:
            return None
        return Slip(kind, str(draw.choice(lamps)), "power_stops", sign * _spread(draw, 0.5, 1.5))
    if kind == "missing":
        return Slip(kind, str(draw.choice(movable)), "missing", 1.0)
    if kind == "bow":
        return Slip(kind, "sheet", "bow_mm", sign * _spread(draw, 0.7, 3.0))
    if kind == "camera":
        axis = str(draw.choice(["x_mm", "y_mm", "z_mm"]))
        return Slip(kind, "camera", axis, sign * _spread(draw, 20, 80))
    if kind == "room":
        colour = [1.0, 1.0, 1.0] if draw.random() < 0.5 else [1.2, 1.0, 0.7]
        return Slip(kind, "room", "light", light * _spread(draw, 0.02, 0.25), {"colour": colour})
    if kind == "foreign":
        return _draw_foreign(light, draw)
    if kind == "exposure":
        return Slip(kind, "exposure", "stops", sign * _spread(draw, 0.5, 2.0))
    return Slip(kind, "white balance", "stops", sign * _spread(draw, 0.15, 0.5))


def _draw_foreign(light: float, draw: np.random.Generator) -> Slip:
    around, height = draw.uniform(0, 2 * math.pi), math.radians(draw.uniform(12, 65))
    away, size = draw.uniform(700, 2200), _spread(draw, 150, 900)
    place = away * np.array(
        [math.cos(around) * math.cos(height), math.sin(around) * math.cos(height), math.sin(height)]
    )
    extra = {
        "position_mm": [round(float(v)) for v in place],
        "width_mm": round(size),
        "height_mm": round(size * draw.uniform(0.5, 1.5)),
    }
    # bright enough to give 5 to 60 % of the light that clips on the paper
    solid = extra["width_mm"] * extra["height_mm"] / away**2 * math.sin(height) / math.pi
    return Slip("foreign", "foreign", "light", light * _spread(draw, 0.05, 0.6) / solid, extra)


def _spread(draw: np.random.Generator, low: float, high: float) -> float:
    """Return a size, evenly spread in its logarithm."""
    return float(np.exp(draw.uniform(math.log(low), math.log(high))))
