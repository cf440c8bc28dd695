"""Whether surfaces and lamps of two rigs are the same, so that what is known of them stays."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.geometry.mesh import Mesh
from lightplan.light.kept import NEW, alike

if TYPE_CHECKING:
    from lightplan.light.emission import LampFace
    from lightplan.light.kept import Moves
    from lightplan.scene.surfaces import Surface


def in_place(moves: Moves, before: int) -> bool:
    """Whether every surface, cell and texel has the place it had."""
    stays = all(old in (NEW, i) for i, old in enumerate(moves.came))
    return stays and len(moves.came) == before and moves.before.faces == moves.after.faces


def same_surface(one: Surface, other: Surface) -> bool:
    """Whether two surfaces are the same by value, bodies of triangles by their corners."""
    return one == other or (isinstance(one.shape, Mesh) and alike(one, other))


def shine_alike(one: LampFace | None, other: LampFace | None) -> bool:
    """Whether two lamps of the same shape spread their light alike."""
    if one is None or other is None:
        return one is other
    if not alike(one.profile, other.profile):
        return False
    return one.profile is None or alike(one.axes, other.axes)
