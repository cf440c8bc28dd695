import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lightplan.optics import fresnel
from lightplan.optics.constants import refractive_index
from lightplan.optics.materials import coat_curve, conductor_curve
from lightplan.optics.specular import SpecularCurve

# Denser towards grazing, where the curves are steep.
COSINES = np.unique(np.concatenate([np.linspace(0, 1, 20011), np.geomspace(1e-6, 1, 20011)]))
NANOMETRES = np.array([650.0, 550.0, 450.0])


def worst_error(eta, k):
    s, p = conductor_curve(eta, k).evaluate_sp(COSINES)
    exact = fresnel.conductor(COSINES[:, None], eta, k)
    return max(np.abs(s - exact[0]).max(), np.abs(p - exact[1]).max())


@pytest.mark.parametrize("metal", ["gold", "silver", "copper", "aluminium", "chromium", "nickel"])
def test_metals_match_the_formula_at_all_angles(metal):
    assert worst_error(*refractive_index(metal, NANOMETRES)) < 1e-5


@settings(max_examples=15, deadline=None, derandomize=True)
@given(eta=st.floats(0.05, 20.0), k=st.floats(1.0, 20.0))
def test_any_metal_a_rig_allows_matches_the_formula(eta, k):
    # Below k = 1 lie clear media; with eta < 1 those have the kink of total reflection.
    assert worst_error(np.full(3, eta), np.full(3, k)) < 1e-5


@pytest.mark.parametrize("index", [1.01, 1.33, 1.5, 1.7, 3.0])
def test_coats_match_the_formula(index):
    s, p = coat_curve(index).evaluate_sp(COSINES)
    exact = fresnel.dielectric(COSINES[:, None], index)
    np.testing.assert_allclose(s, np.broadcast_to(exact[0], s.shape), rtol=0, atol=1e-5)
    np.testing.assert_allclose(p, np.broadcast_to(exact[1], p.shape), rtol=0, atol=1e-5)


def test_single_precision_stays_single_and_agrees():
    curve = conductor_curve(*refractive_index("gold", NANOMETRES))
    single = curve.evaluate(COSINES.astype(np.float32))
    assert single.dtype == np.float32
    double = curve.evaluate(COSINES.astype(np.float32).astype(float))
    assert double.dtype == np.float64
    np.testing.assert_allclose(single, double, rtol=0, atol=3e-6)


def test_unpolarised_is_the_mean_of_s_and_p():
    curve = coat_curve(1.5)
    s, p = curve.evaluate_sp(COSINES)
    np.testing.assert_allclose(curve.evaluate(COSINES), (s + p) / 2, rtol=0, atol=1e-15)


def test_shapes_and_cosines_rounded_outside_the_range():
    curve = coat_curve(1.5)
    assert curve.evaluate(0.5).shape == (3,)
    assert curve.evaluate(np.full((4, 5), 0.5)).shape == (4, 5, 3)
    assert curve.evaluate(np.empty((0,))).shape == (0, 3)
    np.testing.assert_array_equal(curve.evaluate([-1e-7, 0.0]), 1.0)
    np.testing.assert_allclose(curve.evaluate(np.float32([1.0, 1.0000002, 2.0])), 0.04, atol=1e-7)


def test_channels_are_kept_apart():
    eta, k = refractive_index("copper", NANOMETRES)
    straight = conductor_curve(eta, k).evaluate(1.0)
    for channel in range(3):
        exact = fresnel.conductor(1.0, eta[channel], k[channel])[0]
        assert straight[channel] == pytest.approx(exact, abs=1e-12)


def test_the_table_cannot_be_changed_from_outside():
    table = np.full((8, 3), 0.5)
    curve = SpecularCurve(table, table)
    table[:] = 0.0
    assert curve.evaluate(0.3)[0] == 0.5
    with pytest.raises(ValueError, match="read-only"):
        curve.s[0] = 1.0
