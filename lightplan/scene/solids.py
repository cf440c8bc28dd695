"""The rig's things as convex solids, and how far two of them are apart.

Separating axes (Gottschalk, Lin and Manocha, SIGGRAPH 1996, for boxes): two convex solids
are apart if and only if a face normal of one or a cross product of their edges
separates their shadows. The widest gap over these axes is returned; it is negative, and
its size the shortest way out along them, when the solids overlap.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles
    from lightplan.scene import Camera, Card, Lamp, Placement, Prop, Rig, Shell

CARD_THICKNESS_MM = 5.0
BODY_DEPTH_SHARE = 0.8
PANEL_BELOW_MM = 300.0
PANEL_DEPTH_MM = 25.0
SOFTBOX_DEPTH_SHARE = 0.4
DEEPEST_SOFTBOX_MM = 300.0
CONE_PLATES = 12
POST_SIDES = 12

_SIGNS = np.array([[a, b, c] for a in (-1, 1) for b in (-1, 1) for c in (-1, 1)], float)


@dataclass(frozen=True, eq=False)
class Solid:
    """A convex solid: corners (n, 3), face normals (m, 3) and edge directions (k, 3)."""

    name: str
    kind: str
    corners_mm: Doubles
    normals: Doubles
    edges: Doubles


def box(name: str, kind: str, centre: Doubles, axes: Doubles, half: Doubles) -> Solid:
    """Return a box from its centre, three unit axes (rows) and half sizes."""
    return Solid(name, kind, centre + (_SIGNS * half) @ axes, axes, axes)


def slab(
    name: str, kind: str, placement: Placement, width: float, height: float, depth: float
) -> Solid:
    """Return a box whose front face is at `placement` and whose depth lies behind it."""
    axes = np.stack(placement.axes())
    centre = np.asarray(placement.position_mm) - depth / 2 * axes[2]
    return box(name, kind, centre, axes, np.array([width, height, depth]) / 2)


def lamp_solid(lamp: Lamp) -> Solid | None:
    """Return a lamp's housing; None for a window.

    Without a depth of its own, a face narrower than 300 mm is taken for a panel 25 mm
    thick, a wider one for a softbox 0.4 as deep as its smaller side, up to 300 mm (usual
    housings, from memory).
    """
    if lamp.is_window:
        return None
    height = lamp.height_mm if lamp.shape == "rectangle" else lamp.width_mm
    if lamp.shape == "bulb":
        axes = np.stack(lamp.placement.axes())
        half = np.full(3, lamp.width_mm / 2)
        return box(lamp.name, "lamp", np.asarray(lamp.placement.position_mm), axes, half)
    least = min(lamp.width_mm, height)
    softbox = min(SOFTBOX_DEPTH_SHARE * least, DEEPEST_SOFTBOX_MM)
    depth = PANEL_DEPTH_MM if least < PANEL_BELOW_MM else softbox
    depth = depth if lamp.depth_mm is None else lamp.depth_mm
    return slab(lamp.name, "lamp", lamp.placement, lamp.width_mm, height, depth)


def card_solid(card: Card) -> Solid:
    """Return a card as a board 5 mm thick."""
    return slab(card.name, "card", card.placement, card.width_mm, card.height_mm, CARD_THICKNESS_MM)


def shell_solids(shell: Shell) -> list[Solid]:
    """Return a cone or tent as flat plates around its foot (its roof is left open)."""
    if shell.shape == "tent":
        count, foot = 4, np.array([shell.foot_width_mm, shell.foot_depth_mm]) / 2
        turns, top = np.arange(4) * np.pi / 2, foot
        widths = np.array([foot[1], foot[0], foot[1], foot[0]]) * 2
    else:
        count, turns = CONE_PLATES, np.arange(CONE_PLATES) * 2 * np.pi / CONE_PLATES
        foot, top = np.full(2, shell.foot_width_mm / 2), np.full(2, shell.top_width_mm / 2)
        widths = np.full(count, 2 * float(foot[0]) * np.tan(np.pi / count))
    return [
        _plate(shell, turns[i], foot, top, float(widths[i]), shell.height_mm) for i in range(count)
    ]


def _plate(
    shell: Shell, turn: float, foot: Doubles, top: Doubles, width: float, height: float
) -> Solid:
    out = np.array([np.cos(turn), np.sin(turn), 0.0])
    across = np.array([-out[1], out[0], 0.0])
    low, high = (float(np.abs(out[:2]) @ reach) for reach in (foot, top))
    slant = np.array([0, 0, height]) + (high - low) * out
    length = float(np.linalg.norm(slant))
    axes = np.stack([across, slant / length, np.cross(across, slant / length)])
    centre = np.asarray(shell.centre_mm) + low * out + slant / 2
    return box(shell.name, "shell", centre, axes, np.array([width, length, 2.0]) / 2)


@lru_cache(maxsize=64)  # props stay where they are, and a search asks again and again
def prop_solid(prop: Prop) -> Solid:
    """Return a prop as an upright solid that holds all of it.

    A post becomes a prism of 12 sides round it. Of a mesh the corners are taken, and only
    upright and level axes part it from other things: hollows count as filled.
    """
    body = prop.body
    corners = _prism(prop) if body is None else np.asarray(body.vertices)
    turns = np.arange(POST_SIDES if prop.shape != "box" else 4) * 2 * np.pi
    turns = turns / len(turns) + prop.turn_rad
    out = np.stack([np.cos(turns), np.sin(turns), 0 * turns], axis=-1)
    out = np.vstack([out[: len(out) // 2], [0.0, 0.0, 1.0]])  # opposite faces share an axis
    along = np.cross(out[:-1], [0.0, 0.0, 1.0])
    return Solid(prop.name, "prop", corners, out, np.vstack([along, [0.0, 0.0, 1.0]]))


def _prism(prop: Prop) -> Doubles:
    """Return the corners of a box, or of the prism round a post, (n, 3)."""
    if prop.shape == "box":
        foot = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2 * [prop.width_mm, prop.depth_mm]
    else:
        turns = (np.arange(POST_SIDES) + 0.5) * 2 * np.pi / POST_SIDES
        reach = prop.width_mm / 2 / np.cos(np.pi / POST_SIDES)
        foot = reach * np.stack([np.cos(turns), np.sin(turns)], axis=-1)
    cosine, sine = np.cos(prop.turn_rad), np.sin(prop.turn_rad)
    level = foot @ np.array([[cosine, sine], [-sine, cosine]])
    ends = [np.column_stack([level, np.full(len(level), z)]) for z in (0.0, prop.height_mm)]
    return np.asarray(np.vstack(ends) + np.asarray(prop.position_mm))


def camera_solid(camera: Camera) -> Solid | None:
    """Return the camera's body, as deep as 0.8 of its shorter side (from memory)."""
    body = camera.body
    if body is None:
        return None
    right, up, forward = camera.axes()
    depth = BODY_DEPTH_SHARE * min(body.width_mm, body.height_mm)
    centre = np.asarray(camera.placement.position_mm) - (body.setback_mm + depth / 2) * forward
    centre = centre - body.lens_offset_mm[0] * right - body.lens_offset_mm[1] * up
    half = np.array([body.width_mm, body.height_mm, depth]) / 2
    return box("camera", "camera", centre, np.stack([right, up, forward]), half)


