"""The light that is there anyway: constant surroundings or a light probe."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from lightplan.light.compiled import weighted_sums

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Floats, Singles
    from lightplan.light.ray_bundle import Rays
    from lightplan.scene.room import Room


class Surroundings:
    """Luminance towards every direction where no surface is in the way."""

    def __init__(self, room: Room) -> None:
        self._constant = np.asarray(room.ambient_cd_m2, np.float32)
        self._probe = room.probe

    @property
    def is_dark(self) -> bool:
        """Whether there is none."""
        return self._probe is None and not self._constant.any()

    @property
    def has_probe(self) -> bool:
        """Whether the surroundings differ with direction."""
        return self._probe is not None

    @cached_property
    def _pixels(self) -> Singles:
        assert self._probe is not None
        return np.asarray(self._probe.pixels * self._probe.scale, np.float32)

    def towards(self, directions: Floats) -> Singles:
        """Return the luminance (n, 3) seen along unit directions (n, 3), cd/m2."""
        if self._probe is None:
            return np.broadcast_to(self._constant, (len(directions), 3))
        rows, cols = self._pixels.shape[:2]
        row, col = self._place(directions, rows, cols)
        top = np.clip(np.floor(row).astype(int), 0, rows - 1)
        left = np.floor(col).astype(int)
        down = (np.clip(row, 0, rows - 1) - top)[:, None].astype(np.float32)
        over = (col - left)[:, None].astype(np.float32)
        below = np.minimum(top + 1, rows - 1)
        near, far = left % cols, (left + 1) % cols
        upper = (1 - over) * self._pixels[top, near] + over * self._pixels[top, far]
        lower = (1 - over) * self._pixels[below, near] + over * self._pixels[below, far]
        return np.asarray(self._constant + (1 - down) * upper + down * lower, np.float32)

    def brought(self, rays: Rays, carry: Singles) -> Singles:
        """Return what those of r rays of each of n bundles bring that meet nothing, (n, 3).

        `carry` (3, n, r) is what each of them counts.
        """
        if self._probe is None:
            free = np.empty((len(rays.surface), 3))
            weighted_sums.left_over(rays.surface, carry, free)
            return np.asarray(free * self._constant, np.float32)
        seen, free_ones = np.zeros(carry.shape, np.float32), rays.escaped()
        seen[:, free_ones] = self.towards(rays.directions[free_ones]).T
        return np.asarray(np.einsum("cnr,cnr->nc", seen, carry), np.float32)

    def _place(self, directions: Floats, rows: int, cols: int) -> tuple[Floats, Floats]:
        """Fractional pixel of a direction: row 0 is up, the middle column is +y."""
        assert self._probe is not None
        x, y, z = directions[:, 0], directions[:, 1], directions[:, 2]
        clockwise = np.arctan2(x, y) + self._probe.turn_rad
        col = (clockwise / (2 * np.pi) + 0.5) * cols - 0.5
        row = np.arccos(np.clip(z, -1, 1)) / np.pi * rows - 0.5
        return row, col

    @cached_property
    def beams(self) -> tuple[Doubles, Doubles]:
        """Return (directions (m, 3), light (m, 3)) that stand for the probe.

        Each direction is the middle of a block of pixels of about equal light; `light` is
        luminance times solid angle of that block, per channel [cd/m2 sr].
        """
        pixels = self._pixels.astype(float) + self._constant
        rows, cols = pixels.shape[:2]
        polar = (np.arange(rows) + 0.5) / rows * np.pi
        solid = np.sin(polar)[:, None] * (np.pi / rows) * (2 * np.pi / cols)
        light = pixels * solid[..., None]
        blocks: list[tuple[slice, slice]] = []
        _halve(light.sum(axis=2), slice(0, rows), slice(0, cols), 9, blocks)
        directions = self._directions(rows, cols)
        strength = light.sum(axis=2)
        found, carried = [], []
        for block in blocks:
            weight = strength[block]
            if weight.sum() <= 0:
                continue
            mean = np.einsum("rc,rcd->d", weight, directions[block])
            found.append(mean / np.linalg.norm(mean))
            carried.append(light[block].sum(axis=(0, 1)))
        return np.array(found).reshape(-1, 3), np.array(carried).reshape(-1, 3)

    def _directions(self, rows: int, cols: int) -> Doubles:
        assert self._probe is not None
        polar = ((np.arange(rows) + 0.5) / rows * np.pi)[:, None]
        angle = ((np.arange(cols) + 0.5) / cols - 0.5) * 2 * np.pi - self._probe.turn_rad
        x, y = np.sin(polar) * np.sin(angle), np.sin(polar) * np.cos(angle)
        return np.stack([x, y, np.broadcast_to(np.cos(polar), x.shape)], axis=-1)


def _halve(
    light: Doubles, rows: slice, cols: slice, times: int, found: list[tuple[slice, slice]]
) -> None:
    """Cut a block in two halves of equal light along its longer side, again and again.

    (Median cut: P. Debevec, SIGGRAPH 2005 poster.)
    """
    tall, wide = rows.stop - rows.start, cols.stop - cols.start
    if times == 0 or tall * wide <= 1:
        found.append((rows, cols))
        return
    middle = np.pi * (rows.start + rows.stop) / 2 / len(light)
    height = np.pi * tall / len(light)
    width = 2 * np.pi * wide / light.shape[1] * np.sin(middle)
    along_rows = tall > 1 and (wide == 1 or height >= width)
    part = light[rows, cols].sum(axis=1 if along_rows else 0).cumsum()
    cut = int(np.clip(np.searchsorted(part, part[-1] / 2) + 1, 1, len(part) - 1))
    whole = rows if along_rows else cols
    for half in (slice(whole.start, whole.start + cut), slice(whole.start + cut, whole.stop)):
        block = (half, cols) if along_rows else (rows, half)
        _halve(light, *block, times - 1, found)
