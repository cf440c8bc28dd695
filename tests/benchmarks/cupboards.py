"""Plans from bare cupboards against arrangements by hand, longer searches, and a thousand builds.

    PYTHONPATH=. python tests/benchmarks/cupboards.py run OUT.json [--count 20] [--first 0]
        [--draw 83] [--processes 2] [--longer 50 --longer-count 8] [--builds 1000]
        [--until SECONDS]
    PYTHONPATH=. python tests/benchmarks/cupboards.py tell OUT.json

Product and cupboard are drawn by number (size, foil, stock, look, lamps, boards, camera, room),
as somebody would answer the questions of `start`. Each is planned from the bare cupboard, and
again in arrangements that are written here by hand with their freedoms, of the same things: a
lamp in the mirror direction, a board there that a lamp lights, dark field with lamps at the
sides, two boards as a V, a window with fill, a diffuser there with a lamp behind it (the
usual arrangements: common practice, no source). The best of these is what the plan is held
against: by the score that a plan states, and by the score that its builds have in the mean, which
is what a plan is chosen by (an arrangement of 93 of which three builds in four miss is no better
than one of 87 that all hands get right). Every plan is asked whether it keeps the rules of holding
and clearance, and whether it uses only what is owned. `--longer` plans some again with so many
times the evaluations, `--builds` traces so many builds of each plan with all errors at once.
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

sys.path.insert(0, str(Path(__file__).parents[1] / "advice"))

from lightplan.merit.engine_model import long_side_for, polish_detail
from lightplan.planning.all_looks import wanted_looks, with_look
from lightplan.planning.cupboard import cupboard_of
from lightplan.planning.effort import effort_for
from lightplan.planning.judging_pool import Judges
from lightplan.planning.offers import HANGS
from lightplan.planning.planner import plan as plan_by_hand
from lightplan.planning.result import NoPlan, Plan
from lightplan.planning.robust import ALLOWED_LOSS, draws, good_score
from lightplan.scene import Card, Freedom, Lamp, Placement, Rig
from lightplan.scene.clearance import broken
from lightplan.scene.setting_errors import SettingErrors, built, error_dimensions
from lightplan.tasks.owned import owned_items
from lightplan.tasks.plan import plan as plan_of_all
from lightplan.tasks.start_rig import start_rig

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.planning.cupboard import Cupboard, Item
    from lightplan.rigfiles import LoadedRig

WITHIN = 0.01  # share of the score that is no difference


# --- what is drawn ----------------------------------------------------------------------------


def drawn(number: int, seed: int = 83) -> tuple[LoadedRig, str]:
    """Return a product with its cupboard, and the look that is wanted."""
    from evenings import GOODS, answers_of, artwork_of  # its imports need a path tracer's folder

    draw = np.random.default_rng([seed, number])
    answers = answers_of(draw)
    with tempfile.TemporaryDirectory() as place:
        goods = next(g for g in GOODS if g.id == answers["goods"])
        art = artwork_of(goods.means["width_mm"], goods.means["height_mm"], draw)
        loaded = start_rig(answers, Path(place) / "r.toml", artwork=art)
    looks, _ = wanted_looks(loaded.rig)
    look = str(draw.choice(looks))
    return replace(loaded, rig=with_look(loaded.rig, look)), look  # type: ignore[arg-type]


# --- arrangements by hand ---------------------------------------------------------------------


def by_hand(had: Cupboard) -> Iterator[tuple[str, Rig]]:
    """Yield the usual arrangements of what is owned, each with its freedoms."""
    lamps, boards, blacks = list(had.lamps), list(had.boards), list(had.blacks)
    if lamps:
        key, rest = lamps[0], lamps[1:]
        at_side = _beside(rest)
        yield "lamp in the mirror direction", _set(had, [_mirrored(had, key, 650.0), *at_side])
        black = [_mirrored(had, card, 400.0) for card in blacks[:1]]
        yield "lamps at the sides", _set(had, _beside(lamps), black, wide=True)
    if lamps and boards:
        board = _mirrored(had, boards[0], 330.0)
        lit = _lighting(lamps[0], board)
        yield "board lit from beside", _set(had, [lit, *_beside(lamps[1:])], [board])
    if len(lamps) > 1 and boards:
        board = _mirrored(had, boards[0], 330.0)
        both = [_lighting(lamps[0], board), _lighting(lamps[1], board, side=1.0)]
        yield "board lit from both sides", _set(had, both, [board])
    if lamps and len(boards) > 1:
        pair = [_tipped(had, boards[0], -1.0), _tipped(had, boards[1], 1.0)]
        yield "two boards as a V", _set(had, [_lighting(lamps[0], pair[0])], pair)
    for window in had.windows[:1]:
        left = replace(window, placement=Placement((-1000.0, 0.0, 600.0), (0.0, 0.0, 600.0)))
        board = [_mirrored(had, boards[0], 400.0)] if boards else []
        yield "window with a board", _set(had, [left], board)
    if lamps and had.diffusers:
        screen = _mirrored(had, had.diffusers[0], 400.0)
        behind = _mirrored(had, lamps[0], 750.0)
        yield "diffuser with a lamp behind", _set(had, [behind, *_beside(lamps[1:])], [screen])


def _mirrored(had: Cupboard, thing: Any, distance_mm: float) -> Any:
    """Put a thing where the middle of the sheet mirrors it to the lens."""
    x, y, z = had.base.camera.placement.position_mm
    size = math.sqrt(x * x + y * y + z * z)
    at = (-x / size * distance_mm, -y / size * distance_mm, z / size * distance_mm)
    return replace(thing, placement=Placement(at, (0.0, 0.0, 0.0)))


def _tipped(had: Cupboard, board: Card, side: float) -> Card:
    whole = _mirrored(had, board, 330.0)
    x, y, z = whole.placement.position_mm
    at = (x + side * 0.45 * board.width_mm, y, z)
    return replace(board, placement=Placement(at, (0.0, 0.0, 0.0)))


def _lighting(lamp: Lamp, board: Card, side: float = -1.0) -> Lamp:
    """Stand a lamp low beside the sheet, turned up to a board."""
    at = (side * 420.0, -60.0, max(170.0, 0.6 * lamp.height_mm))
    return replace(lamp, placement=Placement(at, board.placement.position_mm))


def _beside(lamps: list[Lamp]) -> list[Lamp]:
    """Stand lamps at the left and right, turned to the sheet."""
    return [
        replace(lamp, placement=Placement(((-1.0) ** n * 600.0, 0.0, 420.0), (0.0, 0.0, 0.0)))
        for n, lamp in enumerate(lamps)
    ]


def _set(
    had: Cupboard, lamps: list[Lamp], cards: list[Card] | None = None, *, wide: bool = False
) -> Rig:
    # as the plan has to: a board hangs where something that is owned hangs it, else it leans
    hung = next((had.holders[k] for k in HANGS if k in had.holders), had.holders["books"])
    cards = [replace(card, held=hung) for card in cards or []]
    freedoms = []
    reach = 350.0 if wide else 220.0
    for thing in [*lamps, *cards]:
        for name, value in zip("xyz", thing.placement.position_mm, strict=True):
            low = max(value - reach, 60.0) if name == "z" else value - reach
            freedoms.append(_may(thing.name, f"{name}_mm", low, value + reach))
    freedoms += [_may(lamp.name, "trim_stops", -6.0, 0.0) for lamp in lamps]
    return replace(
        had.base, lamps=tuple(lamps), cards=tuple(cards), shells=(), freedoms=tuple(freedoms)
    )


def _may(element: str, dimension: str, low: float, high: float) -> Freedom:
    return Freedom(element=element, dimension=dimension, low=low, high=high)  # type: ignore[arg-type]


# --- one job ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Job:
    """One thing to work out about one product, in a process of its own.

    Parameters
    ----------
    task : str
        "plan", "longer", "by hand" or "builds".
    number, seed : int
        Which product is drawn, and which time the plan is begun.
    until : float
        When, by the clock of the machine, nothing is begun any more, in s.
    longer, builds : int
        So many times the evaluations; builds that are traced.
    name : str
        Which arrangement by hand.
    rig : Rig or None
        The plan that is built, or whose camera the arrangement by hand has.
    """

    task: str
    number: int
    seed: int
    until: float
    longer: int = 1
    builds: int = 0
    name: str = ""
    rig: Rig | None = None


def counted(job: Job) -> dict[str, Any]:
    """Return what one job tells of its product; nothing where the time is over."""
    told: dict[str, Any] = {"number": job.number}
    if time.monotonic() > job.until:
        return told | {"cut": [job.task]}
    try:
        return told | _TASKS[job.task](job)
    except Exception as error:  # noqa: BLE001 - one product must not end the others' figures
        return told | {"failed": repr(error)}


def _planned(job: Job) -> dict[str, Any]:
    loaded, look = drawn(job.number, job.seed)
    items = owned_items(loaded)
    began = time.process_time()
    found = plan_of_all(loaded, effort=effort_for(loaded.rig), seed=job.number)
    told: dict[str, Any] = {
        "title": loaded.rig.title,
        "look": look,
        "lamps": len(loaded.rig.lamps),
        "cpu_s": round(time.process_time() - began, 1),
    }
    if not isinstance(found, Plan):
        return told | {"no_plan": found.reason}
    had = cupboard_of(replace(loaded.rig, camera=found.rig.camera), items)
    return told | {
        "score": found.score,
        "mean": _mean(found),
        "metal": float(found.measures.get("reads_as_metal_share", 1.0)),
        "arrangement": found.arrangement,
        "broken": [f"{one.rule}: {one.elements}" for one in broken(found.rig)],
        "not_owned": sorted(set(found.rig.element_names()) - _owned(loaded.rig, items)),
        "yield": found.robustness.yield_share,
        "good_score": found.robustness.good_score,
        "by_hand": {},
        "names": [name for name, _ in by_hand(had)],
        "rig": found.rig,
    }


def _longer(job: Job) -> dict[str, Any]:
    loaded, _ = drawn(job.number, job.seed)
    effort = effort_for(loaded.rig)
    more = replace(effort, evaluations=job.longer * effort.evaluations)
    found = plan_of_all(
        loaded, effort=more, seed=job.number, should_stop=lambda: time.monotonic() > job.until
    )
    return {
        "longer": found.score if isinstance(found, Plan) else None,
        "longer_cut": time.monotonic() > job.until,
    }


def _by_hand(job: Job) -> dict[str, Any]:
    # from the place that the plan chose for the camera: a sheet that fills a third of the frame
    # is lit more easily, and is no picture of the same worth
    loaded, _ = drawn(job.number, job.seed)
    assert job.rig is not None
    same_camera = replace(loaded.rig, camera=job.rig.camera)
    rig = dict(by_hand(cupboard_of(same_camera, owned_items(loaded))))[job.name]
    plan = plan_by_hand(rig, effort=effort_for(loaded.rig), seed=job.number)
    worth = _worth(plan)
    if not isinstance(plan, Plan) or isinstance(worth, str):
        return {"by_hand": {job.name: worth}}
    told = {"mean": _mean(plan), "yield": plan.robustness.yield_share}
    return {"by_hand": {job.name: worth}, "by_hand_builds": {job.name: told}}


def _built(job: Job) -> dict[str, Any]:
    """Return the share of builds, each traced with all its errors, that come out right.

    Right is what loses no more than the plan's builds may, of the plan in the same light: builds
    are traced coarser than a score is stated, and one plan was worth 9 points more there, so that
    all its builds were right.
    """
    assert job.rig is not None
    rig = replace(job.rig, freedoms=())
    dimensions = error_dimensions(rig, SettingErrors())
    rows = draws(dimensions, job.builds, seed=20_000)
    with Judges(rig, polish_detail(rig, long_side_for(rig))) as judges:
        (own,) = judges.scores([rig])
        scores = [judges.scores([built(rig, dimensions, row)])[0] for row in rows]
    return {"traced_yield": float(np.mean(np.array(scores) >= good_score(own)))}


_TASKS = {"plan": _planned, "longer": _longer, "by hand": _by_hand, "builds": _built}


def _worth(plan: Plan | NoPlan) -> float | str:
    """Return a plan's score; the reason where there is none, or it keeps not all rules."""
    if isinstance(plan, NoPlan):
        return plan.reason
    rules = broken(plan.rig)
    return f"breaks a rule: {rules[0].rule}" if rules else plan.score


