"""Render the reference scenes with Mitsuba 3, an independent path tracer.

    python tests/reference/pathtraced/render.py [--noise 0.005] [--seconds 40] [SCENE...]

reads `<scene>.json` beside this file and writes `<scene>.npz`; README.md says what is in
both. Mitsuba is imported only when something is rendered.
"""

from __future__ import annotations

import argparse
import ctypes.util
import json
import math
import os
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Doubles = NDArray[np.float64]
Scene = dict[str, Any]

FOLDER = Path(__file__).parent
RUSSIAN_ROULETTE_DEPTH = 12
SHELL_FACETS = 720
HOLE_FACETS = 720
BOW_STRIPS = 400
PROBE_ROWS = 512
SUBPIXELS = 8


def read_scene(name: str) -> Scene:
    """Return the scene of that name as it stands in its JSON file."""
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def scene_names() -> list[str]:
    return sorted(path.stem for path in FOLDER.glob("*.json"))


# --- the renderer ---------------------------------------------------------------------------


def start(variant: str | None = None) -> Any:
    """Return Mitsuba, set to the compiled variant, or the plain one where LLVM is missing.

    Mitsuba 3.9 works with LLVM 19; it crashes or refuses with 14 and 15.
    """
    import mitsuba as mi

    if variant is None:
        variant = "llvm_ad_rgb" if _find_llvm() else "scalar_rgb"
    if mi.variant() != variant:
        mi.set_variant(variant)
    _register_thin_diffuser(mi)
    return mi


def _find_llvm() -> bool:
    if "DRJIT_LIBLLVM_PATH" in os.environ:
        return True
    for version in (20, 19, 18, 17, 16):
        library = ctypes.util.find_library(f"LLVM-{version}")
        if library is not None:
            os.environ["DRJIT_LIBLLVM_PATH"] = library
            return True
    return False


def _register_thin_diffuser(mi: Any) -> None:
    """Teach Mitsuba a surface without thickness that scatters evenly to both sides.

    Of the light that reaches either side, the share rho leaves on that side and the share
    tau on the other, both with the cosine law: f = rho / pi or tau / pi.
    """
    import drjit as dr

    class ThinDiffuser(mi.BSDF):
        def __init__(self, props: Any) -> None:
            mi.BSDF.__init__(self, props)
            self.rho = mi.Color3f(*(float(props[f"rho_{c}"]) for c in "rgb"))
            self.tau = mi.Color3f(*(float(props[f"tau_{c}"]) for c in "rgb"))
            rho = sum(float(props[f"rho_{c}"]) for c in "rgb")
            tau = sum(float(props[f"tau_{c}"]) for c in "rgb")
            self.reflected_share = rho / (rho + tau)
            sides = mi.BSDFFlags.FrontSide | mi.BSDFFlags.BackSide
            reflection = mi.BSDFFlags.DiffuseReflection | sides
            transmission = mi.BSDFFlags.DiffuseTransmission | sides
            self.m_components = [reflection, transmission]
            self.m_flags = reflection | transmission

        def sample(self, ctx, si, sample1, sample2, active=True):  # type: ignore[no-untyped-def]
            came_from = mi.Frame3f.cos_theta(si.wi)
            active = active & (came_from != 0)
            out = mi.warp.square_to_cosine_hemisphere(sample2)
            density = mi.warp.square_to_cosine_hemisphere_pdf(out)
            reflects = sample1 < self.reflected_share
            chance = dr.select(reflects, self.reflected_share, 1 - self.reflected_share)
            out.z = dr.select(reflects == (came_from > 0), out.z, -out.z)
            sampled = mi.BSDFSample3f()
            sampled.wo = out
            sampled.pdf = density * chance
            sampled.eta = 1.0
            reflection, transmission = self.m_components
            sampled.sampled_type = dr.select(
                reflects, mi.UInt32(int(reflection)), mi.UInt32(int(transmission))
            )
            sampled.sampled_component = dr.select(reflects, mi.UInt32(0), mi.UInt32(1))
            weight = dr.select(reflects, self.rho, self.tau) / chance
            usable = active & (density > 0)
            return sampled, dr.select(usable, weight, mi.Color3f(0))

        def eval(self, ctx, si, wo, active=True):  # type: ignore[no-untyped-def]
            before, after = mi.Frame3f.cos_theta(si.wi), mi.Frame3f.cos_theta(wo)
            share = dr.select(before * after > 0, self.rho, self.tau)
            value = share * (dr.abs(after) / math.pi)
            return dr.select(active & (before * after != 0), value, mi.Color3f(0))

        def pdf(self, ctx, si, wo, active=True):  # type: ignore[no-untyped-def]
            before, after = mi.Frame3f.cos_theta(si.wi), mi.Frame3f.cos_theta(wo)
            same = before * after > 0
            chance = dr.select(same, self.reflected_share, 1 - self.reflected_share)
            density = chance * dr.abs(after) / math.pi
            return dr.select(active & (before * after != 0), density, 0.0)

        def eval_pdf(self, ctx, si, wo, active=True):  # type: ignore[no-untyped-def]
            return self.eval(ctx, si, wo, active), self.pdf(ctx, si, wo, active)

        def to_string(self) -> str:
            return f"ThinDiffuser[rho={self.rho}, tau={self.tau}]"

    mi.register_bsdf("thin_diffuser", ThinDiffuser)


