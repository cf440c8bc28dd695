"""Draw builds with slips, write the scenes to render, and take the photographs.

    PYTHONPATH=. python tests/reference/slipped/photographs.py builds     draws builds.json
    PYTHONPATH=. python tests/reference/slipped/photographs.py outside    draws outside.json
    PYTHONPATH=. python tests/reference/slipped/photographs.py again      draws outside_again.json
    PYTHONPATH=. python tests/reference/slipped/photographs.py scenes SET OUT.json.gz
    PYTHONPATH=. python tests/reference/slipped/render.py OUT.json.gz FOLDER   (path tracer)
    PYTHONPATH=. python tests/reference/slipped/photographs.py photographs FOLDER OUT

README.md says what is in them.
"""

from __future__ import annotations

import argparse
import gzip
import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))  # the folders are no packages
sys.path.insert(0, str(Path(__file__).parents[1] / "planned"))

from bases import PRESETS, base_rig, focal_35mm, picture_size
from camera_chain import Chain, draw_chain, jpeg, take
from rig_scene import scene_of
from slips import IN_CAMERA, Build, Slip, can_be, draw_slip, hand_built, slipped

from lightplan.advice.worth import CameraAsSet, Worth
from lightplan.light import Detail, Engine
from lightplan.light.exposure import Settings, settings_for
from lightplan.light.exposure import foil_share as share_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from lightplan.arrays import Singles
    from lightplan.scene import Rig

FOLDER = Path(__file__).parent
# How often each kind is drawn for one plan, the designs' share and the share kept aside alike.
SINGLES = (
    "place",
    "place",
    "turn",
    "turn",
    "power",
    "missing",
    "bow",
    "camera",
    "room",
    "foreign",
    "exposure",
    "white balance",
)
MATTERS = 3.0  # points
TRIES_OUTSIDE = 12
AGAIN, TRIES_AGAIN = 4, 25
"""How often light from outside is drawn anew for each plan, and with how many tries."""
ALL = ("builds.json", "outside.json", "outside_again.json")
PAIRS = (("place", "exposure"), ("turn", "power"), ("missing", "place"))


def exposure_of_plan(rig: Rig) -> Settings:
    """Return the settings with which the plan is to be photographed."""
    engine = Engine(rig, Detail.quick(camera_rows=8, camera_cols=8))
    paper, foil = engine.sheet(rig)
    x, y = np.meshgrid(engine.grid.x_mm, engine.grid.y_mm)
    share = share_of(rig, x, y, blur_mm=float(engine.grid.x_mm[1] - engine.grid.x_mm[0]))
    return settings_for(rig, paper, foil, share)


