"""What is seen of each outline from each point, behind what stands before it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled, compiled_in_place
from lightplan.geometry.cut_polygons import (
    MOST_CORNERS,
    copy,
    cut,
    dot,
    edge_planes,
    is_beside,
    is_within,
)
from lightplan.light.border import seen_within
from lightplan.light.compiled.placing import (
    HORIZON_MM,
    LEVEL_MM,
    is_behind,
    local_to,
    may_overlap,
    place,
)
from lightplan.light.lobe_area import MOST_HALVINGS

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Integers

HIDES = 2  # all of what it stands before
FLAGS = 63  # in a signed integer


@compiled
def seen(
    targets: Integers,
    blockers: Integers,
    points: Doubles,
    frames: Doubles,
    owners: Integers,
    views: Doubles,
    ax: float,
    ay: float,
    corners: Doubles,
    counts: Integers,
    normals: Doubles,
    centres: Doubles,
    radii: Doubles,
    holes: Doubles,
    hole_counts: Integers,
    moved: Booleans,
    stale: Booleans,
    result: Doubles,
    met: Integers,
    cones_of: Doubles,
) -> None:
    """Write how much (n, t) of each target n points see: of a lobe, or as matte (ax = 0).

    Parameters
    ----------
    moved : (s,) bool
        Surfaces that are not what they were when the rest was written.
    stale : (n,) bool
        Points of which nothing is known yet; of the others only what may have changed is written.
    result : (n, t) float
    met : (n, t) int, or (1, t) where all points are stale
        Which blockers, of number b modulo 63 a bit each, stood before a target when it was
        looked at last.
    cones_of : (n, t, 4) float, or (1, t, 4)
        Cones round the targets.
    """
    size, slots = len(counts), 2 * len(blockers) + 5
    _see(
        (targets, blockers),
        (points, frames, owners, views, ax, ay),
        (corners, counts, normals, centres, radii, holes, hole_counts),
        (moved, stale),
        (result, met, cones_of),
        (np.zeros((size, MOST_CORNERS, 3)), np.zeros(size, np.int64), np.zeros(size, np.int64)),
        (np.zeros((size, 4)), np.zeros((size, 4))),
        (np.zeros((slots, MOST_CORNERS, 3)), np.zeros((slots, MOST_CORNERS, 3))),
        (np.zeros(slots, np.int64), np.zeros(slots), np.zeros(slots, np.bool_)),
        (np.zeros((slots, 2)), np.zeros((4, MOST_CORNERS, 3)), np.zeros((MOST_HALVINGS + 2, 5))),
        np.zeros(3),
    )


@compiled_in_place
def _see(
    given: tuple[Integers, Integers],
    at: tuple[Doubles, Doubles, Integers, Doubles, float, float],
    scene: tuple[Doubles, Integers, Doubles, Doubles, Doubles, Doubles, Integers],
    changed: tuple[Booleans, Booleans],
    known: tuple[Doubles, Integers, Doubles],
    outlines: tuple[Doubles, Integers, Integers],
    round_them: tuple[Doubles, Doubles],
    slots: tuple[Doubles, Doubles],
    of_slots: tuple[Integers, Doubles, Booleans],
    room: tuple[Doubles, Doubles, Doubles],
    view: Doubles,
) -> None:
    """Do what `seen` says, in the room that it made: for surfaces, for slots, to work in."""
    (targets, blockers), (moved, stale) = given, changed
    points, frames, owners, views, ax, ay = at
    corners, counts, normals, centres, radii, holes, hole_counts = scene
    result, met, cones_of = known
    rims, rim_counts, placed = outlines
    (planes, cones), (polygons, edges) = round_them, slots
    (numbers, turns, inner), (gone, work, halving) = of_slots, room
    for n in range(len(points)):
        point, frame, row = points[n], frames[n], min(n, len(met) - 1)
        for c in range(3):
            view[c] = dot(frame[c], views[n])
        for k in range(len(targets)):
            t = targets[k]
            due = stale[n] or moved[t]
            asks = due
            for s in blockers:
                if due or not moved[s] or s == t or s == owners[n]:
                    continue
                if met[row, k] >> s % FLAGS & 1:
                    due = asks = True
                    break
                if placed[s] <= n:
                    place(
                        s,
                        point,
                        frame,
                        corners[s],
                        counts[s],
                        normals[s],
                        centres[s],
                        radii[s],
                        rims,
                        rim_counts,
                        planes,
                        cones,
                        work,
                    )
                    placed[s] = n + 1
                if rim_counts[s] and planes[s, 3] != 0 and may_overlap(cones[s], cones_of[row, k]):
                    asks = True
            if not asks:
                continue
            if due:
                result[n, k], met[row, k] = 0.0, 0
            if t == owners[n]:
                continue
            if placed[t] <= n:
                place(
                    t,
                    point,
                    frame,
                    corners[t],
                    counts[t],
                    normals[t],
                    centres[t],
                    radii[t],
                    rims,
                    rim_counts,
                    planes,
                    cones,
                    work,
                )
                placed[t] = n + 1
            for c in range(4):
                cones_of[row, k, c] = cones[t, c]
            if rim_counts[t] == 0 or planes[t, 3] == 0:
                continue
            copy(rims[t], rim_counts[t], polygons[0])
            numbers[0], turns[0] = edge_planes(polygons[0], rim_counts[t], edges[0])
            if numbers[0] == 0:
                continue
            opens = 0
            if hole_counts[t]:
                opens = _add_opening(
                    point,
                    frame,
                    holes[t],
                    hole_counts[t],
                    opens + 1,
                    polygons,
                    edges,
                    numbers,
                    turns,
                    work,
                )
                numbers[2] = 0
                inner[1] = is_within(polygons[1], numbers[1], edges[0], numbers[0])
            # of what is known already it is first asked whether anything that has moved concerns it
            for looks in range(2):
                if looks == 0 and due:
                    continue
                before, hidden, meets = opens, False, np.int64(0)
                for s in blockers:
                    if s == t or s == owners[n] or (looks == 0 and not moved[s]):
                        continue
                    if placed[s] <= n:
                        place(
                            s,
                            point,
                            frame,
                            corners[s],
                            counts[s],
                            normals[s],
                            centres[s],
                            radii[s],
                            rims,
                            rim_counts,
                            planes,
                            cones,
                            work,
                        )
                        placed[s] = n + 1
                    if rim_counts[s] == 0 or planes[s, 3] == 0:
                        continue
                    if not may_overlap(cones[s], cones[t]) or is_behind(
                        planes[s], rims[t], rim_counts[t]
                    ):
                        continue
                    found = put_before(
                        s,
                        2 * before + 1,
                        planes[t],
                        point,
                        frame,
                        rims,
                        rim_counts,
                        holes,
                        hole_counts,
                        polygons,
                        edges,
                        numbers,
                        turns,
                        inner,
                        work,
                    )
                    if found:
                        meets |= np.int64(1) << s % FLAGS
                    if found == HIDES:
                        hidden = True
                        break
                    before += found
                if looks == 0 and meets == 0:
                    break
                if looks == 1:
                    met[row, k] = meets
                    result[n, k] = (
                        0.0
                        if hidden
                        else seen_within(
                            polygons,
                            edges,
                            numbers,
                            turns,
                            inner,
                            before,
                            view,
                            ax,
                            ay,
                            gone,
                            halving,
                        )
                    )


@compiled_in_place
def put_before(
    s: int,
    slot: int,
    plane: Doubles,
    point: Doubles,
    frame: Doubles,
    rims: Doubles,
    rim_counts: Integers,
    holes: Doubles,
    hole_counts: Integers,
    polygons: Doubles,
    edges: Doubles,
    numbers: Integers,
    turns: Doubles,
    inner: Booleans,
    work: Doubles,
) -> int:
    """Put what of a surface stands before the polygon in slot 0, which lies in a plane, in a slot.

    Returns
    -------
    int
        0 where it covers nothing of that polygon, 1 where it may, HIDES where it covers all.
    """
    numbers[slot] = _before(rims[s], rim_counts[s], plane, polygons[slot])
    numbers[slot], turns[slot] = edge_planes(polygons[slot], numbers[slot], edges[slot])
    if numbers[slot] == 0 or _are_apart(slot, polygons, edges, numbers):
        return 0
    numbers[slot + 1] = 0
    if hole_counts[s]:
        _add_opening(
            point, frame, holes[s], hole_counts[s], slot + 1, polygons, edges, numbers, turns, work
        )
    if numbers[slot + 1] == 0 and is_within(polygons[0], numbers[0], edges[slot], numbers[slot]):
        return HIDES
    inner[slot] = is_within(polygons[slot], numbers[slot], edges[0], numbers[0])
    return 1


@compiled_in_place
def _are_apart(slot: int, polygons: Doubles, edges: Doubles, numbers: Integers) -> bool:
    """Return whether the polygon in a slot covers nothing of the one in slot 0."""
    if is_beside(polygons[0], numbers[0], edges[slot], numbers[slot]):
        return True
    return bool(is_beside(polygons[slot], numbers[slot], edges[0], numbers[0]))


@compiled_in_place
def _add_opening(
    point: Doubles,
    frame: Doubles,
    rim: Doubles,
    count: int,
    slot: int,
    polygons: Doubles,
    edges: Doubles,
    numbers: Integers,
    turns: Doubles,
    work: Doubles,
) -> int:
    """Put an opening's rim above the horizon in a slot; return 1, or 0 where none is left."""
    local_to(point, frame, rim, count, work[1])
    found = cut(work[1], count, 0.0, 0.0, 1.0, HORIZON_MM, polygons[slot])
    numbers[slot], turns[slot] = edge_planes(polygons[slot], found, edges[slot])
    return 1 if numbers[slot] else 0


@compiled_in_place
def _before(rim: Doubles, count: int, plane: Doubles, kept: Doubles) -> int:
    """Write what of a polygon lies between the point and a plane."""
    far = plane[3] - max(LEVEL_MM, 1e-6 * plane[3])
    return int(cut(rim, count, -plane[0], -plane[1], -plane[2], -far, kept))
