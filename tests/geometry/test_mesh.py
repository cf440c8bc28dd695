"""Bodies of triangles against textbook shapes and against every triangle tried in turn."""

import math
import pickle

import numpy as np
import pytest

from lightplan.errors import RigError
from lightplan.geometry.ball import Ball
from lightplan.geometry.mesh import Mesh
from lightplan.geometry.shapes import Flat

trimesh = pytest.importorskip("trimesh")
MIDDLE = np.array([-20.0, 10.0, 35.0])
FLAT = Flat((30.0, -20.0, 40.0), (0.6, 0.8, 0.0), (0.0, 0.0, 1.0), 120.0, 70.0)


def sphere(fine):
    """A sphere of triangles, radius 60, of the same volume as the round one."""
    made = trimesh.creation.icosphere(subdivisions=fine, radius=1.0)
    grow = 60.0 * (4 / 3 * math.pi / made.volume) ** (1 / 3)
    return Mesh(grow * made.vertices + MIDDLE, made.faces)


def rectangle(flat):
    """A flat shape as two triangles."""
    return Mesh(flat.outline(), np.array([[0, 1, 2], [0, 2, 3]]))


def slow_way(mesh, origins, directions):
    """How far rays (n, 3) go, in double precision, by Möller and Trumbore (J. Graphics Tools
    2(1), 1997): every ray against every triangle."""
    a, b, c = np.moveaxis(mesh.vertices[mesh.faces], 1, 0)
    first, second = b - a, c - a
    across = np.cross(directions[:, None], second[None])
    flat = np.einsum("kc,nkc->nk", first, across)
    offset = origins[:, None] - a[None]
    u = np.einsum("nkc,nkc->nk", offset, across) / flat
    other = np.cross(offset, first[None])
    v = np.einsum("nc,nkc->nk", directions, other) / flat
    way = np.einsum("kc,nkc->nk", second, other) / flat
    return np.where((u >= 0) & (v >= 0) & (u + v <= 1) & (way > 0), way, np.inf).min(axis=1)


def test_rays_meet_what_trying_every_triangle_meets(rays):
    origins, directions = (values[:1500] for values in rays)
    mesh = sphere(2)
    met = mesh.trace(origins[:, None], directions[:, None])
    way = slow_way(mesh, origins.astype(float), directions.astype(float))
    assert 300 < np.isfinite(way).sum() < 1400
    np.testing.assert_array_equal(np.isfinite(met.distance[:, 0]), np.isfinite(way))
    hit = np.isfinite(way)
    np.testing.assert_allclose(met.distance[hit, 0], way[hit], atol=2e-3)
    # the sphere is closed and met from outside unless the ray starts in it
    outside = np.linalg.norm(origins - MIDDLE, axis=1) > 60.5
    assert met.from_front[hit & outside].all()
    inside = np.linalg.norm(origins - MIDDLE, axis=1) < 58
    assert hit[inside].all()
    assert not met.from_front[inside].any()


def test_lines_of_sight_are_cut_as_trying_every_triangle_says(rays):
    mesh = sphere(2)
    starts, ends = rays[0][:40].astype(float), rays[0][40:90].astype(float)
    cut = mesh.blocks(starts, ends)
    a, b = (
        np.ascontiguousarray(v.reshape(-1, 3))
        for v in np.broadcast_arrays(starts[:, None], ends[None])
    )
    length = np.linalg.norm(b - a, axis=1)
    expected = slow_way(mesh, a, (b - a) / length[:, None]) < length
    assert 0.05 < expected.mean() < 0.95
    np.testing.assert_array_equal(cut.ravel(), expected)


