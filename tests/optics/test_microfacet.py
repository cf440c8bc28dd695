import numpy as np
import plain_laws
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.polynomial.legendre import leggauss
from scipy.stats import chi2, qmc

from lightplan.optics import microfacet

ALPHAS = st.floats(0.02, 1.0)


def direction(polar_deg, azimuth_deg=0.0):
    polar, azimuth = np.deg2rad(polar_deg), np.deg2rad(azimuth_deg)
    return np.stack(
        np.broadcast_arrays(
            np.sin(polar) * np.cos(azimuth), np.sin(polar) * np.sin(azimuth), np.cos(polar)
        ),
        axis=-1,
    )


def columns(directions):
    return np.moveaxis(np.asarray(directions), -1, 0)


def slopes_grid(ax, ay, count=200):
    """Normals and solid angles that put as many nodes where D is large.

    With tan = alpha tan(t) the GGX slope density becomes smooth in t.
    """
    node, weight = leggauss(count)
    tilt, tilt_weight = (node + 1) * np.pi / 4, weight * np.pi / 4
    turn = (np.arange(count) + 0.5) * 2 * np.pi / count
    tilt, turn = (grid.ravel() for grid in np.meshgrid(tilt, turn, indexing="ij"))
    x, y = ax * np.tan(tilt) * np.cos(turn), ay * np.tan(tilt) * np.sin(turn)
    cosine = 1 / np.sqrt(1 + x * x + y * y)
    normals = np.stack([x * cosine, y * cosine, cosine], axis=-1)
    # Slope area r dr dturn with r = tan(t), stretched by ax ay; solid angle = area cos^3.
    area = ax * ay * np.tan(tilt) / np.cos(tilt) ** 2 * cosine**3
    return normals, area * np.repeat(tilt_weight, count) * 2 * np.pi / count


def test_density_and_masking_match_the_table(reference):
    for alpha, table in reference["ggx"]["alpha"].items():
        for angle, expected in table["D"].items():
            got = microfacet.d(*direction(float(angle)), float(alpha), float(alpha))
            assert got == pytest.approx(expected, rel=1e-5)
        for angle, expected in table["G1"].items():
            got = microfacet.g1(*direction(float(angle)), float(alpha), float(alpha))
            assert got == pytest.approx(expected, abs=1e-6)
        half = microfacet.d(*direction(table["HWHM_D_deg"]), float(alpha), float(alpha))
        top = microfacet.d(*direction(0.0), float(alpha), float(alpha))
        assert half / top == pytest.approx(0.5, rel=1e-3)  # the angle has four digits


def test_rough_mirror_matches_the_renderer_checked_values(reference):
    for row in reference["ggx"]["brdf_cos"]:
        view, light = direction(row["to"]), direction(row["ti"], 180.0)
        got = plain_laws.brdf(view, light, row["alpha"], row["alpha"]) * view[2]
        assert got == pytest.approx(row["value"], rel=1e-5)


@settings(max_examples=20, deadline=None, derandomize=True)
@given(ax=ALPHAS, ay=ALPHAS)
def test_facets_project_to_the_surface_they_make(ax, ay):
    normals, solid_angle = slopes_grid(ax, ay, 64)
    total = np.sum(microfacet.d(*columns(normals), ax, ay) * normals[:, 2] * solid_angle)
    assert total == pytest.approx(1.0, abs=1e-6)


@settings(max_examples=20, deadline=None, derandomize=True)
@given(ax=ALPHAS, ay=ALPHAS, polar=st.floats(0.0, 80.0), azimuth=st.floats(0.0, 360.0))
def test_visible_facets_project_to_what_the_viewer_sees(ax, ay, polar, azimuth):
    # The law that fixes Smith's masking: Heitz 2014, equation 14.
    normals, solid_angle = slopes_grid(ax, ay)
    density = plain_laws.visible_density(direction(polar, azimuth)[None], normals, ax, ay)
    assert np.sum(density * solid_angle) == pytest.approx(1.0, abs=2e-3)