# --- from the numbers to the renderer's objects ---------------------------------------------


def _rgb(values: Sequence[float]) -> Scene:
    return {"type": "rgb", "value": [float(v) for v in values]}


def _bounded(values: Sequence[float] | float) -> Scene:
    return {"type": "rgb", "value": np.broadcast_to(np.float64(values), 3).tolist()}


BLACK: Scene = {"type": "diffuse", "reflectance": _rgb((0.0, 0.0, 0.0))}


def _pose(mi: Any, part: Scene, half_width: float, half_height: float) -> Any:
    up, normal = np.float64(part["up"]), np.float64(part["normal"])
    matrix = np.eye(4)
    matrix[:3, 0] = np.cross(up, normal) * half_width
    matrix[:3, 1] = up * half_height
    matrix[:3, 2] = normal
    matrix[:3, 3] = part["center"]
    return mi.ScalarTransform4f(matrix)


def _mesh(mi: Any, vertices: Doubles, faces: NDArray[Any], bsdf: Scene, **more: Doubles) -> Any:
    """Return a mesh; `normals` (n, 3) and `texture` (n, 2) are optional."""
    import drjit as dr

    properties = mi.Properties()
    properties["bsdf"] = mi.load_dict(bsdf)
    mesh = mi.Mesh(
        "mesh",
        vertex_count=len(vertices),
        face_count=len(faces),
        has_vertex_normals="normals" in more,
        has_vertex_texcoords="texture" in more,
        props=properties,
    )
    parameters = mi.traverse(mesh)
    parameters["vertex_positions"] = np.float32(vertices).ravel()
    parameters["faces"] = np.uint32(faces).ravel()
    if "normals" in more:
        parameters["vertex_normals"] = np.float32(more["normals"]).ravel()
    if "texture" in more:
        parameters["vertex_texcoords"] = np.float32(more["texture"]).ravel()
    parameters.update()
    dr.eval()
    return mesh


def _strip(near: Doubles, far: Doubles) -> tuple[Doubles, NDArray[np.int64]]:
    """Return vertices and triangles of the band between two polylines of equal length."""
    n = len(near)
    i = np.arange(n - 1)
    lower = np.stack([i, i + 1, n + i], axis=1)
    upper = np.stack([i + 1, n + i + 1, n + i], axis=1)
    return np.concatenate([near, far]), np.concatenate([lower, upper])


def _holed_card(mi: Any, card: Scene, bsdf: Scene) -> Any:
    """Return a rectangle with a round hole in its middle, whose polygon has the circle's area."""
    half = np.array([card["width"], card["height"]]) / 2
    corner = math.atan2(half[1], half[0])
    corners = [corner, math.pi - corner, math.pi + corner, 2 * math.pi - corner]
    angles = np.union1d(np.linspace(0, 2 * math.pi, HOLE_FACETS + 1), corners)
    circle = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    step = 2 * math.pi / HOLE_FACETS
    rim = card["hole_radius"] * math.sqrt(step / math.sin(step)) * circle
    edge = circle / np.max(np.abs(circle) / half, axis=1, keepdims=True)
    flat, faces = _strip(rim, edge)
    right = np.cross(card["up"], card["normal"])
    vertices = card["center"] + flat @ np.stack([right, np.float64(card["up"])])
    return _mesh(mi, vertices, faces, bsdf)


