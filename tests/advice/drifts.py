"""How often a drift between two frames of one set is found: by its size, and by what it does.

    PYTHONPATH=. python tests/advice/drifts.py photograph FOLDER
    PYTHONPATH=. python tests/advice/drifts.py untouched FOLDER
    PYTHONPATH=. python tests/advice/drifts.py look FOLDER FOUND.json
    PYTHONPATH=. python tests/advice/drifts.py tell FOUND.json

Each plan of `../reference/slipped/bases.py` is built once by a hand with its errors and
photographed; then again with nothing touched but the sheet, and with one thing, drawn at random
with its dimension, off by 10 mm or 1 degree, and by 20 mm or 2 degrees. In every other frame the
sheet has been put back a little otherwise. Light is the engine's own at full detail, which the
estimate does not use; camera, noise and JPEG are those of `../reference/slipped/camera_chain.py`.
`--long-side` is that of the photographs in pixels; a camera's own have more. `untouched` takes
sets that nobody touched but the sheet, and with `--other-camera` such as another camera sees.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "slipped"))

from bases import PRESETS, base_rig
from drifted import LONG_SIDE, beside_sheet, lit
from drifted import photograph as taken
from photographs import exposure_of_plan
from slips import hand_built

from lightplan.advice.worth import Worth, as_planned
from lightplan.errors import LightplanError
from lightplan.estimate import FramePair, drifted, estimate
from lightplan.estimate.drift_search import search_between
from lightplan.estimate.frame_change import COST_OF_CHANGE
from lightplan.scene.setting_errors import ErrorDimension, SettingErrors, built, error_dimensions
from lightplan.shots.pipeline import look_at
from lightplan.tasks.advise import by_one_thread, plan_settings
from lightplan.tasks.drift import pair_of
from lightplan.tasks.photographed import context_of, photographed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from camera_chain import Chain

    from lightplan.estimate import Estimate, Photographed
    from lightplan.scene import Rig
    from lightplan.shots.pipeline import Looked

SEED, STILL, MOVED = 20, 3, 5
SIZES = {1: {"mm": 10.0, "deg": 1.0}, 2: {"mm": 20.0, "deg": 2.0}}
PUT_BACK_MM, PUT_BACK_DEG, PUT_BACK_BOW_MM = 1.0, 0.3, 0.05
"""Standard deviations of a sheet that is put back against a stop; common practice, no source."""
UNTOUCHED = 9  # frames of each plan
OTHER_BACK = (1.1, -0.8, 0.3, 0.04)
OTHER_CAMERAS: dict[str, Callable[[Chain], Chain]] = {
    "more": lambda c: replace(c, stops=c.stops + 1 / 3),
    "less": lambda c: replace(c, stops=c.stops - 0.5),
    "warm": lambda c: replace(c, balance_stops=c.balance_stops + 0.15),
    "vignette": lambda c: replace(c, vignette_stops=c.vignette_stops + 0.15),
    "phone": lambda c: replace(c, phone=not c.phone),
    "noisy": lambda c: replace(c, noise=2.5 * c.noise),
    "jpeg": lambda c: replace(c, quality=78),
    "soft": lambda c: replace(c, blur_px=c.blur_px + 0.7),
}
"""What another camera, or this one otherwise set, does to a frame."""
BANDS = ((0.02, 9.0), (0.004, 0.02), (0.0, 0.004))
"""Root mean square change of light in the foil, stops, its mean taken out: from 1.5 %, from a
third of a per cent, less."""


def draw_cases(plan: str, seed: int) -> Iterator[dict[str, Any]]:
    """Yield what is done to one set, frame by frame."""
    rig = base_rig(plan)
    draw = np.random.default_rng([seed, list(PRESETS).index(plan)])
    things = [
        d
        for d in error_dimensions(rig, SettingErrors())
        if d.element not in ("camera", "sheet") and d.dimension != "power_stops"
    ]
    for number in range(STILL + 2 * MOVED):
        drifted, size = None, 0
        if number >= STILL:
            size = 1 + (number - STILL) // MOVED
            one = things[draw.integers(len(things))]
            step = SIZES[size][one.dimension.rpartition("_")[2]] * float(draw.choice([-1.0, 1.0]))
            drifted = (one.element, one.dimension, step)
        back = draw.normal(size=4) * [PUT_BACK_MM, PUT_BACK_MM, PUT_BACK_DEG, PUT_BACK_BOW_MM]
        moved = number < STILL or number % 2 == 0
        yield {
            "name": f"{plan}_{number:02d}",
            "plan": plan,
            "drift": drifted,
            "size": size,
            "put_back": [round(float(b), 3) for b in back] if moved else None,
            "noise": 100 + number,
        }


def with_drift(rig: Rig, drift: tuple[str, str, float] | None) -> Rig:
    """Return the set after one thing has drifted."""
    if drift is None:
        return rig
    element, dimension, step = drift
    return built(rig, (ErrorDimension(element, dimension, 1.0),), np.array([step]))


def with_sheet(rig: Rig, back: list[float] | None) -> Rig:
    """Return the set as a sheet sees it that was put back otherwise."""
    if back is None:
        return rig
    rig = built(rig, (ErrorDimension("sheet", "bow_mm", 1.0),), np.array([back[3]]))
    _, _, forward = rig.camera.axes()
    overhead = abs(forward[2]) > 0.9999  # such a camera's own turn is not told by where it looks
    return beside_sheet(rig, *back[:2], 0.0 if overhead else back[2])


def changes(before: Any, after: Any, rig: Rig) -> tuple[float, float]:
    """Return the change of light in foil and in paper in stops, its mean taken out."""
    found = []
    for layer, is_foil in (("sheet_foil", True), ("sheet_paper", False)):
        old, new = (np.asarray(getattr(x, layer), float) for x in (before, after))
        art = cv2.resize(np.asarray(rig.sheet.artwork, np.float32), old.shape[1::-1])
        weight = np.clip(art if is_foil else 1 - art, 0, 1)[..., None] * np.ones(3)
        floor = 0.004 * np.nanmax(old)
        step = np.nan_to_num(np.log2((new + floor) / (old + floor)))
        mean = (weight * step).sum() / weight.sum()
        found.append(float(np.sqrt((weight * (step - mean) ** 2).sum() / weight.sum())))
    return found[0], found[1]


def photograph_all(folder: Path, seed: int, plans: list[str], long_side: int) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    cases, kept = [], folder / "cases.json"
    if plans and kept.exists():
        cases = [c for c in json.loads(kept.read_text("utf-8")) if c["plan"] not in plans]
    for plan in plans or PRESETS:
        rig = base_rig(plan)
        stood = replace(hand_built(rig, seed), freedoms=())
        picture, then = lit(stood, long_side)
        (folder / f"{plan}_then.jpg").write_bytes(taken(rig, picture, 1))
        worth, camera = Worth(rig), as_planned(rig, exposure_of_plan(rig))
        was = worth.score(stood, camera)
        for case in draw_cases(plan, seed):
            moved = with_drift(stood, case["drift"])
            picture, now = lit(with_sheet(moved, case["put_back"]), long_side)
            if case["drift"] is not None:
                alone = now if case["put_back"] is None else lit(moved, long_side)[1]
                case["foil_stops"], case["paper_stops"] = changes(then, alone, rig)
                case["cost"] = was - worth.score(moved, camera)
            (folder / f"{case['name']}.jpg").write_bytes(taken(rig, picture, case["noise"]))
            cases.append(case)
        print(plan, flush=True)
    (folder / "cases.json").write_text(json.dumps(cases, indent=0), "utf-8")


def untouched(folder: Path, plans: list[str], long_side: int, *, other_camera: bool) -> None:
    """Photograph sets of which the sheet alone was put back, or nothing, more often."""
    folder.mkdir(parents=True, exist_ok=True)
    cases = []
    for plan in plans or PRESETS:
        rig = base_rig(plan)
        stood = replace(hand_built(rig, SEED), freedoms=())
        pictures = {None: lit(stood, long_side)[0]}
        (folder / f"{plan}_then.jpg").write_bytes(taken(rig, pictures[None], 1))
        for name, back, noise, other in untouched_cases(plan, other_camera=other_camera):
            if back not in pictures:
                pictures[back] = lit(with_sheet(stood, list(back)), long_side)[0]
            (folder / f"{name}.jpg").write_bytes(taken(rig, pictures[back], noise, other))
            case = {"name": name, "plan": plan, "drift": None, "size": 0, "noise": noise}
            cases.append(case | {"put_back": None if back is None else list(back)})
        print(plan, flush=True)
    (folder / "cases.json").write_text(json.dumps(cases, indent=0), "utf-8")


def untouched_cases(plan: str, *, other_camera: bool) -> Iterator[tuple[str, Any, int, Any]]:
    """Yield names, how the sheet was put back, the noise's seed, and what another camera is."""
    if other_camera:
        for number, (way, other) in enumerate(OTHER_CAMERAS.items(), 900):
            yield f"{plan}_{way}", None, number, other
            yield f"{plan}_{way}_put", OTHER_BACK, number, other
        return
    draw = np.random.default_rng([77, list(PRESETS).index(plan)])
    for number in range(UNTOUCHED):
        step = draw.normal(size=4) * [PUT_BACK_MM, PUT_BACK_MM, PUT_BACK_DEG, PUT_BACK_BOW_MM]
        back = None if number % 3 == 2 else tuple(round(float(b), 3) for b in step)
        yield f"{plan}_s{number:02d}", back, 500 + number, None


