import numpy as np
import plain_laws
import pytest

from lightplan.optics import colour, exposure_values

EXACT = 1e-9


def settings(row):
    return {"f_number": row["N"], "time_s": row["t"], "iso": row["S"]}


def test_luminance_and_illuminance_per_exposure_value(reference):
    for value, row in reference["exposure"]["ev_luminance_illuminance"].items():
        at_iso_100 = {"f_number": 1.0, "time_s": 2.0 ** -float(value), "iso": 100.0}
        assert plain_laws.metered_luminance(**at_iso_100) == pytest.approx(row["L"], rel=EXACT)
        assert plain_laws.metered_illuminance(**at_iso_100) == pytest.approx(row["E"], rel=EXACT)
        assert exposure_values.ev_100(**at_iso_100) == pytest.approx(float(value), abs=1e-12)


def test_worked_meter_settings(reference):
    rows = reference["exposure"]["meter"] + reference["exposure"]["L_from_settings"]
    for row in rows:
        luminance = plain_laws.metered_luminance(**settings(row))
        assert luminance == pytest.approx(row["L"], rel=EXACT)
        assert plain_laws.metered_illuminance(**settings(row)) == pytest.approx(row["E"], rel=EXACT)
    for row in reference["exposure"]["meter"]:
        ev = exposure_values.ev(f_number=row["N"], time_s=row["t"])
        assert ev == pytest.approx(row["EV"], abs=5e-5)
        plane = plain_laws.focal_plane_exposure(row["L"], f_number=row["N"], time_s=row["t"])
        assert plane == pytest.approx(row["H"], rel=EXACT)


def test_iso_shifts_the_exposure_value_by_stops():
    base = {"f_number": 8.0, "time_s": 1 / 125}
    assert exposure_values.ev_100(iso=100, **base) == exposure_values.ev(**base)
    assert exposure_values.ev_100(iso=400, **base) == pytest.approx(exposure_values.ev(**base) - 2)


def test_luminance_that_clips(reference):
    for row in reference["exposure"]["L_sat"]:
        clip = exposure_values.saturation_luminance(**settings(row))
        assert clip == pytest.approx(row["L"], rel=EXACT)
        assert clip == pytest.approx(120 * row["N"] ** 2 / (row["S"] * row["t"]), rel=EXACT)
        reached = plain_laws.focal_plane_exposure(clip, f_number=row["N"], time_s=row["t"])
        assert reached == pytest.approx(
            exposure_values.saturation_exposure(iso=row["S"]), rel=EXACT
        )
        time = exposure_values.time_for_saturation(clip, f_number=row["N"], iso=row["S"])
        assert time == pytest.approx(row["t"], rel=EXACT)


def test_a_metered_tone_sits_well_below_clipping(reference):
    base = {"f_number": 5.6, "time_s": 0.02, "iso": 200.0}
    share = plain_laws.metered_luminance(**base) / exposure_values.saturation_luminance(**base)
    assert share == pytest.approx(reference["exposure"]["metered_fraction_of_saturation"], abs=5e-7)
    stops = reference["exposure"]["metered_to_saturation_stops"]
    assert -np.log2(share) == pytest.approx(stops, abs=5e-5)


def test_card_in_a_foil_worked_to_the_picture(reference):
    for row in reference["exposure"]["clip_worked"]:
        clip = exposure_values.saturation_luminance(f_number=row["N"], time_s=1 / 125, iso=row["S"])
        level = row["R"] * row["L_source"] / clip
        assert level == pytest.approx(row.get("unclipped", row["linear"]), abs=5e-7)
        code = 255 * colour.srgb_encode(min(level, 1.0))
        assert code == pytest.approx(row["sRGB_code"], abs=5e-3)


def test_guide_numbers():
    # Worked in photography handbooks: GN 32 (m) at 4 m gives f/8, GN 40 at 2 m f/20.
    assert plain_laws.flash_f_number(32.0, distance_m=4.0) == 8.0
    assert plain_laws.flash_f_number(40.0, distance_m=2.0) == 20.0
    assert plain_laws.flash_f_number(40.0, distance_m=1.0, iso=400.0) == pytest.approx(80.0)
