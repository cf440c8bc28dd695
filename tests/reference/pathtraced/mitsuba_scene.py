"""From the numbers of a reference scene to Mitsuba's objects.

Mitsuba is imported only by `start`, so that reading a scene does not need it.
"""

from __future__ import annotations

import ctypes.util
import math
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parent))  # the folder is no package

from holographic_foil import register_holographic_foil
from thin_diffuser import register_thin_diffuser

if TYPE_CHECKING:
    from collections.abc import Sequence

Doubles = NDArray[np.float64]
Scene = dict[str, Any]

FACETS = 360
RINGS = 24
BOW_STRIPS = 400
PROBE_ROWS = 512
_EQUAL_AREA = math.sqrt(2 * math.pi / FACETS / math.sin(2 * math.pi / FACETS))


def start(variant: str | None = None) -> Any:
    """Return Mitsuba, set to the compiled variant, or the plain one where LLVM is missing.

    Mitsuba 3.9 works with LLVM 19; it crashes or refuses with 14 and 15.
    """
    import mitsuba as mi

    if variant is None:
        variant = "llvm_ad_rgb" if _find_llvm() else "scalar_rgb"
    if mi.variant() != variant:
        mi.set_variant(variant)
    register_thin_diffuser(mi)
    register_holographic_foil(mi)
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


def _band(near: Doubles, far: Doubles, rings: int = 1) -> tuple[Doubles, NDArray[np.int64]]:
    """Return vertices and triangles between two polylines (n, 3) of equal length.

    Long slanted triangles overlap in the renderer's search tree; more rings keep them compact.
    """
    share = np.linspace(0, 1, rings + 1)[:, None, None]
    vertices = near + share * (far - near)
    n = len(near)
    i = (np.arange(rings)[:, None] * n + np.arange(n - 1)).ravel()
    lower = np.stack([i, i + 1, n + i], axis=1)
    upper = np.stack([i + 1, n + i + 1, n + i], axis=1)
    return vertices.reshape(-1, near.shape[1]), np.concatenate([lower, upper])


def _holed_card(mi: Any, card: Scene, bsdf: Scene) -> Any:
    """Return a rectangle with a round hole in its middle, whose polygon has the circle's area."""
    half = np.array([card["width"], card["height"]]) / 2
    corner = math.atan2(half[1], half[0])
    corners = [corner, math.pi - corner, math.pi + corner, 2 * math.pi - corner]
    angles = np.union1d(np.linspace(0, 2 * math.pi, FACETS + 1), corners)
    circle = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    rim = card["hole_radius"] * _EQUAL_AREA * circle
    edge = circle / np.max(np.abs(circle) / half, axis=1, keepdims=True)
    flat, faces = _band(rim, edge, RINGS)
    right = np.cross(card["up"], card["normal"])
    vertices = card["center"] + flat @ np.stack([right, np.float64(card["up"])])
    return _mesh(mi, vertices, faces, bsdf)


def _frustum(mi: Any, shell: Scene, bsdf: Scene) -> Any:
    """Return a cone's mantle as a pyramid whose cross-section has the circle's area."""
    angles = np.linspace(0, 2 * math.pi, FACETS + 1)
    circle = np.stack([np.cos(angles), np.sin(angles), 0 * angles], axis=1) * _EQUAL_AREA
    foot = np.float64(shell["centre"])
    top = foot + np.array([0, 0, shell["height"]])
    band = _band(foot + shell["r_bottom"] * circle, top + shell["r_top"] * circle, RINGS)
    return _mesh(mi, *band, bsdf)


def _sheet(mi: Any, sheet: Scene, bsdf: Scene) -> Any:
    if sheet["shape"] == "flat":
        pose = _pose(mi, sheet, sheet["width"] / 2, sheet["height"] / 2)
        return mi.load_dict({"type": "rectangle", "to_world": pose, "bsdf": bsdf, "id": "sheet"})
    if sheet["shape"] == "mesh":
        vertices, faces = np.float64(sheet["vertices"]), np.int64(sheet["faces"])
        more = {"normals": np.float64(sheet["normals"])} if "normals" in sheet else {}
        texture = vertices[:, :2] / [sheet["width"], sheet["height"]] + 0.5
        return _mesh(mi, vertices, faces, bsdf, texture=texture, **more)
    half = sheet["width"] / 2
    x = np.linspace(-half, half, BOW_STRIPS + 1)
    z = sheet["bow"] * (1 - (x / half) ** 2)
    near = np.stack([x, np.full_like(x, -sheet["height"] / 2), z], axis=1)
    far = near * [1, -1, 1]
    vertices, faces = _band(near, far)
    normals = np.stack([2 * sheet["bow"] * x / half**2, 0 * x, np.ones_like(x)], axis=1)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    texture = vertices[:, :2] / [sheet["width"], sheet["height"]] + 0.5
    return _mesh(mi, vertices, faces, bsdf, normals=np.tile(normals, (2, 1)), texture=texture)


def _card_bsdf(card: Scene) -> Scene:
    if "specular" not in card:
        one_side: Scene = {"type": "diffuse", "reflectance": _rgb(card["reflectance"])}
    else:
        specular = card["specular"]
        one_side = {"type": "roughconductor", "distribution": "ggx", "alpha": specular["alpha"]}
        if "eta" in specular:
            one_side |= {"eta": _bounded(specular["eta"]), "k": _bounded(specular["k"])}
        else:
            one_side |= {"material": "none", "specular_reflectance": _rgb(specular["reflectance"])}
    return {"type": "twosided", "side": one_side}


