"""Which corner of a quad in a photograph is the sheet's far left one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from lightplan.arrays import Doubles

FALLS = 0.26
"""Sine of the slope, 15 degrees, from which a side counts as falling: a sheet that just lies on its
side is named one way, however it is turned by a little. Ours."""


def named(corners: Doubles, misfit_of: Callable[[Doubles], Doubles]) -> tuple[Doubles, Doubles]:
    """Return quads from the far left corner clockwise, and their misfits (n,).

    The sheet stands as nearly upright as its proportions allow.
    """
    corners = _clockwise_from_top_left(corners)
    turned = _turned_by_a_quarter(corners)
    upright, lying = misfit_of(corners), misfit_of(turned)
    swap = lying < upright - 0.02
    return np.where(swap[:, None, None], turned, corners), np.minimum(upright, lying)


def _turned_by_a_quarter(corners: Doubles) -> Doubles:
    """Return quads whose far side is the one beside that, on the right.

    Where the far side falls clearly to the right it is the left one: that is farther up.
    """
    far = corners[:, 1] - corners[:, 0]
    falls = far[:, 1] > FALLS * np.linalg.norm(far, axis=1)
    return np.where(falls[:, None, None], np.roll(corners, 1, axis=1), np.roll(corners, -1, axis=1))


def _clockwise_from_top_left(corners: Doubles) -> Doubles:
    """Return the corners in clockwise order on the screen, the top left one first."""
    x, y = corners[..., 0], corners[..., 1]
    signed = (x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(axis=1)
    ordered = np.where((signed < 0)[:, None, None], corners[:, ::-1], corners)
    edge = np.roll(ordered, -1, axis=1) - ordered
    # The top side is the one that runs most nearly to the right.
    top = np.argmax(edge[..., 0] / np.linalg.norm(edge, axis=-1), axis=1)
    index = (top[:, None] + np.arange(4)) % 4
    return np.take_along_axis(ordered, index[..., None], axis=1)
