"""From a squared photograph and a plan to the rig as it stands."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.cell_levels import CellLevels
from lightplan.estimate.elsewhere import EXTRA_COST, NAME, Elsewhere
from lightplan.estimate.faint import closer, hides_little, lit_otherwise
from lightplan.estimate.fit import (
    BRUSHED_MODEL,
    EXPOSURE_KNOWN,
    EXPOSURE_UNKNOWN,
    FOIL_MODEL,
    Fitter,
)
from lightplan.estimate.found import CameraState, Estimate, Rival
from lightplan.estimate.hypothesis import COST_PER_SLIP, Hypothesis
from lightplan.estimate.lens import lens_place
from lightplan.estimate.light_store import BRUSHED, LightStore
from lightplan.estimate.room_light import ROOM_CHANNELS
from lightplan.estimate.search import FitSearch
from lightplan.estimate.strip import Strip, with_strip
from lightplan.estimate.telling import doubts_of, uncertainty
from lightplan.progress import Progress, Watch, unwatched
from lightplan.scene.slips import Slip, SlipUnit, slipped

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles
    from lightplan.estimate.seen import SeenSheet
    from lightplan.estimate.solving import Known, Name
    from lightplan.scene import Rig
    from lightplan.scene.foreign import Foreign

SURE_MISFIT = 0.25
"""A plan that fits as well as this is not doubted: no slip that matters hides in it."""
TOLD_MISFIT = 0.7
"""Light from outside must leave no more than this, or half of what the plan leaves: it can stand
anywhere, and so takes up some of what the model itself does not know (brushed foil)."""
CLEAR_GAIN = 24.0
"""Of cost by which it may beat all else and leave more than that, as gratings always do: where no
such light was it won 18 at the most, where some was 29 and more (75 photographs of brushed foil
and gratings)."""
SHARP_MISFIT = 1.0
"""The same of a search that grants the model no more than the photograph says it errs."""
FAINT_GAIN = 2.0
"""Of cost by which it must then beat all else: a likelihood e times as high. Of nine photographs
with such light eight won 3.4 and more; of four with other slips it was 1.2 dearer and more."""
SLIPPED_FROM = 2.5
"""Standard deviations of a hand's error from which a thing counts as slipped: 8 mm, 1.5 degrees."""
_DOUBTED = 6.0  # of cost: rivals nearer than this are told
GRATING_SHARE, SURELY = 0.2, 2.0
"""Of a slip beside a grating, what the model's slopes are off: its colours crowd where they turn
(from seven photographs of known slips); deviations that count as sure."""


@dataclass(frozen=True, eq=False)
class Photographed:
    """One photograph, as far as the estimate needs it.

    Parameters
    ----------
    seen : SeenSheet
    corners : (4, 2) float
        (row, column) of far left, far right, near right, near left; lens bending out.
    shape : (2,) int
        Rows and columns of the picture.
    focal_px : float or None
    clip_cd_m2 : float or None
        Luminance that clips by f-number, time and ISO; None where the file is silent.
    known : tuple of Known
        What else it tells: the shadows of a pin.
    strip : Strip or None
        A strip of the sheet's own foil that is seen beside it.
    """

    seen: SeenSheet
    corners: Doubles
    shape: tuple[int, int]
    focal_px: float | None
    clip_cd_m2: float | None
    known: tuple[Known, ...] = ()
    strip: Strip | None = None


def estimate(
    rig: Rig,
    photo: Photographed,
    *,
    clip_cd_m2: float,
    lights: LightStore | None = None,
    watch: Watch = unwatched,
) -> Estimate:
    """Return the rig as built, from one photograph.

    Parameters
    ----------
    rig : Rig
        As planned.
    photo : Photographed
    clip_cd_m2 : float
        Luminance that clips as the plan sets the camera.
    lights : Lights or None
        Of that rig, where they are there already.
    watch : callable
        Told what is being done; may raise `Stopped`.
    """
    watch(Progress(stage="comparing the photograph with the plan"))
    search = FitSearch(rig, *data_of(rig, photo, clip_cd_m2, lights))
    if photo.strip is not None:
        search.settle()
    return explained(search, photo, clip_cd_m2=clip_cd_m2, watch=watch)


def explained(
    search: FitSearch,
    photo: Photographed,
    *,
    clip_cd_m2: float,
    outside: bool = True,
    watch: Watch = unwatched,
) -> Estimate:
    """Return the rig as built, as a search finds it.

    `outside` says whether light that is not in the rig is looked for.
    """
    found, foreign = _found(search, outside=outside, watch=watch)
    if outside and not found[0].values and hides_little(search, found[0]):
        sharp = closer(search)
        if lit_otherwise(sharp):
            watch(Progress(stage="looking for faint light that is not in the rig"))
            other = _found(sharp, outside=True, watch=watch, told=SHARP_MISFIT)
            if other[1] is not None and _beats(other[0]):
                search, found = sharp, other[0]
                # on paper alone faces far from each other light it much alike
                foreign = replace(other[1], sure=False)
    known = math.log2(clip_cd_m2 / search.fitter.clip_cd_m2)
    return _told(photo, search, found, known, foreign)