def test_a_fine_sphere_hides_what_the_round_one_hides(rays):
    starts, ends = rays[0][:200].astype(float), rays[0][200:500].astype(float)
    mesh, ball = sphere(4), Ball((-20.0, 10.0, 35.0), 60.0)
    ball_cut = ball.blocks(starts, ends)
    outside = [np.linalg.norm(v - MIDDLE, axis=1) > 61 for v in (starts, ends)]
    pairs = np.ix_(*outside)
    cut = mesh.blocks(starts, ends)[pairs]
    assert 0.02 < ball_cut[pairs].mean() < 0.5
    assert np.mean(cut != ball_cut[pairs]) < 1e-3


def test_a_rectangle_of_triangles_is_met_and_cuts_as_the_flat_shape(rays):
    origins, directions = rays
    mesh = rectangle(FLAT)
    ours, flat = (s.trace(origins[:, None], directions[:, None]) for s in (mesh, FLAT))
    both = np.isfinite(flat.distance)
    assert both.sum() > 500
    assert np.mean(np.isfinite(ours.distance) != both) < 1e-3  # on the rim
    both &= np.isfinite(ours.distance)
    np.testing.assert_allclose(ours.distance[both], flat.distance[both], rtol=1e-4, atol=2e-3)
    np.testing.assert_array_equal(ours.from_front[both], flat.from_front[both])
    starts, ends = origins[:150].astype(float), origins[150:300].astype(float)
    assert np.mean(mesh.blocks(starts, ends) != FLAT.blocks(starts, ends)) < 1e-3
    assert not mesh.is_closed


@pytest.mark.parametrize("count", [0, 5])
def test_rays_that_meet_nothing_keep_their_rank(count):
    origins = np.full((count, 1, 3), 500.0, np.float32)
    away = np.tile(np.float32([0, 0.6, 0.8]), (count, 4, 1))
    met = sphere(1).trace(origins, away)
    for values in met:
        assert values.shape == (count, 4)
    assert np.isinf(met.distance).all()
    assert sphere(1).blocks(origins[:, 0], origins[:, 0] + 10) is None


def test_rays_and_lines_pass_the_face_they_start_from():
    mesh = sphere(2)
    cells = mesh.grid(0, 0)
    met = mesh.trace(cells.centres[:, None], cells.normals[:, None].astype(np.float32))
    assert np.isinf(met.distance).all()
    assert mesh.blocks(cells.centres, cells.centres[:1] + 900 * cells.normals[:1]).sum() > 0
    ahead = cells.centres + 50 * cells.normals
    assert not np.diagonal(mesh.blocks(cells.centres, ahead)).any()


@pytest.mark.parametrize("fine", [1, 5])
def test_cells_are_few_lie_on_it_and_keep_its_area(fine):
    mesh = sphere(fine)
    made = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    cells = mesh.grid(0, 0)
    assert 40 <= mesh.cell_count == len(cells.areas) <= 256
    assert cells.areas.sum() == pytest.approx(made.area, rel=1e-12)
    off = np.linalg.norm(cells.centres - MIDDLE, axis=1)
    assert np.abs(off - 60).max() < 0.06 * 60  # a face lies a little within the round sphere
    outward = (cells.centres - MIDDLE) / off[:, None]
    assert np.sum(outward * cells.normals, axis=1).min() > 0.97
    # together they face nowhere: the vector area of a closed body is zero
    assert np.linalg.norm(cells.areas @ cells.normals) < 0.02 * made.area
    # even: none is far larger than the rest
    assert cells.areas.max() < 5 * cells.areas.mean()


def test_large_triangles_are_halved_to_even_cells():
    mesh = rectangle(FLAT)
    cells = mesh.grid(0, 0)
    assert mesh.cell_count == 128
    np.testing.assert_allclose(cells.areas, 4 * 120 * 70 / 128, rtol=1e-9)
    diagonals = np.cross(
        cells.corners[:, 2] - cells.corners[:, 0], cells.corners[:, 3] - cells.corners[:, 1]
    )
    np.testing.assert_allclose(np.linalg.norm(diagonals, axis=1) / 2, cells.areas, rtol=1e-9)
    assert (np.sum(diagonals * cells.normals, axis=1) > 0).all()