@settings(deadline=None, derandomize=True)
@given(ax=ALPHAS, ay=ALPHAS, polar=st.floats(0.0, 89.0), azimuth=st.floats(0.0, 360.0))
def test_masking_is_one_over_one_plus_lambda(ax, ay, polar, azimuth):
    view = direction(polar, azimuth)
    hidden = plain_laws.lambda_smith(*view, ax, ay)
    assert microfacet.g1(*view, ax, ay) == pytest.approx(1 / (1 + hidden), rel=1e-12)


@settings(deadline=None, derandomize=True)
@given(
    ax=ALPHAS,
    ay=ALPHAS,
    polar=st.tuples(st.floats(0.0, 89.0), st.floats(0.0, 89.0)),
    azimuth=st.tuples(st.floats(0.0, 360.0), st.floats(0.0, 360.0)),
)
def test_light_and_eye_may_be_swapped(ax, ay, polar, azimuth):
    one, two = (direction(p, a) for p, a in zip(polar, azimuth, strict=True))
    there, back = plain_laws.brdf(one, two, ax, ay), plain_laws.brdf(two, one, ax, ay)
    assert there == pytest.approx(back, rel=1e-12)
    assert there > 0.0


@settings(max_examples=15, deadline=None, derandomize=True)
@given(ax=ALPHAS, ay=ALPHAS, polar=st.floats(0.0, 89.9), azimuth=st.floats(0.0, 360.0))
def test_a_white_furnace_never_comes_back_brighter(ax, ay, polar, azimuth):
    # Sampling the visible normals, each ray's weight is G1 of the light it meets.
    view = np.tile(direction(polar, azimuth), (4096, 1))
    u = qmc.Sobol(2, seed=3).random(4096)
    half = microfacet.sample_visible_normals(view, ax, ay, u)
    light = 2 * np.sum(view * half, axis=1, keepdims=True) * half - view
    weight = microfacet.g1(*columns(light), ax, ay)
    assert weight.max() <= 1.0 + 1e-12
    assert 0.2 < weight.mean() <= 1.0 + 1e-12


def test_the_furnace_by_sampling_agrees_with_integrating_the_distribution():
    ax, ay, view = 0.2, 0.4, direction(50.0, 30.0)
    normals, solid_angle = slopes_grid(ax, ay, 400)
    cosine = normals @ view
    light = 2 * cosine[:, None] * normals - view
    lit = plain_laws.brdf(np.broadcast_to(view, light.shape), light, ax, ay)
    # A solid angle of normals turns into one of light four view.half times as large.
    whole = np.sum(lit * np.maximum(light[:, 2], 0) * 4 * np.maximum(cosine, 0) * solid_angle)
    half = microfacet.sample_visible_normals(
        np.tile(view, (65536, 1)), ax, ay, qmc.Sobol(2, seed=3).random(65536)
    )
    light = 2 * (half @ view)[:, None] * half - view
    assert microfacet.g1(*columns(light), ax, ay).mean() == pytest.approx(whole, abs=2e-3)