def _found(
    search: FitSearch, *, outside: bool, watch: Watch, told: float = TOLD_MISFIT
) -> tuple[list[Hypothesis], Foreign | None]:
    """Return what explains a photograph, best first, and light from outside if that is among it.

    Light from outside that leaves no more than `told` is believed, if it beats all else.
    """
    plan = search.as_planned()
    found, foreign = [plan], None
    if plan.fitted.misfit > SURE_MISFIT and plan.cost > COST_PER_SLIP:
        watch(Progress(stage="looking for what stands elsewhere"))
        singles = search.singles()
        found += singles
        # a fit costs nothing at the least: what two things cost must be less than one leaves
        least = min(h.cost for h in found)
        with ThreadPoolExecutor(1) as other:  # it has an engine of its own
            lit = None
            if outside and least > COST_PER_SLIP + EXTRA_COST:
                watch(Progress(stage="looking for light that is not in the rig"))
                lit = other.submit(Elsewhere(search).best, plan, least)
            if least > 2 * COST_PER_SLIP:
                watch(Progress(stage="looking for a second thing"))
                found += search.pairs(singles)
            beside = None if lit is None else lit.result()
        if beside is not None and _explains(beside[0], plan, min(h.cost for h in found), told):
            found.append(beside[0])
            foreign = beside[1]
    return sorted(found, key=lambda h: h.cost), foreign


def _beats(found: Sequence[Hypothesis]) -> bool:
    """Whether light from outside is the best explanation, by more than chance may win."""
    return NAME in found[0].elements and found[0].cost <= found[1].cost - FAINT_GAIN


def _explains(outside: Hypothesis, plan: Hypothesis, others: float, told: float) -> bool:
    """Whether light from outside leaves little enough to be told, or beats all others clearly."""
    leaves_little = outside.fitted.misfit <= max(told, 0.5 * plan.fitted.misfit)
    return leaves_little or outside.cost <= others - CLEAR_GAIN


def data_of(
    rig: Rig, photo: Photographed, planned: float, lights: LightStore | None
) -> tuple[CellLevels, Fitter]:
    """Return the levels of rigs in a photograph's cells, and what fits rigs to it."""
    fitter, levels = fitter_of(rig, photo, planned), CellLevels(rig, photo.seen, lights)
    return (levels, fitter) if photo.strip is None else with_strip(rig, levels, fitter, photo.strip)


def fitter_of(rig: Rig, photo: Photographed, planned: float) -> Fitter:
    """Return what fits rigs to one photograph; `planned` is the luminance that clips by plan."""
    place = lens_place(rig, photo.corners, photo.shape, photo.focal_px)
    model = FOIL_MODEL * (BRUSHED_MODEL if max(rig.sheet.foil.roughness) >= BRUSHED else 1.0)
    if photo.clip_cd_m2 is None:
        clip, sigma = planned, EXPOSURE_UNKNOWN
    else:
        clip, sigma = photo.clip_cd_m2, EXPOSURE_KNOWN
    return Fitter(photo.seen, clip, sigma, place, foil_model=model, known=photo.known)


def _told(
    photo: Photographed,
    search: FitSearch,
    found: Sequence[Hypothesis],
    known: float,
    foreign: Foreign | None,
) -> Estimate:
    best = found[0]
    outside = NAME in best.elements
    beliefs = _beliefs(found)
    slips = slips_of(search, best, _belief_in(found, beliefs, best))
    small = _of_a_hand(search, slips)
    slips = tuple(s for s in slips if s.element not in small)
    rivals = tuple(
        Rival(slips_of(search, h, dict.fromkeys(h.elements, b)), b)
        for h, b in zip(found[1:], beliefs[1:], strict=True)
        if h.cost < best.cost + _DOUBTED and set(h.elements) != set(best.elements)
    )
    values = {(s.element, s.dimension): s.value for s in slips}
    rig, place = search.rig, search.fitter.place
    nought = np.zeros(3)
    return Estimate(
        planned=rig,
        as_built=slipped(rig, values),
        hand=_hand(search, best, small),
        slips=slips,
        as_planned=not slips and not outside,
        foreign=(foreign,) if outside and foreign is not None else (),
        camera=_camera(best, known),
        lens_mm=nought if place is None else place.offset_mm,
        lens_sigma_mm=nought if place is None else np.sqrt(np.diag(place.covariance)),
        rivals=rivals[:3],
        misfit=best.fitted.misfit,
        seen=photo.seen,
        residual=best.fitted.residual[: len(photo.seen)],
        best=best,
        doubts=doubts_of(search, best),
        left={u.element: uncertainty(search, best, u.element) for u in search.powers},
    )