def draw_builds() -> list[Build]:
    """Draw all builds: per plan twelve single slips, one pair of slips, and three without."""
    found = []
    for number, name in enumerate(PRESETS):
        rig = base_rig(name)
        light = exposure_of_plan(rig).clip_cd_m2 * rig_level(rig)
        draw = np.random.default_rng(1000 + number)
        wanted: list[tuple[str, ...]] = [(kind,) for kind in SINGLES]
        wanted.append(PAIRS[number % len(PAIRS)])
        for i, kinds in enumerate(wanted):
            slips = _buildable(rig, kinds, light, draw)
            if slips is not None:
                seed = 100 * number + i
                in_camera = all(s.kind in IN_CAMERA for s in slips)
                hand = 50_000 + number if in_camera else 10_000 + seed
                found.append(Build(f"{name}_{i:02d}", name, slips, hand, 20_000 + seed))
        for i in range(3):
            found.append(
                Build(
                    f"{name}_right{i}",
                    name,
                    (),
                    50_000 + number + 100 * (i // 2),
                    30_000 + 100 * number + i,
                )
            )
    return found


def rig_level(rig: Rig) -> float:
    """Return the level that the plan gives white paper: other light is drawn beside that."""
    return min(1.0, max(0.15, rig.camera.exposure.level_on(rig.sheet.paper)))


def _buildable(
    rig: Rig, kinds: tuple[str, ...], light: float, draw: Any
) -> tuple[Slip, ...] | None:
    for _ in range(200):
        slips = [draw_slip(rig, kind, light, draw) for kind in kinds]
        if any(s is None for s in slips) or len({s.element for s in slips if s}) < len(kinds):
            if len(kinds) == 1:
                return None
            continue
        known = tuple(s for s in slips if s is not None)
        if can_be(slipped(rig, known), rig):
            return known
    return None


def draw_outside(number: int) -> Build:
    """Draw light that is not in the rig until it costs a plan three points; half go aside.

    Where no draw costs so much, the dearest is taken.
    """
    name = list(PRESETS)[number]
    aside = 3 if number % 2 else 0
    drawn = Build(
        name=f"{name}_outside",
        base=name,
        slips=(),
        hand_seed=60_000 + number,
        camera_seed=40_000 + 4 * number + (aside - number) % 4,
    )
    found = _costly(drawn, np.random.default_rng(4000 + number), TRIES_OUTSIDE)
    assert found is not None
    return found[1]


def draw_again(number: int) -> Iterator[Build]:
    """Yield light from outside that costs a plan three points, drawn anew with other hands."""
    name = list(PRESETS)[number]
    for turn in range(AGAIN):
        seed = 100 * (turn + 1) + number
        drawn = Build(
            name=f"{name}_again{turn}",
            base=name,
            slips=(),
            hand_seed=60_000 + seed,
            camera_seed=41_000 + seed,
        )
        found = _costly(drawn, np.random.default_rng(4000 + seed), TRIES_AGAIN)
        if found is not None and found[0] >= MATTERS:
            yield found[1]


def _costly(build: Build, draw: np.random.Generator, tries: int) -> tuple[float, Build] | None:
    """Return the first light from outside that costs three points, or the dearest, with its cost.

    The exposure stays as it was planned.
    """
    rig = base_rig(build.base)
    plan = exposure_of_plan(rig)
    light = plan.clip_cd_m2 * rig_level(rig)
    camera = CameraAsSet(clip_cd_m2=plan.clip_cd_m2)
    worth = Worth(rig)
    right = worth.score(hand_built(rig, build.hand_seed), camera)
    dearest: tuple[float, Build] | None = None
    for _ in range(tries):
        slips = _buildable(rig, ("foreign",), light, draw)
        if slips is None:
            continue
        slipped_one = replace(build, slips=slips)
        cost = right - worth.score(rig_as_built(slipped_one), camera)
        if dearest is None or cost > dearest[0]:
            dearest = (cost, slipped_one)
        if cost >= MATTERS:
            break
    return dearest


def read_builds(*names: str) -> list[Build]:
    """Return the builds of some files; without a name, of those that advice is judged by."""
    files = names or ("builds.json", "outside.json")
    return [
        Build.from_dict(one)
        for name in files
        for one in json.loads((FOLDER / name).read_text("utf-8"))
    ]


def is_aside(build: Build) -> bool:
    """Whether a build is kept aside: one in four, another fourth of each plan."""
    number = list(PRESETS).index(build.base)
    return (build.camera_seed + number) % 4 == 3


def rig_as_built(build: Build) -> Rig:
    """Return the rig that stands before the camera."""
    return slipped(hand_built(base_rig(build.base), build.hand_seed), build.slips)


def scene_name(build: Build) -> str:
    """Return a name that builds share whose light is the same."""
    moved = [s for s in build.slips if s.kind not in IN_CAMERA]
    return build.name if moved else f"{build.base}_hand{build.hand_seed}"


def scenes(builds: list[Build], spp: int) -> Iterator[dict[str, Any]]:
    """Yield jobs for render.py, each light once."""
    seen: set[str] = set()
    for build in builds:
        name = scene_name(build)
        if name in seen:
            continue
        seen.add(name)
        rig = rig_as_built(build)
        yield job_of(name, build.base, rig, spp)


def job_of(
    name: str, base: str, rig: Rig, spp: int, size: tuple[int, int] | None = None
) -> dict[str, Any]:
    """Return the job that renders one rig, its picture of `size` (rows, columns)."""
    sheet = rig.sheet
    return {
        "name": name,
        "base": base,
        "spp": spp,
        "scene": scene_of(rig, picture_size(rig) if size is None else size),
        "sheet_mm": [sheet.width_mm, sheet.height_mm],
    }


def write_jobs(
    jobs: list[dict[str, Any]], path: Path, artworks: Mapping[str, Singles] | None = None
) -> None:
    """Write jobs for render.py with their artworks: those of the plans, unless others are given."""
    art = {}
    for base in sorted({job["base"] for job in jobs}):
        drawn = base_rig(base).sheet.artwork if artworks is None else artworks[base]
        pixels = np.rint(255 * drawn).astype(np.uint8)
        art[base] = {"shape": pixels.shape, "hex": pixels.tobytes().hex()}
    with gzip.open(path, "wt") as file:
        json.dump({"jobs": jobs, "artwork": art}, file)


def chain_of(build: Build) -> tuple[Chain, np.random.Generator]:
    """Return the camera that takes a build, and its noise."""
    rig = base_rig(build.base)
    draw = np.random.default_rng(build.camera_seed)
    size = {s.kind: s.size for s in build.slips}
    made = chain_of_plan(
        rig,
        exposure_of_plan(rig),
        draw,
        stops=size.get("exposure", 0.0),
        balance_stops=size.get("white balance", 0.0),
    )
    return made, draw


def chain_of_plan(rig: Rig, plan: Settings, draw: np.random.Generator, **slipped: float) -> Chain:
    """Return a camera drawn at random that is set as a plan says, but for what has slipped."""
    return draw_chain(
        draw,
        clip_cd_m2=plan.clip_cd_m2,
        f_number=plan.f_number,
        time_s=plan.time_s,
        iso=plan.iso,
        focal_35mm=focal_35mm(rig),
        **slipped,
    )


def unpack(file: Any, name: str) -> np.ndarray[Any, Any]:
    """Return light (rows, cols, 3) in cd/m2 from render.py's file."""
    code = file[f"{name}_high"].astype(np.float32) * 256 + file[f"{name}_low"]
    return np.asarray((code / 1023) ** 2 * file[f"{name}_scale"], np.float32)


def photographs(folder: Path, out: Path) -> None:
    """Write one JPEG for each build whose scene was rendered."""
    out.mkdir(parents=True, exist_ok=True)
    for part in sorted(folder.glob("part*.npz")):
        with np.load(part) as file:
            there = {key[: -len("_low")] for key in file.files if key.endswith("_low")}
            for build in read_builds(*ALL):
                if scene_name(build) in there:
                    chain, draw = chain_of(build)
                    light = unpack(file, scene_name(build))
                    (out / f"{build.name}.jpg").write_bytes(jpeg(take(light, chain, draw), chain))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=["builds", "outside", "again", "scenes", "photographs"])
    parser.add_argument("places", nargs="*", metavar="PLACE")
    parser.add_argument("--spp", type=int, default=256)
    options = parser.parse_args()
    if options.what == "builds":
        plain = [b.to_dict() for b in draw_builds()]
        (FOLDER / "builds.json").write_text(json.dumps(plain, indent=0), "utf-8")
    elif options.what == "outside":
        drawn = [draw_outside(number) for number in range(len(PRESETS))]
        plain = [b.to_dict() for b in drawn]
        (FOLDER / "outside.json").write_text(json.dumps(plain, indent=0), "utf-8")
    elif options.what == "again":
        plain = [b.to_dict() for number in range(len(PRESETS)) for b in draw_again(number)]
        (FOLDER / "outside_again.json").write_text(json.dumps(plain, indent=0), "utf-8")
    elif options.what == "scenes":
        which, out = options.places
        if which in ("outside", "outside_again"):
            chosen = read_builds(f"{which}.json")
        else:
            chosen = [b for b in read_builds() if is_aside(b) == (which == "aside")]
        write_jobs(list(scenes(chosen, options.spp)), Path(out))
    else:
        photographs(*map(Path, options.places))


if __name__ == "__main__":
    main()
