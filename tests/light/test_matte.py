"""Light on matte paper against closed forms.

Sources: Lambert 1760 (inverse square, cosine, polygon); the numbers of the evenness table
were worked out from E = I z / d^3 on a grid of 61 x 61 points; radiance of a matte sheet is
reflectance x illuminance / pi.
"""

import math

import numpy as np
import pytest
from scipy.interpolate import RectBivariateSpline

from lightplan.light import Detail, Engine
from lightplan.optics import fresnel
from lightplan.scene import Camera, Card, Lamp, Output, Paper, Placement, Rig, Room, Sheet, Side

FINE = Detail(sheet_long_side=61, camera_rows=16, camera_cols=24, foil_rays=2000)


def bulb(x, y, z, *, candela=1000.0, name="lamp"):
    """A lamp 2 mm across: a point, but for 1e-6 of its light."""
    return Lamp(
        name=name,
        shape="bulb",
        width_mm=2.0,
        placement=Placement((x, y, z), (0, 0, -9.0)),
        output=Output(value=candela, unit="cd"),
    )


def rig(*lamps, size=(210.0, 148.0), white=0.85, **parts):
    """A matte sheet in a dark room without a table."""
    paper = parts.pop("paper", Paper(reflectance=(white,) * 3))
    return Rig(
        title="closed form",
        lamps=lamps,
        room=Room(table=None),
        sheet=Sheet(width_mm=size[0], height_mm=size[1], paper=paper),
        camera=Camera(placement=Placement((0, -500.0, 400.0)), body=None),
        **parts,
    )


def illuminance(rig, detail=FINE):
    """Illuminance in lux on the sheet's grid, with the grid, from the paper's luminance."""
    layers = Engine(rig, detail).layers(rig)
    white = rig.sheet.paper.reflectance[0]
    # Neutral stays neutral, but for the last digits of float32: on some processors the linear
    # algebra sums the columns of one product in different orders.
    assert np.ptp(layers.sheet_paper, axis=-1).max() <= 4 * np.spacing(layers.sheet_paper.max())
    lux = layers.sheet_paper[..., 0].astype(float) * math.pi / white
    return lux, layers.sheet_x_mm, layers.sheet_y_mm


