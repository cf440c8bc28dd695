"""A body of triangles: rays against it, and the patches that it gives light on by.

Rays are Embree's, asked directly: trimesh wraps the same engine, but takes about a second to
import and has no limit to how far a ray looks, which lines of sight need. Only rays that
cross the bounding box reach it.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Self

import numpy as np

from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles, Vector, read_only
from lightplan.errors import RigError
from lightplan.geometry import points as point_sets
from lightplan.geometry.merged import grouped
from lightplan.geometry.shapes import Cells, Crossing, Samples

SKIN_MM = 0.05  # rays start and end this far off, so that they pass the face they lie on
MOST_PAIRS = 1_000_000  # lines of sight looked at in one go
LARGE = 1.5  # triangles above this share of an even patch are halved


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles, their corners counter-clockwise seen from the front.

    A closed mesh is turned so that its front is the outside. Two meshes are the same only if
    they are one object.

    Parameters
    ----------
    vertices : (v, 3) float
        mm.
    faces : (f, 3) int
        Rows of `vertices`.
    most_cells : int
        About how many patches it is cut into; small triangles are put together, large ones
        halved.

    Raises
    ------
    RigError
        No triangle with an area, a vertex without end, or one that is not there.
    """

    vertices: Doubles
    faces: Integers
    most_cells: int = 128

    def __post_init__(self) -> None:
        vertices, faces = np.asarray(self.vertices, float), np.asarray(self.faces)
        _check(vertices, faces)
        object.__setattr__(self, "vertices", read_only(vertices))
        object.__setattr__(self, "faces", read_only(faces, np.int64))

    def __getstate__(self) -> dict[str, Any]:
        """Leave out what is worked out anew; Embree's part cannot travel to other processes."""
        return {name: self.__dict__[name] for name in ("vertices", "faces", "most_cells")}

    @cached_property
    def is_closed(self) -> bool:
        """Whether every edge joins two triangles that agree on which side is the front."""
        edges = np.concatenate(
            [self.faces[:, [0, 1]], self.faces[:, [1, 2]], self.faces[:, [2, 0]]]
        )
        there = edges[:, 0] * len(self.vertices) + edges[:, 1]
        back = edges[:, 1] * len(self.vertices) + edges[:, 0]
        once = len(np.unique(there)) == len(there)
        return bool(once and np.array_equal(np.sort(there), np.sort(back)))

    @cached_property
    def _pieces(self) -> Doubles:
        """Triangles (k, 3, 3) that cells are made of, their front outside."""
        corners = np.asarray(self.vertices[self.faces])
        inside_out = self.is_closed and _volume(corners) < 0
        corners = corners[:, ::-1] if inside_out else corners
        area = np.linalg.norm(_vector_areas(corners), axis=1)
        return _halved(corners[area > 0], LARGE * float(area.sum()) / self.most_cells)

    @cached_property
    def _normals(self) -> Doubles:
        """Unit normals of the pieces."""
        across = _vector_areas(self._pieces)
        return np.asarray(across / np.linalg.norm(across, axis=1, keepdims=True))

    @cached_property
    def _areas(self) -> Doubles:
        return np.asarray(np.linalg.norm(_vector_areas(self._pieces), axis=1), float)

    @cached_property
    def _cell(self) -> Integers:
        """Cell of each piece, (k,)."""
        pieces = self._pieces
        if len(pieces) <= 2 * self.most_cells:
            return np.arange(len(pieces))
        return grouped(pieces.mean(axis=1), self._normals, self._areas, self.most_cells)

    @property
    def cell_count(self) -> int:
        """Number of cells."""
        return int(self._cell.max()) + 1

    @cached_property
    def bounds(self) -> Doubles:
        """Lowest and highest corner of the box round it, (2, 3) mm."""
        return np.stack([self._pieces.min(axis=(0, 1)), self._pieces.max(axis=(0, 1))])

    @cached_property
    def _middle(self) -> Doubles:
        return np.asarray(self.bounds.mean(axis=0))

    @cached_property
    def _half(self) -> Singles:
        """Half the size of the box, with room for the skin."""
        return np.asarray(np.ptp(self.bounds, axis=0) / 2 + 2 * SKIN_MM, np.float32)

    @cached_property
    def _scene(self) -> Any:
        from embreex.mesh_construction import TriangleMesh  # here, as few rigs have a mesh
        from embreex.rtcore_scene import EmbreeScene

        scene = EmbreeScene()
        corners = (self._pieces - self._middle).reshape(-1, 3).astype(np.float32)
        TriangleMesh(scene, corners, np.arange(len(corners), dtype=np.int32).reshape(-1, 3))
        return scene

    def trace(self, origins: Floats, directions: Floats) -> Crossing:  # noqa: D102
        shape = directions.shape[:-1]
        distance = np.full(shape, np.float32(np.inf))
        across = np.zeros(shape, np.float32)
        from_front = np.zeros(shape, bool)
        start = (origins - self._middle).astype(np.float32)
        near = np.nonzero(_meets_box(start, directions, self._half, np.float32(np.inf)))
        if near[0].size:
            start = np.broadcast_to(start, directions.shape)[near]
            away = np.ascontiguousarray(directions[near], np.float32)
            found = self._scene.run(start + np.float32(SKIN_MM) * away, away, output=1)
            hit = np.flatnonzero(found["primID"] >= 0)
            met = tuple(index[hit] for index in near)
            piece = found["primID"][hit]
            distance[met] = found["tfar"][hit] + np.float32(SKIN_MM)
            across[met] = self._across(piece)
            from_front[met] = np.sum(away[hit] * self._normals[piece], axis=1) < 0
        return Crossing(distance, across, np.full(shape, np.float32(0.5)), from_front)

    def _across(self, piece: Integers) -> Singles:
        """Middle of each piece's cell when all cells lie side by side over 0..1."""
        return np.asarray((self._cell[piece] + 0.5) / self.cell_count, np.float32)

    def blocks(self, starts: Floats, ends: Floats) -> Booleans | None:  # noqa: D102
        a = (starts - self._middle).astype(np.float32)
        b = (ends - self._middle).astype(np.float32)
        beyond_a, beyond_b = _beyond(a, self._half), _beyond(b, self._half)
        if len(a) == 0 or len(b) == 0 or np.bitwise_and.reduce(np.append(beyond_a, beyond_b)):
            return None  # all on one side of the box
        cut = np.zeros((len(a), len(b)), bool)
        step = max(1, MOST_PAIRS // len(b))
        for first in range(0, len(a), step):
            rows = slice(first, first + step)
            row, col = np.nonzero((beyond_a[rows, None] & beyond_b[None]) == 0)
            hit = self._cuts(a[rows][row], b[col])
            cut[first + row[hit], col[hit]] = True
        return cut if cut.any() else None

    def _cuts(self, a: Singles, b: Singles) -> Integers:
        """Which of the lines from a (n, 3) to b (n, 3) are cut."""
        step = b - a
        length = np.sqrt(np.einsum("ic,ic->i", step, step))
        step /= np.maximum(length, 1e-6)[:, None]
        close = np.flatnonzero(_meets_box(a, step, self._half, length) & (length > 2 * SKIN_MM))
        if not close.size:
            return close
        a, step = a[close] + np.float32(SKIN_MM) * step[close], step[close]
        reach = length[close] - np.float32(2 * SKIN_MM)
        return close[np.asarray(self._scene.run(a, step, dists=reach, query="OCCLUDED")) >= 0]

    def normals_at(self, points: Floats) -> Floats:  # noqa: D102
        return np.asarray(self._normals[self._nearest(points)], np.float32)

    def surface_coordinates(self, points: Floats) -> tuple[Floats, Floats]:  # noqa: D102
        across = self._across(self._nearest(points))
        return across, np.full(across.shape, np.float32(0.5))

    def _nearest(self, points: Floats) -> Integers:
        """Piece that lies nearest to each point (n, 3)."""
        spots = np.asarray(points, float).reshape(-1, 3)
        found = np.empty(len(spots), int)
        step = max(1, MOST_PAIRS // len(self._pieces))
        for first in range(0, len(spots), step):
            rows = slice(first, first + step)
            found[rows] = _distances(spots[rows], self._pieces, self._normals).argmin(axis=1)
        return found.reshape(points.shape[:-1])

    def grid(self, rows: int, cols: int) -> Cells:
        """Return its cells; how many there are is the mesh's own affair.

        A cell of one triangle has the triangle's corners and a fourth on its longest side; a
        cell of many lies at the one in its middle and has the corners of a square of its area.
        """
        del rows, cols
        cell, count = self._cell, self.cell_count
        middles = self._pieces.mean(axis=1)
        areas = np.asarray(np.bincount(cell, self._areas, count), float)
        if count == len(self._pieces):
            a, b, c = np.moveaxis(_longest_last(self._pieces), 1, 0)
            corners = np.stack([a, b, c, (a + c) / 2], axis=1)
            return Cells(middles, self._normals, areas, corners)
        mean = _sums(cell, self._areas[:, None] * middles, count) / areas[:, None]
        off = np.linalg.norm(middles - mean[cell], axis=1)
        order = np.lexsort((off, cell))
        inner = order[np.searchsorted(cell[order], np.arange(count))]
        normals = _sums(cell, self._areas[:, None] * self._normals, count)
        size = np.linalg.norm(normals, axis=1, keepdims=True)
        flat = size > 1e-6 * areas[:, None]
        normals = np.where(flat, normals / np.where(flat, size, 1.0), self._normals[inner])
        return Cells(middles[inner], normals, areas, _squares(middles[inner], normals, areas))

    def sample(self, count: int) -> Samples:  # noqa: D102
        u, v = point_sets.unit_square(count).T
        ends = np.cumsum(self._areas)
        place = u * ends[-1]
        piece = np.minimum(np.searchsorted(ends, place, side="right"), len(ends) - 1)
        share = 1 - np.clip((ends[piece] - place) / self._areas[piece], 0, 1)
        root = np.sqrt(share)[:, None]
        a, b, c = np.moveaxis(self._pieces[piece], 1, 0)
        spots = (1 - root) * a + root * ((1 - v)[:, None] * b + v[:, None] * c)
        return Samples(spots, self._normals[piece], np.full(count, ends[-1] / count))

    def placed(
        self, position_mm: Vector, *, scale: float = 1.0, turn_rad: float = 0.0, most_cells: int
    ) -> Self:
        """Return it scaled, turned about the vertical, the middle of its foot at a place.

        The foot is the underside of the box round it.
        """
        low, high = (
            self.vertices[self.faces.ravel()].min(0),
            self.vertices[self.faces.ravel()].max(0),
        )
        foot = np.array([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, low[2]])
        cosine, sine = math.cos(turn_rad), math.sin(turn_rad)
        turn = np.array([[cosine, -sine, 0.0], [sine, cosine, 0.0], [0.0, 0.0, 1.0]])
        moved = scale * (self.vertices - foot) @ turn.T + np.asarray(position_mm)
        return type(self)(moved, self.faces, most_cells)


def _check(vertices: Doubles, faces: Integers) -> None:
    wanted, got = "", ""
    if vertices.ndim != 2 or vertices.shape[-1] != 3 or faces.ndim != 2 or faces.shape[-1] != 3:
        wanted, got = "rows of three", f"{vertices.shape} and {faces.shape}"
    elif not np.isfinite(vertices).all():
        wanted, got = "without vertices that are no numbers", "some"
    elif not faces.size:
        wanted, got = "at least one triangle", "none"
    elif faces.min() < 0 or faces.max() >= len(vertices):
        wanted, got = "triangles between its own vertices", "others"
    elif not _vector_areas(vertices[faces]).any():
        wanted, got = "at least one triangle with an area", "lines and points"
    if wanted:
        raise RigError(field="mesh", wanted=wanted, got=got, cure="save it again as triangles")


def _vector_areas(corners: Doubles) -> Doubles:
    """Return normals (n, 3) as long as the triangles (n, 3, 3) are large."""
    return np.asarray(0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]))


