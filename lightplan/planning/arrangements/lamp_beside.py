"""A lamp just beside what the foil mirrors."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.planning.arrangements.keys import LAMP_MIRRORED, mirror_black
from lightplan.planning.arrangements.stage import Draft, Stage
from lightplan.scene import Placement
from lightplan.scene.edits import as_vector

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.arrays import Doubles

BESIDE_RAY_MM = 700.0
"""How far along the mirrored ray a lamp stands that is beside it. Our choice."""


def lamp_beside(stage: Stage) -> Iterator[Draft]:
    """Yield a lamp just outside of what the foil mirrors, black there if there is any.

    The foil's own spread runs off from there, and the paper gets all of the lamp: the one light
    that serves both where there is but one.
    Not over a grating, whose lines send colours of such a lamp: a first look made more of it than
    a prediction did.
    """
    plane = stage.square(BESIDE_RAY_MM)
    seen = stage.seen(plane)
    has_lines = stage.rig.sheet.foil.grating is not None
    if has_lines or seen is None or not stage.cupboard.lamps:
        return
    lamp = stage.cupboard.lamps[0]
    middle, right = np.asarray(plane.position_mm, float), plane.axes()[0]
    bright = stage.spot(plane, 1.0) - middle
    bright /= max(float(np.linalg.norm(bright)), 1e-6)
    reach = 0.5 * math.hypot(seen.width_mm, seen.height_mm)
    reach += 0.5 * min(lamp.width_mm, lamp.height_mm)
    ways: list[tuple[str, Doubles]] = [
        ("at the left", -right), ("at the right", right), ("at its bright side", bright)
    ]  # fmt: skip
    for black in (None, *stage.cupboard.blacks[:1]):
        for words, way in ways:
            draft = Draft(stage)
            if black is not None:
                mirror_black(draft, black)
            draft.say(f"{lamp.name} beside what the foil mirrors")
            draft.say(words)
            place = Placement(as_vector(middle + reach * way), (0.0, 0.0, 0.0))
            draft.put(lamp, place, LAMP_MIRRORED, stage.stand_of(lamp))
            yield draft
