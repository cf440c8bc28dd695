"""Print how true the light model is on rigs drawn at random, and near and narrow, as Markdown.

    python tests/light/random_report.py FOLDER... [--quick] [--each] [--sound] [--only NAME...]

A FOLDER holds `scenes/NAME.json` and any number of `*.npz` with NAME_paper, NAME_foil (rows,
cols, 3), perhaps over NAME_paper_scale; NAME_paper_se, NAME_foil_se (the renderer's standard
error, of each value or its root mean square) and NAME_mask. Names that
begin with n_ are graded scenes, near and narrow; they are listed one by one, the others as a
distribution. Error: as in accuracy_report.py. A scene whose lamps differ in colour is worked
out once for each channel, as a rig's lamps are neutral. With `--sound`, rigs are left out in
which boards and lamps pass through each other: they were drawn, but nobody can build them. With
`--renderer-coat`, coated paper lets in what the renderer's does, which counts one scattering by
its facets and loses some per cent of low light so (`test_coat_walk.py`): what is off then is off by
counts of points, not by that law.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import math
import sys
import time
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.geometry.points import unit_square
from lightplan.light import Detail, Engine, coat
from lightplan.optics import fresnel, microfacet
from lightplan.scene.clearance import broken

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from types import ModuleType

LAYERS = ("paper", "foil")
# A pixel of the renderer's is the mean over its area: ours looks at places as many along each side
PER_PIXEL = 3
COAT_FACETS, SET_RIGHT_AT = 4181, 0.8
SHARES = (0.01, 0.02, 0.03, 0.05)  # errors within which layers are counted


@dataclass(frozen=True)
class Truth:
    """One scene's errors as shares of the mean; where the noise is as large, they say little."""

    name: str
    paper: float
    foil: float
    paper_noise: float
    foil_noise: float
    seconds: float

    @property
    def is_graded(self) -> bool:
        """Whether it is one of the near and narrow."""
        return self.name.startswith("n_")


