import numpy as np
import plain_laws
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import dblquad
from scipy.stats import qmc

from lightplan.optics import view_factors

ORIGIN, UP = np.zeros((1, 3)), np.array([[0.0, 0.0, 1.0]])
TABLE = 1e-10  # the tables have ten decimals, closed forms 1e-9


def rectangle(corner, one, two):
    corner, one, two = (np.asarray(v, float) for v in (corner, one, two))
    return np.stack([corner, corner + one, corner + one + two, corner + two])


def centred(width, height, distance):
    return rectangle([-width / 2, -height / 2, distance], [width, 0, 0], [0, height, 0])


def tilted(degrees):
    angle = np.deg2rad(degrees)
    return np.array([[np.sin(angle), 0.0, np.cos(angle)]])


def from_origin(vertices, normal=UP):
    return view_factors.polygon(ORIGIN, normal, vertices)[0]


def test_parallel_rectangle_over_its_corner(reference):
    for row in reference["view_factors"]["parallel_rect_corner"]:
        a, b, c = row["a"], row["b"], row["c"]
        closed = view_factors.corner_rectangle(width=a, height=b, distance=c)
        assert closed == pytest.approx(row["F"], abs=TABLE)
        polygon = from_origin(rectangle([0, 0, c], [a, 0, 0], [0, b, 0]))
        assert polygon == pytest.approx(closed, abs=1e-12)


def test_standing_rectangle(reference):
    for row in reference["view_factors"]["perpendicular_rect_corner"]:
        a, b, c = row["height_a"], row["width_b"], row["dist_c"]
        closed = plain_laws.standing_rectangle(height=a, width=b, distance=c)
        assert closed == pytest.approx(row["F"], abs=TABLE)
        standing = from_origin(rectangle([c, 0, 0], [0, b, 0], [0, 0, a]))
        assert standing == pytest.approx(closed, abs=1e-12)
        sunk = from_origin(rectangle([c, 0, -0.7], [0, b, 0], [0, 0, a + 0.7]))
        assert sunk == pytest.approx(closed, abs=1e-12)


def test_disks(reference):
    for row in reference["view_factors"]["disk_on_axis"]:
        got = plain_laws.coaxial_disk(radius=row["r"], distance=row["h"])
        assert got == pytest.approx(row["F"], abs=TABLE)
        on_axis = plain_laws.offset_disk(radius=row["r"], distance=row["h"], offset=0.0)
        assert on_axis == pytest.approx(row["F"], abs=1e-12)
    for row in reference["view_factors"]["disk_off_axis_parallel"]:
        got = plain_laws.offset_disk(radius=row["r"], distance=row["h"], offset=row["a"])
        assert got == pytest.approx(row["F"], abs=TABLE)
        turn = np.linspace(0, 2 * np.pi, 1501)[:-1]
        ring = np.stack(
            [row["a"] + row["r"] * np.cos(turn), row["r"] * np.sin(turn), 0 * turn + row["h"]], -1
        )
        assert from_origin(ring) == pytest.approx(row["F"], abs=3e-6)


def test_tilted_disk_is_the_cosine_of_the_upright_one():
    got = plain_laws.coaxial_disk(radius=0.3, distance=0.6, tilt_rad=np.deg2rad(30))
    assert got == pytest.approx(0.2 * np.cos(np.deg2rad(30)))


def test_centred_rectangles_and_their_solid_angle(reference):
    for row in reference["view_factors"]["centred_rect"]:
        sides = {"width": row["w"], "height": row["h"], "distance": row["d"]}
        closed = view_factors.centred_rectangle(**sides)
        assert closed == pytest.approx(row["F"], abs=TABLE)
        solid_angle = plain_laws.rectangle_solid_angle(**sides)
        assert solid_angle == pytest.approx(row["solid_angle_sr"], abs=TABLE)
        assert from_origin(centred(row["w"], row["h"], row["d"])) == pytest.approx(
            closed, abs=1e-12
        )


def test_tilted_receivers(reference):
    for degrees, expected in reference["view_factors"][
        "tilted_receiver_rect_0p6x0p9_at_1m"
    ].items():
        got = from_origin(centred(0.6, 0.9, 1.0), tilted(float(degrees)))
        assert got == pytest.approx(expected, abs=TABLE)


