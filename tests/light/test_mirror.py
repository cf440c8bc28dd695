"""What foil and gloss mirror, against closed forms.

Sources: image luminance = reflectance x luminance (textbook; Fresnel); family of angles of a
flat mirror by similar triangles; GGX (Walter, Marschner, Li and Torrance, EGSR 2007), values
that agree with Mitsuba's distribution to all printed digits; ISO 2813 gloss standard, black
glass of n = 1.567; grating equation sin a + sin b = m wavelength / pitch.
"""

import math

import colour
import numpy as np
import pytest

from lightplan.light import Detail, Engine
from lightplan.optics import fresnel
from lightplan.scene import (
    Body,
    Camera,
    Conductor,
    Foil,
    Grating,
    Lamp,
    Output,
    Paper,
    Placement,
    Rig,
    Room,
    Sheet,
    Table,
)

PERFECT = Conductor(eta=(0.0,) * 3, k=(1.0,) * 3)
MIRROR = Foil(conductor=PERFECT, roughness=(0.001, 0.001))
SMALL = Detail(sheet_long_side=61, camera_rows=16, camera_cols=24, foil_rays=100_000, sky_rays=34)


def rig(lamps, *, camera, foil=MIRROR, size=(210.0, 148.0), body=None, paper=None, **more):
    """A sheet without table in the dark; lens at `camera`."""
    lens = Placement(camera, (0.0, 0.0, 0.0)) if isinstance(camera, tuple) else camera
    return Rig(
        title="mirror",
        lamps=tuple(lamps),
        room=Room(table=more.pop("table", None)),
        sheet=Sheet(
            width_mm=size[0],
            height_mm=size[1],
            foil=foil,
            paper=Paper() if paper is None else paper,
        ),
        camera=Camera(placement=lens, body=body, **more),
    )


def panel(position, aim=(0.0, 0.0, 0.0), *, width=300.0, height=300.0, luminance=5000.0, **more):
    return Lamp(
        name="panel",
        placement=Placement(position, aim),
        width_mm=width,
        height_mm=height,
        output=Output(value=luminance, unit="cd/m2"),
        **more,
    )


def around(distance, angle_deg, azimuth_deg=90.0):
    """A point at a distance from the middle, at an angle from straight up."""
    angle, turn = math.radians(angle_deg), math.radians(azimuth_deg)
    flat = distance * math.sin(angle)
    return (flat * math.cos(turn), flat * math.sin(turn), distance * math.cos(angle))