@pytest.mark.parametrize(
    ("ax", "ay", "polar", "azimuth"),
    [
        (0.05, 0.05, 0.0, 0.0),
        (0.3, 0.3, 60.0, 20.0),
        (0.05, 0.3, 45.0, 70.0),
        (0.5, 0.2, 80.0, 200.0),
    ],
)
def test_samples_follow_the_visible_density(ax, ay, polar, azimuth):
    """Chi-square over cells of (tilt, turn) in stretched slope space."""
    count, cells, fine = 200_000, 12, 40
    view = np.tile(direction(polar, azimuth), (count, 1))
    u = np.random.default_rng(11).random((count, 2))
    x, y, z = columns(microfacet.sample_visible_normals(view, ax, ay, u))
    radius = np.hypot(x / ax, y / ay) / z
    tilt, turn = np.arctan(radius), np.mod(np.arctan2(y / ay, x / ax), 2 * np.pi)
    edges = [np.linspace(0, np.pi / 2, cells + 1), np.linspace(0, 2 * np.pi, cells + 1)]
    seen = np.histogram2d(tilt, turn, bins=edges)[0]
    # Expected counts: midpoint rule, `fine` steps each way within a cell.
    steps = cells * fine
    t, a = (
        (np.arange(steps) + 0.5) / steps * np.pi / 2,
        (np.arange(steps) + 0.5) / steps * 2 * np.pi,
    )
    t, a = np.meshgrid(t, a, indexing="ij")
    sx, sy = ax * np.tan(t) * np.cos(a), ay * np.tan(t) * np.sin(a)
    cosine = 1 / np.sqrt(1 + sx * sx + sy * sy)
    normals = np.stack([sx * cosine, sy * cosine, cosine], axis=-1)
    per_cell = ax * ay * np.tan(t) / np.cos(t) ** 2 * cosine**3 * (np.pi / 2) * 2 * np.pi / steps**2
    density = plain_laws.visible_density(direction(polar, azimuth), normals, ax, ay) * per_cell
    expected = count * density.reshape(cells, fine, cells, fine).sum(axis=(1, 3))
    enough = expected >= 10
    pooled_seen = np.append(seen[enough], seen[~enough].sum())
    pooled_expected = np.append(expected[enough], expected[~enough].sum())
    pooled_seen, pooled_expected = (v[pooled_expected > 0] for v in (pooled_seen, pooled_expected))
    statistic = np.sum((pooled_seen - pooled_expected) ** 2 / pooled_expected)
    assert enough.sum() > 40
    assert chi2.sf(statistic, len(pooled_seen) - 1) > 1e-3


def test_sampled_normals_are_unit_and_face_the_viewer():
    rng = np.random.default_rng(5)
    view = rng.normal(size=(20_000, 3)).astype(np.float32)
    view[:, 2] = np.abs(view[:, 2])
    view[:2] = [[1, 0, 0], [0, 1, 0]]  # grazing
    view /= np.linalg.norm(view, axis=1, keepdims=True)
    half = microfacet.sample_visible_normals(view, 0.05, 0.2, rng.random((20_000, 2)))
    assert half.dtype == np.float32
    np.testing.assert_allclose(np.linalg.norm(half, axis=1), 1.0, rtol=0, atol=1e-6)
    assert half[:, 2].min() >= 0.0
    assert np.sum(view * half, axis=1).min() > -1e-6


def test_per_ray_roughness_equals_one_roughness_at_a_time():
    rng = np.random.default_rng(7)
    view, u = np.tile(direction(40.0), (6, 1)), rng.random((6, 2))
    ax, ay = rng.uniform(0.05, 0.5, (2, 6))
    together = microfacet.sample_visible_normals(view, ax, ay, u)
    for i in range(6):
        alone = microfacet.sample_visible_normals(view[i : i + 1], ax[i], ay[i], u[i : i + 1])
        np.testing.assert_array_equal(alone[0], together[i])


def test_single_precision_is_kept_and_agrees():
    view = direction(np.linspace(0, 80, 50), 20.0)
    half = direction(np.linspace(1, 30, 50), 70.0)
    single_view, single_half = view.astype(np.float32), half.astype(np.float32)
    for function in (plain_laws.visible_density, plain_laws.brdf):
        single = function(single_view, single_half, 0.2, 0.3)
        assert single.dtype == np.float32
        np.testing.assert_allclose(single, function(view, half, 0.2, 0.3), rtol=1e-4)


def test_nothing_is_reflected_through_the_surface():
    up, down = direction(30.0), direction(150.0)
    assert plain_laws.brdf(up, down, 0.2, 0.2) == 0.0
    assert microfacet.g1(*down, 0.2, 0.2) == 0.0
    assert microfacet.d(*down, 0.2, 0.2) == 0.0
