"""Closed-form starts: for each look, where the trade would put things first.

Two knobs are used on purpose: something bright in the family of angles for the foil, a
lamp outside it for the paper. Every start is only a guess that the search refines; it is
clipped into the freedoms that the maker gave.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from typing import TYPE_CHECKING

import numpy as np

from lightplan.errors import RigError
from lightplan.mirror.family import Margins, family_on_plane, mirror_plane
from lightplan.mirror.rays import centre_ray
from lightplan.scene.edits import Move, as_vector, edited

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.arrays import Doubles
    from lightplan.scene import Card, Lamp, Rig
    from lightplan.scene.dimensions import Space

BOUNCE_MM = 450.0
"""From a lamp to the card that it lights. Common practice, no source."""
FILL_MM = 750.0
RAINBOW_OFF_RAD = math.radians(35.0)
"""Where first-order colours lie off the mirror direction: 20 to 50 degrees for 800 to 1200
lines per mm (grating equation)."""


def starts(rig: Rig, space: Space) -> list[Doubles]:
    """Return points of the unit box to start from; the given rig comes first.

    Doubles (closer than a hundredth of the box) are left out.
    """
    found = [space.read(rig)]
    for guess in guesses(rig):
        point = space.read(guess)
        if all(np.abs(point - other).max(initial=0.0) > 0.01 for other in found):
            found.append(point)
    return found


def guesses(rig: Rig) -> list[Rig]:
    """Return rigs that set up the look in closed form, whatever the freedoms allow."""
    makers = {
        "bright field": _bright,
        "gradient": _gradient,
        "dark field": _dark,
        "split": _split,
        "rainbow": _rainbow,
        "bright band": _gradient,
        "flat copy": _bright,
    }
    found = []
    for make in (makers[rig.look.kind](rig, side) for side in (1.0, -1.0)):
        try:
            found += list(make)
        except RigError:
            continue  # a guess that the parts refuse is no start
    return found


def _movable_lamps(rig: Rig) -> list[Lamp]:
    return [lamp for lamp in rig.lamps if lamp.on and not lamp.is_window]


def _bright_cards(rig: Rig) -> list[Card]:
    """White, grey and silver boards and diffusers, largest first."""
    cards = [c for c in rig.cards if c.front.finish != "black" or c.is_diffuser]
    return sorted(cards, key=lambda c: -c.width_mm * c.height_mm)


def _bright(rig: Rig, side: float) -> Iterator[Rig]:
    cards = _bright_cards(rig)
    if not cards:
        yield from _lamp_in_the_mirror(rig, side)
        return
    for distance in _card_distances(rig, cards[0]):
        yield _lit_card(rig, cards[0], distance, side, shift=np.zeros(3), lamp_shift=np.zeros(3))


def _gradient(rig: Rig, side: float) -> Iterator[Rig]:
    """Light the card from its end that the bright side of the sheet mirrors."""
    cards = _bright_cards(rig)
    if not cards:
        yield from _lamp_in_the_mirror(rig, side)
        return
    for distance in _card_distances(rig, cards[0])[:2]:
        reach = 0.5 * _size_along(rig, cards[0])
        yield _lit_card(
            rig,
            cards[0],
            distance,
            side,
            shift=np.zeros(3),
            lamp_shift=reach * _look_direction(rig),
        )


def _split(rig: Rig, side: float) -> Iterator[Rig]:
    """Shift the card by half its size, so that its edge runs through the middle."""
    cards = _bright_cards(rig)
    if not cards:
        yield from _lamp_in_the_mirror(rig, side)
        return
    for distance in _card_distances(rig, cards[0])[:2]:
        half = 0.5 * _size_along(rig, cards[0])
        yield _lit_card(
            rig, cards[0], distance, side, shift=half * _look_direction(rig), lamp_shift=np.zeros(3)
        )


def _dark(rig: Rig, side: float) -> Iterator[Rig]:
    """Black in the mirror direction, bright cards round it, lamps low at the sides."""
    dark = [c for c in rig.cards if c.front.finish == "black" and not c.is_diffuser]
    _, direction = centre_ray(rig.camera, rig.sheet)
    for height in (0.35, 0.8):
        guess = rig
        if dark:
            guess = _square_to_ray(guess, dark[0], 400.0)
        for i, card in enumerate(_bright_cards(rig)):
            turn = side * (1 if i % 2 == 0 else -1)
            away = _sideways(rig) * turn * (0.5 * card.width_mm + 250.0)
            guess = _placed(guess, card.name, 350.0 * direction + away, np.zeros(3))
        for i, lamp in enumerate(_movable_lamps(rig)):
            guess = _side_lamp(guess, lamp, side * (1 if i % 2 == 0 else -1), height)
        yield guess


def _rainbow(rig: Rig, side: float) -> Iterator[Rig]:
    """Put a small source where the first order of green meets the lens; paper light aside."""
    lamps = sorted(_movable_lamps(rig), key=lambda lamp: lamp.width_mm)
    if not lamps:
        return
    for distance in (500.0, 900.0):
        place = distance * rainbow_direction(rig, side)
        guess = _placed(rig, lamps[0].name, place, np.zeros(3))
        for lamp in lamps[1:]:
            guess = _side_lamp(guess, lamp, -side, 0.6)
        yield guess


def rainbow_direction(rig: Rig, side: float, wavelength_nm: float = 550.0) -> Doubles:
    """Return the direction from which the first order of a colour reaches the lens.

    The grating equation on the sheet's plane: the parts of the two directions in the
    plane differ from the mirror case by wavelength times lines per mm along the
    grating's direction. Without a grating, 35 degrees off the mirror direction.

    Returns
    -------
    (3,) float
        Unit vector from the sheet; `side` 1 or -1 picks the order.
    """
    _, mirror = centre_ray(rig.camera, rig.sheet)
    grating = rig.sheet.foil.grating
    if grating is None:
        off = math.sin(RAINBOW_OFF_RAD) * _sideways(rig)[:2]
    else:
        along = np.array([math.cos(grating.direction_rad), math.sin(grating.direction_rad)])
        off = wavelength_nm * 1e-6 * grating.lines_per_mm * along
    flat = mirror[:2] + side * off
    length = float(np.linalg.norm(flat))
    if length > 0.97:  # this order runs into the sheet; stay just above it
        flat = flat * 0.97 / length
    return np.array([flat[0], flat[1], math.sqrt(1 - float(flat @ flat))])


def _lamp_in_the_mirror(rig: Rig, side: float) -> Iterator[Rig]:
    """No card: the largest lamp itself is what the foil sees."""
    lamps = sorted(_movable_lamps(rig), key=lambda x: -x.width_mm * x.height_mm)
    if not lamps:
        return
    _, direction = centre_ray(rig.camera, rig.sheet)
    for distance in (350.0, 600.0):
        guess = _placed(rig, lamps[0].name, distance * direction, np.zeros(3))
        for lamp in lamps[1:]:
            guess = _side_lamp(guess, lamp, side, 0.6)
        yield guess


def _card_distances(rig: Rig, card: Card) -> list[float]:
    """Return distances at which the card fills the family, the largest and two thirds of it.

    The family grows with the distance (card rule), so the largest is found by halving.
    """
    tries = np.arange(150.0, 1001.0, 50.0)
    first_too_far = bisect_left(tries, True, key=lambda d: not _fills(rig, card, float(d)))
    farthest = float(tries[first_too_far - 1]) if first_too_far else 200.0
    return [farthest, max(150.0, farthest * 2 / 3)]


def _fills(rig: Rig, card: Card, distance: float) -> bool:
    plane = mirror_plane(rig.camera, rig.sheet, distance)
    seen = family_on_plane(rig.camera, rig.sheet, plane, margins=Margins())
    return seen is not None and seen.width_mm <= card.width_mm and seen.height_mm <= card.height_mm


def _lit_card(
    rig: Rig, card: Card, distance: float, side: float, *, shift: Doubles, lamp_shift: Doubles
) -> Rig:
    """Set the card square to the mirrored ray, the first lamp on it, the others on the paper."""
    guess = _square_to_ray(rig, card, distance, shift)
    lamps = _movable_lamps(rig)
    _, direction = centre_ray(rig.camera, rig.sheet)
    middle = distance * direction + shift
    if lamps:
        aim = middle + lamp_shift
        if card.is_diffuser:
            place = aim + BOUNCE_MM * direction
        else:
            # In front of the card, beside the view: over the sheet's side edge.
            place = (
                0.45 * middle
                + lamp_shift
                + side * _sideways(rig) * (BOUNCE_MM + 0.5 * card.width_mm)
            )
        guess = _placed(guess, lamps[0].name, place, aim)
    for i, lamp in enumerate(lamps[1:]):
        guess = _side_lamp(guess, lamp, -side * (1 if i % 2 == 0 else -1), 0.8)
    return guess


def _square_to_ray(rig: Rig, card: Card, distance: float, shift: Doubles | None = None) -> Rig:
    plane = mirror_plane(rig.camera, rig.sheet, distance)
    seen = family_on_plane(rig.camera, rig.sheet, plane, margins=Margins())
    middle = plane if seen is None else seen.card
    move = np.zeros(3) if shift is None else shift
    place = np.asarray(middle.position_mm) + move
    return _placed(rig, card.name, place, np.asarray(plane.aim_mm) + move)


def _side_lamp(rig: Rig, lamp: Lamp, side: float, height: float) -> Rig:
    """Put a lamp at the side, aimed at the paper, outside the family of angles."""
    out = side * _sideways(rig)
    place = FILL_MM * (out * math.cos(height) + np.array([0, 0, math.sin(height)]))
    return _placed(rig, lamp.name, place, np.zeros(3))


def _sideways(rig: Rig) -> Doubles:
    """Return the unit vector on the table square to the camera's way of looking."""
    x, y, _ = rig.camera.placement.position_mm
    if math.hypot(x, y) < 1.0:
        return np.array([1.0, 0.0, 0.0])
    return np.array([-y, x, 0.0]) / math.hypot(x, y)


def _look_direction(rig: Rig) -> Doubles:
    """Return the look's direction on the card; a mirror keeps left, right, near and far."""
    _, ray = centre_ray(rig.camera, rig.sheet)
    flat = np.array([math.cos(rig.look.direction_rad), math.sin(rig.look.direction_rad), 0.0])
    across = flat - (flat @ ray) * ray
    return np.asarray(across / np.linalg.norm(across))


def _size_along(rig: Rig, card: Card) -> float:
    return card.width_mm if abs(math.cos(rig.look.direction_rad)) > 0.7 else card.height_mm


def _placed(rig: Rig, name: str, position: Doubles, aim: Doubles) -> Rig:
    """Return the rig with one lamp or card moved; kept above the table."""
    position = np.array([position[0], position[1], max(position[2], 10.0)])
    if np.linalg.norm(position - aim) < 1.0:
        aim = position - np.array([0.0, 0.0, 1.0])

    return edited(rig, Move(element=name, position_mm=as_vector(position), aim_mm=as_vector(aim)))
