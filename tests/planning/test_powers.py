"""Powers against exact least squares and a brute grid."""

import numpy as np
import pytest
from scipy.optimize import lsq_linear, nnls

from lightplan.merit.powers import solve_powers


@pytest.fixture
def light():
    rng = np.random.default_rng(4)
    return rng.uniform(0.1, 1.0, (3, 40))


def test_a_mix_that_exists_is_found_exactly(light):
    truth = np.array([0.5, -1.0, 1.25])
    target = np.exp2(truth) @ light + 0.05
    found = solve_powers(light, np.full(40, 0.05), target, low_stops=[-6] * 3, high_stops=[3] * 3)
    assert found.trim_stops == pytest.approx(truth, abs=1e-9)
    assert found.residual == pytest.approx(0.0, abs=1e-10)


def test_bounded_powers_equal_exact_least_squares(light):
    # Second method: scipy's lsq_linear by its other algorithm, and nnls (Lawson and
    # Hanson 1974) where only the lower bound matters.
    target = np.random.default_rng(5).uniform(0, 2, 40)
    low, high = [-3.0] * 3, [0.0] * 3
    found = solve_powers(light, np.zeros(40), target, low_stops=low, high_stops=high)
    exact = lsq_linear(light.T, target, (0.125, 1.0), method="trf", tol=1e-14)
    assert np.exp2(found.trim_stops) == pytest.approx(exact.x, abs=1e-6)
    free = solve_powers(
        light,
        np.zeros(40),
        target,
        low_stops=[-40] * 3,
        high_stops=[40] * 3,
        may_switch_off=[True] * 3,
    )
    plain, miss = nnls(light.T, target)
    power = np.where(free.off, 0.0, np.exp2(free.trim_stops))
    assert power == pytest.approx(plain, abs=1e-8)
    assert free.residual == pytest.approx(miss / np.sqrt(40), rel=1e-8)


def test_weights_count(light):
    target = np.concatenate([np.full(20, 1.0), np.full(20, 9.0)])
    weights = np.concatenate([np.ones(20), np.zeros(20)])
    part = solve_powers(
        light[:, :20], np.zeros(20), target[:20], low_stops=[-9] * 3, high_stops=[9] * 3
    )
    found = solve_powers(
        light, np.zeros(40), target, low_stops=[-9] * 3, high_stops=[9] * 3, weights=weights
    )
    assert found.trim_stops == pytest.approx(part.trim_stops, abs=1e-7)


def test_a_fixed_lamp_keeps_its_power(light):
    target = np.ones(40)
    found = solve_powers(
        light, np.zeros(40), target, low_stops=[-2.0, -9, -9], high_stops=[-2.0, 9, 9]
    )
    assert found.trim_stops[0] == pytest.approx(-2.0)
    rest = lsq_linear(light[1:].T, target - 0.25 * light[0], (2**-9, 2**9))
    assert np.exp2(found.trim_stops[1:]) == pytest.approx(rest.x, rel=1e-6)


def test_the_grid_finds_nothing_better(light):
    target = np.random.default_rng(6).uniform(0.5, 1.5, 40)
    found = solve_powers(light[:2], np.zeros(40), target, low_stops=[-4] * 2, high_stops=[1] * 2)
    stops = np.linspace(-4, 1, 101)
    best = min(
        np.sqrt(np.mean((2**a * light[0] + 2**b * light[1] - target) ** 2))
        for a in stops
        for b in stops
    )
    assert found.residual <= best + 1e-12
    assert found.residual == pytest.approx(best, rel=0.01)


def test_a_lamp_outside_the_family_leaves_the_foil_alone():
    # Common practice: light outside the family of angles moves only the paper. Two
    # knobs, so foil and paper targets are both met exactly.
    foil_places, paper_places = 10, 10
    inside = np.concatenate([np.full(foil_places, 0.8), np.full(paper_places, 0.1)])
    outside = np.concatenate([np.zeros(foil_places), np.full(paper_places, 0.4)])
    target = np.concatenate([np.full(foil_places, 0.8), np.full(paper_places, 0.7)])
    found = solve_powers(
        np.stack([inside, outside]), np.zeros(20), target, low_stops=[-5] * 2, high_stops=[5] * 2
    )
    assert np.exp2(found.trim_stops) == pytest.approx([1.0, 0.6 / 0.4])
