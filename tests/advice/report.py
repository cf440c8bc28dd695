"""How often the advice names what slipped, and what its move wins: on photographs with known slips.

    PYTHONPATH=. python tests/advice/report.py PHOTOGRAPHS [--aside] [--processes 2] [--keep FILE]

PHOTOGRAPHS is the folder that tests/reference/slipped/photographs.py wrote. Gains are those of
the move made on the rig that really stood there, by the light engine at the camera's own
exposure. `--jobs JOBS.json.gz` writes the moved rigs for the path tracer; once render.py made
them in RENDERED, `--rendered RENDERED --keep FILE` photographs and judges them.
"""

from __future__ import annotations

import argparse
import json
import math
import multiprocessing
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "slipped"))

from bases import base_rig
from camera_chain import jpeg, phone_curve, take
from photographs import chain_of, is_aside, job_of, read_builds, rig_as_built, unpack, write_jobs
from slips import IN_CAMERA, Build, hand_built

from lightplan.advice.worth import CameraAsSet, Worth
from lightplan.errors import LightplanError, RigError
from lightplan.measures import Measures, judge
from lightplan.scene.slips import slipped as with_slips
from lightplan.shots.pipeline import look_at
from lightplan.tasks.advise import advice_words, advise
from lightplan.tasks.photographed import context_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from lightplan.arrays import Doubles, Singles
    from lightplan.scene import Rig

MATTERS = 3.0  # points
EXPOSURE_TIME = 0x829A  # EXIF; f-number and ISO are as planned


@dataclass(frozen=True, kw_only=True)
class CameraAsTaken(CameraAsSet):
    """The camera that took a photograph, with a phone's own tone curve where it has one."""

    phone: bool = False

    def levels(self, light: Doubles | Singles) -> Singles:
        """Return light (..., 3) in cd/m2 as the camera records it, 1 = clip level."""
        plain = super().levels(light)
        return phone_curve(np.minimum(plain, np.float32(1))) if self.phone else plain


def camera_of(build: Build, photo: Path | None = None) -> CameraAsTaken:
    """Return the camera that really took a build.

    A photograph that was taken long ago tells its exposure time: the plan's own may be another by
    now.
    """
    chain, _ = chain_of(build)
    stops = chain.stops
    if photo is not None:
        with Image.open(photo) as file:
            shot = file.getexif().get_ifd(0x8769)
        stops = math.log2(float(shot[EXPOSURE_TIME]) / chain.time_s)
    return CameraAsTaken(
        clip_cd_m2=chain.clip_cd_m2,
        stops=stops,
        red_stops=chain.balance_stops / 2,
        blue_stops=-chain.balance_stops / 2,
        phone=chain.phone,
    )


def in_order(build: Build, camera: CameraAsTaken) -> CameraAsTaken:
    """Return the camera as it should have been set."""
    kinds = {s.kind for s in build.slips}
    if "exposure" in kinds:
        camera = replace(camera, stops=0.0)
    if "white balance" in kinds:
        camera = replace(camera, red_stops=0.0, blue_stops=0.0)
    return camera


def after_move(
    build: Build, move: Any, rig: Rig, camera: CameraAsTaken
) -> tuple[Rig, CameraAsTaken]:
    """Return the true rig and camera after a move was made as it is told."""
    if move.element == "tone curve":
        return rig, replace(camera, phone=False)
    if move.element == "exposure":
        return rig, replace(camera, stops=camera.stops + round(3 * move.value) / 3)
    if move.element == "white balance":
        return rig, replace(camera, red_stops=0.0, blue_stops=0.0)
    if move.element == "not in the rig":
        return replace(rig, lamps=tuple(x for x in rig.lamps if x.name != "foreign")), camera
    if move.element == "room":
        room = replace(rig.room, ambient_cd_m2=base_rig(build.base).room.ambient_cd_m2)
        return replace(rig, room=room), camera
    if move.dimension == "missing":
        return _put_back(build, rig, move.element), camera
    return with_slips(rig, {(move.element, d): v for d, v in move.parts}), camera


def _put_back(build: Build, rig: Rig, name: str) -> Rig:
    planned = hand_built(base_rig(build.base), build.hand_seed)
    lamps = tuple(replace(x, on=True) if x.name == name else x for x in rig.lamps)
    there = {c.name for c in rig.cards}
    cards = tuple(c for c in planned.cards if c.name in there or c.name == name)
    by_name = {c.name: c for c in rig.cards}
    return replace(rig, lamps=lamps, cards=tuple(by_name.get(c.name, c) for c in cards))


