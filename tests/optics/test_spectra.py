import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lightplan.optics import cie_tables
from lightplan.optics.spectra import linear_srgb, wavelength_weights

VISIBLE = np.arange(380.0, 781.0, 5.0)


def test_tables_are_those_of_colour_science():
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    daylight = colour.SDS_ILLUMINANTS["D65"]
    np.testing.assert_array_equal(cie_tables.WAVELENGTH_NM, VISIBLE)
    expected = np.array([observer[w] for w in VISIBLE])
    np.testing.assert_allclose(cie_tables.MATCHING, expected, rtol=0, atol=1e-8)
    expected = np.array([daylight[w] for w in VISIBLE])
    np.testing.assert_allclose(cie_tables.D65, expected, rtol=0, atol=1e-4)


def test_white_of_the_tables_is_d65(reference):
    xyz = cie_tables.D65 @ cie_tables.MATCHING
    np.testing.assert_allclose(
        xyz[:2] / xyz.sum(), reference["colour"]["whites_xy"]["D65"], rtol=0, atol=5e-5
    )


@settings(deadline=None, derandomize=True)
@given(st.floats(0.0, 1.0))
def test_a_flat_spectrum_is_neutral(level):
    np.testing.assert_allclose(linear_srgb(VISIBLE, np.full(81, level)), level, atol=1e-12)


@settings(deadline=None, derandomize=True)
@given(st.lists(st.floats(380.0, 780.0), min_size=2, max_size=12, unique_by=lambda w: round(w, 1)))
def test_weights_sum_to_one_and_take_spectra_as_broken_lines(wavelengths):
    nodes = np.sort(wavelengths)
    weights = wavelength_weights(nodes)
    np.testing.assert_allclose(weights.sum(axis=0), 1.0, rtol=0, atol=1e-12)
    values = np.cos(nodes / 50.0) ** 2
    fine = linear_srgb(VISIBLE, np.interp(VISIBLE, nodes, values))
    np.testing.assert_allclose(weights.T @ values, fine, rtol=0, atol=1e-12)
    np.testing.assert_allclose(linear_srgb(nodes, values), fine, rtol=0, atol=1e-12)


@pytest.mark.parametrize("count", [61, 69, 152, 700])
def test_of_close_wavelengths_each_has_its_weight(count):
    """Closer than the table's rows they would have the whole weight of one, or none."""
    nodes = np.linspace(390.0, 730.0, count)
    weights = wavelength_weights(nodes, between_rows=True)
    np.testing.assert_allclose(weights.sum(axis=0), 1.0, rtol=0, atol=1e-12)
    inner = slice(count // 10, -count // 10)  # the ends stand for all beyond them
    density = (weights * (count - 1))[inner]
    coarse = wavelength_weights(np.linspace(390.0, 730.0, 35)) * 34
    expected = [np.interp(nodes[inner], np.linspace(390.0, 730.0, 35), row) for row in coarse.T]
    np.testing.assert_allclose(density, np.stack(expected, axis=1), atol=0.05 * coarse.max())


def test_spectral_pass_bands_light_their_channels():
    for channel, (low, high) in enumerate([(600, 780), (510, 570), (380, 480)]):
        band = ((low <= VISIBLE) & (high >= VISIBLE)).astype(float)
        assert np.argmax(linear_srgb(VISIBLE, band)) == channel


def test_many_spectra_at_once():
    spectra = np.random.default_rng(1).random((2, 5, 81))
    together = linear_srgb(VISIBLE, spectra)
    assert together.shape == (2, 5, 3)
    np.testing.assert_allclose(together[1, 3], linear_srgb(VISIBLE, spectra[1, 3]))


def test_wavelengths_out_of_order_are_refused():
    with pytest.raises(ValueError, match="ascending"):
        wavelength_weights([500.0, 450.0])
