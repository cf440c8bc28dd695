"""A lamp's light from one photograph of white copy paper, where its box names only watts.

The paper lies 1 m in front of the lamp, square to it, the room dark. How bright it is follows
from aperture, time and ISO that the photograph names, and so does the light that falls on it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.errors import PhotoError
from lightplan.optics.exposure_values import saturation_luminance
from lightplan.shots.formats.reading import read_shot
from lightplan.tasks.photo_facts import LEAST_LIGHT, WHITE_PAPER, mean_at

if TYPE_CHECKING:
    from pathlib import Path

LUMINANCE = (0.2126, 0.7152, 0.0722)
"""Of linear sRGB; IEC 61966-2-1."""
MOST_LIGHT = 0.985
SURE_STOPS = 0.5
"""By how much the answer may be off: a camera's ISO and tone curve, the metre, the paper.
Our judgement, no source."""


def lux_at_one_metre(path: Path, paper_at: tuple[float, float]) -> float:
    """Return the light [lx] on white copy paper in a photograph.

    Parameters
    ----------
    path : Path
    paper_at : (2,) float
        Where the paper lies in the picture, from the left and from the top, 0 to 1.

    Raises
    ------
    PhotoError
        When the photograph does not name its exposure, or the paper is dark or burnt out.
    """
    shot = read_shot(path, long_side_px=1200)
    taken = shot.settings
    if taken.f_number is None or taken.time_s is None or taken.iso is None:
        raise PhotoError(
            field="photograph",
            wanted="one that names aperture, time and ISO",
            got="one that does not",
            cure="use the file as the camera wrote it",
            file=path.name,
        )
    level = mean_at(np.asarray(shot.linear), paper_at)
    if level.max() < LEAST_LIGHT or level.max() > MOST_LIGHT:
        raise PhotoError(
            field="white paper",
            wanted="neither dark nor burnt out in the photograph",
            got=f"{100 * float(level.max()):.0f} % of the most it can hold",
            cure="photograph it again with another exposure",
            file=path.name,
        )
    clip = saturation_luminance(f_number=taken.f_number, time_s=taken.time_s, iso=taken.iso)
    return float(level @ LUMINANCE) * clip * math.pi / WHITE_PAPER