def outcome(task: tuple[Build, Path]) -> dict[str, Any]:
    """Return what the advice on one build is worth."""
    build, folder = task
    photo = folder / f"{build.name}.jpg"
    planned = base_rig(build.base)
    right = hand_built(planned, build.hand_seed)
    true, camera = rig_as_built(build), camera_of(build, photo)
    worth = Worth(planned)
    score = worth.score(true, camera)
    undone = worth.score(right, in_order(build, camera))
    told: dict[str, Any] = {
        "name": build.name,
        "slips": [(s.kind, s.element, s.dimension, s.size) for s in build.slips],
        "score": score,
        "undone": undone,
        "cost": undone - score,
    }
    began = time.process_time()
    try:
        advice = advise(photo, rig=planned)
    except LightplanError as error:
        return told | {"error": str(error)}
    told["seconds"] = time.process_time() - began
    told["words"] = advice_words(advice)
    told["photo_score"] = advice.photo.score
    told["photo_seen"] = _unsharp(advice.photo.measures, planned)
    found = advice.estimate
    if found is None:
        return told | {"found": False}
    told |= {
        "found": True,
        "as_planned": advice.as_planned,
        "misfit": found.misfit,
        "set_as_planned": found.as_planned,
        "told": [
            (
                f.slip.element,
                f.slip.dimension,
                f.slip.value,
                f.slip.uncertainty,
                f.slip.confidence,
                f.cost,
            )
            for f in advice.things
        ],
        "foreign": [(f.direction, f.where_mm) for f in advice.foreign],
        "exposure": found.camera.exposure_stops,
        "true_exposure": camera.stops,
        "exposure_sigma": found.camera.exposure_sigma,
        "rivals": [(r.belief, [s.element for s in r.slips]) for r in found.rivals],
    }
    move = advice.first_move
    if move is not None:
        try:
            rig, after = after_move(build, move, true, camera)
            won = worth.score(rig, after) - score
        except (RigError, KeyError) as error:
            return told | {"move": move.text, "move_error": str(error)}
        told |= {
            "move": move.text,
            "move_element": move.element,
            "move_dimension": move.dimension,
            "move_value": move.value,
            "move_parts": move.parts,
            "promised": move.score_after,
            "spread": move.uncertainty,
            "expected_gain": move.gain,
            "full_gain": full_gain(advice),
            "won": won,
        }
        if won < -2 and move.undoes:
            told["right_seen"] = right_seen(build, folder)
    return told


def right_seen(build: Build, folder: Path) -> float | None:
    """Return what photographs of a plan that was built right earn, sharpness left out: the median.

    Another hand's and another camera's: what a photograph earns once its one slip is undone.
    """
    photos = sorted(folder.glob(f"{build.base}_right*.jpg"))
    found = [judged_score(build, photo) for photo in photos]
    return float(np.median(found)) if found else None


def full_gain(advice: Any) -> float:
    """Return the gain of the move as predicted, sharpness left out."""
    return float(advice.option.gain)


def culprit_named(one: dict[str, Any]) -> bool:
    """Whether what really slipped is what is told to cost most, or one of two."""
    names = {"foreign": "not in the rig"}
    wanted = {names.get(s[1], s[1]) for s in one["slips"]}
    told = [t[0] for t in sorted(one["told"], key=lambda t: -t[5])]
    if one["foreign"]:
        told.insert(0, "not in the rig")
    return bool(told) and told[0] in wanted


def summary(found: Sequence[dict[str, Any]]) -> list[str]:
    """Return the figures as lines."""
    seen = [f for f in found if f.get("found")]
    slips = [f for f in seen if f["slips"] and f["cost"] >= MATTERS]
    right = [f for f in seen if not f["slips"]]
    named = [f for f in slips if culprit_named(f)]
    lines = [
        f"photographs {len(found)}, sheet found in {len(seen)}",
        f"slips that cost {MATTERS:.0f} points or more: {len(slips)}",
        f"culprit named first: {len(named)} ({_share(named, slips)})",
    ]
    moved = [f for f in slips if "won" in f]
    gained = [f for f in moved if f["won"] > 0]
    ratios = [f["won"] / f["cost"] for f in moved]
    lines += [
        f"moves told: {len(moved)}; gain: {len(gained)} ({_share(gained, slips)})",
        f"share of what undoing wins, median: {np.median(ratios) if ratios else math.nan:.2f}",
        f"worst move: {min((f['won'] for f in seen if 'won' in f), default=math.nan):.1f} points",
        f"moves that lose more than 2 points: {sum(f['won'] < -2 for f in seen if 'won' in f)}; "
        f"beside what the photograph itself earned: {sum(map(_lost, seen))}",
    ]
    for one in seen:
        if one.get("right_seen") is not None:
            lines.append(
                f"  {one['name']} loses {-one['won']:.1f} by the engine; it earned "
                f"{one['photo_seen']:.1f}, photographs of its plan built right earn "
                f"{one['right_seen']:.1f}"
            )
    calm = [f for f in right if f["set_as_planned"] and not f["foreign"]]
    lines.append(
        f"builds without a slip: {len(right)}, told so: {len(calm)} ({_share(calm, right)})"
    )
    off = np.array([abs(f["exposure"] - f["true_exposure"]) for f in seen])
    lines.append(
        f"exposure within 0.2 stop: {np.mean(off <= 0.2):.0%} (95 %: {np.quantile(off, 0.95):.2f})"
    )
    lines += _coverage(seen)
    outside = [f for f in slips if any(s[0] == "foreign" for s in f["slips"])]
    hit = [f for f in outside if f["foreign"]]
    lines.append(f"not in the rig: {len(outside)} that cost so much, found: {_share(hit, outside)}")
    if seen:
        lines.append(f"processor time, median: {np.median([f['seconds'] for f in seen]):.1f} s")
    return lines