@lru_cache(maxsize=2)
def before(folder: Path, plan: str) -> tuple[Looked, Photographed, Estimate, float]:
    """Return the earlier frame of a set: what is seen, the set then, and what clips."""
    rig = base_rig(plan)
    looked = look_at(folder / f"{plan}_then.jpg", context_of(rig))
    data, clip = photographed(looked), plan_settings(rig).clip_cd_m2
    assert data is not None
    then = by_one_thread(lambda: estimate(rig, data, clip_cd_m2=clip))
    return looked, data, then, clip / 2**then.camera.exposure_stops


def explained(then: Estimate, pair: FramePair, clip: float, drift: Any) -> float:
    """Return what a drift explains as it truly was; where nothing moved, what chance does.

    In twice the log likelihood: what is told must explain `COST_OF_CHANGE`.
    """
    search = search_between(then, pair, clip_cd_m2=clip)
    plan = search.as_planned()
    if drift is None:
        return float(plan.misfit - search.grown(plan)[0].misfit)
    element, dimension, step = drift
    true = search.at({(element, dimension): step}, 1)
    return -np.inf if true is None else float(plan.misfit - true.misfit)


def look(folder: Path, plans: list[str]) -> list[dict[str, Any]]:
    """Return what is told of each case."""
    found = []
    for case in json.loads((folder / "cases.json").read_text("utf-8")):
        plan = case["plan"]
        if plans and plan not in plans:
            continue
        try:
            was, data, then, clip = before(folder, plan)
        except (LightplanError, AssertionError) as error:
            found.append(case | {"error": str(error)})
            continue
        began = time.process_time()
        looked = look_at(folder / f"{case['name']}.jpg", context_of(base_rig(plan)))
        now = photographed(looked)
        if now is None:
            found.append(case | {"error": "no sheet"})
            continue
        pair = pair_of(was, looked, data, now)
        told = by_one_thread(lambda: drifted(then, pair, clip_cd_m2=clip))  # noqa: B023 - at once
        case |= {
            "told": [(s.element, s.dimension, s.value, s.uncertainty) for s in told.slips],
            "misfit": told.misfit,
            "rivals": [[(s.element, s.dimension) for s in r.slips] for r in told.rivals],
            "foreign": len(told.foreign),
            "seconds": time.process_time() - began,
        }
        if case["drift"] is None or not told.slips:
            drift = case["drift"]
            case["explained"] = by_one_thread(
                lambda: explained(then, pair, clip, drift)  # noqa: B023 - at once
            )
        found.append(case)
        words = " ".join(f"{e} {d} {v:.1f}+-{u:.1f}" for e, d, v, u in case["told"])
        print(
            case["name"], case["drift"], "put back" if case["put_back"] else "left",
            f"foil {case.get('foil_stops', 0):.3f} paper {case.get('paper_stops', 0):.3f} "
            f"cost {case.get('cost', 0):.1f} told: {words} misfit {told.misfit:.2f} "
            f"{case['seconds']:.1f} s", flush=True,
        )  # fmt: skip
    return found


