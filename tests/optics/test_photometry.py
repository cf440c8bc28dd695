import colour
import numpy as np
import plain_laws
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lightplan.optics import photometry, view_factors

FACES = {
    "rectangle": {"shape": "rectangle", "width_mm": 600.0, "height_mm": 900.0},
    "disk": {"shape": "disk", "width_mm": 400.0, "height_mm": 1.0},
    "bulb": {"shape": "bulb", "width_mm": 60.0, "height_mm": 1.0},
}
kelvins = st.floats(2000.0, 12000.0)


def test_lumens_of_a_square_metre():
    # A one-sided matte face: 1000 lm from 1 m2 are 1000 lm/m2, so L = 1000 / pi.
    face = {"shape": "rectangle", "width_mm": 1000.0, "height_mm": 1000.0}
    assert photometry.luminance(1000.0, "lm", **face) == pytest.approx(318.3099, abs=5e-5)


def test_lumens_of_a_disk_come_back_when_its_light_is_gathered():
    # Flux into a large hemisphere: integral of L A cos over the half space = pi L A.
    bright = photometry.luminance(800.0, "lm", **FACES["disk"])
    node, weight = np.polynomial.legendre.leggauss(20)
    angle = (node + 1) * np.pi / 4
    intensity = bright * np.pi * 0.2**2 * np.cos(angle)
    flux = np.sum(intensity * 2 * np.pi * np.sin(angle) * weight) * np.pi / 4
    assert flux == pytest.approx(800.0, rel=1e-12)


def test_lumens_of_a_bulb_come_back_over_the_whole_sphere():
    bright = photometry.luminance(800.0, "lm", **FACES["bulb"])
    intensity = bright * np.pi * 0.03**2  # the same in all directions
    assert 4 * np.pi * intensity == pytest.approx(800.0, rel=1e-12)
    assert bright == pytest.approx(800.0 / (4 * np.pi**2 * 0.03**2), rel=1e-12)


@pytest.mark.parametrize("face", FACES.values(), ids=FACES)
def test_candela_and_far_lux_agree_and_give_the_intensity_back(face):
    bright = photometry.luminance(1000.0, "cd", **face)
    assert photometry.luminance(1000.0, "lx at 1 m", **face) == bright
    assert bright * photometry.face_area_m2(**face) == pytest.approx(1000.0, rel=1e-12)
    assert photometry.luminance(bright, "cd/m2", **face) == bright


def test_areas():
    assert photometry.face_area_m2(**FACES["rectangle"]) == pytest.approx(0.54)
    for name in ("disk", "bulb"):
        radius = FACES[name]["width_mm"] / 2000
        assert photometry.face_area_m2(**FACES[name]) == pytest.approx(np.pi * radius**2)


def test_lux_hold_for_a_bare_lamp_and_how_far_off_they_are_for_a_softbox():
    lamp = {"shape": "disk", "width_mm": 50.0, "height_mm": 50.0}
    bright = photometry.luminance(2000.0, "lx at 1 m", **lamp)
    lux = np.pi * bright * plain_laws.coaxial_disk(radius=0.025, distance=1.0)
    assert lux == pytest.approx(2000.0, rel=1e-3)
    bright = photometry.luminance(2000.0, "lx at 1 m", **FACES["rectangle"])
    near = view_factors.centred_rectangle(width=0.6, height=0.9, distance=1.0)
    assert np.pi * bright * near == pytest.approx(0.84 * 2000.0, rel=2e-3)


@pytest.mark.parametrize("distance", [2.0, 5.0])
def test_guide_number_exposes_an_incident_meter_correctly(distance):
    # The flash's lux seconds at the subject must ask for the f-number GN / distance.
    guide = 32.0
    face = {"shape": "disk", "width_mm": 80.0, "height_mm": 80.0}
    lamp = photometry.luminance(guide, "guide number", **face)
    lux_seconds = lamp * photometry.face_area_m2(**face) / distance**2
    f_number = plain_laws.flash_f_number(guide, distance_m=distance)
    wanted = plain_laws.metered_illuminance(f_number=f_number, time_s=1.0, iso=100.0)
    assert lux_seconds == pytest.approx(wanted, rel=1e-12)


def test_planckian_locus_matches_colour_science(reference):
    for kelvin, xy in reference["colour"]["planckian_xy"].items():
        xyz = photometry.planck_xyz(float(kelvin))
        np.testing.assert_allclose(xyz[:2] / xyz.sum(), xy, rtol=0, atol=2e-4)


def test_adaptation_is_bradford():
    rng = np.random.default_rng(2)
    xyz, white = rng.random((20, 3)), np.array([1.0985, 1.0, 0.3558])
    expected = colour.adaptation.chromatic_adaptation_VonKries(
        xyz, white, np.array([0.9505, 1.0, 1.0890]), transform="Bradford"
    )
    np.testing.assert_allclose(photometry.adapt(xyz, white), expected, rtol=0, atol=1e-6)


@settings(deadline=None, derandomize=True)
@given(kelvins, kelvins)
def test_lamp_colour_has_luminance_one_and_leans_the_right_way(lamp, white):
    rgb = photometry.kelvin_to_rgb(lamp, white)
    assert rgb @ [0.2126, 0.7152, 0.0722] == pytest.approx(1.0, abs=1e-12)
    assert rgb.min() >= 0.0
    if lamp < white - 50:
        assert rgb[0] > rgb[1] > rgb[2]
    elif lamp > white + 50:
        assert rgb[2] > rgb[0]


@settings(deadline=None, derandomize=True)
@given(st.floats(1500.0, 20000.0))
def test_a_lamp_at_the_white_balance_is_neutral(kelvin):
    np.testing.assert_allclose(photometry.kelvin_to_rgb(kelvin, kelvin), 1.0, atol=1e-9)


def test_very_warm_light_stays_in_range():
    rgb = photometry.kelvin_to_rgb(1500.0, 20000.0)
    assert rgb.min() >= 0.0
    assert np.isfinite(rgb).all()