def _volume(corners: Doubles) -> float:
    """Volume within closed triangles, below 0 when their front is inside."""
    offset = corners - corners.mean(axis=(0, 1))
    return float(np.einsum("nc,nc->", offset[:, 0], np.cross(offset[:, 1], offset[:, 2])) / 6)


def _halved(corners: Doubles, largest: float) -> Doubles:
    """Halve the longest side of triangles until none is above an area."""
    areas = np.linalg.norm(_vector_areas(corners), axis=1)
    kept = [corners[areas <= largest]]
    large = np.flatnonzero(areas > largest)
    heap = [
        (-float(areas[i]), n, _longest_last(corners[i : i + 1])[0]) for n, i in enumerate(large)
    ]
    heapq.heapify(heap)
    number = len(heap)
    while heap and -heap[0][0] > largest:
        size, _, (a, b, c) = heapq.heappop(heap)
        middle = (a + c) / 2
        for half in ((a, b, middle), (middle, b, c)):
            piece = _longest_last(np.array([half]))[0]
            heapq.heappush(heap, (size / 2, number, piece))
            number += 1
    kept.append(np.array([piece for _, _, piece in heap]).reshape(-1, 3, 3))
    return np.concatenate(kept)


def _longest_last(corners: Doubles) -> Doubles:
    """Turn triangles so that their longest side joins the last corner to the first."""
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    first = (sides.argmax(axis=1)[:, None] + 1 + np.arange(3)) % 3
    return np.asarray(np.take_along_axis(corners, first[..., None], axis=1))


