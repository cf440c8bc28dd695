"""What the foil sees, as a picture of the sheet with a legend, small enough for a page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.light import Layers
    from lightplan.scene import Rig

Colour = tuple[int, int, int]
LONG_SIDE_PX = 480
PAPER_SHARE = 0.12  # of the colour that the paper between the foil carries
LEAST_SHARE = 0.001  # less of the foil than this is not named


@dataclass(frozen=True, eq=False)
class GlarePicture:
    """The sheet from above, its foil coloured by what it mirrors to the lens.

    Parameters
    ----------
    codes : (rows, cols, 3) uint8
        sRGB; row 0 is the far edge.
    legend : tuple of (colour, words)
        Largest share first.
    """

    codes: NDArray[np.uint8]
    legend: tuple[tuple[Colour, str], ...]


def glare_picture(rig: Rig, layers: Layers) -> GlarePicture:
    """Return the small glare map of a rig, in the colours of the large one."""
    from lightplan.reports.palette import colours_by_name
    from lightplan.reports.sheet_image import sheet_image

    image = sheet_image(rig, layers, LONG_SIDE_PX)
    colours = np.asarray(colours_by_name(rig, layers.sees_names), np.float32)
    share = PAPER_SHARE + (1 - PAPER_SHARE) * np.asarray(image.foil, np.float32)[..., None]
    codes = np.round(255 + share * (colours[image.sees] - 255)).astype(np.uint8)
    codes.setflags(write=False)
    total = max(float(image.foil.sum()), 1e-9)
    weights = np.bincount(
        image.sees.ravel(), image.foil.ravel().astype(float), len(layers.sees_names)
    )
    legend = tuple(
        (_colour(colours[i]), f"{layers.sees_names[i]}: {100 * weights[i] / total:.0f} %")
        for i in np.argsort(-weights, kind="stable")
        if weights[i] / total >= LEAST_SHARE
    )
    return GlarePicture(codes, legend)


def _colour(values: NDArray[np.float32]) -> Colour:
    r, g, b = (int(v) for v in values)
    return (r, g, b)
