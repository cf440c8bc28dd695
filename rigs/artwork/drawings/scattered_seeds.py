"""A postcard strewn with small things: seeds, leaves, stars, dots; none over 6 mm."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from drawings.plate import Plate, turn

if TYPE_CHECKING:
    from drawings.plate import Point


def scattered_seeds() -> Plate:
    """Draw a postcard strewn with small things: seeds, leaves, stars, dots; none over 6 mm."""
    plate = Plate(148, 105)
    rng = np.random.default_rng(23)
    placed: list[tuple[Point, float]] = []
    for radius, count in ((3.4, 44), (2.2, 70), (1.0, 120)):
        tries = 0
        while count and tries < 4000:
            tries += 1
            place = (float(rng.uniform(-69, 69)), float(rng.uniform(-47, 47)))
            if abs(place[0]) < 49 and abs(place[1]) < 13:
                continue  # room for the words
            if all(math.dist(place, other) > radius + r + 0.9 for other, r in placed):
                placed.append((place, radius))
                count -= 1
                _small_thing(plate, place, radius, rng)
    plate.text("SOW SOMETHING", (0, 4.2), 5.2, face="STIXGeneralBol", spacing_mm=1.0)
    plate.text("thorn lane seed house", (0, -5.4), 3.4, face="STIXGeneralItalic", spacing_mm=0.3)
    return plate


def _small_thing(plate: Plate, place: Point, radius: float, rng: np.random.Generator) -> None:
    angle = float(rng.uniform(0, 360))
    kind = int(rng.integers(0, 4))
    if radius < 1.5:
        plate.disk(place, radius * float(rng.uniform(0.5, 0.9)))
    elif kind == 0:
        plate.star(place, radius, 5, 0.42, angle)
    elif kind == 1:  # a winged seed
        plate.leaf(place, angle, 1.3 * radius, width=0.5, vein=False)
        plate.disk(place, 0.36 * radius)
    elif kind == 2:
        foot = turn((-radius, 0), angle, place)
        plate.leaf(foot, angle, 2 * radius, width=0.44, vein=radius > 3)
    else:
        for i in range(5):
            plate.disk(turn((0.56 * radius, 0), angle + 72 * i, place), 0.38 * radius)
        plate.disk(place, 0.2 * radius, 0)