def test_hits_name_the_cell_they_lie_in():
    mesh = rectangle(FLAT)
    cells = mesh.grid(0, 0)
    inside = 0.7 * cells.corners[:, :3] + 0.3 * cells.centres[:, None]
    from_front = (inside + 200 * FLAT.normal).astype(np.float32).reshape(-1, 1, 3)
    away = np.broadcast_to(-FLAT.normal.astype(np.float32), from_front.shape)
    met = mesh.trace(from_front, away)
    found = (met.across[:, 0] * mesh.cell_count).astype(int)
    np.testing.assert_array_equal(found, np.repeat(np.arange(mesh.cell_count), 3))
    np.testing.assert_array_equal(
        mesh.surface_coordinates(inside.reshape(-1, 3))[0], met.across[:, 0]
    )


def test_samples_lie_on_it_evenly():
    mesh = sphere(3)
    found = mesh.sample(2000)
    made = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert found.areas.sum() == pytest.approx(made.area, rel=1e-12)
    off = np.linalg.norm(found.points - MIDDLE, axis=1)
    assert np.abs(off - 60).max() < 0.02 * 60
    # Archimedes: area is even along any diameter
    heights = (found.points - MIDDLE) @ [0.36, 0.48, 0.8]
    share = np.histogram(heights, 10, (-60, 60))[0] / 2000
    np.testing.assert_allclose(share, 0.1, atol=0.012)
    np.testing.assert_allclose(mesh.normals_at(found.points[:200]), found.normals[:200], atol=1e-5)


def test_a_closed_body_faces_outward_however_it_was_wound():
    made = trimesh.creation.box((20, 30, 40))
    for faces in (made.faces, made.faces[:, ::-1]):
        mesh = Mesh(made.vertices, faces)
        assert mesh.is_closed
        cells = mesh.grid(0, 0)
        assert (np.sum(cells.centres * cells.normals, axis=1) > 9).all()
    assert not Mesh(made.vertices, made.faces[1:]).is_closed
    mixed = made.faces.copy()
    mixed[0] = mixed[0, ::-1]
    assert not Mesh(made.vertices, mixed).is_closed


def test_placed_turned_and_scaled():
    made = trimesh.creation.box((2, 3, 4))
    mesh = Mesh(made.vertices + np.array([5, 6, 7]), made.faces)
    moved = mesh.placed((100, -50, 10), scale=10, turn_rad=math.pi / 2, most_cells=20)
    np.testing.assert_allclose(moved.bounds, [[85, -60, 10], [115, -40, 50]], atol=1e-9)
    assert moved.cell_count <= 40
    np.testing.assert_allclose(mesh.bounds, [[4, 4.5, 5], [6, 7.5, 9]])


def test_travels_to_other_processes():
    mesh = sphere(1)
    start, end = np.array([[300.0, 10, 35]]), np.array([[-300.0, 10, 35]])
    assert mesh.blocks(start, end).all()
    again = pickle.loads(pickle.dumps(mesh))
    assert again.blocks(start, end).all()
    assert again != mesh
    assert not mesh.vertices.flags.writeable


@pytest.mark.parametrize(
    ("vertices", "faces", "says"),
    [
        (np.zeros((3, 2)), [[0, 1, 2]], "rows of three"),
        ([[0, 0, 0], [1, 0, 0], [0, np.nan, 0]], [[0, 1, 2]], "no numbers"),
        ([[0, 0, 0], [1, 0, 0], [0, 1, 0]], np.zeros((0, 3), int), "at least one triangle"),
        ([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 3]], "its own vertices"),
        ([[0, 0, 0], [1, 0, 0], [2, 0, 0]], [[0, 1, 2]], "with an area"),
    ],
)
def test_what_is_no_body_is_refused(vertices, faces, says):
    with pytest.raises(RigError, match=says):
        Mesh(np.array(vertices), np.array(faces))
