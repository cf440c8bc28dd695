import numpy as np
import plain_laws
import pytest

from lightplan.optics import colour, fresnel
from lightplan.optics.constants import refractive_index
from lightplan.optics.materials import _TINTS, DEFAULTS, FOIL_KINDS, foil_curve, lacquered_aluminium
from lightplan.optics.spectra import linear_srgb

VISIBLE = np.arange(380.0, 781.0, 5.0)
COSINES = np.linspace(0.0, 1.0, 101)[:, None]
LEAF_AND_METAL = {
    "gold leaf": "gold",
    "silver leaf": "silver",
    "aluminium": "aluminium",
    "copper": "copper",
    "chromium": "chromium",
    "nickel": "nickel",
}


def lightness_chroma_hue(kind, cosine=1.0):
    lab = colour.linear_srgb_to_lab(foil_curve(kind).evaluate(cosine))
    chroma, hue = plain_laws.chroma_and_hue_rad(lab)
    return lab[0], chroma, np.rad2deg(hue)


def test_clear_lacquer_over_thick_aluminium_matches_the_table(reference):
    for nanometres, table in reference["aluminium_layer"]["nm"].items():
        s, p = lacquered_aluminium(1.0, float(nanometres), thickness_nm=None)
        expected = table["R_clearcoated_bulk_incoherent"]
        assert s == pytest.approx(expected, abs=5.1e-5)
        assert p == pytest.approx(expected, abs=5.1e-5)


def test_lacquer_over_a_film_is_the_sum_over_its_inner_bounces():
    # The geometric series, bounce by bounce, instead of its closed sum.
    cosine, nanometres = 0.6, 550.0
    inside = np.sqrt(1 - (1 - cosine**2) / 1.5**2)
    n, k = refractive_index("aluminium", nanometres)
    metal = fresnel.film(
        inside,
        wavelength_nm=nanometres,
        front_index=1.5,
        film_index=n + 1j * k,
        back_index=1.5,
        thickness_nm=30.0,
    )
    tint = _TINTS["gold foil"]
    passing = np.exp(-tint.depth(nanometres) / inside)
    got = lacquered_aluminium(cosine, nanometres, tint)
    for total, outer, back in zip(got, fresnel.dielectric(cosine, 1.5), metal, strict=True):
        reflected, carried = outer, (1 - outer) * passing**2 * back
        for _ in range(40):
            reflected += carried * (1 - outer)
            carried *= outer * passing**2 * back
        assert total == pytest.approx(reflected, abs=1e-12)


@pytest.mark.parametrize("tint", _TINTS.values(), ids=_TINTS.keys())
def test_lacquered_foils_keep_energy_at_every_wavelength_and_angle(tint):
    for polarised in lacquered_aluminium(COSINES, VISIBLE, tint):
        assert polarised.min() >= 0.0
        assert polarised.max() <= 1.0 + 1e-12
    clear = lacquered_aluminium(COSINES, VISIBLE)
    dyed = lacquered_aluminium(COSINES, VISIBLE, tint)
    assert (np.array(dyed) <= np.array(clear) + 1e-12).all()


@pytest.mark.parametrize(("kind", "metal"), LEAF_AND_METAL.items())
def test_leaf_and_metal_are_bare_metal_in_daylight(kind, metal, reference):
    straight = foil_curve(kind).evaluate(1.0)
    expected = reference["metals"]["table"][metal]["linear_srgb"]
    np.testing.assert_allclose(straight, expected, rtol=0, atol=2e-4)
    slanted = np.mean(fresnel.conductor(0.3, *refractive_index(metal, VISIBLE)), axis=0)
    np.testing.assert_allclose(
        foil_curve(kind).evaluate(0.3), linear_srgb(VISIBLE, slanted), rtol=0, atol=1e-5
    )


def test_gold_leaf_red_lies_outside_srgb_and_is_kept():
    assert foil_curve("gold leaf").evaluate(1.0)[0] == pytest.approx(1.038, abs=1e-3)


@pytest.mark.parametrize(
    ("kind", "hue", "chroma"),
    [
        # Plausible hues of the trade's colour names, from memory, no source.
        ("gold foil", (80, 95), (30, 60)),
        ("rose gold foil", (10, 50), (10, 30)),
        ("copper foil", (50, 70), (25, 50)),
    ],
)
def test_tinted_foils_look_like_their_names(kind, hue, chroma):
    for cosine in (1.0, 0.7):
        _, got_chroma, got_hue = lightness_chroma_hue(kind, cosine)
        assert hue[0] <= got_hue <= hue[1]
        assert chroma[0] <= got_chroma <= chroma[1]


def test_silver_foil_is_neutral_and_darker_than_bare_aluminium():
    lightness, chroma, _ = lightness_chroma_hue("silver foil")
    assert chroma < 2.0
    assert lightness < lightness_chroma_hue("aluminium")[0]
    # 30 nm film seen from lacquer, R 0.8645 at 550 nm, plus the lacquer's own surface.
    assert foil_curve("silver foil").evaluate(1.0)[1] == pytest.approx(0.866, abs=2e-3)


def test_gold_foil_is_not_gold_leaf():
    foil, leaf = (foil_curve(kind).evaluate(1.0) for kind in ("gold foil", "gold leaf"))
    difference = colour.difference_2000(*(colour.linear_srgb_to_lab(v) for v in (foil, leaf)))
    assert difference > 3.0


def test_holographic_foil_mirrors_like_silver_foil():
    np.testing.assert_array_equal(foil_curve("holographic foil").s, foil_curve("silver foil").s)


@pytest.mark.parametrize("kind", FOIL_KINDS)
def test_every_kind_reflects_and_whitens_towards_grazing(kind):
    curve = foil_curve(kind)
    assert curve is foil_curve(kind)
    values = curve.evaluate(np.linspace(0, 1, 500))
    assert values.min() > 0.2
    assert values.max() < 1.06  # above 1 only where a channel lies outside sRGB
    np.testing.assert_allclose(values[0], 1.0, rtol=0, atol=1e-9)


def test_kinds_are_unique_and_others_are_refused():
    assert len(set(FOIL_KINDS)) == len(FOIL_KINDS)
    with pytest.raises(KeyError, match="tin foil"):
        foil_curve("tin foil")


@pytest.mark.parametrize("name", DEFAULTS)
def test_each_default_lies_in_its_range_and_names_a_source(name):
    entry = DEFAULTS[name]
    assert 0.0 < entry.low <= entry.value <= entry.high
    if entry.quantity in ("reflectance", "transmittance", "GGX alpha"):
        assert entry.high <= 1.0
    assert entry.source


def test_defaults_agree_with_published_ranges():
    # ISO 13655 backings: white 0.79 to 0.91; black density 1.3 to 1.6.
    white, black = DEFAULTS["white paper"], DEFAULTS["black backing"]
    assert (white.low, white.high) == (0.79, 0.91)
    assert black.low >= 10**-1.6 - 5e-4
    assert black.high <= 10**-1.3 + 5e-4
    # Stops of a gaffer's table: full diffusion 1 1/2, grid cloth 2 1/2.
    assert DEFAULTS["full diffusion"].value == pytest.approx(0.354, abs=5e-4)
    assert DEFAULTS["half diffusion"].value == pytest.approx(0.595, abs=5e-4)
    assert DEFAULTS["quarter diffusion"].value == pytest.approx(0.794, abs=5e-4)
    assert DEFAULTS["grid cloth"].value == pytest.approx(0.177, abs=5e-4)