def _frustum(mi: Any, shell: Scene, bsdf: Scene) -> Any:
    angles = np.linspace(0, 2 * math.pi, SHELL_FACETS + 1)
    circle = np.stack([np.cos(angles), np.sin(angles), 0 * angles], axis=1)
    foot = np.float64(shell["centre"])
    top = foot + np.array([0, 0, shell["height"]])
    return _mesh(
        mi, *_strip(foot + shell["r_bottom"] * circle, top + shell["r_top"] * circle), bsdf
    )


def _sheet(mi: Any, sheet: Scene, bsdf: Scene) -> Any:
    if sheet["shape"] == "flat":
        pose = _pose(mi, sheet, sheet["width"] / 2, sheet["height"] / 2)
        return mi.load_dict({"type": "rectangle", "to_world": pose, "bsdf": bsdf, "id": "sheet"})
    half = sheet["width"] / 2
    x = np.linspace(-half, half, BOW_STRIPS + 1)
    z = sheet["bow"] * (1 - (x / half) ** 2)
    near = np.stack([x, np.full_like(x, -sheet["height"] / 2), z], axis=1)
    far = near * [1, -1, 1]
    vertices, faces = _strip(near, far)
    normals = np.stack([2 * sheet["bow"] * x / half**2, 0 * x, np.ones_like(x)], axis=1)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    texture = vertices[:, :2] / [sheet["width"], sheet["height"]] + 0.5
    return _mesh(mi, vertices, faces, bsdf, normals=np.tile(normals, (2, 1)), texture=texture)


def _card_bsdf(card: Scene) -> Scene:
    if "specular" not in card:
        one_side: Scene = {"type": "diffuse", "reflectance": _rgb(card["reflectance"])}
    else:
        specular = card["specular"]
        one_side = {
            "type": "roughconductor",
            "distribution": "ggx",
            "alpha": specular["alpha"],
        }
        if "eta" in specular:
            one_side |= {"eta": _bounded(specular["eta"]), "k": _bounded(specular["k"])}
        else:
            one_side |= {
                "material": "none",
                "specular_reflectance": _rgb(specular["reflectance"]),
            }
    return {"type": "twosided", "side": one_side}


def _stock_bsdf(material: Scene) -> Scene:
    match material["model"]:
        case "lambert":
            return {"type": "diffuse", "reflectance": _rgb(material["reflectance"])}
        case "ggx_conductor":
            return {
                "type": "roughconductor",
                "distribution": "ggx",
                "eta": _bounded(material["eta"]),
                "k": _bounded(material["k"]),
                "alpha_u": material["alpha_x"],
                "alpha_v": material["alpha_y"],
                "sample_visible": True,
            }
        case "coated":
            return {
                "type": "roughplastic",
                "distribution": "ggx",
                "diffuse_reflectance": _rgb(material["reflectance"]),
                "int_ior": material["coat_index"],
                "ext_ior": 1.0,
                "alpha": material["alpha"],
                "nonlinear": True,
            }
        case other:
            raise ValueError(f"unknown model {other!r} of a material")


def _diffuser_bsdf(part: Scene) -> Scene:
    shares = {f"{n}_{c}": v for n in ("rho", "tau") for c, v in zip("rgb", part[n], strict=True)}
    return {"type": "thin_diffuser", **shares}


def _light(mi: Any, light: Scene) -> Scene:
    emitter = {"type": "area", "radiance": _rgb(light["radiance"])}
    made: Scene = {"bsdf": BLACK, "emitter": emitter}
    match light["shape"]:
        case "rect":
            pose = _pose(mi, light, light["width"] / 2, light["height"] / 2)
            return {"type": "rectangle", "to_world": pose, **made}
        case "disk":
            pose = _pose(mi, light, light["radius"], light["radius"])
            return {"type": "disk", "to_world": pose, **made}
        case "sphere":
            return {
                "type": "sphere",
                "center": light["center"],
                "radius": light["radius"],
                **made,
            }
        case other:
            raise ValueError(f"unknown shape {other!r} of a light")