def _of_a_hand(search: FitSearch, slips: Sequence[Slip]) -> set[str]:
    """Return things that are off by no more than any hand misses them: those have not slipped.

    Beside a grating they must be off by more than that for sure.
    """
    hand = dict(zip(search.hand.names, search.hand.sigmas.tolist(), strict=True))
    unsure = 0.0 if search.rig.sheet.foil.grating is None else SURELY
    larger = {
        s.element
        for s in slips
        if abs(s.value) - unsure * s.uncertainty
        > SLIPPED_FROM * hand.get((s.element, s.dimension), 0.0)
    }
    return {s.element for s in slips} - larger


def _hand(search: FitSearch, best: Hypothesis, small: set[str]) -> dict[Name, float]:
    """Return the small errors that the fit finds beside the slips."""
    own = {name for name, _ in best.values}
    slipped_dims = {n for n in best.values if n[0] not in small}
    known = {n for n in best.fitted.values if n in search.hand.names and n not in slipped_dims}
    gone = {e for e in own if (e, "missing") in best.values}
    return {n: best.fitted.values[n] for n in known if n[0] not in gone}


def _beliefs(found: Sequence[Hypothesis]) -> list[float]:
    height = np.exp(-0.5 * (np.array([h.cost for h in found]) - found[0].cost))
    return list(height / height.sum())


def _belief_in(
    found: Sequence[Hypothesis], beliefs: Sequence[float], best: Hypothesis
) -> dict[str, float]:
    """Return how much belief all explanations give to each thing that the best one names."""
    return {
        element: float(sum(b for h, b in zip(found, beliefs, strict=True) if element in h.elements))
        for element in best.elements
    }


def slips_of(search: FitSearch, one: Hypothesis, belief: dict[str, float]) -> tuple[Slip, ...]:
    """Return a hypothesis as slips, what changes the picture most first."""
    slips = []
    for name, value in one.values.items():
        if name[0] in ("room", NAME):
            continue
        sigma = one.fitted.sigmas.get(name, 0.0)
        told = one.fitted.values.get(name, value)
        if search.rig.sheet.foil.grating is not None and sigma > 0:
            sigma = math.hypot(sigma, GRATING_SHARE * told)
        slips.append(_slip(name, told, sigma, belief[name[0]]))
    room = [one.values.get(("room", c)) for c in ROOM_CHANNELS]
    if any(v is not None for v in room):
        units = search.room_unit * search.levels.room_cd_m2
        level = float(np.mean([0.0 if v is None else v for v in room] * units))
        sigmas = [one.fitted.sigmas.get(("room", c), 0.0) for c in ROOM_CHANNELS]
        sigma = float(np.mean(sigmas * units))  # channels err together
        slips.append(
            Slip(
                element="room",
                dimension="light",
                value=level,
                unit="cd/m2",
                uncertainty=sigma,
                confidence=belief["room"],
            )
        )
    order = {n: i for i, n in enumerate(_by_effect(search, one))}
    return tuple(sorted(slips, key=lambda s: order.get(s.element, 99)))


def _slip(name: Name, value: float, sigma: float, belief: float) -> Slip:
    end = name[1].rpartition("_")[2]
    unit: SlipUnit = end if end in ("mm", "deg", "stops") else ""  # type: ignore[assignment]
    return Slip(
        element=name[0],
        dimension=name[1],
        value=float(value),
        unit=unit,
        uncertainty=float(sigma),
        confidence=float(min(1.0, belief)),
    )


def _by_effect(search: FitSearch, one: Hypothesis) -> list[str]:
    """Return elements by how much the picture changes when each alone is undone."""
    effect = {}
    for element in one.elements:
        rest = {n: v for n, v in one.values.items() if n[0] != element}
        light = search.mixed(rest)
        if light is None:
            effect[element] = math.inf
            continue
        gap = np.log2(np.maximum(light, 1e-6) / np.maximum(one.light, 1e-6))
        effect[element] = float(np.sqrt(np.mean(np.clip(gap, -4, 4) ** 2)))
    return sorted(effect, key=lambda e: -effect[e])


def _camera(best: Hypothesis, known: float) -> CameraState:
    values, sigmas = best.fitted.values, best.fitted.sigmas

    def of(name: str) -> float:
        return float(values["camera's", name])

    return CameraState(
        exposure_stops=known + of("exposure"),
        exposure_sigma=sigmas["camera's", "exposure"],
        balance_stops=of("red") - of("blue"),
        red_stops=of("red"),
        blue_stops=of("blue"),
        vignette_stops=of("vignette"),
        contrast=of("contrast"),
        lift_stops=of("lift"),
    )
