"""Whether a rendered photograph can be read at all, from its truth alone.

No program under test has a say here: the light before noise and compression is clipped,
coded to 8 bits and looked at where the truth says the sheet's outline and foil are.
"""

from __future__ import annotations

import cv2
import numpy as np
from skimage.color import deltaE_ciede2000, rgb2lab

# Sides of a line are told apart at a glance from 2 CIEDE2000 (common practice, no
# source; about 1 is just noticed with both held together). A line also has to stand out
# from what lies beside it: grain that varies as much along the table hides it.
EDGE_DE = 2.0
STRETCHES = 16  # that each side is divided in
NEAR_PX, FAR_PX = 2.0, 7.0  # beside the outline: beyond its blur (1.4 at most), before the inside
# Three quarters of the outline give the sheet, if no single side is gone: a side is found
# by its two ends, so less than half of it tells a corner only by guessing.
OUTLINE_SEEN, SIDE_SEEN = 0.75, 0.5
# Below 6 CIEDE2000 the scores' own gate says "cannot tell foil from paper".
FOIL_DE = 6.0
# 0.85 of overlap allows 15 % of missed and wrong area; a tenth may be invisible, so that
# a twentieth is left for outlines.
FOIL_SEEN = 0.9
# A stroke of less than 3 pixels has no pixel that is all foil (blur of half a pixel and
# more at each side); most of the area must have some.
STROKE_PX, STROKE_SHARE = 3, 0.5


def outline_seen(light, outline):
    """Share of each side (4,) along which sheet and table are told apart at a glance.

    Parameters
    ----------
    light : (rows, cols, 3) uint8
        Coded, without noise.
    outline : (4, n, 2) float
        Row and column of places along each side, clockwise, n a multiple of STRETCHES.
    """
    lab = rgb2lab(light).astype(np.float32)
    run = np.gradient(outline, axis=1)
    run /= np.linalg.norm(run, axis=-1, keepdims=True)
    # Rows grow downwards: clockwise on the screen, inside lies to the right of the way.
    inwards = np.stack([run[..., 1], -run[..., 0]], axis=-1)
    away = np.arange(NEAR_PX, FAR_PX + 0.1)
    inside, outside = (
        _means(lab, outline[:, :, None] + turn * away[:, None] * inwards[:, :, None])
        for turn in (1, -1)
    )
    step = deltaE_ciede2000(inside[0], outside[0])
    grain = np.maximum(inside[1], outside[1])
    return (step >= np.maximum(EDGE_DE, grain)).mean(axis=1)


def _means(lab, places):
    """Mean colour (4, STRETCHES, 3) of bands beside the sides, and its usual change (4, 1).

    The change is the deviation of the stretches of one side from its own smooth run.
    """
    at = places.astype(np.float32).reshape(-1, places.shape[2], 2)
    seen = cv2.remap(lab, at[..., 1], at[..., 0], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    means = seen.reshape(4, STRETCHES, -1, 3).mean(axis=2)
    rough = np.linalg.norm(means[:, 1:] - means[:, :-1], axis=-1) / np.sqrt(2)
    return means, np.median(rough, axis=1, keepdims=True)


def finder_can(light, outline):
    """Say whether the sheet is wholly in frame and its outline is seen."""
    inside = (outline > 0).all() and (outline < np.array(light.shape[:2]) - 1).all()
    seen = outline_seen(light, outline)
    return bool(inside and seen.mean() >= OUTLINE_SEEN and seen.min() >= SIDE_SEEN)


def foil_seen(light, bare, foil):
    """Share of the foil's area that differs from the paper that would be in its place.

    Parameters
    ----------
    light, bare : (rows, cols, 3) uint8
        The photograph with and without foil, coded, without noise.
    foil : (rows, cols) float
        Coverage, 0 to 1.
    """
    there = foil > 0.5
    if not there.any():
        return 0.0
    differs = deltaE_ciede2000(rgb2lab(light[there]), rgb2lab(bare[there]))
    return float((differs >= FOIL_DE).mean())


def strokes_wide(foil):
    """Share of the foil's area in strokes of STROKE_PX and more."""
    there = (foil > 0.5).astype(np.uint8)
    wide = cv2.morphologyEx(there, cv2.MORPH_OPEN, np.ones((STROKE_PX, STROKE_PX), np.uint8))
    return float(wide.sum() / max(there.sum(), 1))


def look_can(light, bare, foil):
    """Say whether foil can be told from paper without artwork."""
    return foil_seen(light, bare, foil) >= FOIL_SEEN and strokes_wide(foil) >= STROKE_SHARE