def stock_bsdf(mi: Any, material: Scene) -> Scene:
    match material["model"]:
        case "lambert":
            return {"type": "diffuse", "reflectance": _rgb(material["reflectance"])}
        case "ggx_conductor":
            return _grated(material) if "grating" in material else _metal(material)
        case "coated":
            return _coated_bsdf(mi, material)
        case other:
            raise ValueError(f"unknown model {other!r} of a material")


def _metal(material: Scene) -> Scene:
    if "reflectance" in material:  # of a dyed foil, the same at every angle
        same = {"material": "none", "specular_reflectance": _rgb(material["reflectance"])}
    else:
        same = {"eta": _bounded(material["eta"]), "k": _bounded(material["k"])}
    return {
        "type": "roughconductor",
        "distribution": "ggx",
        **same,
        "alpha_u": material["alpha_x"],
        "alpha_v": material["alpha_y"],
        "sample_visible": True,
    }


def _grated(material: Scene) -> Scene:
    grating = material["grating"]
    constants = {
        f"{n}_{c}": v for n in ("eta", "k") for c, v in zip("rgb", material[n], strict=True)
    }
    return {
        "type": "holographic_foil",
        "mirror": _metal(material),
        "alpha_u": material["alpha_x"],
        "alpha_v": material["alpha_y"],
        "lines_per_mm": grating["lines_per_mm"],
        "direction_deg": grating["direction_deg"],
        **constants,
        **{f"order_{m}": share for m, share in grating["shares"].items()},
    }


def _coated_bsdf(mi: Any, material: Scene) -> Scene:
    """Return a matte body under a clear coat.

    Mitsuba counts only the light that passes the coat's rough surface in one scattering, in
    (T) and back out of the coat into the body (R), and so loses 5 % of the body's light. The
    body's reflectance is changed here so that T T rho / (1 - rho R) is right with the stated
    R, and with a smooth coat's T at a cosine of 0.8.
    """
    index, cosine = material["coat_index"], 0.8
    hit = mi.SurfaceInteraction3f()
    hit.wi = mi.Vector3f(0.6, 0.0, cosine)

    def body_value(reflectance: float) -> float:
        values = [
            bsdf.eval(mi.BSDFContext(), hit, hit.wi)[0]
            for bsdf in (mi.load_dict(_plastic(material, [rho] * 3)) for rho in (reflectance, 0.0))
        ]
        return float(np.ravel(values[0])[0] - np.ravel(values[1])[0])

    ratio = body_value(0.8) / body_value(0.4)
    own = (ratio - 2) / (0.8 * ratio - 0.8)
    own_passes = body_value(0.8) * math.pi * index**2 * (1 - 0.8 * own) / 0.8 / cosine
    inside = math.sqrt(1 - (1 - cosine**2) / index**2)
    s = ((cosine - index * inside) / (cosine + index * inside)) ** 2
    p = ((index * cosine - inside) / (index * cosine + inside)) ** 2
    passes = (1 - (s + p) / 2) ** 2
    rho = np.float64(material["reflectance"])
    body = rho / (1 - rho * material["internal_reflectance"]) * passes / own_passes
    return _plastic(material, body / (1 + own * body))


def _plastic(material: Scene, reflectance: Sequence[float]) -> Scene:
    return {
        "type": "roughplastic",
        "distribution": "ggx",
        "diffuse_reflectance": _rgb(reflectance),
        "int_ior": material["coat_index"],
        "ext_ior": 1.0,
        "alpha": material["alpha"],
        "nonlinear": True,
    }


def diffuser_bsdf(part: Scene) -> Scene:
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
            return {"type": "sphere", "center": light["center"], "radius": light["radius"], **made}
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
    parts["sheet"] = _sheet(mi, scene["sheet"], stock_bsdf(mi, scene["materials"][layer]))
    for i, light in enumerate(scene["lights"]):
        parts[f"light_{i}"] = _light(mi, light)
    boards = [*scene["cards"], *([] if scene["table"] is None else [scene["table"]])]
    for i, card in enumerate(boards):
        if "hole_radius" in card:
            parts[f"card_{i}"] = _holed_card(mi, card, _card_bsdf(card))
        else:
            parts[f"card_{i}"] = _rectangle(mi, card, _card_bsdf(card))
    for i, body in enumerate(scene.get("meshes", [])):
        vertices, faces = np.float64(body["vertices"]), np.int64(body["faces"])
        parts[f"mesh_{i}"] = _mesh(mi, vertices, faces, _card_bsdf(body))
    for i, panel in enumerate(scene["diffuser_panels"]):
        parts[f"panel_{i}"] = _rectangle(mi, panel, diffuser_bsdf(panel))
    for i, shell in enumerate(scene["diffuser_shells"]):
        parts[f"shell_{i}"] = _frustum(mi, shell, diffuser_bsdf(shell))
    if max(scene["ambient_radiance"]) > 0:
        parts["ambient"] = {"type": "constant", "radiance": _rgb(scene["ambient_radiance"])}
    if scene["probe"] is not None:
        parts["probe"] = _environment(mi, scene["probe"])
    return mi.load_dict(parts)


def _rectangle(mi: Any, part: Scene, bsdf: Scene) -> Scene:
    pose = _pose(mi, part, part["width"] / 2, part["height"] / 2)
    return {"type": "rectangle", "to_world": pose, "bsdf": bsdf}
