"""The set from above, with the light that comes from what is not in the rig."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw

from lightplan.reports.canvas import FAINT, INK, WHITE, font
from lightplan.reports.setup.elements import elements_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from lightplan.arrays import Vector
    from lightplan.reports.palette import Colour
    from lightplan.scene import Rig

MAP_PX = 520
SPREAD_DEG = 15.0
"""Half the angle of the wedge: how well such a direction is known."""
BEAM: Colour = (244, 190, 120)
SHEET: Colour = (236, 232, 220)
_EDGE: Colour = (196, 62, 28)
_ROOM = 1.25  # the picture is so much wider than what stands on the table
_SHORTEST_PX = 14.0


def outside_map(rig: Rig, directions: Sequence[Vector]) -> NDArray[np.uint8]:
    """Return the plan view, (MAP_PX, MAP_PX, 3): what is planned, and wedges of light.

    Parameters
    ----------
    rig : Rig
    directions : sequence of (3,) float
        Unit vectors from the sheet's middle to what shines.
    """
    elements = elements_of(rig)
    reach = max(
        [float(np.abs(ring[:, :2]).max()) for e in elements for ring in e.rings_mm]
        + [rig.sheet.width_mm, rig.sheet.height_mm]
    )
    scale = MAP_PX / (2 * _ROOM * reach)
    page = Image.new("RGB", (MAP_PX, MAP_PX), WHITE)
    draw = ImageDraw.Draw(page)
    for way in directions:
        _wedge(draw, way)
    half = np.array([rig.sheet.width_mm, rig.sheet.height_mm]) / 2
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    draw.polygon(_places(corners, scale), fill=SHEET, outline=INK)
    for element in elements:
        for ring in element.rings_mm:
            places = _places(np.vstack([ring[:, :2], ring[:1, :2]]), scale)
            draw.line(places, fill=FAINT, width=2)
        x, y = _places(np.asarray([element.position_mm[:2]]), scale)[0]
        box = draw.textbbox((x, y), element.name, font=font(13), anchor="mm")
        x += max(0.0, 4 - box[0]) - max(0.0, box[2] - MAP_PX + 4)
        draw.text((x, y), element.name, font=font(13), fill=INK, anchor="mm")
    draw.text((MAP_PX / 2, MAP_PX - 4), "your side", font=font(13), fill=FAINT, anchor="mb")
    draw.rectangle((0, 0, MAP_PX - 1, MAP_PX - 1), outline=(208, 208, 212))
    return np.asarray(page)


def _wedge(draw: ImageDraw.ImageDraw, way: Vector) -> None:
    """Draw where light comes from: a wedge, or a disc where it comes from above."""
    middle, far = MAP_PX / 2, 0.48 * MAP_PX
    level = math.hypot(way[0], way[1])
    if level < math.sin(math.radians(SPREAD_DEG)):
        radius = max(_SHORTEST_PX, far * math.sin(math.radians(SPREAD_DEG)))
        box = (middle - radius, middle - radius, middle + radius, middle + radius)
        draw.ellipse(box, fill=BEAM, outline=_EDGE, width=2)
        return
    towards = math.degrees(math.atan2(-way[1], way[0]))
    box = (middle - far, middle - far, middle + far, middle + far)
    draw.pieslice(box, towards - SPREAD_DEG, towards + SPREAD_DEG, fill=BEAM, outline=_EDGE)
    x = middle + 0.86 * far * math.cos(math.radians(towards))
    y = middle + 0.86 * far * math.sin(math.radians(towards))
    draw.text((x, y), "!", font=font(26, bold=True), fill=_EDGE, anchor="mm")


def _places(points: NDArray[np.float64], scale: float) -> list[tuple[float, float]]:
    """Return pixels of places on the table; the maker stands at the lower edge."""
    return [(MAP_PX / 2 + float(x) * scale, MAP_PX / 2 - float(y) * scale) for x, y in points]