def test_octant_triangle(reference):
    got = from_origin(np.eye(3))
    assert got == pytest.approx(reference["view_factors"]["octant_triangle"], abs=1e-12)


def test_softbox_illuminance_worked_example():
    # 0.6 m x 0.9 m of 1000 cd/m2 at 1 m: E = pi L F = 453.048 lx.
    lux = np.pi * 1000 * view_factors.centred_rectangle(width=0.6, height=0.9, distance=1.0)
    assert lux == pytest.approx(453.048, abs=1e-3)


def test_formula_against_integrating_a_cut_rectangle():
    # Upright at x = 1, y from -1 to 2, z from -2 to 3, seen by a tilted receiver.
    normal = tilted(35.0) * [1, 1, 1] @ np.array([[0.8, 0.6, 0], [-0.6, 0.8, 0], [0, 0, 1]])
    x = 1.0

    def integrand(z, y):
        facing = max(normal[0] @ [x, y, z], 0.0)
        return facing * x / (np.pi * (x * x + y * y + z * z) ** 2)

    expected = dblquad(integrand, -1, 2, -2, 3, epsabs=1e-7)[0]
    got = from_origin(rectangle([x, -1, -2], [0, 3, 0], [0, 0, 5]), normal)
    assert got == pytest.approx(expected, abs=1e-6)


def box_faces(size):
    x, y, z = size
    ex, ey, ez = np.diag(size)
    low, high = np.zeros(3), np.array([x, y, z])
    return np.stack(
        [
            rectangle(low, ex, ey),
            rectangle(low, ey, ez),
            rectangle(low, ez, ex),
            rectangle(high, -ex, -ey),
            rectangle(high, -ey, -ez),
            rectangle(high, -ez, -ex),
        ]
    )


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    st.lists(st.floats(10.0, 3000.0), min_size=3, max_size=3),
    st.lists(st.floats(0.01, 0.99), min_size=3, max_size=3),
    st.lists(st.floats(-1.0, 1.0), min_size=3, max_size=3).filter(any),
)
def test_the_faces_of_a_closed_box_fill_every_hemisphere(size, place, normal):
    # Closure: the factors of an enclosure sum to 1 whichever way the receiver looks.
    assume(np.linalg.norm(normal) > 0.1)
    point = np.array([place]) * size
    normal = np.array([normal]) / np.linalg.norm(normal)
    factors = view_factors.quads(point, normal, box_faces(size))[0]
    assert factors.min() >= 0.0
    assert factors.sum() == pytest.approx(1.0, abs=1e-9)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 10_000))
def test_any_quadrilateral_against_rays(seed):
    """Cosine-weighted rays from the receiver that meet the quadrilateral."""
    rng = np.random.default_rng(seed)
    one, two = rng.normal(size=(2, 3))
    corners = rectangle(rng.normal(size=3), one, two)
    corners[2] -= rng.uniform(0, 0.7) * two  # a trapezium
    normal = rng.normal(size=3)
    normal /= np.linalg.norm(normal)
    side = np.cross(normal, rng.normal(size=3))
    side /= np.linalg.norm(side)
    count = 2**15
    u, v = qmc.Sobol(2, seed=seed).random(count).T
    local = np.stack(
        [np.sqrt(u) * np.cos(2 * np.pi * v), np.sqrt(u) * np.sin(2 * np.pi * v), np.sqrt(1 - u)]
    )
    rays = local.T @ np.stack([side, np.cross(normal, side), normal])
    plane = np.cross(one, two)
    with np.errstate(divide="ignore"):
        distance = (corners[0] @ plane) / (rays @ plane)
    hits = rays * distance[:, None]
    edges = np.roll(corners, -1, axis=0) - corners
    inside = [np.cross(e, hits - c) @ plane > 0 for c, e in zip(corners, edges, strict=True)]
    share = np.mean(np.all(inside, axis=0) & (distance > 0))
    got = from_origin(corners, normal[None])
    sigma = np.sqrt(max(got * (1 - got), 1e-4) / count)
    assert got == pytest.approx(share, abs=4 * sigma)