def _lost(one: dict[str, Any]) -> bool:
    """Whether a move loses more than 2 points beside the photograph's own score.

    Much of a foil may lie just below the clip level in the engine's picture of the true set: what
    moves win there is a knife's edge that the photograph, clipped already, does not have.
    """
    if one.get("won", 0.0) >= -2 or one["photo_seen"] is None:
        return False
    return bool(one["score"] + one["won"] < one["photo_seen"] - 2)


def _share(some: Sequence[Any], of: Sequence[Any]) -> str:
    return f"{len(some) / len(of):.0%}" if of else "-"


def deviations(found: Sequence[dict[str, Any]]) -> list[float]:
    """Return how far sizes of rightly named slips are off, in stated standard deviations."""
    off = []
    for one in found:
        true = {(s[1], s[2]): s[3] for s in one["slips"]}
        for element, dimension, value, sigma, *_ in one["told"]:
            size = true.get((element, dimension))
            if size is not None and dimension != "missing" and sigma > 0 and element != "room":
                if element == "exposure":
                    size = one["true_exposure"]
                off.append((value - size) / sigma)
    return off


def _coverage(found: Sequence[dict[str, Any]]) -> list[str]:
    off = np.abs(deviations(found))
    if not len(off):
        return []
    return [
        f"sizes of {len(off)} rightly named slips: {np.mean(off <= 1):.0%} within one stated "
        f"deviation (68 %), {np.mean(off <= 2):.0%} within two (95 %)"
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--rendered", type=Path, help="judge FOLDER's moved rigs; needs --keep")
    parser.add_argument("--aside", action="store_true", help="those kept aside, not the others")
    parser.add_argument("--again", action="store_true", help="light from outside, drawn anew")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="write what was found as JSON")
    parser.add_argument("--jobs", type=Path, help="write the moved rigs for the path tracer")
    options = parser.parse_args()
    if options.rendered is not None:
        main_rendered(options.keep, options.rendered, options.folder)
        return
    if options.again:
        builds = read_builds("outside_again.json")
    else:
        builds = [b for b in read_builds() if is_aside(b) == options.aside]
    tasks = [(b, options.folder) for b in builds if (options.folder / f"{b.name}.jpg").exists()]
    found = [outcome(tasks[0])]  # loops are compiled once, before helpers share them
    print(line_of(found[0]), flush=True)
    with multiprocessing.get_context("fork").Pool(options.processes) as pool:
        for one in pool.imap(outcome, tasks[1:], chunksize=1):
            found.append(one)
            print(line_of(one), flush=True)
    print("\n".join(summary(found)))
    if options.keep is not None:
        options.keep.write_text(json.dumps(found, indent=0, default=float), "utf-8")
    if options.jobs is not None:
        write_jobs(list(move_jobs({b.name: b for b, _ in tasks}, found)), options.jobs)


def main_rendered(kept: Path, folder: Path, photos: Path) -> None:
    print("\n".join(rendered(json.loads(kept.read_text("utf-8")), folder, photos)))


