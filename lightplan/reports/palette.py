"""A colour for everything that foil can mirror, told apart with any kind of colour vision.

Things of one kind share a hue and differ in lightness: lamps are yellow, windows pale blue,
white cards blue, black ones violet, diffusers and shells green, the camera red, the
table brown, stands and other props dark green, a dark room dark.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from lightplan.optics.colour import luminance_factor, srgb_decode
from lightplan.scene.surfaces import build_surfaces

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.scene import Rig

Colour: TypeAlias = tuple[int, int, int]

FAMILIES: dict[str, tuple[Colour, ...]] = {
    "lamp": ((250, 190, 20), (255, 224, 130), (205, 140, 0), (255, 205, 80)),
    "window": ((168, 226, 255), (120, 200, 240), (205, 240, 255)),
    "card": ((38, 102, 186), (128, 178, 236), (16, 58, 118), (84, 142, 214)),
    "grey card": ((104, 112, 124), (142, 150, 162), (74, 82, 92)),
    "black card": ((76, 13, 127), (112, 62, 160), (52, 0, 96)),
    "silver card": ((206, 228, 170), (178, 204, 138), (228, 244, 200)),
    "diffuser": ((0, 148, 120), (116, 208, 184), (0, 96, 80), (60, 178, 150)),
    "shell": ((0, 148, 120), (116, 208, 184), (0, 96, 80), (60, 178, 150)),
    "camera": ((214, 30, 92),),
    "prop": ((43, 64, 35), (78, 100, 66), (22, 40, 16)),
    "table": ((140, 88, 48),),
    "room": ((150, 130, 190), (184, 168, 214), (116, 96, 158), (206, 196, 228), (96, 78, 136),
             (168, 150, 204)),
    "hole": ((113, 44, 76), (150, 84, 116), (82, 20, 50)),
    "dark room": ((24, 26, 34),),
    "surroundings": ((158, 160, 166),),
    "sheet": ((110, 110, 110),),
}  # fmt: skip
BLACK_LIGHT = 0.0071  # relative luminance of (20, 20, 24)


def kinds_by_name(rig: Rig, names: Sequence[str]) -> tuple[str, ...]:
    """Return the kind (a key of `FAMILIES`) of each name that a glare map uses."""
    roles = {surface.name: str(surface.role) for surface in build_surfaces(rig)}
    for card in rig.cards:
        if card.front.finish != "white" and not card.is_diffuser:
            roles[card.name] = f"{card.front.finish} card"
    return tuple(_kind(name, roles) for name in names)


def _kind(name: str, roles: dict[str, str]) -> str:
    if name in roles:
        return roles[name]
    if name.startswith("hole in "):
        return "hole"
    return name if name in FAMILIES else "surroundings"


def colours_by_name(rig: Rig, names: Sequence[str]) -> tuple[Colour, ...]:
    """Return a colour for each name; the same rig gives the same colours in every report.

    Colours are dealt in the order of the rig's own surfaces, so that a lamp keeps its
    colour when another thing comes into view.
    """
    every = [*dict.fromkeys(surface.name for surface in build_surfaces(rig))]
    every += [name for name in names if name not in every]
    dealt: dict[str, Colour] = {}
    used: dict[str, int] = {}
    for name, kind in zip(every, kinds_by_name(rig, every), strict=True):
        family = FAMILIES[kind]
        dealt[name] = family[used.get(kind, 0) % len(family)]
        used[kind] = used.get(kind, 0) + 1
    return tuple(dealt[name] for name in names)


def ink_on(colour: Colour) -> Colour:
    """Return near-black or white, whichever stands out more (contrast ratio of WCAG 2.1).

    >>> ink_on((250, 190, 20)), ink_on((38, 102, 186))
    ((20, 20, 24), (255, 255, 255))
    """
    light = float(luminance_factor(srgb_decode(np.array(colour) / 255)))
    on_white, on_black = 1.05 / (light + 0.05), (light + 0.05) / (BLACK_LIGHT + 0.05)
    return (20, 20, 24) if on_black > on_white else (255, 255, 255)
