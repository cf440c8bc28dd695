"""Shapes against Embree on meshes of them, closed forms, and their own other answers."""

import numpy as np
import pytest

from lightplan.geometry.ball import Ball
from lightplan.geometry.cone import Cone
from lightplan.geometry.shapes import Flat, Opening

NEAR_MM = 0.3  # within this of a rim, a mesh and the true shape may differ


def traced(shape, origins, directions):
    found = shape.trace(origins[:, None], directions[:, None])
    return [values[:, 0] for values in found]


def implicit(shape, points):
    """Distance-like function that is 0 on the shape's (endless) surface."""
    offset = np.asarray(points, float) - shape.centre
    if isinstance(shape, Flat):
        return offset @ np.cross(shape.right, shape.up)
    if isinstance(shape, Ball):
        return np.linalg.norm(offset, axis=-1) - shape.radius
    slope = (shape.top_radius - shape.foot_radius) / shape.height
    ring = np.hypot(offset[..., 0], offset[..., 1])
    return ring - shape.foot_radius - slope * offset[..., 2]


def crossings_by_search(shape, origin, direction, reach=900.0):
    """All distances where a ray crosses the endless surface, by sign changes and bisection."""
    steps = np.linspace(0.0, reach, 6001)
    values = implicit(shape, origin + steps[:, None] * direction)
    found = []
    for i in np.flatnonzero(np.sign(values[1:]) != np.sign(values[:-1])):
        low, high = steps[i], steps[i + 1]
        for _ in range(40):
            middle = 0.5 * (low + high)
            same = np.sign(implicit(shape, origin + middle * direction)) == np.sign(values[i])
            low, high = (middle, high) if same else (low, middle)
        found.append(low)
    return found


def is_there(shape, point):
    """Whether a point of the endless surface belongs to the shape."""
    offset = point - np.asarray(shape.centre)
    if isinstance(shape, Ball):
        return True
    if isinstance(shape, Cone):
        slope = (shape.top_radius - shape.foot_radius) / shape.height
        return 0 <= offset[2] <= shape.height and shape.foot_radius + slope * offset[2] >= 0
    x, y = offset @ shape.right / shape.half_width, offset @ shape.up / shape.half_height
    inside = x * x + y * y <= 1 if shape.is_round else max(abs(x), abs(y)) <= 1
    place = np.array([offset @ shape.right, offset @ shape.up])
    return inside and all(np.hypot(*(place - h[:2])) > h.radius for h in shape.openings)


def test_rays_meet_what_a_search_along_them_meets(shape, rays):
    origins, directions = (v[:250].astype(float) for v in rays)
    distance, _, _, from_front = traced(shape, *(v[:250] for v in rays))
    if isinstance(shape, Ball):
        outside = implicit(shape, origins) > 0
        origins, directions = origins[outside], directions[outside]
        distance, from_front = distance[outside], from_front[outside]
    met = 0
    for origin, direction, ours, front in zip(
        origins, directions, distance, from_front, strict=True
    ):
        ways = [
            d
            for d in crossings_by_search(shape, origin, direction)
            if is_there(shape, origin + d * direction)
        ]
        if not ways:
            assert np.isinf(ours)
            continue
        met += 1
        assert ours == pytest.approx(ways[0], abs=2e-3)
        before = implicit(shape, origin + (ways[0] - 0.5) * direction)
        assert front == (before < 0 if isinstance(shape, Cone) else before > 0)
    assert 20 < met < 250


def test_rays_agree_with_embree_on_a_mesh(shape, rays, mesh_of, resize):
    embree = pytest.importorskip("trimesh.ray.ray_pyembree")
    origins, directions = rays
    if isinstance(shape, Ball):  # a lamp is never looked at from inside its bulb
        outside = implicit(shape, origins) > 1
        origins, directions = origins[outside], directions[outside]
    if isinstance(shape, Flat) and shape.openings:
        shape = Flat(shape.centre, shape.right, shape.up, shape.half_width, shape.half_height)
    mesh = mesh_of(shape)
    places, index, faces = embree.RayMeshIntersector(mesh).intersects_location(
        origins, directions, multiple_hits=False
    )
    theirs = np.full(len(origins), np.inf)
    theirs[index] = np.linalg.norm(places - origins[index], axis=1)
    front = np.zeros(len(origins), bool)
    front[index] = np.sum(mesh.face_normals[faces] * directions[index], axis=1) < 0
    distance, _, _, from_front = traced(shape, origins, directions)
    smaller, larger = (
        np.isfinite(traced(resize(shape, by), origins, directions)[0]) for by in (-NEAR_MM, NEAR_MM)
    )
    assert np.isfinite(theirs)[smaller].all()
    assert larger[np.isfinite(theirs)].all()
    both = np.isfinite(theirs) & np.isfinite(distance) & smaller
    assert both.sum() > 300
    # grazing rays magnify the mesh's sagitta, here below 0.01 mm
    off = np.abs(theirs[both] - distance[both])
    assert np.quantile(off, 0.99) < 0.15
    assert np.median(off) < 0.01
    assert (front == from_front)[both][off < 1].all()


