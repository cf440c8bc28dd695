"""A range of products on one rig: planned together, written with the nudge that each needs."""

from __future__ import annotations

from dataclasses import asdict, replace
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from lightplan.measures.verdict import KEEP_FROM
from lightplan.planning.everything import opened
from lightplan.planning.several_products import RANGE_EVALUATIONS as RANGE_EVALUATIONS
from lightplan.planning.several_products import Fit, Product, RangePlan, plan_range
from lightplan.reports.report import write_report
from lightplan.reports.setup.facts import SetupNote
from lightplan.reports.setup.steps import care_words
from lightplan.rigfiles import LoadedRig, PlanRecord, load_rig, write_rig
from lightplan.tasks.folder import prepare
from lightplan.tasks.move_words import move_line
from lightplan.tasks.owned import owned_items
from lightplan.tasks.plan import tolerances_of
from lightplan.tasks.predict import FILES, predict, write_prediction
from lightplan.tasks.setup import facts_of, write_setup
from lightplan.version import __version__

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from lightplan.scene import Rig
    from lightplan.units import LengthUnit

RANGE_FILES = ("rig.toml", "setup.pdf", "plan.json", *FILES)
"""Beside them one rig file for each further product, see `product_file`."""


def product_file(number: int) -> str:
    """Return the name of the rig file of a further product; the first is ``rig.toml``.

    >>> product_file(1), product_file(2)
    ('rig.toml', 'rig-2.toml')
    """
    return "rig.toml" if number == 1 else f"rig-{number}.toml"


def plan_products(
    source: LoadedRig,
    others: Sequence[str],
    *,
    wanted: Rig | None = None,
    seed: int = 0,
    evaluations: int = RANGE_EVALUATIONS,
    progress: Callable[[str], None] = lambda _: None,
    should_stop: Callable[[], bool] = lambda: False,
) -> tuple[RangePlan, tuple[LoadedRig, ...]]:
    """Return one rig for the sheets of several rigs, and the rig files of all, the first first.

    Parameters
    ----------
    source : LoadedRig
        Its freedoms and look hold for all.
    others : sequence of str
        Rig files or presets of the further products.
    wanted : Rig or None
        The first rig with another look; None: as its file has it.

    Raises
    ------
    BadInput
        When a rig cannot be read.
    """
    sources = (source, *(load_rig(other) for other in others))
    products = [Product(name=s.rig.title, sheet=s.rig.sheet) for s in sources]
    base = source.rig if wanted is None else wanted
    if not base.freedoms:  # everything is open: what it is found in may be moved on for all
        progress("what to set up")
        base = opened(base, owned_items(source), seed=seed)
    found = plan_range(
        base,
        products,
        seed=seed,
        evaluations=evaluations,
        progress=progress,
        should_stop=should_stop,
    )
    return found, sources


def write_range(
    found: RangePlan,
    sources: Sequence[LoadedRig],
    folder: Path,
    *,
    paper: str = "A4",
    unit: LengthUnit = "mm",
    replace_files: bool = False,
) -> tuple[Path, ...]:
    """Write a rig file for each product, the setup sheet of the first, and its prediction."""
    names = [product_file(number) for number in range(2, len(sources) + 1)]
    inputs = [path for source in sources for path in source.inputs]
    prepare(folder, (*RANGE_FILES, *names), replace=replace_files, inputs=inputs)
    rigs = [
        _write_one(
            found,
            fit,
            sources[0],
            other,
            folder / product_file(number),
            replace_files=replace_files,
        )
        for number, (fit, other) in enumerate(zip(found.fits, sources, strict=True), 1)
    ]
    prediction = predict(rigs[0], pack=True)
    facts = replace(facts_of(rigs[0], prediction), notes=(range_note(found, unit),))
    setup = write_setup(
        prediction, folder / "setup.pdf", facts=facts, paper=paper, unit=unit, replace=replace_files
    )
    document = range_document(found) | {"rig_digest": rigs[0].digest}
    written = write_report(folder / "plan.json", document, replace=replace_files)
    shown = write_prediction(prediction, folder, replace=replace_files)
    return (*(rig.path for rig in rigs), setup, written, *shown)


