import numpy as np
import pytest

from lightplan.optics import fresnel
from lightplan.optics.constants import METALS, refractive_index
from lightplan.optics.spectra import linear_srgb


def test_native_rows_are_the_published_ones(reference):
    for metal, entry in reference["metals"]["table"].items():
        micrometres, n, k = np.array(entry["rows_um_n_k"]).T
        assert len(micrometres) >= 8
        got_n, got_k = refractive_index(metal, micrometres * 1e3)
        np.testing.assert_allclose(got_n, n, rtol=0, atol=1e-6, err_msg=metal)
        np.testing.assert_allclose(got_k, k, rtol=0, atol=1e-6, err_msg=metal)


def test_interpolated_rows_and_their_reflectance(reference):
    for metal, entry in reference["metals"]["table"].items():
        for nanometres, row in entry["at_nm_n_k_R"].items():
            n, k = refractive_index(metal, float(nanometres))
            assert n == pytest.approx(row["n"], abs=1e-4)
            assert k == pytest.approx(row["k"], abs=1e-4)
            assert fresnel.conductor(1.0, n, k)[0] == pytest.approx(row["R0"], abs=1e-4)


def test_colour_of_bare_metals(reference):
    # Against colour-science at 1 nm steps; ours has 5 nm.
    wave = np.arange(380.0, 781.0, 5.0)
    for metal, entry in reference["metals"]["table"].items():
        reflectance = fresnel.conductor(1.0, *refractive_index(metal, wave))[0]
        got = linear_srgb(wave, reflectance)
        np.testing.assert_allclose(got, entry["linear_srgb"], rtol=0, atol=2e-4, err_msg=metal)
        assert got @ [0.2126, 0.7152, 0.0722] == pytest.approx(entry["Y"], abs=2e-4)


def test_each_table_spans_the_visible_and_names_its_paper():
    assert set(METALS) == {"gold", "silver", "copper", "aluminium", "chromium", "nickel"}
    for table in METALS.values():
        assert (np.diff(table.wavelength_nm) > 0).all()
        assert table.wavelength_nm[0] < 380.0
        assert table.wavelength_nm[-1] > 750.0
        assert not table.n.flags.writeable
        assert "Phys. Rev. B" in table.reference or "Appl. Opt." in table.reference


def test_an_unknown_metal_is_refused():
    with pytest.raises(KeyError, match="tin"):
        refractive_index("tin", 550.0)
