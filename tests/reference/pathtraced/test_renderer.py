"""The reference pictures and the renderer that made them, against closed forms.

Sources: Lambert's polygon formula for a uniform source (Lambert 1760; Baum, Rushmeier and
Winget 1989); reflection from rough surfaces (Walter, Marschner, Li and Torrance 2007, with
the two roughnesses of Heitz 2014); reflectance of a conductor (Fresnel's equations with a
complex index) and of a dielectric (Born and Wolf, Principles of Optics); a uniform sphere
lights a small surface that sees all of it by pi L (r / d)^2 cos (Siegel and Howell, factor of
a sphere and a surface element).
"""

from __future__ import annotations

import importlib.util
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

if TYPE_CHECKING:
    from types import ModuleType

FOLDER = Path(__file__).parent


def load(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(f"pathtraced_{name}", FOLDER / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


render = load("render")
mitsuba_scene = load("mitsuba_scene")
SCENES = render.scene_names()


@pytest.fixture(scope="module")
def mi() -> Any:
    pytest.importorskip("mitsuba", reason="the renderer is a test dependency")
    started = mitsuba_scene.start()
    if not started.variant().startswith("llvm"):
        pytest.skip("no LLVM library (16 or newer) for Mitsuba's compiled variant")
    return started


# --- closed forms ---------------------------------------------------------------------------


def corners(light: dict[str, Any]) -> np.ndarray:
    up, normal = np.float64(light["up"]), np.float64(light["normal"])
    right = np.cross(up, normal)
    x, y = right * light["width"] / 2, up * light["height"] / 2
    return np.float64(light["center"]) + np.stack([-x - y, x - y, x + y, -x + y])


def polygon_irradiance(points: np.ndarray, vertices: np.ndarray) -> np.ndarray:
    """Return irradiance per radiance at upward-facing points (n, 3); all above the horizon."""
    assert vertices[:, 2].min() > points[:, 2].max()
    rays = vertices[None] - points[:, None]
    rays /= np.linalg.norm(rays, axis=-1, keepdims=True)
    after = np.roll(rays, -1, axis=1)
    cross = np.cross(rays, after)
    length = np.linalg.norm(cross, axis=-1)
    angle = np.arctan2(length, np.sum(rays * after, axis=-1))
    return np.abs(np.sum(angle * cross[..., 2] / length, axis=1)) / 2


def conductor(cosine: np.ndarray, eta: list[float], k: list[float]) -> np.ndarray:
    """Return the reflectance (..., 3) for unpolarised light."""
    c = np.asarray(cosine)[..., None]
    index = np.float64(eta) + 1j * np.float64(k)
    inside = np.sqrt(index**2 - (1 - c**2))
    s = np.abs((c - inside) / (c + inside)) ** 2
    p = np.abs((index**2 * c - inside) / (index**2 * c + inside)) ** 2
    return (s + p) / 2


def smith(v: np.ndarray, ax: float, ay: float) -> np.ndarray:
    slope = ((ax * v[..., 0]) ** 2 + (ay * v[..., 1]) ** 2) / v[..., 2] ** 2
    return 2 / (1 + np.sqrt(1 + slope))


def dielectric(cosine: np.ndarray, index: float) -> np.ndarray:
    inside = np.sqrt(1 - (1 - cosine**2) / index**2)
    s = (cosine - index * inside) / (cosine + index * inside)
    p = (index * cosine - inside) / (index * cosine + inside)
    return (s**2 + p**2) / 2


def light_cells(light: dict[str, Any], point: np.ndarray, cells: int = 80) -> tuple[Any, Any]:
    """Return directions (m, 3) to a rectangle's cells, and their solid angles (m,) [sr]."""
    a, b, _, d = corners(light)
    across = (np.arange(cells) + 0.5) / cells
    source = a + across[:, None, None] * (b - a) + across[None, :, None] * (d - a)
    ray = source.reshape(-1, 3) - point
    distance = np.linalg.norm(ray, axis=1)
    ray /= distance[:, None]
    area = light["width"] * light["height"] / cells**2
    return ray, area * np.maximum(-ray @ np.float64(light["normal"]), 0) / distance**2


def lobe(ray: np.ndarray, view: np.ndarray, ax: float, ay: float) -> tuple[Any, Any]:
    """Return D G / (4 cos) of the surface (m,), and the cosine to the half vector (m,)."""
    half = ray + view
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    spread = (half[:, 0] / ax) ** 2 + (half[:, 1] / ay) ** 2 + half[:, 2] ** 2
    density = 1 / (math.pi * ax * ay * spread**2)
    return density * smith(ray, ax, ay) * smith(view, ax, ay) / (4 * view[2]), half @ view


def foil_radiance(
    points: np.ndarray, eye: np.ndarray, light: dict[str, Any], foil: dict[str, Any]
) -> np.ndarray:
    """Return the radiance (n, 3) of flat foil lit by one rectangle: a sum over its cells."""
    found = np.empty((len(points), 3))
    for i, point in enumerate(points):
        view = (eye - point) / np.linalg.norm(eye - point)
        ray, solid_angle = light_cells(light, point)
        value, cosine = lobe(ray, view, foil["alpha_x"], foil["alpha_y"])
        fresnel = conductor(cosine, foil["eta"], foil["k"])
        found[i] = (fresnel * (value * solid_angle)[:, None]).sum(axis=0) * light["radiance"]
    return found


def coated_radiance(
    points: np.ndarray, eye: np.ndarray, light: dict[str, Any], paper: dict[str, Any]
) -> np.ndarray:
    """Return the radiance (n, 3) of coated paper, the body seen through a smooth coat."""
    index, rho = paper["coat_index"], np.float64(paper["reflectance"])
    body = rho / (math.pi * index**2 * (1 - rho * paper["internal_reflectance"]))
    found = np.empty((len(points), 3))
    for i, point in enumerate(points):
        view = (eye - point) / np.linalg.norm(eye - point)
        ray, solid_angle = light_cells(light, point)
        value, cosine = lobe(ray, view, paper["alpha"], paper["alpha"])
        gloss = np.sum(value * dielectric(cosine, index) * solid_angle)
        enters = (1 - dielectric(ray[:, 2], index)) * ray[:, 2] * solid_angle
        leaves = 1 - dielectric(view[2], index)
        found[i] = (gloss + body * np.sum(enters) * leaves) * light["radiance"]
    return found


# --- the stored pictures --------------------------------------------------------------------


@pytest.mark.parametrize("name", SCENES)
def test_stored_picture_is_whole(name):
    scene, picture = render.read_scene(name), np.load(FOLDER / f"{name}.npz")
    mask = picture["mask"]
    assert mask.shape == (scene["camera"]["height"], scene["camera"]["width"])
    assert mask.sum() > 500
    for layer in ("paper", "foil"):
        mean, error = picture[layer], picture[f"{layer}_se"]
        assert np.isfinite(mean).all()
        assert (mean[mask] > 0).all()
        assert (error[mask] > 0).all()
        noise = np.sqrt(np.mean(error[mask] ** 2)) / mean[mask].mean()
        assert noise < 0.008
    x, y = np.abs(picture["xyz"][mask][:, :2]).max(axis=0)
    assert x < scene["sheet"]["width"] / 2
    assert y < scene["sheet"]["height"] / 2


def assert_only_noise(found, expected, error, seeds, *, spread=0.15):
    """Residuals over their standard error must have the variance of Student's t.

    `spread` is some four standard errors of that variance for the number of pixels.
    """
    residual = (found - expected) / error
    assert np.mean(found) == pytest.approx(np.mean(expected), rel=1e-3)
    share = np.mean(residual**2) / ((seeds - 1) / (seeds - 3))
    assert share == pytest.approx(1.0, abs=spread)


DIRECT = ["s01_softbox45", "s02_softbox_mirror", "s06_strip", "brushed"]


@pytest.mark.parametrize("name", DIRECT)
def test_paper_under_softboxes_follows_lambert(name):
    scene, picture = render.read_scene(name), np.load(FOLDER / f"{name}.npz")
    mask = picture["mask"]
    expected = sum(
        polygon_irradiance(np.float64(picture["xyz"][mask]), corners(light)) * light["radiance"][0]
        for light in scene["lights"]
    )
    expected = expected * scene["materials"]["paper"]["reflectance"][0] / math.pi
    seeds = picture["paper_samples"][0]
    assert_only_noise(
        picture["paper"][mask][:, 0], expected, picture["paper_se"][mask][:, 0], seeds
    )


@pytest.mark.parametrize("name", [*DIRECT, "coated_paper"])
def test_foil_under_softboxes_follows_the_microfacet_formula(name):
    scene, picture = render.read_scene(name), np.load(FOLDER / f"{name}.npz")
    found, error = (picture[key][picture["mask"]][::5] for key in ("foil", "foil_se"))
    points = np.float64(picture["xyz"][picture["mask"]])[::5]
    eye, foil = np.float64(scene["camera"]["position"]), scene["materials"]["foil"]
    expected = sum(foil_radiance(points, eye, light, foil) for light in scene["lights"])
    assert_only_noise(found, expected, error, picture["foil_samples"][0], spread=0.4)


def test_coated_paper_follows_its_formula():
    """The renderer's transmittance of the coat departs by some 0.2 % from a smooth one's."""
    scene, picture = render.read_scene("coated_paper"), np.load(FOLDER / "coated_paper.npz")
    found, error = (picture[key][picture["mask"]][::5] for key in ("paper", "paper_se"))
    points = np.float64(picture["xyz"][picture["mask"]])[::5]
    eye, paper = np.float64(scene["camera"]["position"]), scene["materials"]["paper"]
    expected = sum(coated_radiance(points, eye, light, paper) for light in scene["lights"])
    assert_only_noise(found, expected, error, picture["paper_samples"][0], spread=0.4)


# --- the renderer, run now ------------------------------------------------------------------


def pictured(mi, scene, layer, *, spp, seeds=4):
    """Return radiances (n, 3) of the pixels wholly on the sheet, their points and rays."""
    small = scene["camera"] | {"width": 32, "height": 24}
    scene = scene | {"camera": small}
    built = mitsuba_scene.build(mi, scene, layer)
    mask, points = render.covered_pixels(mi, built, scene)
    crop = render.crop_to(mask)
    draw = render.renderer(mi, built, render.sensor(mi, small, crop))
    picture = render.average(draw, first_seed=1, seeds=seeds, spp=spp)
    points = points[mask]
    rays = points - np.float64(small["position"])
    return picture.mean[mask[crop.window]], points, rays / np.linalg.norm(rays, axis=1)[:, None]


def polished(scene, **changes):
    foil = scene["materials"]["foil"] | {"alpha_x": 1e-4, "alpha_y": 1e-4}
    return scene | {"materials": scene["materials"] | {"foil": foil}} | changes


def bare(scene, **changes):
    return scene | {"cards": [], "table": None, "lights": []} | changes


def assert_mirrored(found, expected, *, off_by=2e-4):
    """A pixel's samples are few, and a lobe of alpha 1e-4 still has far tails: allow outliers."""
    ratio = found / expected
    assert np.median(ratio) == pytest.approx(1.0, abs=off_by)
    assert np.sqrt(np.mean((ratio - 1) ** 2)) < 5e-3


def test_polished_foil_mirrors_the_softbox(mi):
    scene = polished(render.read_scene("s02_softbox_mirror"))
    found, points, rays = pictured(mi, scene, "foil", spp=16)
    light = scene["lights"][0]
    mirrored = rays * [1, 1, -1]
    offset = points - light["center"]
    normal = np.float64(light["normal"])
    landing = offset - (offset @ normal / (mirrored @ normal))[:, None] * mirrored
    right = np.cross(light["up"], normal)
    inside = np.maximum(np.abs(landing @ right), np.abs(landing @ np.float64(light["up"]))) < 0.28
    assert inside.sum() > 50
    foil = scene["materials"]["foil"]
    expected = conductor(-rays[inside, 2], foil["eta"], foil["k"]) * light["radiance"]
    assert_mirrored(found[inside], expected)


def test_polished_foil_mirrors_the_probe(mi):
    scene = polished(bare(render.read_scene("probe")))
    found, _, rays = pictured(mi, scene, "foil", spp=64)
    foil = scene["materials"]["foil"]
    expected = mitsuba_scene.probe_radiance(scene["probe"], rays * [1, 1, -1])
    expected *= conductor(-rays[:, 2], foil["eta"], foil["k"])
    assert_mirrored(found, expected)


def test_paper_under_the_probe(mi):
    scene = bare(render.read_scene("probe"))
    found, _, _ = pictured(mi, scene, "paper", spp=1024)
    cosine, turn = np.meshgrid(
        (np.arange(800) + 0.5) / 800, (np.arange(1600) + 0.5) * (math.pi / 800), indexing="ij"
    )
    sine = np.sqrt(1 - cosine**2)
    directions = np.stack([sine * np.cos(turn), sine * np.sin(turn), cosine], axis=-1)
    lit = mitsuba_scene.probe_radiance(scene["probe"], directions) * cosine[..., None]
    irradiance = 2 * math.pi * lit.mean(axis=(0, 1))
    expected = irradiance * scene["materials"]["paper"]["reflectance"] / math.pi
    np.testing.assert_allclose(found.mean(axis=0), expected, rtol=1e-3)


def test_bowed_sheet_has_the_slope_of_its_parabola(mi):
    given = render.read_scene("probe")["probe"]
    scene = polished(bare(render.read_scene("bow_10mm"), probe=given))
    found, points, rays = pictured(mi, scene, "foil", spp=256)
    sheet = scene["sheet"]
    x = points[:, 0]
    bow, half = sheet["bow"], sheet["width"] / 2
    np.testing.assert_allclose(points[:, 2], bow * (1 - (x / half) ** 2), atol=2e-6)
    normal = np.stack([2 * bow * x / half**2, 0 * x, np.ones_like(x)], axis=1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    cosine = -np.sum(rays * normal, axis=1)
    mirrored = rays + 2 * cosine[:, None] * normal
    foil = scene["materials"]["foil"]
    expected = mitsuba_scene.probe_radiance(given, mirrored)
    expected *= conductor(cosine, foil["eta"], foil["k"])
    assert np.ptp(expected[:, 1]) > 0.3 * expected[:, 1].mean()
    # Over a pixel the mirrored direction turns with the slope, so the centre is not the mean.
    assert_mirrored(found, expected, off_by=5e-4)


def test_hole_is_round_and_of_its_size(mi):
    scene = polished(bare(render.read_scene("hole"), ambient_radiance=[1.0] * 3))
    card = render.read_scene("hole")["cards"][0] | {"reflectance": [0.0] * 3}
    found, points, rays = pictured(mi, scene | {"cards": [card]}, "foil", spp=16)
    way = (card["center"][2] / -rays[:, 2])[:, None]
    distance = np.linalg.norm((points + way * rays * [1, 1, -1])[:, :2], axis=1)
    foil = scene["materials"]["foil"]
    expected = conductor(-rays[:, 2], foil["eta"], foil["k"])
    pixel = 0.004
    through = distance < card["hole_radius"] - pixel
    blocked = distance > card["hole_radius"] + pixel
    assert through.sum() > 50
    assert blocked.sum() > 50
    assert_mirrored(found[through], expected[through])
    assert found[blocked].mean() < 2e-3


def test_bulb_lights_paper_as_a_sphere_does(mi):
    bulb = render.read_scene("bulb_room")["lights"]
    scene = bare(render.read_scene("bulb_room"), lights=bulb)
    found, points, _ = pictured(mi, scene, "paper", spp=256)
    ray = np.float64(bulb[0]["center"]) - points
    distance = np.linalg.norm(ray, axis=1)
    share = (bulb[0]["radius"] / distance) ** 2 * ray[:, 2] / distance
    expected = 0.8 * bulb[0]["radiance"][0] * share
    np.testing.assert_allclose(found[:, 0], expected, rtol=4e-3)
    assert np.mean(found[:, 0] / expected) == pytest.approx(1.0, abs=2e-4)


@pytest.mark.parametrize("name", ["cone", "diffuser_panel"])
def test_white_furnace_with_diffusers(mi, name):
    """White things in even surroundings vanish, however the diffuser divides its light."""
    scene = render.read_scene(name)
    share = {"rho": [0.6] * 3, "tau": [0.4] * 3}
    scene = bare(scene, ambient_radiance=[1.0] * 3)
    for kind in ("diffuser_panels", "diffuser_shells"):
        scene[kind] = [part | share for part in scene[kind]]
    paper = {"model": "lambert", "reflectance": [1.0] * 3}
    scene["materials"] = scene["materials"] | {"paper": paper}
    found, _, _ = pictured(mi, scene, "paper", spp=512)
    np.testing.assert_allclose(found.mean(axis=0), 1.0, rtol=3e-3)


def test_diffuser_divides_light_as_stated(mi):
    """Integrals of the density and of f cos over each side, and the same from samples."""
    rho, tau = [0.2, 0.3, 0.4], [0.5, 0.4, 0.1]
    bsdf = mi.load_dict(mitsuba_scene.diffuser_bsdf({"rho": rho, "tau": tau}))
    hit = mi.SurfaceInteraction3f()
    hit.wi = mi.Vector3f(0.6, 0.0, -0.8)
    n = 400_000
    generator = np.random.default_rng(7)
    u = generator.random((3, n)).astype(np.float32)
    out = mi.warp.square_to_uniform_sphere(mi.Point2f(u[0], u[1]))
    side = np.array(out.z) < 0
    value, density = (np.array(v) for v in bsdf.eval_pdf(mi.BSDFContext(), hit, out))
    value = value if value.shape[0] == n else value.T
    for mask, share in ((side, rho), (~side, tau)):
        integral = 4 * math.pi * (value * mask[:, None]).mean(axis=0)
        np.testing.assert_allclose(integral, share, rtol=1e-2)
    assert 4 * math.pi * density.mean() == pytest.approx(1.0, rel=1e-2)
    sample, weight = bsdf.sample(mi.BSDFContext(), hit, mi.Float(u[2]), mi.Point2f(u[0], u[1]))
    weight = np.array(weight)
    weight = weight if weight.shape[0] == n else weight.T
    z = np.array(sample.wo)
    z = (z if z.shape[0] == n else z.T)[:, 2]
    np.testing.assert_allclose((weight * (z < 0)[:, None]).mean(axis=0), rho, rtol=1e-2)
    np.testing.assert_allclose((weight * (z > 0)[:, None]).mean(axis=0), tau, rtol=1e-2)
    # A cosine law has a mean cosine of 2/3 on either side.
    assert np.abs(z).mean() == pytest.approx(2 / 3, rel=5e-3)
    again = np.array(bsdf.pdf(mi.BSDFContext(), hit, sample.wo))
    np.testing.assert_allclose(again, np.array(sample.pdf), rtol=1e-4)


# --- holographic foil -----------------------------------------------------------------------

SHARES = {"1": 0.25, "-1": 0.25, "2": 0.05, "-2": 0.05}
METAL = {"eta": [1.3, 0.96, 0.6], "k": [7.4, 6.4, 5.3]}


def grated(mi, *, lines_per_mm, alpha, direction_deg=0.0):
    grating = {"lines_per_mm": lines_per_mm, "direction_deg": direction_deg, "shares": SHARES}
    foil = {"model": "ggx_conductor", "alpha_x": alpha, "alpha_y": alpha, "grating": grating}
    return mi.load_dict(mitsuba_scene.stock_bsdf(mi, foil | METAL))


def drawn(mi, bsdf, view, count, *, seed=7):
    """Return directions (n, 3), weights (n, 3), and whether they left the mirror direction."""
    hit = mi.SurfaceInteraction3f()
    hit.wi = mi.Vector3f(*view)
    u = np.random.default_rng(seed).random((3, count)).astype(np.float32)
    sample, weight = bsdf.sample(mi.BSDFContext(), hit, mi.Float(u[2]), mi.Point2f(u[0], u[1]))
    return np.array(sample.wo).T, np.array(weight).T, np.array(sample.sampled_component) == 1


def test_a_grating_divides_what_the_metal_reflects(mi):
    """White furnace: 300 lines per mm let every order exist, so nothing but the metal is lost."""
    bsdf = grated(mi, lines_per_mm=300, alpha=0.02, direction_deg=30.0)
    _, weight, diffracted = drawn(mi, bsdf, (0.0, 0.0, 1.0), 500_000)
    metal = conductor(np.array(1.0), METAL["eta"], METAL["k"])
    shares = sum(SHARES.values())
    for part, share in ((diffracted, shares), (~diffracted, 1 - shares)):
        np.testing.assert_allclose((weight * part[:, None]).mean(axis=0), share * metal, rtol=6e-3)


# sin(out) = sin(in) + order x wavelength / pitch, the mirror side positive (C. Palmer, Diffraction
# Grating Handbook, section 2.1): pitch in um, angle in, order, wavelength in nm, angle out.
ORDERS = [
    (1.0, 0.0, 1, 450, 26.744), (1.0, 0.0, 1, 550, 33.367), (1.0, 0.0, -1, 650, -40.542),
    (1.0, 0.0, 2, 450, 64.158), (1.0, 0.0, -2, 450, -64.158), (1.0, 0.0, 2, 550, None),
    (1.0, 45.0, -1, 450, 14.898), (1.0, 45.0, -1, 550, 9.039), (1.0, 45.0, -1, 650, 3.274),
    (1.0, 30.0, -1, 450, 2.866), (1.0, 30.0, -1, 650, -8.627), (0.8, 0.0, 1, 550, 43.433),
    (1.5, 0.0, 1, 650, 25.679),
]  # fmt: skip


@pytest.mark.parametrize(("pitch_um", "angle_in", "order", "wavelength_nm", "angle_out"), ORDERS)
def test_a_grating_sends_each_wavelength_where_the_table_says(
    mi, monkeypatch, pitch_um, angle_in, order, wavelength_nm, angle_out
):
    module = sys.modules["holographic_foil"]
    for name, value in (
        ("SHORTEST_NM", wavelength_nm - 0.05),
        ("LONGEST_NM", wavelength_nm + 0.04),
        ("DRAWN_STEP_NM", 0.1),
    ):
        monkeypatch.setattr(module, name, value)
    bsdf = grated(mi, lines_per_mm=1000 / pitch_um, alpha=1e-4)
    came = math.radians(angle_in)
    out, weight, diffracted = drawn(mi, bsdf, (math.sin(came), 0.0, math.cos(came)), 20_000)
    sent = diffracted & (weight.max(axis=1) > 0)
    angles = np.degrees(np.arcsin(-out[sent, 0]))
    if angle_out is None:
        assert np.abs(angles).max() < 50  # the first orders only
        return
    near = np.abs(angles - angle_out) < 0.5
    # other orders lie elsewhere, so as many samples meet here as the order's share says
    share = SHARES[str(order)] / sum(SHARES.values())
    assert near.sum() / diffracted.sum() == pytest.approx(share, abs=0.02)
    assert np.median(angles[near]) == pytest.approx(angle_out, abs=3e-3)


def test_the_sum_over_wavelengths_is_what_samples_give(mi):
    """Light of one part of the sky after another, by samples and by the closed sum.

    Aslant to the grating, so that every term of the facets' solid angle counts.
    """
    bsdf = grated(mi, lines_per_mm=900, alpha=0.1, direction_deg=25.0)
    view = (0.3, -0.4, math.sqrt(0.75))
    out, weight, _ = drawn(mi, bsdf, view, 2_000_000)
    u = (np.arange(240) + 0.5) / 240
    cosine, turn = np.meshgrid(u, 2 * math.pi * u, indexing="ij")
    sine = np.sqrt(1 - cosine**2)
    way = np.stack([sine * np.cos(turn), sine * np.sin(turn), cosine]).reshape(3, -1)
    hit = mi.SurfaceInteraction3f()
    hit.wi = mi.Vector3f(*view)
    value = np.array(bsdf.eval(mi.BSDFContext(), hit, mi.Vector3f(*np.float32(way)))).T
    for part in range(8):
        sampled = np.abs(
            np.arctan2(out[:, 1], out[:, 0]) % (2 * math.pi) * 4 / math.pi - part - 0.5
        )
        summed = np.abs(turn.ravel() * 4 / math.pi - part - 0.5)
        found = (weight * (sampled < 0.5)[:, None]).mean(axis=0)
        wanted = (value * (summed < 0.5)[:, None]).mean(axis=0) * 2 * math.pi
        np.testing.assert_allclose(found, wanted, rtol=0.02, atol=2e-3)