def probe_radiance(probe: Scene, directions: Doubles) -> Doubles:
    """Return the radiance (..., 3) of a light probe in unit directions (..., 3)."""
    even = 1 + probe["slope"] * directions[..., 2:]
    radiance = np.float64(probe["base"]) * even
    for window in probe["windows"]:
        cosine = directions @ np.float64(window["direction"])
        lobe = np.exp(window["sharpness"] * (cosine - 1))
        radiance = radiance + lobe[..., None] * np.float64(window["radiance"])
    return radiance


def _environment(mi: Any, probe: Scene) -> Scene:
    """Return the probe as a picture, sampled where Mitsuba's nodes lie.

    Its rows run from pole to pole with nodes on both poles, its columns are pixel centres
    that start behind the maker; the picture is too fine for that to matter.
    """
    polar = np.linspace(0, math.pi, PROBE_ROWS)[:, None]
    turn = (np.arange(2 * PROBE_ROWS) + 0.5) * (math.pi / PROBE_ROWS) - math.pi
    x, y = np.sin(polar) * np.sin(turn), np.sin(polar) * np.cos(turn)
    directions = np.stack([x, y, np.cos(polar) + 0 * turn], axis=-1)
    picture = np.float32(probe_radiance(probe, directions))
    turned = mi.ScalarTransform4f().rotate([0, 0, 1], 180).rotate([1, 0, 0], 90)
    return {"type": "envmap", "bitmap": mi.Bitmap(picture), "to_world": turned}


def build(mi: Any, scene: Scene, layer: str) -> Any:
    """Return Mitsuba's scene with the whole sheet made of `layer` ("paper" or "foil").

    The sheet is its first shape.
    """
    parts: Scene = {"type": "scene"}
    parts["sheet"] = _sheet(mi, scene["sheet"], _stock_bsdf(scene["materials"][layer]))
    for i, light in enumerate(scene["lights"]):
        parts[f"light_{i}"] = _light(mi, light)
    boards = [*scene["cards"], *([] if scene["table"] is None else [scene["table"]])]
    for i, card in enumerate(boards):
        if "hole_radius" in card:
            parts[f"card_{i}"] = _holed_card(mi, card, _card_bsdf(card))
        else:
            parts[f"card_{i}"] = _rectangle(mi, card, _card_bsdf(card))
    for i, panel in enumerate(scene["diffuser_panels"]):
        parts[f"panel_{i}"] = _rectangle(mi, panel, _diffuser_bsdf(panel))
    for i, shell in enumerate(scene["diffuser_shells"]):
        parts[f"shell_{i}"] = _frustum(mi, shell, _diffuser_bsdf(shell))
    if max(scene["ambient_radiance"]) > 0:
        parts["ambient"] = {"type": "constant", "radiance": _rgb(scene["ambient_radiance"])}
    if scene["probe"] is not None:
        parts["probe"] = _environment(mi, scene["probe"])
    return mi.load_dict(parts)


def _rectangle(mi: Any, part: Scene, bsdf: Scene) -> Scene:
    pose = _pose(mi, part, part["width"] / 2, part["height"] / 2)
    return {"type": "rectangle", "to_world": pose, "bsdf": bsdf}


# --- the camera -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Crop:
    """The part of the picture that is rendered, in pixels."""

    left: int
    top: int
    width: int
    height: int

    @property
    def window(self) -> tuple[slice, slice]:
        return (
            slice(self.top, self.top + self.height),
            slice(self.left, self.left + self.width),
        )


def camera_rays(camera: Scene, row: Doubles, column: Doubles) -> Doubles:
    """Return unit directions (..., 3) of the pinhole's rays through picture positions [pixels]."""
    origin = np.float64(camera["position"])
    ahead = np.float64(camera["look_at"]) - origin
    ahead /= np.linalg.norm(ahead)
    right = np.cross(ahead, camera["up"])
    right /= np.linalg.norm(right)
    up = np.cross(right, ahead)
    scale = 2 * math.tan(math.radians(camera["vfov_deg"]) / 2) / camera["height"]
    x = (np.float64(column) - camera["width"] / 2) * scale
    y = (camera["height"] / 2 - np.float64(row)) * scale
    rays = ahead + x[..., None] * right + y[..., None] * up
    return rays / np.linalg.norm(rays, axis=-1, keepdims=True)