def middle(values):
    rows, cols = values.shape[:2]
    assert rows % 2
    assert cols % 2
    return values[rows // 2, cols // 2]


@pytest.mark.parametrize(
    ("metres", "angle_deg", "lux"),
    [(2.0, 0.0, 250.0), (2.0, 45.0, 176.7767), (2.0, 60.0, 125.0), (1.0, 0.0, 1000.0)],
)
def test_inverse_square_and_cosine(metres, angle_deg, lux):
    angle = math.radians(angle_deg)
    x, z = 1000 * metres * math.sin(angle), 1000 * metres * math.cos(angle)
    assert middle(illuminance(rig(bulb(x, 0, z)))[0]) == pytest.approx(lux, rel=1e-5)


@pytest.mark.parametrize("white", [0.9, 0.18, 1.0])
def test_a_thousand_lux_on_matte_paper(white):
    """1000 lx give 286.479, 57.296 and 318.310 cd/m2 on 0.9, 0.18 and 1."""
    dim = rig(bulb(0, 0, 1000.0), white=white)
    layers = Engine(dim, FINE).layers(dim)
    given = {0.9: 286.479, 0.18: 57.296, 1.0: 318.310}[white]
    assert middle(layers.sheet_paper)[1] == pytest.approx(given, rel=1e-5)


def test_every_point_follows_height_over_distance_cubed():
    lux, x, y = illuminance(rig(bulb(120.0, -60.0, 300.0)))
    squared = (x[None] - 120) ** 2 + (y[:, None] + 60) ** 2 + 300.0**2
    assert np.abs(lux / (1e9 * 300.0 / squared**1.5) - 1).max() < 2e-4


@pytest.mark.parametrize(
    ("tilt_deg", "factor"), [(0.0, 0.1442095570), (30.0, 0.1248891398), (45.0, 0.1019715556)]
)
def test_softbox_by_lamberts_polygon(tilt_deg, factor):
    """0.6 x 0.9 m of 1000 cd/m2 at 1 m: 453.048 lx straight on, less by the cosine tilted."""
    tilt = math.radians(tilt_deg)
    softbox = Lamp(
        name="softbox",
        width_mm=600.0,
        height_mm=900.0,
        output=Output(value=1000.0, unit="cd/m2"),
        placement=Placement((1000 * math.sin(tilt), 0, 1000 * math.cos(tilt))),
    )
    lux = middle(illuminance(rig(softbox))[0])
    assert lux == pytest.approx(math.pi * 1000 * factor, rel=1e-5)
    if tilt_deg == 0:
        assert lux == pytest.approx(453.048, abs=2e-3)


def test_round_lamp_on_its_axis():
    """Coaxial disk r = 0.3 m at 0.6 m: factor 0.2 (Howell B-12)."""
    disk = Lamp(
        name="dish",
        shape="disk",
        width_mm=600.0,
        placement=Placement((0, 0, 600.0)),
        output=Output(value=1000.0, unit="cd/m2"),
    )
    assert middle(illuminance(rig(disk))[0]) == pytest.approx(math.pi * 200, rel=1e-3)


EVENNESS = [
    # lamps, angle, distance m, sheet, centre lx, U0, min/max, CV
    (1, 45, 1.0, "A4", 707.107, 0.7137, 0.5280, 0.18276),
    (2, 45, 1.0, "A4", 1414.214, 0.9730, 0.9378, 0.01558),
    (2, 45, 1.0, "A3", 1414.214, 0.9476, 0.8829, 0.03016),
    (2, 35, 1.0, "A3", 1638.304, 0.9659, 0.9325, 0.01539),
    (2, 55, 1.0, "A3", 1147.153, 0.9291, 0.8348, 0.04689),
    (2, 45, 1.5, "A4", 628.539, 0.9878, 0.9714, 0.00705),
    (2, 45, 1.5, "A3", 628.539, 0.9759, 0.9444, 0.01390),
]
SIZES = {"A4": (297.0, 210.0), "A3": (420.0, 297.0)}


@pytest.mark.parametrize(
    ("lamps", "angle", "metres", "size", "centre", "u0", "ends", "cv"), EVENNESS
)
def test_copy_lamps_are_as_even_as_the_table_says(lamps, angle, metres, size, centre, u0, ends, cv):
    """U0 = min / mean (EN 12464-1); CV = standard deviation / mean over the population."""
    across = 1000 * metres * math.sin(math.radians(angle))
    height = 1000 * metres * math.cos(math.radians(angle))
    pair = [bulb(sign * across, 0, height, name=f"lamp {sign}") for sign in (1, -1)[:lamps]]
    lux, x, y = illuminance(rig(*pair, size=SIZES[size]))
    width, depth = SIZES[size]
    even = RectBivariateSpline(y[::-1], x, lux[::-1])(
        np.linspace(-depth / 2, depth / 2, 61), np.linspace(-width / 2, width / 2, 61)
    )
    assert middle(even) == pytest.approx(centre, rel=1e-5)
    assert even.min() / even.mean() == pytest.approx(u0, abs=1.5e-4)
    assert even.min() / even.max() == pytest.approx(ends, abs=1.5e-4)
    assert even.std() / even.mean() == pytest.approx(cv, rel=3e-3)


def test_lamps_add_up():
    one, two = bulb(400.0, 100.0, 500.0), bulb(-300.0, 0.0, 700.0, name="other")
    both, first, second = (illuminance(r)[0] for r in (rig(one, two), rig(one), rig(two)))
    assert np.abs(both / (first + second) - 1).max() < 1e-5


def test_a_shadow_of_a_point_lamp_ends_where_the_ray_past_the_edge_falls():
    """A card at half the lamp's height hides up to twice its own reach (15 mm, so 30 mm)."""
    black = Side(finish="black", reflectance=(0.0, 0.0, 0.0))
    card = Card(
        name="flag",
        placement=Placement((-100.0, 0, 300.0), (-100.0, 0, 0)),
        width_mm=230.0,
        height_mm=800.0,
        front=black,
        back=black,
    )
    detail = Detail(
        direct_long_side=211, sheet_long_side=211, camera_rows=16, camera_cols=24, foil_rays=2000
    )
    lux, x, _ = illuminance(rig(bulb(0, 0, 600.0), cards=(card,)), detail)
    across = lux[len(lux) // 2]
    assert across[x < 30 - 2.1].max() < 1e-6 * across.max()
    open_sky = 1e9 * 600.0 / (600.0**2 + x**2) ** 1.5
    assert across[x > 30 + 2.1] == pytest.approx(open_sky[x > 30 + 2.1], rel=1e-4)


@pytest.mark.parametrize("share", [0.5, 0.8])
def test_one_bounce_from_a_wide_card(share):
    """A lit card adds reflectance x its own illuminance x view factor, bounce by bounce.

    An upright white card of 600 x 300 mm stands 200 mm beside the middle; the same rig
    without it is taken off. A small, nearly black sheet keeps further bounces out.
    """
    card = Card(
        name="bounce",
        placement=Placement((-200.0, 0, 150.0), (500.0, 0, 150.0)),
        width_mm=600.0,
        height_mm=300.0,
        front=Side(reflectance=(share,) * 3),
    )
    lamp = bulb(2000.0, 0, 150.0)
    lit = rig(lamp, cards=(card,), white=0.01, size=(20.0, 20.0))
    with_card = middle(illuminance(lit)[0])
    without = middle(illuminance(rig(lamp, white=0.01, size=(20.0, 20.0)))[0])
    y, z = np.meshgrid(np.linspace(-300, 300, 601), np.linspace(0, 300, 301))
    on_card = 1e9 * 2200.0 / (2200.0**2 + y**2 + (z - 150) ** 2) ** 1.5
    kernel = 200.0 * z / (math.pi * (200.0**2 + y**2 + z**2) ** 2)
    whole = np.trapezoid(np.trapezoid(share * on_card * kernel, y[0], axis=1), z[:, 0])
    assert with_card - without == pytest.approx(whole, rel=5e-3)


def test_a_coat_takes_its_fresnel_share_of_light_in_and_out():
    """Body under a coat of n = 1.5, lamp and camera at known angles.

    L = T(in) T(out) body E / pi; body = r / (n2 (1 - r Ri)), Ri = 1 - (1 - Re) / n2 (Egan and
    Hilgeman 1979), Re = 0.0918 (Walsh 1926).
    """
    angle = math.radians(45)
    lamp = bulb(-1500 * math.sin(angle), 0, 1500 * math.cos(angle))
    white = 0.8
    glossy = rig(lamp, paper=Paper(reflectance=(white,) * 3, coat_index=1.5, coat_roughness=0.01))
    layers = Engine(glossy, FINE).layers(glossy)
    into, out = (
        1 - 0.5 * sum(fresnel.dielectric(c, 1.5))
        for c in (math.cos(angle), 400 / math.hypot(500, 400))
    )
    inside = 1 - (1 - 0.0918) / 1.5**2
    body = white / (1.5**2 * (1 - white * inside))
    wanted = into * out * body * 1000 * math.cos(angle) / 1.5**2 / math.pi
    assert middle(layers.sheet_paper)[1] == pytest.approx(wanted, rel=1e-3)
