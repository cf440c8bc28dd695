"""Exposure, lamp output and lamp colour, carried through from rig to picture.

Sources: saturation speed 78 / S with q = 0.65, so L = 120 N2 / (S t) (ISO 12232); incident
meter E = C N2 / (S t), C = 250 (ISO 2720); guide number = f-number x distance; Planckian
locus and Bradford adaptation from colour-science and the tabled chromaticities.
"""

import dataclasses
import math

import colour
import numpy as np
import pytest

from lightplan.light import Detail, Engine
from lightplan.light.exposure import (
    camera_picture,
    clip_luminance,
    exposure_of,
    foil_share,
    sheet_picture,
    sheet_share,
)
from lightplan.scene import (
    AngularProfile,
    Camera,
    Conductor,
    Exposure,
    Foil,
    Lamp,
    Output,
    Paper,
    Placement,
    Rig,
    Room,
    Sheet,
)

SMALL = Detail(sheet_long_side=31, camera_rows=40, camera_cols=60, foil_rays=30_000)
SUNNY = Exposure(f_number=8.0, time_s=1 / 125, iso=100.0)


def rig(*lamps, exposure=SUNNY, artwork=((0.0,),), white=0.18, camera=(0.0, -1.0, 900.0), **more):
    sheet = Sheet(
        width_mm=100.0,
        height_mm=70.0,
        paper=Paper(reflectance=(white,) * 3),
        artwork=np.array(artwork, float),
        # n = 1, k = sqrt(46): reflectance 46 / 50 = 0.92 straight on
        foil=Foil(conductor=Conductor(eta=(1.0,) * 3, k=(46**0.5,) * 3), roughness=(0.001,) * 2),
    )
    return Rig(
        title="exposure",
        lamps=lamps,
        sheet=sheet,
        room=Room(table=None),
        camera=Camera(placement=Placement(camera), body=None, exposure=exposure, **more),
    )


def bulb(z, *, unit="cd", value=1000.0, width=4.0, **more):
    return Lamp(
        name="lamp",
        shape="bulb",
        width_mm=width,
        placement=Placement((0.0, 0.0, z)),
        output=Output(value=value, unit=unit),
        **more,
    )


