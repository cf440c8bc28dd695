import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lightplan.optics import fresnel
from lightplan.optics.constants import refractive_index

COSINES = st.floats(0.0, 1.0)
DIGITS_5 = 5.1e-6  # half a unit of the fifth decimal
DIGITS_6 = 5.1e-7


def cosine(degrees):
    return np.cos(np.deg2rad(degrees))


def rows(table):
    angle, s, p, mean = np.array(table).T
    return cosine(angle), s, p, mean


def test_metals_match_the_oblique_tables(reference):
    tables = reference["fresnel"]["metals"]
    assert len(tables) == 18
    for name, table in tables.items():
        metal, nanometres = name.split("@")
        angle, s, p, mean = rows(table)
        got_s, got_p = fresnel.conductor(angle, *refractive_index(metal, float(nanometres)))
        np.testing.assert_allclose(got_s, s, rtol=0, atol=DIGITS_5, err_msg=name)
        np.testing.assert_allclose(got_p, p, rtol=0, atol=DIGITS_5, err_msg=name)
        np.testing.assert_allclose((got_s + got_p) / 2, mean, rtol=0, atol=DIGITS_5)


def test_round_constants_match_the_renderer_checked_table(reference):
    for name, table in reference["fresnel"]["constants"].items():
        index = complex(name.replace("i", "j"))
        angle, s, p, mean = rows(table)
        got_s, got_p = fresnel.conductor(angle, index.real, index.imag)
        np.testing.assert_allclose(got_s, s, rtol=0, atol=DIGITS_6)
        np.testing.assert_allclose(got_p, p, rtol=0, atol=DIGITS_6)
        np.testing.assert_allclose((got_s + got_p) / 2, mean, rtol=0, atol=DIGITS_6)


def test_clear_surfaces_match_the_table(reference):
    for index, table in reference["fresnel"]["dielectric"].items():
        angle, s, p, _ = rows(table)
        got_s, got_p = fresnel.dielectric(angle, float(index))
        np.testing.assert_allclose(got_s, s, rtol=0, atol=DIGITS_6)
        np.testing.assert_allclose(got_p, p, rtol=0, atol=DIGITS_6)


def test_black_glass_of_the_gloss_standard(reference):
    # ISO 2813 assigns 100 gloss units to n = 1.567; tolerance of the reference.
    for angle, expected in reference["gloss"]["reflectance"].items():
        s, p = fresnel.dielectric(cosine(float(angle)), reference["gloss"]["index"])
        assert (s + p) / 2 == pytest.approx(expected, abs=5e-5)


def test_brewster_angle_gives_no_p_reflection(reference):
    for index, degrees in reference["fresnel"]["brewster_deg"].items():
        exact = np.arctan(float(index))
        assert np.rad2deg(exact) == pytest.approx(degrees, abs=5e-5)
        assert fresnel.dielectric(np.cos(exact), float(index))[1] < 1e-30


@settings(deadline=None, derandomize=True)
@given(eta=st.floats(0.02, 20.0), k=st.floats(0.0, 20.0))
def test_identity_at_45_degrees(eta, k):
    # R_p = R_s^2 at 45 degrees for every index (Born and Wolf, section 1.5.3).
    s, p = fresnel.conductor(np.sqrt(0.5), eta, k)
    assert p == pytest.approx(s**2, abs=1e-12)


@settings(deadline=None, derandomize=True)
@given(angle=COSINES, eta=st.floats(0.0, 20.0), k=st.floats(0.0, 20.0))
def test_reflectances_stay_between_0_and_1_and_s_exceeds_p(angle, eta, k):
    s, p = fresnel.conductor(angle, eta, k)
    assert 0.0 <= p <= s + 1e-12
    assert s <= 1.0 + 1e-12


@settings(deadline=None, derandomize=True)
@given(eta=st.floats(0.02, 20.0), k=st.floats(0.0, 20.0))
def test_normal_and_grazing_limits(eta, k):
    s, p = fresnel.conductor([1.0, 0.0], eta, k)
    normal = ((eta - 1) ** 2 + k**2) / ((eta + 1) ** 2 + k**2)
    assert s[0] == pytest.approx(normal, abs=1e-12)
    assert p[0] == pytest.approx(normal, abs=1e-12)
    assert s[1] == pytest.approx(1.0)
    assert p[1] == pytest.approx(1.0)


def test_total_reflection_from_inside():
    critical = np.arcsin(1 / 1.5)
    s, p = fresnel.dielectric(np.cos([critical + 0.01, critical - 0.01]), 1 / 1.5)
    assert s[0] == pytest.approx(1.0)
    assert p[0] == pytest.approx(1.0)
    assert s[1] < 0.9


@settings(deadline=None, derandomize=True)
@given(angle=st.floats(0.0, 1.5), index=st.floats(1.01, 3.0))
def test_reflectance_is_the_same_from_both_sides_of_the_surface(angle, index):
    inside = np.arcsin(np.sin(angle) / index)
    outer = fresnel.dielectric(np.cos(angle), index)
    inner = fresnel.dielectric(np.cos(inside), 1 / index)
    np.testing.assert_allclose(outer, inner, rtol=0, atol=1e-9)


def test_metals_hardly_change_up_to_45_degrees():
    for metal in ("gold", "aluminium"):
        index = refractive_index(metal, 550.0)
        straight, slanted = (np.mean(fresnel.conductor(cosine(a), *index)) for a in (0, 45))
        assert abs(straight - slanted) < 0.01


def aluminium_film(nanometres, thickness_nm, front, back, angle_cosine=1.0):
    n, k = refractive_index("aluminium", nanometres)
    return fresnel.film(
        angle_cosine,
        wavelength_nm=nanometres,
        front_index=front,
        film_index=n + 1j * k,
        back_index=back,
        thickness_nm=thickness_nm,
    )


@pytest.mark.parametrize(("where", "front"), [("R_air_film", 1.0), ("R_lacquer_film", 1.5)])
def test_aluminium_films_match_the_transfer_matrix(reference, where, front):
    for nanometres, table in reference["aluminium_layer"]["nm"].items():
        for thickness, (reflected, _) in table[where].items():
            s, p = aluminium_film(float(nanometres), float(thickness), front, 1.5)
            assert s == pytest.approx(reflected, abs=5.1e-5)
            assert p == pytest.approx(s)


@settings(deadline=None, derandomize=True)
@given(angle=COSINES)
def test_a_thick_film_is_the_bulk_and_none_is_the_bare_backing(angle):
    n, k = refractive_index("aluminium", 550.0)
    thick = aluminium_film(550.0, 2000.0, 1.0, 1.5, angle)
    np.testing.assert_allclose(thick, fresnel.conductor(angle, n, k), rtol=0, atol=1e-12)
    none = aluminium_film(550.0, 0.0, 1.0, 1.5, angle)
    np.testing.assert_allclose(none, fresnel.dielectric(angle, 1.5), rtol=0, atol=1e-9)


def test_quarter_wave_coat_of_root_index_kills_the_reflection():
    # Born and Wolf, section 1.6.4: n = sqrt(n_back), n d = wavelength / 4.
    index = np.sqrt(1.5)
    s, p = fresnel.film(
        1.0,
        wavelength_nm=550.0,
        front_index=1.0,
        film_index=index,
        back_index=1.5,
        thickness_nm=550.0 / 4 / index,
    )
    assert s < 1e-30
    assert p < 1e-30