def table_solid(rig: Rig) -> Solid | None:
    """Return the table as a block down to the floor; None without a table."""
    table = rig.room.table
    if table is None:
        return None
    floor = rig.room.walls.floor_mm if rig.room.walls is not None else 750.0
    deep = max(floor - table.drop_mm, 1.0)
    half = np.array([table.width_mm, table.depth_mm, deep]) / 2
    return box("table", "table", np.array([0, 0, -table.drop_mm - deep / 2]), np.eye(3), half)


def sheet_solid(rig: Rig) -> Solid:
    """Return the sheet, with the height of its bow."""
    rise = max(abs(rig.sheet.flatness.bow_mm) + rig.sheet.flatness.wave_mm, 1.0)
    half = np.array([rig.sheet.width_mm, rig.sheet.height_mm, rise]) / 2
    return box("sheet", "sheet", np.array([0, 0, rise / 2]), np.eye(3), half)


def frame_solid(rig: Rig) -> Solid:
    """Return the pyramid of everything the picture shows, from the lens to the table."""
    floor = -rig.room.table.drop_mm if rig.room.table is not None else 0.0
    return _frame_to(rig.camera, floor, rig.room.reach.farthest_mm)


@lru_cache(maxsize=64)  # the camera mostly stays where it is
def _frame_to(camera: Camera, floor: float, reach_mm: float) -> Solid:
    lens = np.asarray(camera.placement.position_mm)
    right, up, forward = camera.axes()
    tan_x, tan_y = camera.half_angles_tan()
    rays = np.stack([forward + a * tan_x * right + b * tan_y * up for a, b in _CORNERS])
    farthest = reach_mm + float(np.linalg.norm(lens))
    with np.errstate(divide="ignore"):
        reach = np.where(rays[:, 2] < 0, (floor - lens[2]) / rays[:, 2], np.inf)
    feet = lens + np.minimum(reach, farthest)[:, None] * rays
    sides = np.cross(rays, np.roll(rays, -1, axis=0))
    base = np.cross(feet[1] - feet[0], feet[3] - feet[0])
    normals = np.vstack([sides, base])
    normals = normals / np.linalg.norm(normals, axis=1, keepdims=True)
    edges = np.vstack([rays, feet[1] - feet[0], feet[3] - feet[0]])
    return Solid("camera", "frame", np.vstack([lens, feet]), normals, edges)


