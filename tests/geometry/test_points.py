"""Point sets: even, by the yardsticks of scipy.stats.qmc and by known integrals."""

import numpy as np
import pytest
from scipy.stats import kstest, qmc

from lightplan.geometry import points

COUNTS = (13, 34, 89, 144, 377, 610, 987)


@pytest.mark.parametrize("count", COUNTS)
def test_square_is_as_even_as_a_halton_set(count):
    """Centred L2 discrepancy (Hickernell 1998), computed by scipy for both sets."""
    ours = qmc.discrepancy(points.unit_square(count))
    halton = qmc.discrepancy(qmc.Halton(2, scramble=False).random(count + 1)[1:])
    assert ours < 1.1 * halton
    spread = np.random.default_rng(count).random((count, 2))
    assert ours < qmc.discrepancy(spread) / 3


def test_square_gets_more_even_nearly_with_the_square_of_the_count():
    """A lattice has squared discrepancy near n^-2 (log n); independent points only n^-1."""
    few, many = (qmc.discrepancy(points.unit_square(n)) for n in (34, 987))
    assert many < few * (34 / 987) ** 1.6


@pytest.mark.parametrize("count", COUNTS)
def test_square_lies_within_and_has_no_point_twice(count):
    found = points.unit_square(count)
    assert found.shape == (count, 2)
    assert ((found > 0) & (found < 1)).all()
    gaps = np.linalg.norm(found[:, None] - found[None], axis=-1) + 9 * np.eye(count)
    # the golden lattice keeps neighbours apart by about 1 / sqrt(sqrt(5) n)
    assert gaps.min() > 0.6 / np.sqrt(np.sqrt(5) * count)


@pytest.mark.parametrize("count", COUNTS)
def test_disk_has_equal_area_everywhere(count):
    x, y = points.unit_disk(count).T
    assert kstest(x**2 + y**2, "uniform").statistic <= 1 / count
    angle = (np.arctan2(y, x) / (2 * np.pi)) % 1
    assert kstest(angle, "uniform").statistic < 2.5 / count
    assert np.mean(x**2) == pytest.approx(1 / 4, rel=8 / count)
    assert np.mean(x * y) == pytest.approx(0, abs=2 / count)


@pytest.mark.parametrize("count", COUNTS)
def test_hemisphere_follows_the_cosine(count):
    """Moments of the density cos / pi: mean z 2/3, mean z2 1/2, mean x2 1/4."""
    found = points.cosine_hemisphere(points.unit_square(count))
    assert np.linalg.norm(found, axis=1) == pytest.approx(1)
    assert (found[:, 2] > 0).all()
    assert found[:, 2].mean() == pytest.approx(2 / 3, rel=2 / count)
    assert np.mean(found[:, 2] ** 2) == pytest.approx(1 / 2, rel=2 / count)
    assert np.mean(found[:, 0] ** 2) == pytest.approx(1 / 4, rel=8 / count)


@pytest.mark.parametrize("count", [100, 300, 1000])
def test_every_run_of_shifts_is_even(count):
    shifts = points.shifts(1000)[:count]
    assert ((shifts >= 0) & (shifts < 1)).all()
    halton = qmc.discrepancy(qmc.Halton(2, scramble=False).random(count + 1)[1:])
    assert qmc.discrepancy(shifts) < 1.1 * halton


def test_frames_are_square_and_right_handed():
    normals = np.random.default_rng(3).standard_normal((500, 3))
    normals = np.concatenate([normals, np.eye(3), -np.eye(3), [[1e-9, 0, 1], [0, 1e-9, -1]]])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    frame = np.stack([*points.frames(normals), normals], axis=1)
    assert np.abs(frame @ frame.transpose(0, 2, 1) - np.eye(3)).max() < 1e-12
    assert np.linalg.det(frame) == pytest.approx(1)


def test_the_same_points_every_time_and_none_can_be_changed():
    for found in (points.unit_square(89), points.unit_disk(89)):
        with pytest.raises(ValueError, match="read-only"):
            found[0, 0] = 2.0
    for made in (points.unit_square, points.unit_disk):
        before = made(89).tobytes()
        made.cache_clear()
        assert made(89).tobytes() == before  # made anew, not remembered