def middle(values):
    return values[values.shape[0] // 2, values.shape[1] // 2]


def half_width(x, values):
    """Distance between the two places where a hump falls to half its height."""
    level = values / values.max() - 0.5
    cross = np.flatnonzero(np.sign(level[1:]) != np.sign(level[:-1]))
    assert len(cross) == 2
    at = [x[i] - level[i] * (x[i + 1] - x[i]) / (level[i + 1] - level[i]) for i in cross]
    return at[1] - at[0]


@pytest.mark.parametrize("angle_deg", [0.0, 30.0, 60.0])
def test_image_luminance_is_reflectance_times_luminance_at_any_distance(angle_deg):
    """Bare metal of n = 0.43, k = 2.455: Fresnel 0.786916, 0.788132 at 60 deg."""
    metal = Foil(conductor=Conductor(eta=(0.43,) * 3, k=(2.455,) * 3), roughness=(0.001, 0.001))
    s, p = fresnel.conductor(math.cos(math.radians(angle_deg)), 0.43, 2.455)
    reflectance = 0.5 * (s + p)
    if angle_deg in (0.0, 60.0):
        assert reflectance == pytest.approx({0.0: 0.786916, 60.0: 0.788132}[angle_deg], abs=1e-6)
    for distance in (500.0, 1000.0, 2000.0):
        lamp = panel(around(distance, angle_deg, -90.0), width=distance, height=distance)
        seen = rig([lamp], camera=around(400.0, angle_deg), foil=metal)
        found = middle(Engine(seen, SMALL).layers(seen).sheet_foil)
        assert found == pytest.approx([reflectance * 5000] * 3, rel=5e-4)


@pytest.mark.parametrize(
    ("height", "lamp_height", "size", "covered"),
    [
        (1000.0, 600.0, (297.0, 210.0), (475.2, 336.0)),
        (1000.0, 1000.0, (297.0, 210.0), (594.0, 420.0)),
        (800.0, 400.0, (420.0, 297.0), (630.0, 445.5)),
    ],
)
@pytest.mark.parametrize("shift", [(0.0, 0.0), (-40.0, 25.0)])
def test_glare_region_is_the_card_scaled_by_similar_triangles(
    height, lamp_height, size, covered, shift
):
    """A sheet mirrors (h + Hp) / h of its size; a quarter of that area shows as half its size."""
    x, y = shift
    lamp = panel((x, y, lamp_height), (x, y, 0.0), width=covered[0] / 2, height=covered[1] / 2)
    seen = rig([lamp], camera=(0.0, 0.0, height), size=size)
    engine = Engine(seen, Detail(sheet_long_side=169, camera_rows=16, camera_cols=24))
    layers = engine.layers(seen)
    scale = height / (height + lamp_height)
    glare = layers.sees == layers.sees_names.index("panel")
    for axis, grid, extent, move in (
        (0, layers.sheet_x_mm, size[0] / 4, x),
        (1, layers.sheet_y_mm, size[1] / 4, y),
    ):
        inside = grid[glare.any(axis=axis)]
        step = abs(grid[1] - grid[0])
        assert inside.max() == pytest.approx(scale * move + extent, abs=step)
        assert inside.min() == pytest.approx(scale * move - extent, abs=step)
    lit = layers.sheet_foil[..., 1] > 2500
    assert (lit == glare).mean() > 0.98


@pytest.mark.parametrize("height", [250.0, 500.0, 1000.0])
def test_the_camera_mirrors_half_its_width_at_every_distance(height):
    body = Body(width_mm=140.0, height_mm=100.0, setback_mm=1e-3, reflectance=0.5)
    seen = rig([], camera=(0.0, 0.0, height), body=body)
    layers = Engine(seen, SMALL).layers(seen)
    mirrored = layers.sees == layers.sees_names.index("camera")
    for axis, grid, width in ((0, layers.sheet_x_mm, 140.0), (1, layers.sheet_y_mm, 100.0)):
        count = mirrored.any(axis=axis).sum()
        assert count * abs(grid[1] - grid[0]) == pytest.approx(width / 2, abs=7.1)


def test_lamps_outside_the_family_of_angles_leave_foil_dark():
    away = panel((0.0, -400.0, 700.0), (0.0, -900.0, 900.0))
    seen = rig([away], camera=(0.0, 400.0, 700.0))
    assert Engine(seen, SMALL).layers(seen).sheet_foil.max() == 0
    # copy lamps at 45 deg keep out of the family of angles of a camera on the normal
    copy = panel(around(1000.0, 45.0), width=200, height=200)
    seen = rig([copy], camera=(0.0, 0.0, 800.0))
    layers = Engine(seen, SMALL).layers(seen)
    assert layers.sheet_foil.max() < 1e-3 * 5000
    assert layers.sheet_paper.min() > 0.1 * 0.85 * 5000 * 0.04 * math.cos(math.pi / 4) / math.pi


SPREAD_DEG = {0.05: 3.693, 0.1: 7.417, 0.2: 15.098}


@pytest.mark.parametrize("alpha", SPREAD_DEG)
def test_mirror_ray_spreads_by_twice_the_half_width_of_the_lobe(alpha):
    """Where view and lamp lie 2 HWHM apart from mirror directions, D is half: tabled spread."""
    lens, lamp = 500.0, 1500.0
    size = 500.0
    foil = Foil(conductor=PERFECT, roughness=(alpha, alpha))
    point = Lamp(
        name="point",
        shape="bulb",
        width_mm=4.0,
        placement=Placement((0, 0, lamp)),
        output=Output(value=1000.0, unit="cd"),
    )
    seen = rig([point], camera=(0.0, 0.0, lens), foil=foil, size=(size, 100.0))
    detail = Detail(sheet_long_side=251, camera_rows=16, camera_cols=24, sky_rays=34)
    layers = Engine(seen, detail).layers(seen)
    x = layers.sheet_x_mm
    row = layers.sheet_foil[len(layers.sheet_y_mm) // 2, :, 1].astype(float)
    view, light = np.arctan(x / lens), np.arctan(x / lamp)
    # what is not the lobe: illuminance and the cosines of the microfacet model
    lobe = row * (x**2 + lamp**2) ** 1.5 * np.cos(view) * np.cos(light)
    spread = np.degrees(half_width(np.abs(view + light) * np.sign(x), lobe)) / 2
    assert spread == pytest.approx(SPREAD_DEG[alpha], rel=0.01)


GGX = {0.1: {0: 31.8310, 1: 29.9948, 5: 10.3699, 10: 2.00423, 20: 0.201110},
       0.2: {0: 7.95775, 1: 7.84267, 5: 5.69285, 10: 2.67838, 20: 0.548931}}  # fmt: skip


@pytest.mark.parametrize("alpha", GGX)
@pytest.mark.parametrize("angle_deg", [0, 1, 5, 10, 20])
def test_a_lamp_at_the_lens_shows_the_lobe_itself(alpha, angle_deg):
    """Retro-reflection at angle a: L = D(a) G1(a)^2 / (4 cos2 a) x E, F = 1, D from the table."""
    angle = math.radians(angle_deg)
    place = around(800.0, angle_deg)
    point = Lamp(
        name="point",
        shape="bulb",
        width_mm=4.0,
        placement=Placement(place),
        output=Output(value=1000.0, unit="cd"),
    )
    foil = Foil(conductor=PERFECT, roughness=(alpha, alpha))
    seen = rig([point], camera=place, foil=foil, size=(10.0, 10.0))
    found = middle(Engine(seen, SMALL).layers(seen).sheet_foil)[1]
    masking = 2 / (1 + math.sqrt(1 + (alpha * math.tan(angle)) ** 2))
    lux = 1000 * math.cos(angle) / 0.8**2
    wanted = GGX[alpha][angle_deg] * masking**2 / (4 * math.cos(angle) ** 2) * lux
    assert found == pytest.approx(wanted, rel=2e-3)


@pytest.mark.parametrize(("angle_deg", "share"), [(20.0, 0.049078), (60.0, 0.100056)])
def test_gloss_standard_mirrors_its_assigned_share(angle_deg, share):
    """Black glass n = 1.567 (ISO 2813): 4.91 % at 20 deg, 10.01 % at 60 deg."""
    glass = Paper(reflectance=(0.0,) * 3, coat_index=1.567, coat_roughness=0.001)
    lamp = panel(around(500.0, angle_deg, -90.0))
    seen = rig([lamp], camera=around(400.0, angle_deg), paper=glass, size=(20.0, 20.0))
    layers = Engine(seen, SMALL).layers(seen)
    ratio = middle(layers.sheet_paper) / middle(layers.sheet_foil)
    assert ratio == pytest.approx([share] * 3, abs=5e-5)


BREWSTER_DEG = math.degrees(math.atan(1.5))


@pytest.mark.parametrize(("axis_deg", "s_share"), [(0.0, 1.0), (90.0, 0.0), (45.0, 0.5)])
def test_polariser_at_brewsters_angle(axis_deg, s_share):
    """n = 1.5 at 56.31 deg: R_p = 0 and R_s = ((n2 - 1) / (n2 + 1))2; a filter halves the rest."""
    varnish = Paper(reflectance=(0.0,) * 3, coat_index=1.5, coat_roughness=0.001)
    silver = Foil(kind="aluminium", roughness=(0.001, 0.001))
    lamp = panel(around(500.0, BREWSTER_DEG, -90.0))
    options = {"camera": around(400.0, BREWSTER_DEG), "paper": varnish, "size": (20.0, 20.0)}
    with_filter = rig([lamp], polariser_rad=math.radians(axis_deg), foil=silver, **options)
    layers = Engine(with_filter, SMALL).layers(with_filter)
    s_reflectance = ((1.5**2 - 1) / (1.5**2 + 1)) ** 2
    wanted = 0.5 * s_share * s_reflectance * 5000
    assert middle(layers.sheet_paper) == pytest.approx([wanted] * 3, rel=2e-3, abs=1e-2)
    without = rig([lamp], foil=silver, **options)
    plain = middle(Engine(without, SMALL).layers(without).sheet_foil)
    metal = middle(layers.sheet_foil) / plain
    assert metal == pytest.approx([0.5] * 3, abs=0.06)  # metal hardly changes but for the half


def test_filter_halves_matte_light_whatever_its_turn():
    lamp = panel((300.0, 0.0, 500.0))
    plain = rig([lamp], camera=(0.0, -300.0, 500.0))
    paper = Engine(plain, SMALL).layers(plain).sheet_paper
    for turn in (0.0, 1.0):
        filtered = rig([lamp], camera=(0.0, -300.0, 500.0), polariser_rad=turn)
        assert Engine(filtered, SMALL).layers(filtered).sheet_paper == pytest.approx(paper / 2)


def holographic(angle_deg, *, pitch_um=1.0, width=12.0):
    """Colour at the sheet's middle for a small lamp at an angle, camera on the normal."""
    foil = Foil(
        conductor=PERFECT,
        roughness=(0.002, 0.002),
        grating=Grating(lines_per_mm=1000 / pitch_um, direction_rad=math.pi / 2, strength=1.0),
    )
    lamp = panel(around(1000.0, angle_deg), width=60.0, height=width)
    seen = rig([lamp], camera=(0.0, 0.0, 900.0), foil=foil, size=(10.0, 10.0))
    detail = Detail(sheet_long_side=13, camera_rows=16, camera_cols=24, sky_rays=34)
    return middle(Engine(seen, detail).layers(seen).sheet_foil).astype(float)


def spectral_hue(wavelength_nm):
    """Direction of a spectral colour in (X, Y, Z) -> linear sRGB, by colour-science."""
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    rgb = colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB @ cmfs[wavelength_nm]
    return np.maximum(rgb, 0) / rgb.max()


@pytest.mark.parametrize(
    ("pitch_um", "wavelength_nm", "angle_deg"),
    [
        (1.0, 450.0, 26.744),
        (1.0, 550.0, 33.367),
        (1.0, 650.0, 40.542),
        (0.8, 450.0, 34.229),
        (0.8, 550.0, 43.433),
        (0.8, 650.0, 54.341),
        (1.5, 450.0, 17.458),
        (1.5, 550.0, 21.510),
        (1.5, 650.0, 25.679),
    ],
)
def test_holographic_foil_shows_the_wavelength_of_the_lamps_angle(
    pitch_um, wavelength_nm, angle_deg
):
    """First order to a camera on the normal: sin a = wavelength / pitch."""
    found = holographic(angle_deg, pitch_um=pitch_um, width=12 / pitch_um)
    assert found.max() > 10
    assert found / found.max() == pytest.approx(spectral_hue(wavelength_nm), abs=0.08)


def test_the_rainbow_ends_where_the_table_says():
    """Pitch 1.0 um, 390 to 730 nm: colour from 22.95 to 46.89 deg; none within, red at 45 deg."""
    red = holographic(45.0)
    assert red[0] > 20 * max(red[1], red[2])  # 707 nm, deep red
    for dark in (15.0, 20.0):
        assert holographic(dark).max() < 1e-3 * holographic(33.367).max()


def test_turning_grating_camera_and_lamp_together_changes_nothing():
    def seen_at(turn_deg):
        across = math.radians(90 + turn_deg)
        grating = Grating(direction_rad=across, strength=1.0)
        foil = Foil(conductor=PERFECT, roughness=(0.05, 0.05), grating=grating)
        lamp = panel(around(1000.0, 33.367, 90 + turn_deg), width=150, height=150)
        turned = rig([lamp], camera=around(900.0, 10.0, turn_deg), foil=foil, size=(10.0, 10.0))
        return middle(Engine(turned, SMALL).layers(turned).sheet_foil)

    first = seen_at(0.0)
    assert first[1] == first.max() > 10
    for turn_deg in (30.0, 90.0, -140.0):
        assert seen_at(turn_deg) == pytest.approx(first, rel=1e-4)


def test_a_table_under_the_sheet_is_not_mirrored():
    white = Table(width_mm=900.0, depth_mm=900.0, reflectance=(0.9,) * 3)
    lamp = panel((0.0, -300.0, 600.0), (0.0, -900.0, 900.0))  # lights nothing
    seen = rig([lamp], camera=(0.0, 0.0, 700.0), table=white)
    assert Engine(seen, SMALL).layers(seen).sheet_foil.max() == 0
