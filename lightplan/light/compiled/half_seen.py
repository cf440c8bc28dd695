"""How much of each cell of a card points see, behind what stands before it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled, compiled_in_place
from lightplan.geometry.cut_polygons import MOST_CORNERS, copy, dot, edge_planes
from lightplan.light.border import seen_within
from lightplan.light.compiled.outlines import HIDES, put_before
from lightplan.light.compiled.placing import place

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Integers, Singles

CLEAR_MM = 0.05  # a cell farther than this beyond a plane lies wholly behind it


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
    before, and such as stand wholly behind one thing, are told by balls and cost little.
    """
    size, slots = len(counts), 2 * len(blockers) + 3
    _look_at_cells(
        (points, frames, owners),
        factors,
        (cell_corners, cell_normals, cell_centres, cell_owners),
        blockers,
        (corners, counts, normals, centres, radii, holes, hole_counts),
        # of the last two the last one is the cell's
        (np.zeros((size, MOST_CORNERS, 3)), np.zeros(size, np.int64), np.zeros(size, np.int64)),
        (np.zeros((size + 1, MOST_CORNERS, 3)), np.zeros(size + 1, np.int64)),
        (np.zeros((size + 1, 4)), np.zeros((size + 1, 4))),
        (np.zeros((slots, MOST_CORNERS, 3)), np.zeros((slots, MOST_CORNERS, 3))),
        (np.zeros(slots, np.int64), np.zeros(slots, np.bool_), np.zeros(slots)),
        (np.zeros((slots, 2)), np.zeros((4, MOST_CORNERS, 3)), np.zeros((1, 5))),
        (_reaches(cell_corners, cell_centres), np.zeros(3), np.zeros(3)),
    )


@compiled_in_place
def _look_at_cells(
    at: tuple[Doubles, Doubles, Integers],
    factors: Singles,
    cells: tuple[Doubles, Doubles, Doubles, Integers],
    blockers: Integers,
    scene: tuple[Doubles, Integers, Doubles, Doubles, Doubles, Doubles, Integers],
    beside: tuple[Doubles, Integers, Integers],
    outlines: tuple[Doubles, Integers],
    round_them: tuple[Doubles, Doubles],
    in_slots: tuple[Doubles, Doubles],
    of_slots: tuple[Integers, Booleans, Doubles],
    room: tuple[Doubles, Doubles, Doubles],
    of_cell: tuple[Doubles, Doubles, Doubles],
) -> None:
    """Do what `cells_seen` says, in the room that it made."""
    points, frames, owners = at
    cell_corners, cell_normals, cell_centres, cell_owners = cells
    corners, counts, normals, centres, radii, holes, hole_counts = scene
    (sides, side_counts, some), (rims, rim_counts) = beside, outlines
    (planes, cones), (polygons, edges) = round_them, in_slots
    (numbers, inner, turns), (gone, work, halving) = of_slots, room
    (reach, way, view), size = of_cell, len(counts)
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
            copy(rims[s], rim_counts[s], work[0])
            side_counts[s], _ = edge_planes(work[0], rim_counts[s], sides[s])
        for c in range(len(cell_owners)):
            if factors[n, c] <= 0.0:
                continue
            for k in range(3):
                way[k] = dot(frame[k], cell_centres[c]) - dot(frame[k], point)
            near, hidden = 0, False
            for s in blockers:
                if s == cell_owners[c] or s == owners[n] or side_counts[s] == 0:
                    continue
                if planes[s, 3] == 0 or dot(way, planes[s]) + reach[c] < planes[s, 3]:
                    continue
                met = _against(way, reach[c], sides[s], side_counts[s])
                if met == HIDES and hole_counts[s] == 0:
                    hidden = dot(way, planes[s]) - reach[c] > planes[s, 3] * 1.000002 + CLEAR_MM
                if hidden:
                    break
                if met:
                    some[near] = s
                    near += 1
            if hidden:
                factors[n, c] = 0.0
                continue
            if near == 0:
                continue
            place(
                size,
                point,
                frame,
                cell_corners[c],
                cell_corners.shape[1],
                cell_normals[c],
                cell_centres[c],
                0.0,
                rims,
                rim_counts,
                planes,
                cones,
                work,
            )
            if rim_counts[size] == 0 or planes[size, 3] == 0:
                continue
            copy(rims[size], rim_counts[size], polygons[0])
            numbers[0], turns[0] = edge_planes(polygons[0], rim_counts[size], edges[0])
            if numbers[0] == 0:
                continue
            before = 0
            for s in some[:near]:
                met = put_before(
                    s,
                    2 * before + 1,
                    planes[size],
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


@compiled_in_place
def _against(way: Doubles, reach: float, sides: Doubles, count: int) -> int:
    """Return how a ball about the end of a way looks beside a polygon: 0 apart, HIDES within it.

    `sides` are the inward normals of the planes through the polygon's edges.
    """
    within = True
    for e in range(count):
        along = way[0] * sides[e, 0] + way[1] * sides[e, 1] + way[2] * sides[e, 2]
        if along < -reach:
            return 0
        within = within and along > reach
    return HIDES if within else 1


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
