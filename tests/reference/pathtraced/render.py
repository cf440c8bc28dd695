"""Render the reference scenes with Mitsuba 3, an independent path tracer.

    python tests/reference/pathtraced/render.py [--noise 0.005] [--seconds 40] [SCENE...]

reads `<scene>.json` beside this file and writes `<scene>.npz`; README.md says what is in
both.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))  # the folder is no package

from mitsuba_scene import Doubles, Scene, build, start

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

FOLDER = Path(__file__).parent
RUSSIAN_ROULETTE_DEPTH = 12
SUBPIXELS = 8


def read_scene(name: str) -> Scene:
    """Return the scene of that name as it stands in its JSON file."""
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def scene_names() -> list[str]:
    return sorted(path.stem for path in FOLDER.glob("*.json"))


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
        return (slice(self.top, self.top + self.height), slice(self.left, self.left + self.width))


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