def middle(values):
    return values[values.shape[0] // 2, values.shape[1] // 2]


def predicted(rig):
    return Engine(rig, SMALL).layers(rig)


@pytest.mark.parametrize(
    ("f_number", "time_s", "iso", "clip"),
    [
        (8, 1 / 125, 100, 9600.0),
        (16, 1 / 125, 100, 38400.0),
        (8, 1.0, 100, 76.8),
        (8, 1 / 125, 400, 2400.0),
    ],
)
def test_luminance_that_clips(f_number, time_s, iso, clip):
    lit = rig(bulb(700.0), exposure=Exposure(f_number=f_number, time_s=time_s, iso=iso))
    assert clip_luminance(lit, predicted(lit)) == pytest.approx(clip, rel=1e-9)
    assert not exposure_of(lit, predicted(lit)).is_suggested


@pytest.mark.parametrize(("luminance", "level"), [(5000.0, 0.479167), (12000.0, 1.15)])
def test_mirrored_lamp_lands_on_its_level(luminance, level):
    """R = 0.92, f/8 1/125 s ISO 100: 5000 cd/m2 on 0.479167 of clipping, 12000 on 1.15."""
    lamp = Lamp(
        name="panel",
        width_mm=900.0,
        height_mm=900.0,
        placement=Placement((0, 0, 1500.0)),
        output=Output(value=luminance, unit="cd/m2"),
    )
    lit = rig(lamp, artwork=((1.0,),))
    layers = predicted(lit)
    assert middle(sheet_picture(lit, layers)) == pytest.approx([level] * 3, rel=5e-4)
    picture = camera_picture(lit, layers)
    assert middle(picture) == pytest.approx([level] * 3, rel=5e-4)
    if level > 1:
        assert (picture > 1).any()  # not cut at 1


def test_grey_card_metered_by_a_reflected_meter():
    """K = 12.5: what is metered lands 3.263 stops below clipping, 0.104167 of it."""
    settings = Exposure(f_number=16.0, time_s=1 / 125, iso=100.0)
    lux = 4000 * math.pi / 0.18  # so that the card has the metered 4000 cd/m2
    lit = rig(bulb(1000.0, value=lux), exposure=settings)
    level = middle(sheet_picture(lit, predicted(lit)))
    assert level == pytest.approx([0.104167] * 3, rel=1e-5)


@pytest.mark.parametrize("time_s", [1 / 60, 1 / 250])
@pytest.mark.parametrize(("metres", "f_number"), [(4.0, 8.0), (2.0, 16.0)])
def test_guide_number_gives_the_same_picture_by_its_own_rule(metres, f_number, time_s):
    """GN 32 at 4 m is f/8, at 2 m f/16, whatever the shutter time.

    By the incident-meter law the flash then gives C N2 / S lux seconds, 160 at f/8; a
    reflectance of 0.18 lands on 0.18 / pi x 250 / 120 of clipping.
    """
    flash = bulb(1000 * metres, unit="guide number", value=32.0)
    lit = rig(flash, exposure=Exposure(f_number=f_number, time_s=time_s, iso=100.0))
    level = middle(sheet_picture(lit, predicted(lit)))
    assert level == pytest.approx([0.18 / math.pi * 250 / 120] * 3, rel=1e-5)


def test_iso_400_doubles_the_guide_number():
    """At ISO 400 the same flash is right at twice the distance."""
    flash = bulb(8000.0, unit="guide number", value=32.0)
    far = rig(flash, exposure=Exposure(f_number=8.0, time_s=1 / 125, iso=400.0))
    level = middle(sheet_picture(far, predicted(far)))
    assert level == pytest.approx([0.18 / math.pi * 250 / 120] * 3, rel=1e-5)


@pytest.mark.parametrize(
    ("unit", "value", "candela"),
    [
        ("cd", 500.0, 500.0),
        ("lx at 1 m", 500.0, 500.0),
        ("lm", 4 * math.pi * 500, 500.0),
        ("cd/m2", 500.0 / (math.pi * 0.002**2), 500.0),
    ],
)
def test_every_unit_of_output_gives_the_same_light(unit, value, candela):
    """A bare bulb of 500 cd: 500 lx at 1 m, 2000 pi lm, I / (pi r2) cd/m2."""
    lit = rig(bulb(1000.0, unit=unit, value=value), white=1.0)
    found = middle(predicted(lit).sheet_paper)
    assert found == pytest.approx([candela / math.pi] * 3, rel=1e-5)


@pytest.mark.parametrize("stops", [-3.0, -0.5, 1.0])
def test_trim_is_in_stops(stops):
    full, trimmed = rig(bulb(1000.0)), rig(bulb(1000.0, trim_stops=stops))
    ratio = predicted(trimmed).sheet_paper / predicted(full).sheet_paper
    assert ratio == pytest.approx(2.0**stops, rel=1e-5)


def test_a_lamp_that_is_off_gives_nothing():
    assert predicted(rig(bulb(1000.0, on=False))).sheet_paper.max() == 0


PLANCK = {2700: (0.45986, 0.41060), 3200: (0.42336, 0.39895), 4000: (0.38044, 0.37675),
          5500: (0.33244, 0.34104), 6500: (0.31353, 0.32363)}  # fmt: skip


LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize(("lamp_k", "white_k"), [(3200, 5500), (6500, 4000), (2700, 3200)])
def test_lamp_colour_as_the_white_balance_sees_it(lamp_k, white_k):
    """Planckian chromaticities of the table, Bradford to D65, linear sRGB, by colour-science."""
    lamp, white = (colour.xy_to_XYZ(PLANCK[k]) for k in (lamp_k, white_k))
    d65 = colour.xy_to_XYZ((0.3127, 0.3290))
    seen = colour.adaptation.chromatic_adaptation_VonKries(lamp, white, d65, transform="Bradford")
    wanted = np.maximum(colour.XYZ_to_sRGB(seen, apply_cctf_encoding=False), 0)
    wanted /= wanted @ LUMINANCE  # the lamp's figure is its luminance
    lit = rig(bulb(1000.0, colour_k=lamp_k), white_balance_k=white_k, white=1.0)
    found = middle(predicted(lit).sheet_paper) * math.pi / 1000
    assert found == pytest.approx(wanted, abs=2e-3)


def test_white_balance_follows_the_first_lamp_when_none_is_set():
    lit = rig(bulb(1000.0, colour_k=2700))
    assert np.ptp(predicted(lit).sheet_paper, axis=-1).max() < 1e-5 * 1000


def test_paper_is_put_on_the_wanted_level():
    lit = rig(bulb(1000.0), exposure=Exposure(paper_level=0.6))
    layers = predicted(lit)
    settings = exposure_of(lit, layers)
    assert settings.is_suggested
    assert np.quantile(sheet_picture(lit, layers)[..., 1], 0.98) == pytest.approx(0.6, rel=1e-3)
    # and the suggested settings have that clip level
    law = 120 * settings.f_number**2 / (settings.iso * settings.time_s)
    assert law == pytest.approx(settings.clip_cd_m2, rel=1e-9)


def test_bright_foil_lowers_the_exposure_to_its_own_level():
    lamp = Lamp(
        name="panel",
        width_mm=900.0,
        height_mm=900.0,
        placement=Placement((0, 0, 1500.0)),
        output=Output(value=5000.0, unit="cd/m2"),
    )
    wish = Exposure(paper_level=0.7, foil_level=0.9)
    lit = rig(lamp, exposure=wish, artwork=((1.0, 0.0),))
    picture = sheet_picture(lit, predicted(lit))
    assert np.quantile(picture[:, :14], 0.98) == pytest.approx(0.9, rel=0.01)
    assert picture[:, 18:].max() < 0.7


def test_a_phone_s_picture_is_predicted_as_the_phone_shows_it():
    """The wanted levels are the picture's, and a run of light is shorter in it."""
    plain = rig(bulb(1000.0), exposure=Exposure(paper_level=0.8))
    phone = dataclasses.replace(plain, camera=dataclasses.replace(plain.camera, tone_curve="phone"))
    paper = {}
    for lit in (plain, phone):
        layers = predicted(lit)
        shown = sheet_picture(lit, layers)[..., 1]
        assert np.quantile(shown, 0.98) == pytest.approx(0.8, rel=0.01)
        assert np.quantile(camera_picture(lit, layers), 0.98) == pytest.approx(0.8, rel=0.05)
        paper[lit.camera.tone_curve] = shown
    run = {name: np.log2(one.max() / one.min()) for name, one in paper.items()}
    assert run["phone"] < 0.95 * run[None]


def test_a_small_sensor_is_a_phone_s_unless_the_rig_says_otherwise():
    camera = dataclasses.replace(rig().camera, sensor_width_mm=4.2, sensor_height_mm=5.6)
    assert camera.lifts_tones
    assert not dataclasses.replace(camera, tone_curve="plain").lifts_tones
    assert not rig().camera.lifts_tones
    assert dataclasses.replace(rig().camera, tone_curve="phone").lifts_tones


def test_a_third_of_a_stop_more_light_is_that_by_any_tone_curve():
    for curve in ("plain", "phone"):
        before = dataclasses.replace(rig().camera, tone_curve=curve, exposure=Exposure())
        after = before.exposed_more(-1 / 3, rig().sheet.paper)
        old, new = (
            camera.light_of(np.array([camera.exposure.level_on(rig().sheet.paper)]))
            for camera in (before, after)
        )
        assert np.log2(new / old) == pytest.approx(-1 / 3, abs=1e-6)


def test_a_sheet_in_the_dark_is_black_not_undefined():
    dark = rig(exposure=Exposure(paper_level=0.7))
    layers = predicted(dark)
    assert clip_luminance(dark, layers) == 1.0
    assert camera_picture(dark, layers).max() == 0


def test_artwork_lies_on_the_sheet_the_right_way_round():
    """Row 0 is the far edge (+y), column 0 the left (-x)."""
    art = np.zeros((70, 100))
    art[:35, :50] = 1.0
    lit = rig(bulb(1000.0), artwork=art)
    x, y = np.array([-25.0, 25.0, -25.0, 25.0, 60.0]), np.array([17.0, 17.0, -17.0, -17.0, 0.0])
    assert foil_share(lit, x, y).tolist() == [1.0, 0.0, 0.0, 0.0, 0.0]
    share = sheet_share(lit, predicted(lit))
    assert share.shape == predicted(lit).sheet_paper.shape[:2]
    assert share[:10, :14].min() == 1.0
    assert share[12:].max() == 0.0
    assert share.mean() == pytest.approx(0.25, abs=0.02)


@pytest.mark.parametrize("pixels", [2, 3, 4.5])
def test_artwork_that_is_averaged_stays_where_it_is(pixels):
    art = np.zeros((41, 61))
    art[20, 30] = 1.0  # the middle of the sheet
    sheet = Sheet(width_mm=122, height_mm=82, artwork=art)
    lit = dataclasses.replace(rig(), sheet=sheet)
    x, y = np.meshgrid(2.0 * np.arange(-6, 7), 2.0 * np.arange(-6, 7))
    share = foil_share(lit, x, y, blur_mm=2 * pixels).astype(float)
    assert np.sum(share * x) / share.sum() == pytest.approx(0, abs=1e-6)
    assert np.sum(share * y) / share.sum() == pytest.approx(0, abs=1e-6)
    assert share.sum() == pytest.approx(1, rel=1e-5)


def test_the_camera_sees_the_artwork_upright():
    """From the maker's side the far edge is at the top and left is left."""
    art = np.zeros((70, 100))
    art[:35, :50] = 1.0
    lamp = Lamp(
        name="panel",
        width_mm=900.0,
        height_mm=900.0,
        placement=Placement((0, 900.0, 900.0)),
        output=Output(value=5000.0, unit="cd/m2"),
    )
    lit = rig(lamp, artwork=art, camera=(0.0, -500.0, 500.0))
    layers = predicted(lit)
    picture = camera_picture(lit, layers)[..., 1]
    on_sheet = np.isfinite(layers.camera_xyz_mm[..., 0])
    shiny = np.argwhere((picture > 0.3) & on_sheet)
    plain = np.argwhere((picture < 0.3) & on_sheet)
    assert shiny[:, 0].max() <= plain[:, 0].max() - 3
    assert shiny.mean(axis=0)[1] < plain.mean(axis=0)[1]
    assert len(shiny) / (len(shiny) + len(plain)) == pytest.approx(0.25, abs=0.04)


def lambertian_profile(step_deg=1.0):
    angles = np.radians(np.arange(0.0, 90.0 + step_deg / 2, step_deg))
    return AngularProfile(
        vertical_rad=angles, horizontal_rad=np.zeros(1), candela=700 * np.cos(angles)[None]
    )


@pytest.mark.parametrize("unit", ["cd", "lm", "cd/m2", "lx at 1 m"])
def test_a_photometric_file_of_a_matte_lamp_changes_nothing(unit):
    plain = Lamp(
        name="panel",
        width_mm=200.0,
        height_mm=120.0,
        output=Output(value=3000.0, unit=unit),
        placement=Placement((300.0, 200.0, 500.0)),
    )
    filed = dataclasses.replace(plain, profile=lambertian_profile())
    camera = (-300.0, -200.0, 500.0)
    one, two = rig(plain, camera=camera), rig(filed, camera=camera)
    layers, by_file = predicted(one), predicted(two)
    assert by_file.sheet_paper == pytest.approx(layers.sheet_paper, rel=3e-3)
    lit = layers.sheet_foil > 0.5 * layers.sheet_foil.max()
    assert by_file.sheet_foil[lit] == pytest.approx(layers.sheet_foil[lit], rel=3e-3)


def test_a_narrow_beam_follows_its_file():
    """I = 1000 cos^20 a cd: illuminance I(a) cos a / d2 across the sheet."""
    angles = np.radians(np.arange(0.0, 90.5, 0.5))
    beam = AngularProfile(
        vertical_rad=angles, horizontal_rad=np.zeros(1), candela=np.cos(angles)[None] ** 20
    )
    lamp = Lamp(
        name="spot",
        shape="disk",
        width_mm=4.0,
        placement=Placement((0, 0, 150.0), (0, 0, 0)),
        output=Output(value=1000.0, unit="cd"),
        profile=beam,
    )
    lit = rig(lamp, white=1.0)
    layers = predicted(lit)
    x, y = np.meshgrid(layers.sheet_x_mm, layers.sheet_y_mm)
    distance = np.sqrt(x**2 + y**2 + 150.0**2)
    cosine = 150.0 / distance
    lux = 1000 * cosine**21 / (distance / 1000) ** 2
    assert layers.sheet_paper[..., 1] * math.pi == pytest.approx(lux, rel=3e-3)
