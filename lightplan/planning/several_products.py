"""Several products on one rig: which of them break it, and the nudge that each needs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lightplan.measures.verdict import KEEP_FROM
from lightplan.merit.bench import Bench
from lightplan.merit.engine_model import EngineModel, long_side_for, search_detail
from lightplan.merit.judged import FORGIVEN_MM, Judged
from lightplan.planning.finishing import moves
from lightplan.planning.robust import judge_builds
from lightplan.planning.starts import starts
from lightplan.scene.clearance import broken
from lightplan.scene.rounding import rounded
from lightplan.scene.setting_errors import SettingErrors
from lightplan.search.minimise import StopRule, minimise
from lightplan.search.multistart import FIRST_RADIUS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from lightplan.arrays import Doubles
    from lightplan.planning.result import PlannedMove, Robustness
    from lightplan.scene import Freedom, Rig, Sheet

RANGE_EVALUATIONS = 200
BUILDS = 128
NUDGE_MM = 60.0
"""How far a nudge may move things from the common rig. Our choice."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Product:
    """One of the goods: its name and its sheet."""

    name: str
    sheet: Sheet


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """How one product fares on the common rig.

    Parameters
    ----------
    product : Product
    rig : Rig
        The common rig with this product on it.
    score : float
        There, without a nudge.
    breaks : bool
        Whether it does not come out right there.
    problem : str
        Why it breaks the rig, in one sentence; "" when it does not.
    nudge : tuple of Move
        What to change for this product; empty when nothing is needed or helps.
    nudged_rig : Rig
        With the nudge; the same as `rig` when there is none.
    nudged_score : float
    robustness : Robustness or None
        How its rig, with the nudge, survives setting errors; None where it breaks the rig.
    """

    product: Product
    rig: Rig
    score: float
    breaks: bool
    problem: str
    nudge: tuple[PlannedMove, ...]
    nudged_rig: Rig
    nudged_score: float
    robustness: Robustness | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class RangePlan:
    """One rig for all products, and how each fares."""

    rig: Rig
    fits: tuple[Fit, ...]
    stopped_because: str

    @property
    def breaking(self) -> tuple[str, ...]:
        """Names of the products that need a nudge or another rig."""
        return tuple(fit.product.name for fit in self.fits if fit.breaks)


