"""Rigs drawn at random for the ink test: even and running light, all metals and stocks."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "pathtraced"))  # the folders are no packages

from scenes import METALS

from lightplan.scene import (
    Camera,
    Card,
    Conductor,
    Foil,
    Grating,
    Lamp,
    Output,
    Paper,
    Placement,
    Rig,
    Room,
    Sheet,
    Side,
    Table,
)

ROWS, COLS = 480, 720
KINDS = (
    "even board",
    "even softbox",
    "part softbox",
    "board lit at one end",
    "tissue",
    "strip",
    "dark",
)
METAL_OF = {"silver foil": "Al", "gold foil": "Au", "copper foil": "Cu", "holographic foil": "Al"}
STOCKS = {
    "white": (0.85, 0.85, 0.85), "cream": (0.82, 0.78, 0.68), "grey": (0.4, 0.4, 0.4),
    "kraft": (0.42, 0.30, 0.19), "burgundy": (0.16, 0.04, 0.05), "navy": (0.035, 0.045, 0.085),
    "black": (0.03, 0.03, 0.03),
}  # fmt: skip
_LIKELY_STOCK = (0.34, 0.14, 0.08, 0.12, 0.1, 0.12, 0.1)
WHITE_CD_M2 = 540.0
"""About what white paper shows under the side lamp."""

Vector = tuple[float, float, float]


def drawn(number: int) -> tuple[Rig, str]:
    """Return the rig of that number, and which kind of light its foil mirrors."""
    rng = np.random.default_rng([20, number])
    kind = KINDS[number % len(KINDS)]
    short = rng.uniform(75, 140)
    width, height = short, short * rng.uniform(1.2, 1.6)
    if rng.random() < 0.5:
        width, height = height, width
    lean = math.radians(rng.uniform(18, 42))
    away = rng.uniform(2.9, 3.6) * math.hypot(width, height)
    camera = Placement(position_mm=(0.0, -away * math.sin(lean), away * math.cos(lean)))
    mirror = np.array([0.0, math.sin(lean), math.cos(lean)])
    lamps, cards = _mirrored(kind, rng, mirror, away, (width, height * math.cos(lean)))
    lamps += _side_lamps(rng, kind)
    name = str(rng.choice(list(METAL_OF), p=[0.34, 0.28, 0.28, 0.1]))
    stock = STOCKS[str(rng.choice(list(STOCKS), p=_LIKELY_STOCK))]
    eta, k = METALS[METAL_OF[name]]
    grating = None
    if name == "holographic foil":
        grating = Grating(direction_rad=rng.uniform(0, math.pi), strength=0.5)
    rough = float(np.exp(rng.uniform(math.log(0.02), math.log(0.2))))
    metal = Conductor(eta=tuple(eta), k=tuple(k))
    foil = Foil(kind=name, conductor=metal, roughness=(rough, rough), grating=grating)
    focal, sensor = 50.0, 50.0 * 2.1 * max(width, 1.5 * height * math.cos(lean)) / away
    sensor *= rng.uniform(0.55, 0.8)
    rig = Rig(
        title=f"ink test {number}, {kind}",
        sheet=Sheet(width_mm=width, height_mm=height, foil=foil, paper=Paper(reflectance=stock)),
        camera=Camera(
            placement=camera,
            focal_length_mm=focal,
            sensor_width_mm=sensor,
            sensor_height_mm=sensor / 1.5,
            body=None,
        ),
        lamps=tuple(lamps),
        cards=tuple(cards),
        room=Room(
            ambient_cd_m2=(float(rng.uniform(5, 50)),) * 3,
            table=Table(reflectance=(float(rng.uniform(0.05, 0.4)),) * 3),
        ),
    )
    return rig, kind


def _mirrored(
    kind: str, rng: np.random.Generator, mirror: np.ndarray, away: float, size: tuple[float, float]
) -> tuple[list[Lamp], list[Card]]:
    """Return what the foil mirrors."""
    far = rng.uniform(280, 480)
    wide, high = (side * (1 + far / away) for side in size)
    level = WHITE_CD_M2 * 2.0 ** rng.uniform(-1.2, 1.5)
    right, up = np.array([1.0, 0.0, 0.0]), np.array([0.0, -mirror[2], mirror[1]])
    middle = far * mirror

    def board(scale: float, transmits: float = 0.0) -> Card:
        side = Side(reflectance=(0.85 - transmits,) * 3)
        return Card(
            name="board",
            placement=_at(middle),
            width_mm=scale * wide + 60,
            height_mm=scale * high + 60,
            front=side,
            back=side,
            transmittance=(transmits,) * 3,
        )

    def lamp(place: np.ndarray, aim: np.ndarray, w: float, h: float, cd: float) -> Lamp:
        return Lamp(
            name="mirrored lamp",
            placement=_at(place, aim),
            width_mm=w,
            height_mm=h,
            output=Output(value=float(cd), unit="cd/m2"),
        )

    if kind == "even softbox":
        return [lamp(middle, np.zeros(3), 1.4 * wide + 60, 1.4 * high + 60, level)], []
    if kind in ("part softbox", "strip"):
        share = rng.uniform(0.35, 1.0) if kind == "part softbox" else rng.uniform(0.12, 0.35)
        off = rng.uniform(-0.5, 0.5, 2) if kind == "part softbox" else rng.uniform(-0.3, 0.3, 2)
        w, h = (share * wide, 1.3 * high) if rng.random() < 0.5 else (1.3 * wide, share * high)
        place = middle + off[0] * wide * right + off[1] * high * up
        return [lamp(place, np.zeros(3), w, h, level * 1.4)], []
    if kind == "even board":
        under = np.array([0.0, middle[1] + 120.0, 60.0])
        reach = float(np.linalg.norm(middle - under))
        return [lamp(under, middle, 420, 150, level * 6.0 * reach**2 / 63000)], [board(1.6)]
    if kind == "board lit at one end":
        side = rng.choice([-1.0, 1.0])
        place = middle - 0.35 * far * mirror + side * (0.5 * wide + rng.uniform(120, 220)) * right
        aim = middle + side * rng.uniform(0.1, 0.6) * wide * right
        reach = float(np.linalg.norm(aim - place))
        return [lamp(place, aim, 90, 90, level * 9.0 * reach**2 / 8100)], [board(1.3)]
    if kind == "tissue":
        gap = rng.uniform(90, 260)
        off = rng.uniform(-0.5, 0.5, 2)
        aim = middle + off[0] * wide * right + off[1] * high * up
        size_mm = rng.uniform(40, 120)
        cd = level * 2.0 * math.pi * gap**2 / size_mm**2 / 0.45
        return [lamp(aim + gap * mirror, aim, size_mm, size_mm, cd)], [board(1.5, 0.4)]
    return [], []


def _side_lamps(rng: np.random.Generator, kind: str) -> list[Lamp]:
    found = []
    for i, side in enumerate(rng.permutation([-1.0, 1.0])[: 1 if rng.random() < 0.5 else 2]):
        turn, rise = rng.uniform(-0.6, 0.3), rng.uniform(0.45, 0.95)
        far = rng.uniform(500, 900)
        place = far * np.array(
            [
                side * math.cos(turn) * math.cos(rise),
                math.sin(turn) * math.cos(rise),
                math.sin(rise),
            ]
        )
        size = rng.uniform(150, 450)
        cd = 10000 * (far / 750) ** 2 * (400 / size) ** 2 * 2.0 ** rng.uniform(-0.7, 0.3)
        found.append(
            Lamp(
                name=f"side lamp {i}",
                placement=_at(place),
                width_mm=size,
                height_mm=size,
                output=Output(value=float(cd), unit="cd/m2"),
            )
        )
    return found


def _at(place: np.ndarray, aim: np.ndarray | None = None) -> Placement:
    at = np.zeros(3) if aim is None else aim
    return Placement(position_mm=tuple(map(float, place)), aim_mm=tuple(map(float, at)))  # type: ignore[arg-type]