def move_jobs(
    builds: dict[str, Build], found: Sequence[dict[str, Any]], spp: int = 160
) -> Iterator[dict[str, Any]]:
    """Yield rigs for render.py: after the move, and with the slips undone.

    Of slips that cost much, and of moves that lose by the light engine.
    Moves of the camera's settings alone need no new light and are left to the light engine.
    """
    for one in found:
        if "won" not in one or one["move_element"] in IN_CAMERA:
            continue
        if one["cost"] < MATTERS and one["won"] >= -2:
            continue
        build = builds[one["name"]]
        move = argparse.Namespace(
            element=one["move_element"],
            dimension=one["move_dimension"],
            value=one["move_value"],
            parts=one["move_parts"],
        )
        rig, _ = after_move(build, move, rig_as_built(build), camera_of(build))
        yield job_of(f"{build.name}_moved", build.base, replace(rig, freedoms=()), spp)
        right = hand_built(base_rig(build.base), build.hand_seed)
        yield job_of(f"{build.name}_undone", build.base, right, spp)


def rendered(found: Sequence[dict[str, Any]], folder: Path, photos_in: Path) -> list[str]:
    """Return what moves won in the path tracer's pictures, photographed and judged anew.

    Sharpness is left out of these scores: pictures this small all fail its gate.
    """
    builds = {b.name: b for b in read_builds()}
    scores: dict[str, dict[str, float]] = {}
    for part in sorted(folder.glob("part*.npz")):
        with np.load(part) as file:
            for key in file.files:
                name, _, way = key[: -len("_low")].rpartition("_")
                if key.endswith("_low") and way in ("moved", "undone") and name in builds:
                    scores.setdefault(name, {})[way] = _photo_score(builds[name], file, way)
    photos = {n: photos_in / f"{n}.jpg" for n in scores}
    before = {n: judged_score(builds[n], photo) for n, photo in photos.items()}
    gains = {f["name"]: (f["full_gain"], f["spread"]) for f in found if "won" in f}
    promised = {n: (before[n] + gain, spread) for n, (gain, spread) in gains.items() if n in before}
    lines, won, ratio, off = [], [], [], []
    for name, after in scores.items():
        known = name in promised and len(after) == 2
        if not known or not math.isfinite(before[name] + sum(after.values())):
            continue
        gain, most = after["moved"] - before[name], after["undone"] - before[name]
        won.append(gain)
        ratio.append(gain / most if most > 1 else math.nan)
        off.append((after["moved"] - promised[name][0]) / promised[name][1])
        lines.append(
            f"{name}: {before[name]:.0f}, after the move {after['moved']:.0f} (promised "
            f"{promised[name][0]:.0f}), undone {after['undone']:.0f}"
        )
    if won:
        away = np.abs(off)
        lines.append(
            f"in the renderer: {len(won)} moves, {np.mean(np.array(won) > 0):.0%} gain, median of "
            f"what undoing wins {np.nanmedian(ratio):.2f}, worst {min(won):.1f} points; scores "
            f"promised: {np.mean(away <= 1):.0%} within one deviation, {np.mean(away <= 2):.0%} "
            "within two"
        )
    return lines


def _photo_score(build: Build, file: Any, way: str) -> float:
    chain, draw = chain_of(build)
    codes = take(unpack(file, f"{build.name}_{way}"), chain, draw)
    with tempfile.TemporaryDirectory() as place:
        photo = Path(place) / f"{build.name}.jpg"
        photo.write_bytes(jpeg(codes, chain))
        return judged_score(build, photo)


def judged_score(build: Build, photo: Path) -> float:
    """Return a photograph's score, its sharpness left out."""
    rig = base_rig(build.base)
    score = _unsharp(look_at(photo, context_of(rig)).score.measures, rig)
    return math.nan if score is None else score


def _unsharp(pairs: Any, rig: Rig) -> float | None:
    """Return the score of a photograph's measures without its sharpness; None without measures."""
    if not pairs:
        return None
    kept = {n: v for n, v in pairs.items() if not n.startswith("sharpness")}
    return judge(Measures(kept), rig.look).score


def line_of(one: dict[str, Any]) -> str:
    """Return one photograph in a line."""
    truth = ", ".join(f"{e} {d} {v:.2f}" for _, e, d, v in one["slips"])
    if not one.get("found"):
        return f"{one['name']}: {truth}: no sheet {one.get('error', '')}"
    told = ", ".join(f"{t[0]} {t[1]} {t[2]:.2f}±{t[3]:.2f}" for t in one["told"])
    outside = " + outside" if one["foreign"] else ""
    won = f"; won {one['won']:.1f}" if "won" in one else ""
    return (
        f"{one['name']}: {truth if truth else 'right'}: costs {one['cost']:.1f} of "
        f"{one['undone']:.0f}; told {told}{outside}; misfit {one['misfit']:.2f}{won}; "
        f"exposure {one['exposure'] - one['true_exposure']:+.2f}; "
        f"{one.get('move', one.get('move_error', 'no move'))}"
    )


if __name__ == "__main__":
    main()