def plan_range(
    rig: Rig,
    products: Sequence[Product],
    *,
    seed: int = 0,
    evaluations: int = RANGE_EVALUATIONS,
    progress: Callable[[str], None] = lambda _: None,
    should_stop: Callable[[], bool] = lambda: False,
) -> RangePlan:
    """Return the rig that suits all products best on the whole, and each one's nudge.

    The product that fares worst counts twice, so that the common rig does not give one
    of them up for the others.

    Parameters
    ----------
    rig : Rig
        Its freedoms and look hold for all products; its sheet is replaced.
    products : sequence of Product
        At least one.
    evaluations : int
        Common rigs to judge; each is judged with every product.
    progress : callable
        Told of the search and of each product.
    """
    progress(f"one rig for {len(products)} products")
    benches = [_bench(replace(rig, sheet=p.sheet)) for p in products]
    largest = max(benches, key=lambda b: b.rig.sheet.width_mm * b.rig.sheet.height_mm)
    begun = [
        largest.begin(largest.with_own_powers(p), FIRST_RADIUS)
        for p in starts(largest.rig, largest.space)
    ]
    guesses = [stand.point for stand in begun if stand is not None]
    guesses = guesses or [largest.point_of(largest.rig)]

    def value(point: Doubles) -> float:
        found = [bench.value(point) for bench in benches]
        return (sum(found) + max(found)) / (len(found) + 1)

    looked = 0

    def values(points: Sequence[Doubles]) -> list[float]:
        nonlocal looked
        looked += len(points)
        progress(f"one rig for {len(products)} products: {looked} of {evaluations}")
        return [value(point) for point in points]

    rule = StopRule(evaluations=evaluations, tolerance=0.003, should_stop=should_stop)
    found = minimise(values, guesses, seed=seed, rule=rule)
    common = rounded(largest.rig_at(found.point), rig)
    fits = []
    for product in products:
        progress(f"how {product.name} fares")
        rig_of_it = replace(common, sheet=product.sheet)
        fits.append(_fit(product, rig_of_it, seed, evaluations // 2, should_stop))
    return RangePlan(rig=common, fits=tuple(fits), stopped_because=found.stopped_because)


def _bench(rig: Rig) -> Bench:
    return Bench(rig, EngineModel(rig, search_detail(rig, long_side_for(rig))))


def _fit(
    product: Product, rig: Rig, seed: int, evaluations: int, should_stop: Callable[[], bool]
) -> Fit:
    bench = _bench(rig)
    here = bench.judge(rig)
    breaks = here.excess_mm > FORGIVEN_MM or here.score < KEEP_FROM
    problem, nudged, nudged_rig = "", here, rig
    nudge: tuple[PlannedMove, ...] = ()
    if breaks:
        problem = _problem(here, bench)
        nudged = _nudged(bench, rig, seed, evaluations, should_stop)
        if nudged.value < here.value and nudged.score > here.score + 1.0:
            nudge, nudged_rig = moves(rig, nudged.rig), nudged.rig
        else:
            nudged = here
    robustness = None
    if nudged.excess_mm <= FORGIVEN_MM and not should_stop():
        robustness = _robustness(nudged_rig, seed)
    return Fit(
        product=product,
        rig=rig,
        score=here.score,
        breaks=breaks,
        problem=problem,
        nudge=nudge,
        nudged_rig=nudged_rig,
        nudged_score=nudged.score,
        robustness=robustness,
    )


def _robustness(rig: Rig, seed: int) -> Robustness:
    """Return how one product's rig survives setting errors, by the nearest of them."""
    bench = _bench(rig)
    return judge_builds(
        rig,
        lambda rigs: [bench.sheet_samples(one) for one in rigs],
        lambda sheets: bench.scores([rig] * len(sheets), sheets),
        errors=SettingErrors(),
        builds=BUILDS,
        seed=seed,
        quick=True,
    )


def _problem(here: Judged, bench: Bench) -> str:
    limits = [x for x in broken(here.rig) if (x.rule, *x.elements) not in bench.excused]
    return limits[0].sentence if limits else here.judgement.reasons[0]


def _nudged(
    bench: Bench, rig: Rig, seed: int, evaluations: int, should_stop: Callable[[], bool]
) -> Judged:
    """Return the best rig near the common one: powers first, then small moves."""
    powers = bench.judge(rounded(bench.judge_solved(rig).rig, rig))
    if powers.excess_mm <= FORGIVEN_MM and powers.score >= KEEP_FROM:
        return powers
    near = _bench(replace(rig, freedoms=tuple(_near(rig, bench))))
    rule = StopRule(evaluations=max(evaluations, 20), tolerance=0.003, should_stop=should_stop)
    found = minimise(
        lambda ps: [near.value(p) for p in ps], [near.point_of(rig)], seed=seed, rule=rule
    )
    moved = near.judge(rounded(near.judge_solved(near.rig_at(found.point)).rig, rig))
    return min(powers, moved, key=lambda j: j.value)


def _near(rig: Rig, bench: Bench) -> Iterator[Freedom]:
    now = bench.space.read(rig)
    where = {
        v.name: v.low + x * (v.high - v.low) for v, x in zip(bench.space.geometry, now, strict=True)
    }
    for freedom in rig.freedoms:
        middle = where.get(f"{freedom.element}.{freedom.dimension}")
        if middle is None:
            yield freedom
            continue
        low, high = max(freedom.low, middle - NUDGE_MM), min(freedom.high, middle + NUDGE_MM)
        if low < high:
            yield replace(freedom, low=low, high=high)