_CORNERS = ((-1, -1), (1, -1), (1, 1), (-1, 1))


class Gaps:
    """How far any two of some solids are apart; what all pairs share is worked out at once.

    Parameters
    ----------
    solids : sequence of Solid
    """

    def __init__(self, solids: Sequence[Solid]) -> None:
        self._place = {id(solid): i for i, solid in enumerate(solids)}
        self._solids = tuple(solids)
        self._flat = _flat_gaps(self._solids)

    def mm(self, first: Solid, second: Solid) -> float:
        """Return the gap between two of the solids; negative when they overlap, in mm.

        Where they overlap, its size is the shortest push that parts them. Where they are
        apart it is a lower bound of their distance.
        """
        flat = float(self._flat[self._place[id(first)], self._place[id(second)]])
        # where they are apart already, the edges could only raise the bound
        return flat if flat > 0 else max(flat, _edge_gap(first, second))


def _flat_gaps(solids: Sequence[Solid]) -> Doubles:
    """Return the widest gap (s, s) of each two along the face normals of both."""
    normals = np.vstack([solid.normals for solid in solids])
    shadows = np.vstack([solid.corners_mm for solid in solids]) @ normals.T
    corner_at = _starts([len(solid.corners_mm) for solid in solids])
    normal_at = _starts([len(solid.normals) for solid in solids])
    low = np.minimum.reduceat(shadows, corner_at, axis=0)
    high = np.maximum.reduceat(shadows, corner_at, axis=0)
    own = np.repeat(np.arange(len(solids)), [len(solid.normals) for solid in solids])
    column = np.arange(len(own))
    apart = np.maximum(low - high[own, column], low[own, column] - high)
    widest = np.maximum.reduceat(apart, normal_at, axis=1)
    return np.asarray(np.maximum(widest, widest.T))


def _starts(counts: Sequence[int]) -> list[int]:
    return [0, *np.cumsum(counts[:-1]).tolist()]


def _edge_gap(first: Solid, second: Solid) -> float:
    """Return the widest gap along the cross products of edges; -inf where all are parallel."""
    crossed = np.cross(first.edges[:, None, :], second.edges[None, :, :]).reshape(-1, 3)
    length = np.linalg.norm(crossed, axis=1)
    scale = np.linalg.norm(first.edges, axis=1)[:, None] * np.linalg.norm(second.edges, axis=1)
    wide = length > 1e-6 * scale.ravel()
    if not wide.any():
        return -np.inf
    axes = crossed[wide] / length[wide, None]
    a, b = first.corners_mm @ axes.T, second.corners_mm @ axes.T
    gap = np.maximum(b.min(axis=0) - a.max(axis=0), a.min(axis=0) - b.max(axis=0))
    return float(gap.max())