def _mean(plan: Plan) -> float:
    """Return the score that builds of a plan have in the mean, from the score that it states.

    Builds are judged under coarser light than that; what they lose there is taken off.
    """
    assert plan.score is not None
    told = plan.robustness
    return max(0.0, plan.score - (told.good_score + ALLOWED_LOSS - told.mean_score))


def _owned(rig: Rig, items: list[Item]) -> set[str]:
    had = cupboard_of(rig, items)
    things = (*had.lamps, *had.boards, *had.blacks, *had.diffusers, *had.shells, *had.windows)
    return {thing.name for thing in things} | set(had.base.element_names())


# --- all of them ------------------------------------------------------------------------------


def run(options: argparse.Namespace) -> None:
    """Count all products in several processes, and keep what is done as it comes."""
    until = time.monotonic() + options.until
    found: dict[int, dict[str, Any]] = {}
    with multiprocessing.get_context("spawn").Pool(options.processes, maxtasksperchild=1) as pool:
        waiting = [pool.apply_async(counted, (job,)) for job in _first_jobs(options, until)]
        while waiting and time.monotonic() < until + 45.0:
            for answer in [one for one in waiting if one.ready()]:
                waiting.remove(answer)
                told = answer.get()
                more = _next_jobs(told, options, until)
                waiting += [pool.apply_async(counted, (job,)) for job in more]
                told.pop("rig", None)
                print(json.dumps(told), flush=True)
                _note(found.setdefault(told["number"], {}), told)
                options.out.write_text(json.dumps(list(found.values()), indent=1))
            time.sleep(0.1)
        pool.terminate()