def test_places_on_the_shape_lead_back_to_the_point_that_was_met(shape, rays):
    origins, directions = rays
    distance, across, up, _ = traced(shape, origins, directions)
    hit = np.isfinite(distance)
    points = origins[hit] + distance[hit, None] * directions[hit]
    assert np.abs(implicit(shape, points)).max() < 2e-3
    assert ((across[hit] >= -1e-5) & (across[hit] <= 1 + 1e-5)).all()
    assert ((up[hit] >= -1e-5) & (up[hit] <= 1 + 1e-5)).all()
    again = shape.surface_coordinates(points)
    assert np.abs(again[0] - across[hit]).max() < 1e-4
    assert np.abs(again[1] - up[hit]).max() < 1e-4


def test_lines_are_cut_alike_from_both_ends(shape):
    random = np.random.default_rng(5)
    a, b = random.uniform(-200, 200, (2, 150, 3))
    there, back = shape.blocks(a, b), shape.blocks(b, a)
    assert there is not None
    assert there.shape == (150, 150)
    assert 0.01 < there.mean() < 0.9
    assert (there == back.T).mean() > 0.9999


def test_lines_are_cut_where_rays_say_so(shape, resize):
    """Blocked if the shape less its rim is met on the way, free if even a larger one is not."""
    random = np.random.default_rng(6)
    a, b = random.uniform(-200, 200, (2, 120, 3))
    if isinstance(shape, Ball):
        a, b = (v[implicit(shape, v) > 1] for v in (a, b))
    step = b[None] - a[:, None]
    length = np.linalg.norm(step, axis=-1)
    starts = a[:, None].astype(np.float32)
    cut = {}
    for by in (-0.2, 0.2):
        # a card's own plane needs no rim: only ends very near it are in doubt
        way = resize(shape, by).trace(starts, (step / length[..., None]).astype(np.float32))
        cut[by] = way.distance < length
        cut[by] &= (way.distance > 1) & (way.distance < length - 1)
    certain_ends = cut[0.2] == _met_at_all(resize(shape, 0.2), starts, step, length)
    blocked = shape.blocks(a, b)
    assert blocked[cut[-0.2]].all()
    assert not blocked[~cut[0.2] & certain_ends].any()


def _met_at_all(shape, starts, step, length):
    return shape.trace(starts, (step / length[..., None]).astype(np.float32)).distance < length


def test_lines_that_miss_are_never_cut():
    card = Flat((0, 0, 0), (1, 0, 0), (0, 1, 0), 10, 10)
    above = np.array([[0.0, 0, 5], [3, 3, 50]])
    assert card.blocks(above, np.add(above, [1, 0, 2])) is None
    ends_on_it = np.array([[0.0, 0, 0], [2, 2, 0.01]])
    assert card.blocks(above, ends_on_it) is None
    assert Ball((0, 0, 0), 5).blocks(above * 10, above * 10) is None
    assert (
        Cone((0, 0, 0), 5, 3, 8).blocks(np.add(above, [90, 0, 0]), np.add(above, [90, 0, 1]))
        is None
    )


@pytest.mark.parametrize(("rows", "cols"), [(6, 8), (9, 5)])
def test_cells_tile_the_shape(shape, rows, cols, area_of):
    cells = shape.grid(rows, cols)
    assert [len(v) for v in cells] == [rows * cols] * 4
    rough = isinstance(shape, Flat) and (shape.is_round or shape.openings)
    assert cells.areas.sum() == pytest.approx(area_of(shape), rel=4e-3 if rough else 1e-12)
    assert (cells.areas >= 0).all()
    assert np.linalg.norm(cells.normals, axis=1) == pytest.approx(1)
    on_it = cells.centres if not isinstance(shape, Flat) else cells.corners.reshape(-1, 3)
    assert np.abs(implicit(shape, on_it)).max() < 1e-9
    assert np.abs(implicit(shape, cells.corners)).max() < 1e-9
    facing = np.asarray(shape.normals_at(cells.centres.astype(np.float32)))
    assert np.sum(facing * cells.normals, axis=1).min() > 0.9999