def _write_one(
    found: RangePlan,
    fit: Fit,
    base: LoadedRig,
    other: LoadedRig,
    path: Path,
    *,
    replace_files: bool,
) -> LoadedRig:
    """Write the first rig file, its comments kept, with another product on it."""
    artwork = fit.rig.sheet.artwork_file
    mine = {} if artwork is None else {artwork: other.assets[artwork]}
    source = replace(base, assets=MappingProxyType({**base.assets, **mine}))
    promised = fit.robustness
    record = PlanRecord(
        score=fit.nudged_score,
        yield_share=None if promised is None else promised.yield_share,
        good_score=None if promised is None else promised.good_score,
        tolerances=() if promised is None else tolerances_of(promised),
        critical=() if promised is None else promised.critical,
        made_with=f"lightplan {__version__}",
        stopped_because=found.stopped_because,
    )
    names = {"camera", *fit.nudged_rig.element_names()}
    kept = tuple(f for f in base.rig.freedoms if f.element in names)  # the maker's own
    rig = replace(fit.nudged_rig, title=fit.product.name, freedoms=kept)
    return write_rig(source, path, rig=rig, plan=record, replace=replace_files, is_output=True)


def range_note(found: RangePlan, unit: LengthUnit) -> SetupNote:
    """Return what the setup sheet tells of the products."""
    return SetupNote(
        heading="Products on this rig",
        lines=tuple((fit.product.name, _fit(fit, unit)) for fit in found.fits),
    )


def range_words(found: RangePlan, unit: LengthUnit) -> list[str]:
    """Return the same as lines for the screen."""
    return [f"{fit.product.name}: {_fit(fit, unit)}" for fit in found.fits]


def _fit(fit: Fit, unit: LengthUnit) -> str:
    if fit.robustness is None:
        return _set(fit, unit)
    share = f"{100 * fit.robustness.yield_share:.0f} of 100 builds come out right"
    critical = fit.robustness.critical
    if not critical:
        return f"{_set(fit, unit)} {share}."
    element, dimension = critical[0]
    return f"{_set(fit, unit)} {share}; measure best {care_words(element, dimension)}."


def _set(fit: Fit, unit: LengthUnit) -> str:
    """Return whether a product fits the rig, and what to set for it."""
    if not fit.breaks:
        return f"score {fit.score:.0f}, fits this rig as it stands."
    told = f"score {fit.score:.0f}, breaks this rig: {fit.problem.rstrip('.')}."
    if not fit.nudge:
        return f"{told} No nudge helps: it needs a rig of its own."
    if fit.nudged_score < KEEP_FROM:
        return f"{told} Near it only {fit.nudged_score:.0f} is reached: it needs a rig of its own."
    moves = "; ".join(move_line(move, unit) for move in fit.nudge)
    return f"{told} For it set {moves}; then it scores {fit.nudged_score:.0f}."


def range_document(found: RangePlan) -> dict[str, Any]:
    """Return a range of products on one rig as plain values."""
    return {
        "tool_version": __version__,
        "planned": True,
        "stopped_because": found.stopped_because,
        "breaking": list(found.breaking),
        "products": [
            {
                "name": fit.product.name,
                "rig": product_file(number),
                "score": fit.score,
                "breaks": fit.breaks,
                "problem": fit.problem,
                "nudge": [asdict(move) for move in fit.nudge],
                "nudged_score": fit.nudged_score,
                "yield": None if fit.robustness is None else fit.robustness.yield_share,
                "tolerances": []
                if fit.robustness is None
                else [asdict(tolerance) for tolerance in fit.robustness.tolerances],
            }
            for number, fit in enumerate(found.fits, 1)
        ],
    }