def first_hits(
    mi: Any, built: Any, scene: Scene, row: Doubles, column: Doubles
) -> tuple[NDArray[np.bool_], Doubles]:
    """Return whether the rays through those picture positions meet the sheet first, and where."""
    origin = np.float64(scene["camera"]["position"])
    rays = camera_rays(scene["camera"], row, column).reshape(-1, 3)
    sheet = built.shapes()[0]
    if mi.variant().startswith("scalar"):
        hits = [built.ray_intersect(mi.Ray3f(origin, ray)) for ray in rays]
        on_sheet = np.array([bool(h.is_valid()) and h.shape == sheet for h in hits])
        distance = np.array([float(h.t) for h in hits])
    else:
        start = mi.Point3f(*scene["camera"]["position"])
        hit = built.ray_intersect(mi.Ray3f(start, mi.Vector3f(*np.float32(rays.T))))
        on_sheet = np.array(hit.is_valid() & (hit.shape == mi.ShapePtr(sheet)))
        distance = np.array(hit.t, dtype=np.float64)
    points = origin + np.where(on_sheet, distance, 0.0)[:, None] * rays
    return on_sheet.reshape(row.shape), points.reshape(*row.shape, 3)


def covered_pixels(mi: Any, built: Any, scene: Scene) -> tuple[NDArray[np.bool_], Doubles]:
    """Return which pixels lie wholly on the sheet, and the point (..., 3) under their centres.

    Looked for on a lattice that takes in each pixel's corners and edges.
    """
    rows, columns = scene["camera"]["height"], scene["camera"]["width"]
    centres = np.meshgrid(np.arange(rows) + 0.5, np.arange(columns) + 0.5, indexing="ij")
    _, points = first_hits(mi, built, scene, *centres)
    n = SUBPIXELS
    lattice = np.arange(rows * n + 1) / n, np.arange(columns * n + 1) / n
    hit, _ = first_hits(mi, built, scene, *np.meshgrid(*lattice, indexing="ij"))
    covered = np.ones((rows, columns), dtype=np.bool_)
    for i in range(n + 1):
        for j in range(n + 1):
            covered &= hit[i : i + rows * n : n, j : j + columns * n : n]
    return covered, points


def crop_to(mask: NDArray[np.bool_]) -> Crop:
    """Return the smallest part of the picture that holds the mask."""
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    top, left = int(rows[0]), int(columns[0])
    return Crop(left, top, int(columns[-1]) - left + 1, int(rows[-1]) - top + 1)


def sensor(mi: Any, camera: Scene, crop: Crop, sampler: str = "independent") -> Any:
    """Return Mitsuba's pinhole camera with box pixels."""
    look = mi.ScalarTransform4f().look_at(
        origin=camera["position"], target=camera["look_at"], up=camera["up"]
    )
    film = {
        "type": "hdrfilm",
        "width": camera["width"],
        "height": camera["height"],
        "crop_offset_x": crop.left,
        "crop_offset_y": crop.top,
        "crop_width": crop.width,
        "crop_height": crop.height,
        "pixel_format": "rgb",
        "component_format": "float32",
        "rfilter": {"type": "box"},
    }
    return mi.load_dict(
        {
            "type": "perspective",
            "fov": camera["vfov_deg"],
            "fov_axis": "y",
            "near_clip": 0.001,
            "far_clip": 100.0,
            "to_world": look,
            "film": film,
            "sampler": {"type": sampler},
        }
    )


# --- pictures with a known noise ------------------------------------------------------------


@dataclass(frozen=True)
class Picture:
    """A mean of independent renderings and its standard error, both (rows, cols, 3)."""

    mean: Doubles
    standard_error: Doubles
    spp: int
    seeds: int
    seconds: float

    def noise(self, mask: NDArray[np.bool_]) -> float:
        """Return the root mean square of the standard error over the mean, inside the mask."""
        error = np.sqrt(np.mean(self.standard_error[mask] ** 2))
        return float(error / np.mean(self.mean[mask]))