def _first_jobs(options: argparse.Namespace, until: float) -> Iterator[Job]:
    for i in range(options.count):
        number = options.first + i
        yield Job("plan", number, options.draw, until)
        if options.longer and i < options.longer_count:
            yield Job("longer", number, options.draw, until, longer=options.longer)


def _next_jobs(told: dict[str, Any], options: argparse.Namespace, until: float) -> Iterator[Job]:
    """Yield what is asked about a plan once it is there."""
    if "rig" not in told:
        return
    job = Job("by hand", told["number"], options.draw, until, rig=told["rig"])
    for name in told["names"] if options.by_hand and _may_be_below(told) else ():
        yield replace(job, name=name)
    if options.builds:
        yield replace(job, task="builds", builds=options.builds)


def _may_be_below(told: dict[str, Any]) -> bool:
    """Whether anything by hand could be better by what is a difference, with 100 the best."""
    return min(told["score"], told["mean"]) < 100.0 * (1 - WITHIN)


def _note(known: dict[str, Any], told: dict[str, Any]) -> None:
    """Put what a job told beside what is known of its product."""
    for key, value in told.items():
        if key.startswith("by_hand"):
            known.setdefault(key, {}).update(value)
        elif key == "cut":
            known.setdefault(key, []).extend(value)
        else:
            known[key] = value