def test_cells_run_row_by_row_from_the_top(shape):
    """What `surface_coordinates` says of a cell's middle is that cell's row and column."""
    rows, cols = 6, 8
    across, up = shape.surface_coordinates(shape.grid(rows, cols).centres.astype(np.float32))
    row, col = (v.ravel() for v in np.mgrid[0:rows, 0:cols])
    assert np.abs(across * cols - col - 0.5).max() < 0.01
    assert np.abs((1 - up) * rows - row - 0.5).max() < 0.01


def test_corners_run_round_each_cell_and_enclose_its_area(shape):
    cells = shape.grid(12, 20)
    a, b, c, d = cells.corners.transpose(1, 0, 2)
    along = np.sum(np.cross(c - a, d - b) / 2 * cells.normals, axis=1)
    assert np.ptp(np.sign(along)) == 0  # none is crossed over, all run the same way
    if not isinstance(shape, Flat):
        assert np.abs(along) == pytest.approx(cells.areas, rel=0.07)  # flat tiles at the poles
    elif not (shape.is_round or shape.openings):
        assert along == pytest.approx(cells.areas, rel=1e-12)


def test_uneven_rulings_end_cells_where_told():
    lines = ((-1.0, -0.2, 0.5, 1.0), (-1.0, 0.1, 1.0))
    table = Flat((0, 0, 0), (1, 0, 0), (0, 1, 0), 100, 50, lines=lines)
    cells = table.grid(2, 3)
    assert cells.areas.reshape(2, 3) == pytest.approx(np.outer([45.0, 55.0], [80.0, 70.0, 50.0]))
    across, up = table.surface_coordinates(cells.centres)
    assert across.reshape(2, 3) == pytest.approx(np.tile([1 / 6, 1 / 2, 5 / 6], (2, 1)))
    assert up.reshape(2, 3) == pytest.approx(np.tile([[3 / 4], [1 / 4]], (1, 3)))


@pytest.mark.parametrize("count", [144, 610])
def test_samples_stand_for_the_whole_area(shape, count, area_of):
    spots = shape.sample(count)
    loose = isinstance(shape, Flat) and shape.openings
    assert spots.areas.sum() == pytest.approx(area_of(shape), rel=0.02 if loose else 1e-6)
    assert np.abs(implicit(shape, spots.points)).max() < 1e-6
    assert all(is_there(shape, point) for point in spots.points)
    facing = np.asarray(shape.normals_at(spots.points.astype(np.float32)))
    assert np.sum(facing * spots.normals, axis=1).min() > 0.9999


def test_samples_integrate_like_a_fine_grid(shape):
    """The mean of a smooth function over samples is its mean over 200 x 200 cells."""

    def mean(points, areas):
        value = 2 + np.cos(points @ [0.011, -0.008, 0.006])
        return np.sum(value * areas) / areas.sum()

    cells, spots = shape.grid(200, 200), shape.sample(987)
    assert mean(spots.points, spots.areas) == pytest.approx(
        mean(cells.centres, cells.areas), rel=4e-3
    )


def test_outline_of_a_round_shape_has_its_area():
    disk = Flat((0, 0, 0), (1, 0, 0), (0, 1, 0), 30, 20, is_round=True)
    x, y, _ = disk.outline().T
    shoelace = 0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))
    assert shoelace == pytest.approx(np.pi * 30 * 20)


def test_an_opening_lets_rays_and_lines_through():
    card = Flat((0, 0, 100), (1, 0, 0), (0, 1, 0), 80, 60, openings=(Opening(10, 5, 20),))
    x = np.array([10.0, 10 + 19.9, 10 + 20.1, -30.0])
    below = np.stack([x, 0 * x + 5, 0 * x], axis=1)
    up = np.tile([0.0, 0.0, 1.0], (4, 1))
    distance = card.trace(below[:, None], up[:, None]).distance[:, 0]
    assert np.isfinite(distance).tolist() == [False, False, True, True]
    assert card.blocks(below, np.add(below, [0, 0, 200])).diagonal().tolist() == [
        False,
        False,
        True,
        True,
    ]