def renderer(mi: Any, built: Any, view: Any) -> Callable[[int, int], Doubles]:
    """Return a function (seed, spp) that renders once, all bounces."""
    path = {"type": "path", "max_depth": -1, "rr_depth": RUSSIAN_ROULETTE_DEPTH}
    integrator = mi.load_dict(path)

    def render(seed: int, spp: int) -> Doubles:
        image = mi.render(built, sensor=view, integrator=integrator, seed=seed, spp=spp)
        return np.array(image, dtype=np.float64)

    return render


def average(
    render: Callable[[int, int], Doubles], *, first_seed: int, seeds: int, spp: int
) -> Picture:
    """Return the mean of `seeds` renderings of `spp` samples each."""
    began = time.perf_counter()
    pictures = np.stack([render(first_seed + i, spp) for i in range(seeds)])
    spent = time.perf_counter() - began
    error = pictures.std(axis=0, ddof=1) / math.sqrt(seeds)
    return Picture(pictures.mean(axis=0), error, spp, seeds, spent)


def to_noise(
    render: Callable[[int, int], Doubles],
    mask: NDArray[np.bool_],
    *,
    noise: float,
    seconds: float,
    first_seed: int = 1000,
) -> Picture:
    """Return a picture with about that noise, or what can be had in the time.

    The number of samples is fixed from a pilot picture of other seeds, so stopping
    cannot bias the result.
    """
    average(render, first_seed=1, seeds=2, spp=64)
    pilot = average(render, first_seed=11, seeds=8, spp=64)
    rate = pilot.seeds * pilot.spp / pilot.seconds
    wanted = pilot.seeds * pilot.spp * (pilot.noise(mask) / noise) ** 2
    total = min(wanted, rate * seconds)
    spp = int(np.clip(total / 24, 16, 3_000_000 / mask.size))
    seeds = max(16, math.ceil(total / spp))
    return average(render, first_seed=first_seed, seeds=seeds, spp=spp)


def _short(values: Doubles) -> NDArray[np.float32]:
    """Return float32 with 8 bits of mantissa, which pack well; enough for a standard error."""
    bits = np.float32(values).view(np.uint32) & np.uint32(0xFFFF8000)
    return bits.view(np.float32)


def render_scene(mi: Any, scene: Scene, *, noise: float, seconds: float) -> dict[str, Any]:
    """Return the arrays of one scene's file, zero outside the mask."""
    rows, columns = scene["camera"]["height"], scene["camera"]["width"]
    stored: dict[str, Any] = {}
    for layer in ("paper", "foil"):
        built = build(mi, scene, layer)
        mask, points = covered_pixels(mi, built, scene)
        crop = crop_to(mask)
        inside = mask[crop.window]
        render = renderer(mi, built, sensor(mi, scene["camera"], crop))
        picture = to_noise(render, inside, noise=noise, seconds=seconds)
        for name, values in (("", picture.mean), ("_se", picture.standard_error)):
            full = np.zeros((rows, columns, 3))
            full[crop.window] = np.where(inside[..., None], values, 0.0)
            stored[layer + name] = _short(full) if name else np.float32(full)
        stored[f"{layer}_samples"] = np.array([picture.seeds, picture.spp])
        print(
            f"{scene['name']} {layer}: noise {picture.noise(inside):.4f}, "
            f"{picture.seeds} x {picture.spp} spp, {picture.seconds:.1f} s",
            flush=True,
        )
    stored["mask"] = mask
    stored["xyz"] = np.float32(np.where(mask[..., None], points, 0.0))
    return stored


def store(path: Path, arrays: dict[str, Any]) -> None:
    """Write the arrays, complete or not at all."""
    partial = path.with_suffix(".partial.npz")
    np.savez_compressed(partial, **arrays)
    partial.replace(path)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("scenes", nargs="*", metavar="SCENE", help="default: all")
    parser.add_argument("--noise", type=float, default=0.005, help="rms error over mean")
    parser.add_argument("--seconds", type=float, default=40.0, help="most, per picture")
    options = parser.parse_args()
    mi = start()
    for name in options.scenes if options.scenes else scene_names():
        arrays = render_scene(mi, read_scene(name), noise=options.noise, seconds=options.seconds)
        store(FOLDER / f"{name}.npz", arrays)


if __name__ == "__main__":
    main()
