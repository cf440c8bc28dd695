import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plain_grating import diffract


def in_plane(degrees):
    """Direction in the x-z plane, positive towards +x."""
    angle = np.deg2rad(degrees)
    return np.array([[np.sin(angle), 0.0, np.cos(angle)]])


def test_in_plane_orders_match_the_table(reference):
    assert len(reference["grating"]["rows"]) > 50
    for pitch_um, incident, wavelength_um, order, leaving in reference["grating"]["rows"]:
        got, exists = diffract(in_plane(leaving), order, wavelength_um * 1e3, 1e3 / pitch_um, 0.0)
        # The table's mirror side is positive: the lamp stands on the other one.
        assert exists.all()
        assert np.rad2deg(np.arcsin(-got[0, 0])) == pytest.approx(incident, abs=1e-3)
        assert got[0, 1] == 0.0


def test_lamp_angle_for_a_camera_on_the_normal(reference):
    for pitch_um, table in reference["grating"]["on_axis_first_order"].items():
        for nanometres, degrees in table.items():
            got, _ = diffract(in_plane(0.0), 1, float(nanometres), 1e3 / float(pitch_um), 0.0)
            assert np.rad2deg(np.arcsin(got[0, 0])) == pytest.approx(degrees, abs=1e-3)


def test_littrow_sends_the_light_straight_back(reference):
    for pitch_um, table in reference["grating"]["littrow_first_order"].items():
        for nanometres, degrees in table.items():
            view = in_plane(degrees)
            got, _ = diffract(view, 1, float(nanometres), 1e3 / float(pitch_um), 0.0)
            np.testing.assert_allclose(got, view, rtol=0, atol=2e-6)


@settings(deadline=None, derandomize=True)
@given(st.floats(0.0, 1.5), st.floats(0.0, 6.3), st.floats(-7.0, 7.0))
def test_order_zero_is_the_mirror(polar, azimuth, across):
    view = np.array(
        [[np.sin(polar) * np.cos(azimuth), np.sin(polar) * np.sin(azimuth), np.cos(polar)]]
    )
    got, exists = diffract(view, 0, 550.0, 1000.0, across)
    assert exists.all()
    np.testing.assert_allclose(got, view * [-1, -1, 1], rtol=0, atol=1e-12)


@settings(deadline=None, derandomize=True)
@given(
    st.floats(0.0, 1.2),
    st.floats(0.0, 6.3),
    st.floats(0.0, 3.2),
    st.integers(-2, 2),
    st.floats(380.0, 730.0),
    st.floats(100.0, 1500.0),
)
def test_path_may_be_run_backwards(polar, azimuth, across, order, nanometres, lines):
    # Helmholtz: light sent out along the found direction leaves along the first one.
    view = np.array(
        [[np.sin(polar) * np.cos(azimuth), np.sin(polar) * np.sin(azimuth), np.cos(polar)]]
    )
    source, exists = diffract(view, order, nanometres, lines, across)
    if not exists[0]:
        np.testing.assert_array_equal(source, 0.0)
        return
    assert np.linalg.norm(source[0]) == pytest.approx(1.0)
    back, _ = diffract(source, order, nanometres, lines, across)
    np.testing.assert_allclose(back, view, rtol=0, atol=1e-7)


def test_turning_the_lines_turns_the_rainbow():
    straight, _ = diffract(in_plane(0.0), 1, 550.0, 1000.0, 0.0)
    turned, _ = diffract(in_plane(0.0), 1, 550.0, 1000.0, np.pi / 2)
    np.testing.assert_allclose(turned[0], straight[0, [1, 0, 2]], rtol=0, atol=1e-12)


def test_orders_beyond_the_horizon_do_not_exist():
    _, exists = diffract(in_plane(0.0), 2, np.array([450.0]), 1000.0, 0.0)
    assert exists[0]
    missing, exists = diffract(in_plane(0.0), 2, np.array([550.0]), 1000.0, 0.0)
    assert not exists[0]
    np.testing.assert_array_equal(missing, 0.0)


def test_one_wavelength_per_ray_in_single_precision():
    view = np.repeat(in_plane(0.0), 3, axis=0).astype(np.float32)
    got, exists = diffract(view, 1, np.array([450.0, 550.0, 650.0]), 1000.0, 0.0)
    assert got.dtype == np.float32
    assert exists.all()
    np.testing.assert_allclose(
        np.rad2deg(np.arcsin(got[:, 0])), [26.744, 33.367, 40.542], rtol=0, atol=1e-3
    )