def _beyond(points: Singles, half: Singles) -> Integers:
    """Bits for the sides of the box (centred, half its size) that points lie beyond."""
    bits = np.concatenate([points > half, points < -half], axis=1)
    return np.packbits(bits, axis=1)[:, 0]


def _meets_box(
    start: Singles, directions: Floats, half: Singles, reach: Singles | np.float32
) -> Booleans:
    """Whether rays cross a centred box before `reach`."""
    enter: Any = np.float32(0.0)
    leave: Any = reach
    for axis in range(3):
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = 1 / directions[..., axis]
            one = (-half[axis] - start[..., axis]) * slope
            two = (half[axis] - start[..., axis]) * slope
        enter = np.fmax(enter, np.fmin(one, two))
        leave = np.fmin(leave, np.fmax(one, two))
    return np.asarray(enter <= leave)


def _distances(points: Doubles, corners: Doubles, normals: Doubles) -> Doubles:
    """Squared distances (n, k) from points to triangles."""
    step = points[:, None, None] - corners[None]
    side = np.roll(corners, -1, axis=1) - corners
    along = np.einsum("nkec,kec->nke", step, side) / np.einsum("kec,kec->ke", side, side)
    rest = step - np.clip(along, 0, 1)[..., None] * side
    to_edges = np.einsum("nkec,nkec->nke", rest, rest).min(axis=2)
    height = np.einsum("nkc,kc->nk", step[:, :, 0], normals)
    inward = np.cross(normals[:, None], side)
    over = (np.einsum("nkec,kec->nke", step, inward) >= 0).all(axis=2)
    return np.asarray(np.where(over, height**2, to_edges))


def _sums(cell: Integers, values: Doubles, count: int) -> Doubles:
    """Return sums (count, 3) of values (k, 3) over cells."""
    return np.stack([np.bincount(cell, values[:, i], count) for i in range(3)], axis=1)


def _squares(centres: Doubles, normals: Doubles, areas: Doubles) -> Doubles:
    """Squares of given areas, (n, 4, 3), counter-clockwise seen from their front."""
    right, up = point_sets.frames(normals)
    half = np.sqrt(areas)[:, None] / 2
    signs = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    return np.stack([centres + half * (x * right + y * up) for x, y in signs], axis=1)
