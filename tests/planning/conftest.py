"""A toy light model with a known answer, and small rigs for it."""

from types import SimpleNamespace

import numpy as np
import pytest

from lightplan.merit.light_model import LampLight
from lightplan.mirror.rays import hit_plane, mirrored_rays
from lightplan.scene import Camera, Card, Freedom, Lamp, Output, Placement, Rig, Room, Sheet

ROWS, COLS = 30, 40
EDGE_MM = 20.0  # the foil's blur softens the edges of what it mirrors


class ToyLight:
    """Spot lamps, inverse square and cosine; foil sees the card's middle or the dark."""

    def __init__(self):
        self.asked = 0

    def lamp_light(self, rig):
        self.asked += 1
        points = self.points(rig)
        paper = [_lambert(lamp, points, np.array([0, 0, 1.0])) for lamp in rig.lamps]
        foil = [self.mirrored(rig, lamp, points) for lamp in rig.lamps]
        names = tuple(lamp.name for lamp in rig.lamps)
        room = np.full(len(points), 1e-3)
        shape = (len(names) + 1, ROWS, COLS, 1)
        paper = np.array([*paper, room]).reshape(shape) * np.ones(3)
        foil = np.array([*foil, room]).reshape(shape) * np.ones(3)
        return LampLight(names, 0.85 * paper / np.pi, 0.9 * foil)

    @staticmethod
    def points(rig):
        x = ((np.arange(COLS) + 0.5) / COLS - 0.5) * rig.sheet.width_mm
        y = (0.5 - (np.arange(ROWS) + 0.5) / ROWS) * rig.sheet.height_mm
        grid = np.meshgrid(x, y)
        return np.stack([grid[0].ravel(), grid[1].ravel(), np.zeros(ROWS * COLS)], axis=-1)

    @staticmethod
    def mirrored(rig, lamp, points):
        seen = np.zeros(len(points))
        rays = mirrored_rays(rig.camera, rig.sheet, points[:, :2])
        for card in rig.cards:
            place, _ = hit_plane(rays, card.placement)
            inside = [card.width_mm / 2, card.height_mm / 2] - np.abs(np.nan_to_num(place, nan=1e9))
            hit = np.clip(inside / EDGE_MM + 0.5, 0, 1).prod(axis=1)
            middle = np.array([card.placement.position_mm])
            light = _lambert(lamp, middle, card.placement.axes()[2])
            seen += hit * card.front.reflectance[0] * light[0] / np.pi
        return seen

    def foil_share(self, rig):
        share = np.zeros((ROWS, COLS))
        share[:, : COLS // 2] = 1.0
        return share

    def clip_luminance(self, rig, paper, foil):
        wish = rig.camera.exposure
        if wish.f_number is not None:
            return 120 * wish.f_number**2 / (wish.iso * wish.time_s)
        shines = float(foil.max()) / wish.foil_level
        return max(float(paper.max()) / wish.level_on(rig.sheet.paper), shines, 1e-6)


def _lambert(lamp, points, normal):
    way = np.asarray(lamp.placement.position_mm) - points
    distance = np.linalg.norm(way, axis=1)
    cosine = np.clip(way @ normal / distance, 0, None)
    beam = np.clip(-(way @ lamp.placement.axes()[2]) / distance, 0, None) ** 8  # a spot
    return lamp.output.value * 1e6 * beam * cosine / distance**2


def _rig(**changes):
    base = {
        "title": "label",
        "sheet": Sheet(width_mm=120, height_mm=90),
        "camera": Camera(placement=Placement((0, -250, 450))),
        "room": Room(table=None),
        "cards": (
            Card(name="board", placement=Placement((0, 190, 340)), width_mm=420, height_mm=300),
        ),
        "lamps": (
            Lamp(
                name="left",
                shape="bulb",
                width_mm=40,
                height_mm=40,
                placement=Placement((-350, -120, 250), (0, 190, 340)),
                output=Output(value=1000, unit="cd"),
            ),
            Lamp(
                name="right",
                shape="bulb",
                width_mm=40,
                height_mm=40,
                placement=Placement((400, -100, 600)),
                output=Output(value=1000, unit="cd"),
            ),
        ),
    }
    return Rig(**{**base, **changes})


def _freedom(element, dimension, low, high):
    return Freedom(element=element, dimension=dimension, low=low, high=high)


@pytest.fixture
def toy():
    """The toy light, a maker of rigs for it, and a maker of freedoms."""
    return SimpleNamespace(model=ToyLight, rig=_rig, freedom=_freedom, rows=ROWS, cols=COLS)
