"""What a leaning camera and a sheet that is small in the frame cost, said to a maker."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.scene.framing import framing, nearest_mm

if TYPE_CHECKING:
    from lightplan.scene import Camera, Sheet

TOLD_FROM = 0.02
"""An edge drawn less larger than this is not seen. Our choice."""
SMALL = 0.6
"""A sheet that spans less of the frame than this, along the side where it is tightest, is told. Our
choice, between what fills it and the half from which the score counts it."""
_SAME = 1.05
"""So many times the nearest or lowest place is that place to a maker's hand. Our choice."""
_MIDDLES = {"far": (0.0, 0.5), "near": (0.0, -0.5), "right": (0.5, 0.0), "left": (-0.5, 0.0)}


def keystone(camera: Camera, sheet: Sheet) -> tuple[str, str, float]:
    """Return the edge that is drawn larger, the one across from it, and by how much (a share).

    A length at right angles to the way in which the camera looks is drawn in inverse
    proportion to its distance along that way (perspective).
    """
    forward = camera.axes()[2]
    lens = np.asarray(camera.placement.position_mm)
    size = np.array([sheet.width_mm, sheet.height_mm])
    away = {
        name: float((np.append(size * place, 0.0) - lens) @ forward)
        for name, place in _MIDDLES.items()
    }
    pairs = [("near", "far"), ("far", "near"), ("left", "right"), ("right", "left")]
    larger, smaller = max(pairs, key=lambda pair: away[pair[1]] / max(away[pair[0]], 1e-6))
    return larger, smaller, away[smaller] / max(away[larger], 1e-6) - 1.0


def keystone_words(camera: Camera, sheet: Sheet) -> str:
    """Return what the lean of the camera costs in a sentence; "" where it costs nothing.

    >>> from lightplan.scene import Camera, Placement, Sheet
    >>> postcard = Sheet(width_mm=148, height_mm=105)
    >>> keystone_words(Camera(placement=Placement((0, -300, 520))), postcard)
    'the camera leans: the near edge is drawn 9 % larger than the far one, and once the picture is squared the far edge keeps 92 % of its detail'
    >>> keystone_words(Camera(placement=Placement((0, 0, 600))), postcard)
    ''
    """  # noqa: E501 - the sentence is one line
    larger, smaller, share = keystone(camera, sheet)
    if share < TOLD_FROM:
        return ""
    return (
        f"the camera leans: the {larger} edge is drawn {100 * share:.0f} % larger than the "
        f"{smaller} one, and once the picture is squared the {smaller} edge keeps "
        f"{100 / (1 + share):.0f} % of its detail"
    )


def small_words(camera: Camera, sheet: Sheet) -> str:
    """Return what to do where the sheet is small in the frame, in a sentence; "" where it is not.

    Why the camera is no nearer is said where lens or holder decide it; of one that stays where it
    is, what can be done alone. That a phone's 2x is mostly a crop of the same picture is from memory.

    >>> from lightplan.scene import Camera, Placement, Sheet
    >>> tag, place = Sheet(width_mm=25, height_mm=35), Placement((0, -58, 131))
    >>> small_words(Camera(placement=place, focal_length_mm=26), tag)
    'the sheet spans only 37 % of the frame, as the lens may not focus from nearer: crop to the sheet afterwards, which loses nothing; the 2x of a phone only helps where it is a lens of its own that focuses from so near'
    >>> small_words(Camera(placement=place, focal_length_mm=26, locked=True), tag)
    'the sheet spans only 37 % of the frame: crop to the sheet afterwards, which loses nothing'
    >>> small_words(Camera(placement=place, focal_length_mm=26), Sheet(width_mm=90, height_mm=60))
    ''
    """  # noqa: E501 - the sentence is one line
    filled = framing(camera, sheet).filled
    if filled >= SMALL:
        return ""
    why, besides = _nearer(camera)
    return (
        f"the sheet spans only {100 * filled:.0f} % of the frame{why}: crop to the sheet "
        f"afterwards, which loses nothing{besides}"
    )


def _nearer(camera: Camera) -> tuple[str, str]:
    """Return why a camera is no nearer, and what else would help; "" of one that stays."""
    if camera.locked:
        return "", ""
    x, y, z = camera.placement.position_mm
    if math.hypot(x, y, z) < _SAME * nearest_mm(camera):
        return ", as the lens may not focus from nearer", (
            "; the 2x of a phone only helps where it is a lens of its own that focuses from so near"
        )
    if camera.held is not None and z < _SAME * camera.held.lowest_mm:
        held = ", as what holds the camera goes no lower"
        return held, "; held lower it would span more, in a light planned anew"
    return "", "; from nearer it would span more, in a light planned anew"
