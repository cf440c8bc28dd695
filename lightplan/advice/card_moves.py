"""Cards that are too small or in the wrong place for what the foil mirrors."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from lightplan.advice.moves import SETTING_MARGIN_MM, AdvisedMove, moved_by, with_thing
from lightplan.mirror.foil_rays import FoilRays, lobe_margin_mm, places_on
from lightplan.scene import Card, Hole, Rig
from lightplan.words.places import edge, step_words
from lightplan.words.things import name_in, rounded_up

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.arrays import Doubles
    from lightplan.geometry.shapes import Flat

FARTHEST_MM = 2000.0  # rays that graze a card's plane would ask for endless cards


def uncovered_sides(face: Flat, rays: FoilRays) -> dict[str, float]:
    """Return by how many mm rays pass a card's plane outside it, by side ("u-", "u+", ...)."""
    places, _ = places_on(face, rays)
    places = places[np.isfinite(places).all(axis=1)]
    if not len(places):
        return {}
    low, high = places.min(axis=0), places.max(axis=0)
    over = {
        "u-": -face.half_width - low[0],
        "u+": high[0] - face.half_width,
        "v-": -face.half_height - low[1],
        "v+": high[1] - face.half_height,
    }
    return {side: float(value) for side, value in over.items()}


def fit_card(rig: Rig, card: Card, face: Flat, wanted: FoilRays) -> Iterator[AdvisedMove]:
    """Yield the shift of a card and the larger card with which all rays would meet it.

    Parameters
    ----------
    wanted : FoilRays
        Those that should meet the card.
    """
    over = uncovered_sides(face, wanted)
    for axis, side_vector in (("u", face.right), ("v", face.up)):
        for sign in (1.0, -1.0):
            side, other = f"{axis}{'+' if sign > 0 else '-'}", f"{axis}{'-' if sign > 0 else '+'}"
            missing = over.get(side, 0.0)
            if missing <= 0 or missing > FARTHEST_MM:
                continue
            step = rounded_up(missing + _margin(rig, face, wanted))
            outward = sign * np.asarray(side_vector)
            name = name_in(rig, card.name)
            if -over[other] >= step:
                text = f"move {name} {step:.0f} mm {step_words(outward)}"
                yield AdvisedMove(text, partial(with_thing, rig, moved_by(card, step * outward)))
            yield AdvisedMove(
                f"take a card that reaches {step:.0f} mm farther at the {edge(outward)} edge "
                f"of {name}",
                partial(with_thing, rig, _larger(card, axis, step, outward)),
            )


def _margin(rig: Rig, face: Flat, rays: FoilRays) -> float:
    _, distance = places_on(face, rays)
    return SETTING_MARGIN_MM + lobe_margin_mm(rig, float(np.nanmedian(distance)))


def _larger(card: Card, axis: str, step: float, outward: Doubles) -> Card:
    """Return the card `step` mm longer at one edge; its hole stays where it is in space."""
    moved = moved_by(card, 0.5 * step * outward)
    hole = card.hole
    if hole is not None:
        right, up, _ = card.placement.axes()
        back = -0.5 * step * outward
        x, y = hole.offset_mm
        at = (x + float(back @ right), y + float(back @ up))
        hole = Hole(diameter_mm=hole.diameter_mm, offset_mm=at)
    if axis == "u":
        return replace(moved, width_mm=card.width_mm + step, hole=hole)
    return replace(moved, height_mm=card.height_mm + step, hole=hole)
