"""Clipped shares of lossless files, counted pixel by pixel in the photograph itself."""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np

from lightplan.arrays import Booleans, Doubles, Singles
from lightplan.shots.finding import SheetFound
from lightplan.shots.outline import straighten
from lightplan.shots.quads import square_to_quad
from lightplan.shots.shot import Shot
from lightplan.shots.squaring import window

_FOIL_FROM, _PAPER_BELOW = 0.5, 0.02
_CHANNELS = ("red", "green", "blue")


def clipped_shares(
    shot: Shot, found: SheetFound, foil: Singles, valid: Booleans, *, confidence: float
) -> dict[str, tuple[float, float]]:
    """Return the clipped shares of foil and paper over every pixel of the file.

    The squared sheet samples the photograph; a share counted there is an estimate. Here
    the foil mask is laid into the photograph instead, and its pixels are counted: the
    only uncertainty left is that of the mask.

    Parameters
    ----------
    shot : Shot
        At its full size (`reduction` 1).
    found : SheetFound
        Corners in pixels of `shot.encoded`, turned as the mask lies.
    foil, valid : (rows, cols)
        On the sheet's grid.
    confidence : float
        Of the mask, 0 to 1.
    """
    rows, cols = window(found, margin=0.0)
    across, down = _sheet_places(found, rows, cols, foil.shape)
    share = cv2.remap(foil, across, down, cv2.INTER_LINEAR, borderValue=-1.0)
    shown = cv2.remap(valid.view(np.uint8), across, down, cv2.INTER_NEAREST, borderValue=0) > 0
    clipped = shot.clipped_part(rows, cols)
    paper = (share >= 0) & (share < _PAPER_BELOW)
    regions = {
        "foil": shown & (share >= _FOIL_FROM), "paper": shown & paper,
    }  # fmt: skip
    told: dict[str, tuple[float, float]] = {}
    for name, region in regions.items():
        total = int(region.sum())
        if not total:
            continue
        inside = clipped[region]
        shares: dict[str, Any] = {
            f"{name}_clipped_{c}_share": inside[:, i] for i, c in enumerate(_CHANNELS)
        }
        shares[f"{name}_clipped_share"] = inside.any(axis=1)
        shares[f"{name}_clipped_all_share"] = inside.all(axis=1)
        for key, flags in shares.items():
            value = float(flags.mean())
            told[key] = (value, math.hypot(0.5 / total, (1.0 - confidence) * value))
    return told


def _sheet_places(
    found: SheetFound, rows: slice, cols: slice, shape: tuple[int, ...]
) -> tuple[Singles, Singles]:
    """Return column and row on the sheet's grid of each pixel of a window."""
    y, x = np.mgrid[rows, cols]
    straight = straighten(np.stack([x, y], axis=-1), found.bending, found.shape)
    corners = straighten(found.corners[:, ::-1], found.bending, found.shape)
    back: Doubles = np.linalg.inv(square_to_quad(corners[None])[0])
    sheet = np.concatenate([straight, np.ones((*y.shape, 1))], axis=-1) @ back.T
    u, v = sheet[..., 0] / sheet[..., 2], sheet[..., 1] / sheet[..., 2]
    return (u * shape[1] - 0.5).astype(np.float32), (v * shape[0] - 0.5).astype(np.float32)
