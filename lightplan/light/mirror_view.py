"""A name for what each point of the foil mirrors to the camera."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.shapes import Flat
from lightplan.light.ray_bundle import NOTHING, Rays
from lightplan.scene.mirroring import mirrored_ways
from lightplan.scene.relief import mirror_normals

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Integers
    from lightplan.light.cells import Patchwork
    from lightplan.light.lattice import Lattice
    from lightplan.scene.rig import Rig
    from lightplan.scene.surfaces import Surface


def mirrored_names(
    rig: Rig, surfaces: Sequence[Surface], patchwork: Patchwork, grid: Lattice
) -> tuple[Integers, tuple[str, ...]]:
    """Return (rows, cols) indices and the names they stand for.

    A ray that passes the hole of a card before it meets something is named after the hole.
    """
    points, _ = grid.points(rig.sheet)
    normals = mirror_normals(rig.sheet, points[:, 0], points[:, 1])
    away = mirrored_ways(rig.camera, points, normals)
    rays = Rays(points, away[:, None])
    rays.update(surfaces, patchwork, frozenset(), frozenset((0,)))
    met = rays.surface[:, 0].astype(int)
    nothing = "dark room" if _is_dark(rig) else "surroundings"
    names = [s.name for s in surfaces] + [nothing]
    met[met == NOTHING] = len(surfaces)
    for surface in surfaces:
        if isinstance(surface.shape, Flat) and surface.shape.openings:
            through = _through_hole(surface.shape, rays)
            names.append(f"hole in {surface.name}")
            met[through] = len(names) - 1
    first = np.array([names.index(name) for name in names])  # a box's sides share its name
    met = first[met]
    used = np.unique(met)
    place = np.searchsorted(used, met)
    unique = tuple(names[i] for i in used)
    return place.reshape(grid.shape), unique


def _is_dark(rig: Rig) -> bool:
    return rig.room.probe is None and not any(rig.room.ambient_cd_m2)


def _through_hole(shape: Flat, rays: Rays) -> Integers:
    whole = Flat(
        shape.centre, shape.right, shape.up, shape.half_width, shape.half_height, shape.is_round
    )
    way = whole.trace(rays.origins, rays.directions).distance
    kept = shape.trace(rays.origins, rays.directions).distance
    passed = np.isfinite(way) & ~np.isfinite(kept) & (way < rays.distance)
    return np.flatnonzero(passed[:, 0])
