"""How much of each cell of a card points see, behind what stands before it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled
from lightplan.geometry.clipping import MOST_CORNERS, copy, dot, edge_planes
from lightplan.light.border import seen_within
from lightplan.light.compiled.outlines import HIDES, may_overlap, place, put_before

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Integers, Singles


@compiled
def cells_seen(
    points: Doubles,
    frames: Doubles,
    owners: Integers,
    factors: Singles,
    cell_corners: Doubles,
    cell_normals: Doubles,
    cell_centres: Doubles,
    cell_owners: Integers,
    blockers: Integers,
    corners: Doubles,
    counts: Integers,
    normals: Doubles,
    centres: Doubles,
    radii: Doubles,
    holes: Doubles,
    hole_counts: Integers,
) -> None:
    """Multiply view factors (n, c) from points to cells by the share of each cell that is seen.

    cell_corners (c, 4, 3), the others of a cell (c, 3) and (c,). Cells that nothing may stand
    before are told by cones and cost little.
    """
    size, slots = len(counts), 2 * len(blockers) + 3
    rims, planes, cones = (
        np.zeros((size, MOST_CORNERS, 3)),
        np.zeros((size, 4)),
        np.zeros((size, 4)),
    )
    rim_counts = np.zeros(size, np.int64)
    own_rim, own_count = np.zeros((1, MOST_CORNERS, 3)), np.zeros(1, np.int64)
    own_plane, own_cone = np.zeros((1, 4)), np.zeros((1, 4))
    polygons, edges = np.zeros((2, slots, MOST_CORNERS, 3))
    numbers, inner = np.zeros(slots, np.int64), np.zeros(slots, np.bool_)
    turns, gone = np.zeros(slots), np.zeros((slots, 2))
    work, halving, view = np.zeros((4, MOST_CORNERS, 3)), np.zeros((1, 5)), np.zeros(3)
    reach = _reaches(cell_corners, cell_centres)
    for n in range(len(points)):
        point, frame = points[n], frames[n]
        for s in blockers:
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
        for c in range(len(cell_owners)):
            if factors[n, c] <= 0.0:
                continue
            _round_cone(point, frame, cell_centres[c], reach[c], own_cone[0])
            concerned = False
            for s in blockers:
                if s == cell_owners[c] or s == owners[n] or rim_counts[s] == 0:
                    continue
                if planes[s, 3] > 0 and may_overlap(cones[s], own_cone[0]):
                    concerned = True
                    break
            if not concerned:
                continue
            place(
                0,
                point,
                frame,
                cell_corners[c],
                4,
                cell_normals[c],
                cell_centres[c],
                0.0,
                own_rim,
                own_count,
                own_plane,
                own_cone,
                work,
            )
            if own_count[0] == 0 or own_plane[0, 3] == 0:
                continue
            copy(own_rim[0], own_count[0], polygons[0])
            numbers[0], turns[0] = edge_planes(polygons[0], own_count[0], edges[0])
            if numbers[0] == 0:
                continue
            before, hidden = 0, False
            for s in blockers:
                if s == cell_owners[c] or s == owners[n] or rim_counts[s] == 0:
                    continue
                if planes[s, 3] == 0 or not may_overlap(cones[s], own_cone[0]):
                    continue
                met = put_before(
                    s,
                    2 * before + 1,
                    own_plane[0],
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
                if met == HIDES:
                    hidden = True
                    break
                before += met
            if hidden:
                factors[n, c] = 0.0
            elif before:
                given = (polygons, edges, numbers, turns, inner)
                whole = seen_within(*given, 0, view, 0.0, 0.0, gone, halving)
                part = seen_within(*given, before, view, 0.0, 0.0, gone, halving)
                factors[n, c] *= min(part / whole, 1.0) if whole > 0 else 1.0


@compiled
def _round_cone(
    point: Doubles, frame: Doubles, centre: Doubles, reach: float, cone: Doubles
) -> None:
    """Write a cone round a ball about a centre, in the frame of a point."""
    squared = 0.0
    for c in range(3):
        cone[c] = dot(frame[c], centre) - dot(frame[c], point)
        squared += cone[c] * cone[c]
    cone[3] = -1.0
    if squared > reach * reach:
        distance = np.sqrt(squared)
        for c in range(3):
            cone[c] /= distance
        cone[3] = np.sqrt(1.0 - reach * reach / squared)


@compiled
def _reaches(corners: Doubles, centres: Doubles) -> Doubles:
    """Return how far the corners (c, 4, 3) of cells are from their centres (c, 3) at the most."""
    found = np.zeros(len(centres))
    for c in range(len(centres)):
        for k in range(4):
            x, y = corners[c, k, 0] - centres[c, 0], corners[c, k, 1] - centres[c, 1]
            z = corners[c, k, 2] - centres[c, 2]
            found[c] = max(found[c], np.sqrt(x * x + y * y + z * z))
    return found