def verdict(case: dict[str, Any]) -> str:
    """Return "right", "other way" (the right thing, another dimension), "wrong" or "nothing"."""
    if not case["told"] and not case["foreign"]:
        return "nothing"
    if case["drift"] is None or not case["told"]:
        return "wrong"
    element, dimension, _ = case["drift"]
    ways = [t[1] for t in case["told"] if t[0] == element]
    if not ways:
        return "wrong"
    return "right" if dimension in ways else "other way"


def tell(found: list[dict[str, Any]]) -> str:
    """Return the table."""
    good = [c for c in found if "error" not in c]
    still = [c for c in good if c["drift"] is None]
    lines = [f"{len(found)} frames, {len(good)} of them read"]
    alarms = sum(verdict(c) != "nothing" for c in still)
    lines.append(f"nothing touched but the sheet: {alarms} false alarms of {len(still)}")
    for size in SIZES:
        for unit in ("mm", "deg"):
            for least, most in BANDS:
                some = [
                    c
                    for c in good
                    if c["size"] == size
                    and c["drift"][1].endswith(unit)
                    and least <= c["foil_stops"] < most
                ]
                told = [verdict(c) for c in some]
                counts = {v: told.count(v) for v in ("right", "other way", "wrong", "nothing")}
                dear = sum(c["cost"] >= 1 and verdict(c) != "right" for c in some)
                lines.append(
                    f"{SIZES[size][unit]:g} {unit}, foil changes by {least:g} stop or more: "
                    f"{len(some)}: {counts}; not right and cost a point or more: {dear}"
                )
    missed = [c for c in good if c["drift"] is not None and verdict(c) == "nothing"]
    for name, some in (("not told, as it truly was", missed), ("nothing moved, by chance", still)):
        known = sorted((c["explained"], c["name"]) for c in some if "explained" in c)
        if known:
            all_of = ", ".join(f"{one} {gain:.1f}" for gain, one in known)
            lines.append(f"explained of the {COST_OF_CHANGE:g} that are asked; {name}: {all_of}")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=["photograph", "untouched", "look", "tell"])
    parser.add_argument("places", nargs="+", type=Path, metavar="PLACE")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--plans", default="", help="some plans only, apart by commas")
    parser.add_argument("--long-side", type=int, default=LONG_SIDE)
    parser.add_argument("--other-camera", action="store_true", help="untouched sets, seen by one")
    options = parser.parse_args()
    plans = [p for p in options.plans.split(",") if p]
    if options.what == "untouched":
        where = options.places[0]
        untouched(where, plans, options.long_side, other_camera=options.other_camera)
        return
    if options.what == "photograph":
        photograph_all(options.places[0], options.seed, plans, options.long_side)
    elif options.what == "look":
        found = look(options.places[0], plans)
        options.places[1].write_text(json.dumps(found, indent=0), "utf-8")
        print(tell(found))
    else:
        print(tell(json.loads(options.places[0].read_text("utf-8"))))


if __name__ == "__main__":
    main()