def _module(name: str) -> ModuleType:
    path = Path(__file__).with_name(f"{name}.py")
    spec = importlib.util.spec_from_file_location(f"light_{name}", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def one_channel(scene: dict[str, Any], channel: int) -> dict[str, Any]:
    """Return the scene with neutral lamps, as bright as they are in one channel."""
    lights = [{**item, "radiance": [item["radiance"][channel]] * 3} for item in scene["lights"]]
    return {**scene, "lights": lights}


def predicted(scene: dict[str, Any], *, quick: bool) -> dict[str, Any]:
    """Return both layers in the camera's frame, (rows, cols, 3), means over each pixel."""
    builder = _module("conftest")
    rows, cols = scene["camera"]["height"], scene["camera"]["width"]
    size = {"camera_rows": PER_PIXEL * rows, "camera_cols": PER_PIXEL * cols}
    detail = Detail.quick(**size) if quick else Detail(**size)
    neutral = all(np.ptp(item["radiance"]) == 0 for item in scene["lights"])
    found: dict[str, Any] = {}
    for channel in (0,) if neutral else range(3):
        rig = builder.build_rig(one_channel(scene, channel))
        layers = Engine(rig, detail).layers(rig)
        mine = slice(None) if neutral else slice(channel, channel + 1)
        for layer in LAYERS:
            shown = getattr(layers, f"camera_{layer}")
            shown = shown.reshape(rows, PER_PIXEL, cols, PER_PIXEL, 3).mean(axis=(1, 3))
            found.setdefault(layer, np.empty_like(shown))[..., mine] = shown[..., mine]
    return found


def compare(scene: dict[str, Any], stored: dict[str, Any], *, quick: bool) -> Truth:
    """Return how near the model comes to one scene's pictures."""
    report = _module("accuracy_report")
    began = time.process_time()
    ours = predicted(scene, quick=quick)
    seconds = time.process_time() - began
    seen = stored["mask"].astype(bool) & np.isfinite(ours["paper"][..., 0])
    found = {}
    for layer in LAYERS:
        scale = float(stored.get(f"{layer}_scale", 1.0))
        reference = scale * stored[layer][seen].astype(float)
        errors = np.broadcast_to(stored[f"{layer}_se"], stored[layer].shape)
        noise = scale * errors[seen].astype(float)
        found[layer] = report.relative_error(ours[layer][seen], reference, noise)
        found[f"{layer}_noise"] = report.rms(noise) / float(reference.mean())
    return Truth(scene["name"], seconds=seconds, **found)


def let_coats_in_as_the_renderer() -> None:
    """Let rough coats pass what facets do not hide of what they let in, set right at 0.8.

    At that cosine the stored pictures have a smooth coat's passage (`mitsuba_scene.py`).
    """

    @lru_cache(maxsize=32)
    def through(index: float, alpha: float) -> Any:
        passed = [_in_one_scattering(index, alpha, float(cosine)) for cosine in coat.COSINES]
        s, p = fresnel.dielectric(np.array(SET_RIGHT_AT), index)
        smooth = 1.0 - 0.5 * float(s + p)
        return np.array(passed) * smooth / _in_one_scattering(index, alpha, SET_RIGHT_AT)

    coat._through_coat = through


def _in_one_scattering(index: float, alpha: float, cosine: float) -> float:
    square = unit_square(COAT_FACETS)
    view = np.tile([math.sqrt(1 - cosine**2), 0.0, cosine], (len(square), 1))
    half = microfacet.sample_visible_normals(view, alpha, alpha, square)
    against = np.clip(np.sum(view * half, axis=1), 0.0, 1.0)
    s, p = fresnel.dielectric(against, index)
    inside = np.sqrt(1.0 - (1.0 - against**2) / index**2)
    on = (view - against[:, None] * half) / index + inside[:, None] * half
    return float(np.mean((1.0 - 0.5 * (s + p)) * microfacet.g1(*on.T, alpha, alpha)))


def is_sound(scene: dict[str, Any]) -> bool:
    """Tell whether no thing of a scene passes through another."""
    rig = _module("conftest").build_rig(one_channel(scene, 0))
    return not any(limit.rule == "through each other" for limit in broken(rig))


def stored_pictures(folder: Path) -> dict[str, dict[str, Any]]:
    """Return what is stored of each scene: both layers, their noise and the mask."""
    found: dict[str, dict[str, Any]] = {}
    for path in sorted(folder.glob("*.npz")):
        with np.load(path) as data:
            for key in data.files:
                name, _, what = key.partition(_first_part(key))
                found.setdefault(name, {})[(_first_part(key) + what)[1:]] = data[key]
    return found


def _first_part(key: str) -> str:
    """Return "_paper", "_foil", "_mask" or "_xyz", whichever the key holds."""
    return next(part for part in ("_paper", "_foil", "_mask", "_xyz") if part in key)


def distribution(found: Sequence[Truth]) -> Iterator[str]:
    """Yield a table of medians, high quantiles and worst cases."""
    yield (
        "| layer | median | 95 % of rigs within | worst | "
        + " | ".join(f"within {100 * share:.0f} %" for share in SHARES)
        + " |"
    )
    yield "|" + "---|" * (4 + len(SHARES))
    for layer in LAYERS:
        errors = np.array([getattr(one, layer) for one in found])
        worst = found[int(errors.argmax())].name
        within = " | ".join(f"{100 * np.mean(errors <= share):.0f} %" for share in SHARES)
        middle, high = np.quantile(errors, (0.5, 0.95))
        yield (
            f"| {layer} | {100 * middle:.2f} % | {100 * high:.2f} % |"
            f" {100 * errors.max():.2f} % ({worst}) | {within} |"
        )


def rows(found: Sequence[Truth]) -> Iterator[str]:
    """Yield a table of single scenes."""
    yield "| scene | paper error, % | foil error, % | paper noise, % | foil noise, % | seconds |"
    yield "|---|---|---|---|---|---|"
    for one in found:
        shares = (one.paper, one.foil, one.paper_noise, one.foil_noise)
        figures = " | ".join(f"{100 * share:.2f}" for share in shares)
        yield f"| {one.name} | {figures} | {one.seconds:.2f} |"


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", type=Path, nargs="+", metavar="FOLDER")
    parser.add_argument("--only", nargs="+", metavar="NAME", default=())
    parser.add_argument("--quick", action="store_true", help="the detail of the moving picture")
    parser.add_argument("--each", action="store_true", help="list the random rigs too")
    parser.add_argument("--sound", action="store_true", help="rigs that can be built alone")
    parser.add_argument("--renderer-coat", action="store_true", help="as the renderer has coats")
    options = parser.parse_args()
    if options.renderer_coat:
        let_coats_in_as_the_renderer()
    found = []
    for folder in options.folders:
        stored = stored_pictures(folder)
        for name in sorted(stored):
            scene = json.loads((folder / "scenes" / f"{name}.json").read_text("utf-8"))
            wanted = not options.only or name in options.only
            if wanted and (not options.sound or is_sound(scene)):
                found.append(compare(scene, stored[name], quick=options.quick))
    graded = [one for one in found if one.is_graded]
    drawn = [one for one in found if not one.is_graded]
    if drawn:
        print(f"\n{len(drawn)} rigs drawn at random:\n", *distribution(drawn), sep="\n")
    if drawn and options.each:
        print("", *rows(drawn), sep="\n")
    if graded:
        print("\nNear and narrow:\n", *rows(graded), sep="\n")
    seconds = np.array([one.seconds for one in found])
    print(
        f"\nProcessor time of a rig: median {np.median(seconds):.2f} s, sum {seconds.sum():.0f} s."
    )


if __name__ == "__main__":
    main()