def tell(options: argparse.Namespace) -> None:
    """Print what was counted as Markdown."""
    found = sorted(json.loads(options.out.read_text()), key=lambda one: one["number"])
    planned = [one for one in found if "score" in one]
    print(f"{len(found)} products, {len(planned)} planned, {_count(found, 'failed')} failed")
    compared = [one for one in planned if _is_compared(one)]
    for what, words in (("score", "by the score stated"), ("mean", "by the mean of their builds")):
        _compare(compared, what, words)
    print(f"rules broken: {_count(planned, 'broken')}, not owned: {_count(planned, 'not_owned')}")
    longer = [one for one in planned if one.get("longer") is not None]
    near = [one["score"] >= one["longer"] * (1 - WITHIN) for one in longer]
    print(f"within 1 % of a longer search: {sum(near)} of {len(longer)}")
    for one in longer:
        print(f"- {one['number']} {one['look']}: {one['score']:.1f}, longer {one['longer']:.1f}")
    traced = [one for one in planned if "traced_yield" in one]
    off = [100 * (one["yield"] - one["traced_yield"]) for one in traced]
    print(f"yields within 5 points: {sum(abs(o) <= 5 for o in off)} of {len(off)}")
    for one, gap in zip(traced, off, strict=True):
        if abs(gap) > 5:
            print(f"- {one['number']} {one['look']}: {gap:+.1f} points promised over traced")


def _compare(compared: list[dict[str, Any]], what: str, words: str) -> None:
    """Print how plans stand beside the best by hand, by one measure, with all figures of both.

    What nothing could be better than counts without having been planned by hand.
    """
    below = []
    for one in compared:
        name = max(_by_name(one, what), key=_by_name(one, what).__getitem__, default=None)
        if name is not None and one[what] < _by_name(one, what)[name] * (1 - WITHIN):
            below.append((one, name))
    print(f"at least as good as the best by hand, {words}: "
          f"{len(compared) - len(below)} of {len(compared)}")  # fmt: skip
    for one, name in below:
        built = one["by_hand_builds"][name]
        print(
            f"- {one['number']} {one['title']}, {one['look']}: {one['score']:.1f}, builds "
            f"{one['mean']:.1f}, {100 * one['yield']:.0f} % good; {name} by hand "
            f"{one['by_hand'][name]:.1f}, builds {built['mean']:.1f}, "
            f"{100 * built['yield']:.0f} % good"
        )


def _by_name(one: dict[str, Any], what: str) -> dict[str, float]:
    """Return the arrangements by hand that can be built, each with its worth by one measure."""
    if what == "score":
        return {k: v for k, v in one["by_hand"].items() if isinstance(v, float)}
    return {name: told[what] for name, told in one.get("by_hand_builds", {}).items()}


def _is_compared(one: dict[str, Any]) -> bool:
    """Whether all its arrangements by hand were worked out, or did not have to be."""
    return not _may_be_below(one) or set(one["by_hand"]) == set(one["names"])


def _count(found: list[dict[str, Any]], key: str) -> int:
    return sum(bool(one.get(key)) for one in found)


def main() -> None:
    """Run or tell."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("task", choices=["run", "tell"])
    parser.add_argument("out", type=Path)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--longer", type=int, default=0)
    parser.add_argument("--longer-count", type=int, default=0)
    parser.add_argument("--builds", type=int, default=0)
    parser.add_argument("--draw", type=int, default=83, help="other numbers, other products")
    parser.add_argument("--by-hand", action=argparse.BooleanOptionalAction, default=True)
    parser.add_argument("--until", type=float, default=1e9)
    options = parser.parse_args()
    (run if options.task == "run" else tell)(options)


if __name__ == "__main__":
    main()