def test_winding_does_not_matter_and_polygons_add_up():
    whole = centred(0.6, 0.9, 1.0)
    assert from_origin(whole[::-1]) == pytest.approx(from_origin(whole), abs=1e-15)
    normal = tilted(80.0)  # the horizon cuts it
    left = rectangle([-0.3, -0.45, 1], [0.2, 0, 0], [0, 0.9, 0])
    right = rectangle([-0.1, -0.45, 1], [0.4, 0, 0], [0, 0.9, 0])
    parts = from_origin(left, normal) + from_origin(right, normal)
    assert parts == pytest.approx(from_origin(whole, normal), abs=1e-12)


def test_a_notched_polygon_cut_by_the_horizon():
    # A "U" whose two legs reach above the horizon: the same as its two legs alone.
    u_shape = np.array(
        [[1, -2, -1], [1, 2, -1], [1, 2, 1], [1, 1, 1],
         [1, 1, -0.5], [1, -1, -0.5], [1, -1, 1], [1, -2, 1]]
    )  # fmt: skip
    legs = [rectangle([1, y, 0], [0, 1, 0], [0, 0, 1]) for y in (-2, 1)]
    expected = sum(from_origin(leg) for leg in legs)
    assert from_origin(u_shape) == pytest.approx(expected, abs=1e-12)


def test_degenerate_cases_see_nothing():
    below = centred(1.0, 1.0, -1.0)
    assert from_origin(below) == 0.0
    floor = rectangle([-1, -1, 0], [2, 0, 0], [0, 2, 0])
    for normal in (UP, tilted(40.0)):
        assert from_origin(floor, normal) == 0.0  # the receiver lies inside it
        assert from_origin(floor + np.array([5, 0, 0]), normal) == 0.0  # or beside it, in its plane
    line = np.array([[0, 0, 1], [1, 0, 1], [2, 0, 1], [3, 0, 1]], float)
    assert from_origin(line) == 0.0
    on_edge = rectangle([0, -1, 0], [1, 0, 1], [0, 2, 0])
    assert from_origin(on_edge) == 0.0


def test_a_triangle_may_be_given_as_a_quadrilateral_with_a_doubled_corner():
    triangle = np.eye(3)
    doubled = np.stack([triangle[0], triangle[1], triangle[1], triangle[2]])
    assert from_origin(doubled) == pytest.approx(0.25, abs=1e-12)


def test_close_above_a_large_card_everything_is_card():
    points = np.array([[0.0, 0.0, 100.0 - h] for h in (1.0, 1e-2, 1e-4)])
    got = view_factors.polygon(points, np.repeat(UP, 3, 0), centred(1000, 1000, 100.0))
    np.testing.assert_allclose(got, 1.0, rtol=0, atol=1e-5)


@settings(max_examples=10, deadline=None, derandomize=True)
@given(st.integers(0, 1000))
def test_many_at_once_equals_one_by_one(seed):
    rng = np.random.default_rng(seed)
    points = rng.uniform(-150, 150, (40, 3))
    normals = rng.normal(size=(40, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    arms = rng.normal(0, 60, (2, 30, 3))
    corner = rng.uniform(-600, 600, (30, 3))
    corners = np.stack([corner, corner + arms[0], corner + arms[0] + arms[1], corner + arms[1]], 1)
    together = view_factors.quads(points, normals, corners)
    assert together.shape == (40, 30)
    for i in range(30):
        alone = view_factors.polygon(points, normals, corners[i])
        np.testing.assert_allclose(alone, together[:, i], rtol=0, atol=1e-11)


def test_blocks_do_not_change_the_answer(monkeypatch):
    rng = np.random.default_rng(3)
    points = rng.uniform(-100, 100, (50, 3))
    faces = box_faces([700.0, 500.0, 300.0]) + np.array([0.0, 0.0, 50.0])
    normals = np.repeat(UP, 50, axis=0)
    whole = view_factors.quads(points, normals, faces)
    monkeypatch.setattr(view_factors, "_PAIRS_AT_ONCE", 7)
    np.testing.assert_allclose(
        view_factors.quads(points, normals, faces), whole, rtol=0, atol=1e-14
    )


def test_no_receivers_or_no_faces_keep_the_shape():
    face = centred(1, 1, 1)[None]
    assert view_factors.quads(np.empty((0, 3)), np.empty((0, 3)), face).shape == (0, 1)
    assert view_factors.quads(ORIGIN, UP, np.empty((0, 4, 3))).shape == (1, 0)
