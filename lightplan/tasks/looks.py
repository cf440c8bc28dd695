"""Looks: every look that a product can carry, planned quickly and laid side by side."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.errors import BadInput
from lightplan.light import Detail
from lightplan.manifest import write_output
from lightplan.measures.gates import ABSENT_FACTOR
from lightplan.optics.colour import lightness, luminance_factor
from lightplan.planning.all_looks import QUICK, advice, plan_look, wanted_looks
from lightplan.process import usable_cores
from lightplan.progress import Progress as Progress
from lightplan.progress import Stop, Watch, unwatched
from lightplan.reports.picture import codes_png, picture_codes, picture_size
from lightplan.reports.proof import ProofCell, crop_shape, cropped, proof_png
from lightplan.reports.proof_page import proof_html
from lightplan.reports.report import json_text
from lightplan.reports.setup.steps import care_words
from lightplan.rigfiles import LoadedRig, load_rig, write_rig
from lightplan.scene.look import LOOK_KINDS, LookKind
from lightplan.tasks.caution_words import cautions_of
from lightplan.tasks.first_light import first_light
from lightplan.tasks.folder import prepare
from lightplan.tasks.owned import owned_items
from lightplan.tasks.plan import plan_record
from lightplan.tasks.predict import predict
from lightplan.tasks.two_frames import (
    WHITE_STOCK,
    JoinedFrames,
    joined_frames,
    two_frames_of,
    two_frames_offer,
)
from lightplan.words.holders import holders_needed
from lightplan.workers import Workers

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from lightplan.measures import Judgement
    from lightplan.planning.cupboard import Item
    from lightplan.planning.result import Plan
    from lightplan.scene import Rig

PICTURE_LONG_SIDE = 1200
WHITE_BELOW_Lstar = 9.0
"""White stock reads white down to so much below its own lightness (by eye: white card from L* 85
on, cream from 81)."""
ABSENT, ABSENT_COUNTS = 100.0 * ABSENT_FACTOR, 0.5
"""Up to this score a look's own measure is absent: it may show metal, but not what it is called,
and half counts in the order. Our choice."""
DARKER_COSTS, DARKER_STOPS = 0.3, 0.5
"""What a look on white stock loses in the order whose bright end lies so far below white, or
farther: its metal looks like dark ink sooner. Seen by eye on small shapes; size is our choice."""
MINUTES_FIRST, MINUTES_EACH = 5, 4
"""To set up the sheet and camera, and each further thing. Our guess, no source."""


@dataclass(frozen=True, kw_only=True, eq=False)
class ProofLook:
    """A look of a proof sheet: its plan and its predicted picture.

    Parameters
    ----------
    look : str
    plan : Plan or None
        None where there is none; `reason` says why.
    reason : str
    judgement : Judgement or None
        Of the predicted picture.
    measures : mapping of str to float
    codes : (rows, cols, 3) uint8 or None
        The predicted picture, sRGB.
    joined : JoinedFrames or None
        Where one frame cannot hold foil and paper and two are worth the work.
    """

    look: LookKind
    plan: Plan | None
    reason: str = ""
    judgement: Judgement | None = None
    measures: Mapping[str, float] = field(default_factory=dict)
    codes: NDArray[np.uint8] | None = None
    joined: JoinedFrames | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Proof:
    """All looks of a product, those first that read as foil best.

    Parameters
    ----------
    title : str
    shown : tuple of ProofLook
    left_out : tuple of (str, str)
        Looks that have no picture, and why.
    """

    title: str
    shown: tuple[ProofLook, ...]
    left_out: tuple[tuple[str, str], ...]

    @property
    def rigs(self) -> tuple[Rig, ...]:
        """The rigs of the looks that are shown."""
        return tuple(one.plan.rig for one in self.shown if one.plan is not None)


def load(rig: str) -> LoadedRig:
    """Return a rig file or preset."""
    return load_rig(rig)


def ready(source: LoadedRig, folder: Path, *, replace_files: bool = False) -> None:
    """Refuse a folder that a proof sheet cannot be written to, before anything is planned."""
    prepare(folder, proof_files(), replace=replace_files, inputs=source.inputs)


def looks(
    source: LoadedRig | str,
    *,
    kinds: Sequence[str] = (),
    seed: int = 0,
    watch: Watch = unwatched,
    stop: Stop | None = None,
) -> Proof:
    """Return every look that a rig's foil and stock can carry, planned with what is owned.

    Parameters
    ----------
    source : LoadedRig, path or name of a preset
    kinds : sequence of str
        Looks to plan; none: all that the foil and stock can carry.
    watch : callable
        Told of each look that is done.
    stop : Stop or None
        Asked between looks; what is done until then is returned.

    Raises
    ------
    BadInput
        When the rig cannot be read, or there is no such look.
    """
    loaded = load_rig(source) if isinstance(source, str) else source
    can, cannot = wanted_looks(loaded.rig)
    chosen = [_known(kind) for kind in kinds] if kinds else list(can)
    jobs = look_jobs(loaded, chosen, seed)
    stop = Stop() if stop is None else stop
    found: list[ProofLook] = []
    first_light(loaded.rig, watch)
    with Workers("lightplan.tasks.looks:proof_look", usable_cores(), stop=stop) as workers:
        for _, answer in workers.answers(jobs):
            found.append(answer)
            watch(Progress(stage="planning looks", done=len(found), of=len(jobs), note=answer.look))
    shown = sorted(
        (one for one in found if one.plan is not None),
        key=lambda one: (-rank(loaded.rig, one), one.look),
    )
    reasons = [(one.look, one.reason) for one in found if one.plan is None]
    rest = [] if kinds else list(cannot.items())
    return Proof(title=loaded.rig.title, shown=tuple(shown), left_out=tuple(reasons + rest))


def look_jobs(
    loaded: LoadedRig, kinds: Sequence[LookKind], seed: int
) -> list[tuple[Rig, list[Item], LookKind, int]]:
    """Return what `proof_look` is asked for some looks of a product."""
    items = owned_items(loaded)
    return [(loaded.rig, items, kind, seed) for kind in kinds]


def proof_look(rig: Rig, items: Sequence[Item], kind: LookKind, seed: int) -> ProofLook:
    """Return one look with its picture; runs in a process of its own."""
    found = plan_look(rig, items, kind, seed=seed, effort=QUICK)
    if found.plan is None:
        return ProofLook(look=kind, plan=None, reason=found.reason)
    planned = found.plan.rig
    rows, cols = picture_size(planned.camera, PICTURE_LONG_SIDE)
    prediction = predict(planned, detail=Detail(camera_rows=rows, camera_cols=cols), explain=False)
    plain = replace(
        found.plan, measures=dict(found.plan.measures), covered=dict(found.plan.covered)
    )
    shown = ProofLook(
        look=kind,
        plan=plain,
        judgement=prediction.judgement,
        measures=prediction.measures.values_by_name(),
        codes=picture_codes(prediction.picture),
    )
    return shown if not _offer(shown) else _with_two_frames(shown, planned, seed)


def _with_two_frames(one: ProofLook, planned: Rig, seed: int) -> ProofLook:
    """Return a look with what two frames would show, where they are worth the work."""
    pair = two_frames_of(planned, seed=seed)
    if not pair.worth_it:
        return one
    rows, cols = picture_size(planned.camera, PICTURE_LONG_SIDE)
    detail = Detail(camera_rows=rows, camera_cols=cols)
    return replace(one, joined=joined_frames(pair, planned, detail))


def write_looks(
    found: Proof, source: LoadedRig, folder: Path, *, replace_files: bool = False
) -> tuple[Path, ...]:
    """Write the sheet as picture and page, a rig and a picture for each look, and looks.json."""
    prepare(folder, proof_files(), replace=replace_files, inputs=source.inputs)
    written: list[Path] = []
    cells = []
    for one in found.shown:
        assert one.plan is not None
        assert one.codes is not None
        assert one.judgement is not None
        rig, picture = folder / f"{stem(one.look)}.toml", folder / f"{stem(one.look)}.png"
        record = plan_record(one.plan, score=one.judgement, measures=one.measures)
        write_rig(source, rig, rig=one.plan.rig, plan=record, replace=replace_files, is_output=True)
        write_output(picture, codes_png(one.codes), replace=replace_files)
        written += [rig, picture]
        cells.append(cell_of(one))
    sheet = proof_png(cells, title=found.title, left_out=found.left_out)
    careful = cautions_of(*found.rigs)
    page = proof_html(cells, title=found.title, left_out=found.left_out, careful=careful)
    document = [look_document(one) for one in found.shown]
    return (
        write_output(folder / "proof.png", sheet, replace=replace_files),
        write_output(folder / "proof.html", page, replace=replace_files),
        write_output(folder / "looks.json", json_text(document), replace=replace_files),
        *written,
    )


def proof_files() -> tuple[str, ...]:
    """Return the names of all files that a proof sheet may write."""
    each = [f"{stem(kind)}{ending}" for kind in LOOK_KINDS for ending in (".toml", ".png")]
    return ("proof.png", "proof.html", "looks.json", *each)


def stem(kind: str) -> str:
    """Return the name of a look's files without their ending.

    >>> stem("bright band")
    'bright-band'
    """
    return kind.replace(" ", "-")


def proof_document(found: Proof) -> dict[str, Any]:
    """Return a proof sheet as plain values."""
    return {
        "title": found.title,
        "looks": [look_document(one) for one in found.shown],
        "left_out": [{"look": look, "reason": reason} for look, reason in found.left_out],
        "cautions": cautions_of(*found.rigs),
    }


def look_document(one: ProofLook) -> dict[str, Any]:
    """Return one look as plain values, with the keys that other programs read."""
    plan, judgement = one.plan, one.judgement
    assert plan is not None
    assert judgement is not None
    return {
        "look": one.look,
        "score": judgement.score,
        "verdict": judgement.verdict,
        "reads_as_metal_share": _metal(one),
        "foil_run_stops": one.measures.get("foil_run_stops"),
        "foil_over_white_stops": one.measures.get("foil_over_white_stops"),
        "paper_lightness_Lstar": one.measures.get("paper_lightness_Lstar"),
        "picture": f"{stem(one.look)}.png",
        "rig": f"{stem(one.look)}.toml",
        "needs": needs(plan.rig),
        "yield": plan.yield_share,
        "advice": _advice(one),
    }


def cell_of(one: ProofLook) -> ProofCell:
    """Return one look as it is shown."""
    plan, judgement = one.plan, one.judgement
    assert plan is not None
    assert judgement is not None
    assert one.codes is not None
    codes = one.codes if one.joined is None else one.joined.codes
    return ProofCell(
        look=one.look,
        codes=cropped(codes, plan.rig.camera, plan.rig.sheet, shape=crop_shape(plan.rig.sheet)),
        score=judgement.score,
        verdict=judgement.verdict,
        metal=_metal(one),
        facts=_facts(one),
        needs=needs(plan.rig),
        built=f"{100 * plan.yield_share:.0f} of 100 builds come out right",
        advice=_advice(one),
        rig=f"{stem(one.look)}.toml",
        picture=f"{stem(one.look)}.png",
    )


def needs(rig: Rig) -> str:
    """Return what a rig is set up with, and about how long that takes."""
    things = [lamp.name for lamp in rig.lamps if lamp.on] + [card.name for card in rig.cards]
    things += [shell.name for shell in rig.shells]
    minutes = MINUTES_FIRST + MINUTES_EACH * len(things)
    listed = (
        ", ".join([*things, *holders_needed(rig)])
        if things
        else "nothing but the light that is there"
    )
    return f"{listed}; about {minutes} minutes"


def times(stops: float) -> str:
    """Return a span of light in words beside its stops.

    >>> times(1.0), times(2.6), times(0.4)
    ('twice the light', '6 times the light', '1.3 times the light')
    """
    factor = 2.0**stops
    if math.isclose(factor, 2.0, rel_tol=0.05):
        return "twice the light"
    return f"{factor:.0f} times the light" if factor >= 3 else f"{factor:.1f} times the light"


def _facts(one: ProofLook) -> tuple[str, ...]:
    values = one.measures
    found = []
    run = values.get("foil_run_stops")
    if run is not None:
        found.append(f"foil runs over {run:.1f} stops, its bright end has {times(run)} of its dark")
    over = values.get("foil_over_white_stops")
    if over is not None:
        side = "above" if over >= 0 else "below"
        by = f"{abs(over):.1f} stops {side} white paper"
        found.append(f"brightest foil {'as bright as white paper' if abs(over) < 0.1 else by}")
    return tuple(found)


def _advice(one: ProofLook) -> str:
    assert one.plan is not None
    assert one.judgement is not None
    critical = one.plan.robustness.critical
    sensitive = care_words(*critical[0][:2]) if critical else ""
    if one.joined is None:
        return advice(one.judgement, one.plan.yield_share, sensitive)
    return f"{one.joined.shown} {_offer(one)}"


def _offer(one: ProofLook) -> str:
    """Return the offer of two frames; "" where one holds foil and paper."""
    assert one.plan is not None
    assert one.judgement is not None
    name, paper = stem(one.look), one.plan.rig.sheet.paper
    return two_frames_offer(one.judgement, paper, f"{name}.toml", f"{name}-two-frames")


def _metal(one: ProofLook) -> float:
    return float(one.measures.get("reads_as_metal_share", 0.0))


def rank(rig: Rig, one: ProofLook) -> float:
    """Return how well a look reads as foil, half of it where the look itself did not come about.

    On white stock less where the stock does not read white, and where no foil is as light as it:
    such foil passes for dark ink sooner. Not a rainbow: no ink shows colours that run.
    """
    score = None if one.judgement is None else one.judgement.score
    metal = _metal(one) * (ABSENT_COUNTS if score is not None and score <= ABSENT else 1.0)
    if max(rig.sheet.paper.reflectance) < WHITE_STOCK:
        return metal
    stock = lightness(luminance_factor(np.array(rig.sheet.paper.reflectance)))
    wanted = float(stock) - WHITE_BELOW_Lstar
    white = min(1.0, max(one.measures.get("paper_lightness_Lstar", wanted), 0.0) / wanted)
    over = 0.0 if one.look == "rainbow" else one.measures.get("foil_over_white_stops", 0.0)
    shining = 1.0 - DARKER_COSTS * min(1.0, max(0.0, -over / DARKER_STOPS))
    return float(metal * white**3 * shining)


def _known(kind: str) -> LookKind:
    for known in LOOK_KINDS:
        if known == kind:
            return known
    raise BadInput(
        field="--look",
        wanted="one of " + ", ".join(LOOK_KINDS),
        got=kind,
        cure="choose one of these",
    )
