"""Print how true the light model is on rigs drawn at random, and near and narrow, as Markdown.

    python tests/light/random_report.py FOLDER [--quick] [--each] [--sound] [NAME...]

FOLDER holds `scenes/NAME.json` and any number of `*.npz` with NAME_paper, NAME_foil (rows,
cols, 3), perhaps over NAME_paper_scale; NAME_paper_se, NAME_foil_se (the renderer's standard
error, of each value or its root mean square) and NAME_mask. Names that
begin with n_ are graded scenes, near and narrow; they are listed one by one, the others as a
distribution. Error: as in accuracy_report.py. A scene whose lamps differ in colour is worked
out once for each channel, as a rig's lamps are neutral. With `--sound`, rigs are left out in
which boards and lamps pass through each other: they were drawn, but nobody can build them.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.light import Detail, Engine
from lightplan.scene.clearance import broken

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from types import ModuleType

LAYERS = ("paper", "foil")
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
    """Return both layers in the camera's frame, (rows, cols, 3)."""
    builder = _module("conftest")
    size = {"camera_rows": scene["camera"]["height"], "camera_cols": scene["camera"]["width"]}
    detail = Detail.quick(**size) if quick else Detail(**size)
    neutral = all(np.ptp(item["radiance"]) == 0 for item in scene["lights"])
    found: dict[str, Any] = {}
    for channel in (0,) if neutral else range(3):
        rig = builder.build_rig(one_channel(scene, channel))
        layers = Engine(rig, detail).layers(rig)
        mine = slice(None) if neutral else slice(channel, channel + 1)
        for layer in LAYERS:
            shown = getattr(layers, f"camera_{layer}")
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
    parser.add_argument("folder", type=Path)
    parser.add_argument("names", nargs="*", metavar="NAME")
    parser.add_argument("--quick", action="store_true", help="the detail of the moving picture")
    parser.add_argument("--each", action="store_true", help="list the random rigs too")
    parser.add_argument("--sound", action="store_true", help="rigs that can be built alone")
    options = parser.parse_intermixed_args()
    stored = stored_pictures(options.folder)
    found = []
    for name in options.names or sorted(stored):
        scene = json.loads((options.folder / "scenes" / f"{name}.json").read_text("utf-8"))
        if not options.sound or is_sound(scene):
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
