"""Named faults of a picture in plain words: what, where on the sheet, points to be won.

Cause and move stay blank here: they come from the rig, which the measures do not know.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.measures import fault_places
from lightplan.measures.levels import Levels
from lightplan.measures.maps import SheetMaps
from lightplan.measures.rules import gates_of, parts_of
from lightplan.measures.verdict import judge, show

if TYPE_CHECKING:
    from lightplan.measures.measure import Measures
    from lightplan.scene.look import Look

LEAST_LOSS = 3.0
LEAST_LOST_SHARE = 0.25
"""Points out of 100, and share of its own weight, that a part loses before it is named."""
GLARE_SHARE = 0.003

Place = Callable[[SheetMaps, Levels], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault.

    Parameters
    ----------
    code : str
        Short fixed name ("foil clipped"), the same in every picture.
    what : str
        The fault in plain words, with its figure.
    where_mm : (2,) float
        x, y on the sheet from its middle; the middle of the material for a fault of
        all of it.
    gain : float
        Points that its cure is worth: the mean of what it gives when it alone is cured
        and what it gives as the last of all. (With two failed gates neither cure
        alone would show.)
    measures : tuple of str
        The measures it was found in.
    cause, move : str
        Blank until the rig is known.
    """

    code: str
    what: str
    where_mm: tuple[float, float]
    gain: float
    measures: tuple[str, ...]
    cause: str = ""
    move: str = ""


@dataclass(frozen=True)
class Fault:
    """Words and place of the fault that a measure tells of."""

    code: str
    words: str
    place: Place


def _one(code: str, words: str, place: Place) -> Callable[[float, float], Fault]:
    return lambda _value, _best: Fault(code, words, place)


def _two(low: Fault, high: Fault) -> Callable[[float, float], Fault]:
    return lambda value, best: low if value < best else high


FAULTS: Mapping[str, Callable[[float, float], Fault]] = {
    "sharpness_resolved_count": _one(
        "not sharp", "the picture is not sharp: {} details along the sheet", fault_places.middle
    ),
    "frame_fill_share": _one(
        "sheet small in the frame",
        "the sheet spans {} of the frame: go nearer, or zoom in",
        fault_places.middle,
    ),
    "frame_corner_Lstar": _one(
        "dark corner",
        "a corner of the frame lies {} below the rest: move what shades it, or crop",
        fault_places.middle,
    ),
    "frame_edge_share": _one(
        "edge in the frame",
        "an edge runs over {} of the frame beside the sheet, of a card, its hole or its shadow: "
        "move it out, or crop",
        fault_places.middle,
    ),
    "frame_over_foil_Lstar": _one(
        "background fights the foil",
        "the background is {} lighter than the brightest foil: take a darker one",
        fault_places.middle,
    ),
    "foil_clipped_share": _one(
        "foil clipped", "{} of the foil is clipped: its drawing is lost", fault_places.clipped_foil
    ),
    "paper_clipped_share": _one(
        "paper clipped",
        "{} of the paper is clipped: it melts into white",
        fault_places.clipped_paper,
    ),
    "brightest_level_stops": _two(
        Fault(
            "too dark",
            "the brightest part of the sheet has {} than the picture can hold: expose more",
            fault_places.brightest,
        ),
        Fault(
            "no headroom",
            "the brightest part of the sheet is hardly short of clipping: expose a little less",
            fault_places.brightest,
        ),
    ),
    "foil_paper_contrast_dE00": _one(
        "foil vanishes",
        "foil and paper are only {} apart: the foil is hard to see",
        fault_places.least_contrast,
    ),
    "paper_tone_Lstar": _two(
        Fault("paper dull", "the paper is too dark: {} than its own tone", fault_places.paper),
        Fault("paper washed out", "the paper is {} above its own tone", fault_places.paper),
    ),
    "foil_dark_share": _one("foil black", "{} of the foil is black", fault_places.darkest_foil),
    "foil_colour_error_dE00": _one(
        "foil colour off", "the foil's colour is {} away from its kind", fault_places.foil
    ),
    "paper_cast_Cab": _one(
        "colour cast", "the paper has a cast of {} where white is expected", fault_places.paper
    ),
    "paper_lightness_range_Lstar": _one(
        "paper uneven",
        "the paper's lightness differs by {} over the sheet",
        fault_places.oddest_paper,
    ),
    "foil_evenness_stops": _one(
        "foil uneven",
        "the foil's brightness differs by {} over the sheet",
        fault_places.oddest_foil,
    ),
    "foil_to_white_stops": _two(
        Fault(
            "foil too dark",
            "the foil is too dark for the look: {} than white paper",
            fault_places.darkest_foil,
        ),
        Fault(
            "foil too bright",
            "the foil is too bright for the look: {} over white paper",
            fault_places.brightest_foil,
        ),
    ),
    "foil_gradient_span_stops": _two(
        Fault(
            "gradient too weak",
            "the gradient runs over {} in the wanted direction: too little",
            fault_places.foil,
        ),
        Fault(
            "gradient too strong",
            "the gradient runs over {} in the wanted direction: too much",
            fault_places.foil,
        ),
    ),
    "foil_gradient_across_stops": _one(
        "gradient askew",
        "the foil also changes by {} across the wanted direction",
        fault_places.foil,
    ),
    "foil_gradient_residual_stops": _one(
        "gradient rough",
        "the gradient is not smooth: {} beside a straight run",
        fault_places.off_plane,
    ),
    "foil_sign_flip_share": _one(
        "tone flips",
        "{} of the foil lies on the other side of the paper's tone: it vanishes along a line",
        fault_places.least_contrast,
    ),
    "foil_lost_share": _one(
        "foil lost",
        "{} of the foil is as light as the paper beside it: it vanishes",
        fault_places.least_contrast,
    ),
    "foil_sunk_share": _one(
        "foil sunk",
        "{} of the foil is black on dark stock: it cannot be seen",
        fault_places.darkest_foil,
    ),
    "foil_rim_stops": _one(
        "no bright edges",
        "the foil's edges are {} above its middle: not bright enough",
        fault_places.foil,
    ),
    "split_separation_stops": _two(
        Fault(
            "split too weak",
            "the two halves of the foil differ by {}: too little",
            fault_places.foil,
        ),
        Fault(
            "split too strong",
            "the two halves of the foil differ by {}: too much",
            fault_places.foil,
        ),
    ),
    "split_scatter_stops": _one(
        "halves uneven", "the halves of the split are uneven by {}", fault_places.oddest_foil
    ),
    "split_edge_share": _one(
        "split off middle",
        "the edge of the split lies at {} of the foil's length",
        fault_places.foil,
    ),
    "foil_colourfulness_Cab": _one(
        "no rainbow", "the foil shows little colour: {}", fault_places.foil
    ),
    "reads_as_metal_share": _one(
        "foil reads as print",
        "the foil reads as metal by {} only: flat ink could look the same",
        fault_places.foil,
    ),
    "foil_run_stops": _two(
        Fault(
            "foil too even",
            "the foil runs by {} over the paper's own light: it looks printed",
            fault_places.foil,
        ),
        Fault(
            "foil runs too far",
            "the foil runs by {} over the paper's own light: too much",
            fault_places.foil,
        ),
    ),
    "foil_band_stops": _two(
        Fault(
            "band too weak",
            "the bright band rises by {} over its sides: too little",
            fault_places.foil,
        ),
        Fault(
            "band too strong",
            "the bright band rises by {} over its sides: too much",
            fault_places.foil,
        ),
    ),
    "foil_band_width_share": _two(
        Fault(
            "band too narrow",
            "the bright band covers {} of the foil: too little",
            fault_places.foil,
        ),
        Fault(
            "band too wide", "the bright band covers {} of the foil: too much", fault_places.foil
        ),
    ),
    "foil_band_residual_stops": _one(
        "band askew", "{} of the foil's light does not follow the band", fault_places.foil
    ),
    "foil_hue_spread_share": _one(
        "few hues", "the foil shows few hues: a spread of {}", fault_places.foil
    ),
}
"""The fault that each judged measure tells of, from its value and its best value."""


def find_faults(maps: SheetMaps, measures: Measures, look: Look) -> tuple[Finding, ...]:
    """Return the faults of a picture, the dearest first; empty when it cannot be judged.

    Parameters
    ----------
    maps : SheetMaps
        For the places.
    measures : Measures
        What `measure` gave for these maps, and sharpness where it was measured.
    look : Look
        The look that was wanted.
    """
    judged = judge(measures, look)
    now = judged.score
    if now is None:
        return ()
    best = _best_values(look)
    lost = {
        part.measure
        for part in judged.parts
        if part.weight - part.points >= max(LEAST_LOSS, LEAST_LOST_SHARE * part.weight)
    }
    lost |= {gate.measure for gate in judged.gates if not gate.passed}
    if not lost:
        return ()
    levels = Levels.of(maps)
    cured = measures.joined({name: (best[name], 0.0) for name in lost})
    most = judge(cured, look).score
    found = []
    for name in sorted(lost):
        value = measures[name].value
        fault = _glare_instead(name, measures, FAULTS[name](value, best[name]))
        alone = measures.joined({name: (best[name], 0.0)})
        last = cured.joined({name: measures.pairs()[name]})
        gain = 0.5 * (_gain(now, judge(alone, look).score) + _gain(judge(last, look).score, most))
        x, y = fault.place(maps, levels)
        shown = fault.words.format(show(name, value))
        found.append(Finding(fault.code, shown, (x, y), gain, (name,)))
    return tuple(sorted(found, key=lambda finding: -finding.gain))


def _glare_instead(name: str, measures: Measures, fault: Fault) -> Fault:
    """Return glare as the fault where the unevenness of a material is a patch of it."""
    material = {"paper_lightness_range_Lstar": "paper", "foil_evenness_stops": "foil"}.get(name)
    if material is None or measures[f"{material}_glare_share"].value < GLARE_SHARE:
        return fault
    share = show(f"{material}_glare_share", measures[f"{material}_glare_share"].value)
    return Fault(
        f"glare on {material}",
        f"{share} of the {material} carries glare above its smooth level; it differs by {{}}",
        fault_places.paper_glare if material == "paper" else fault_places.foil_glare,
    )


def _best_values(look: Look) -> dict[str, float]:
    best = {gate.measure: gate.best for gate in gates_of(look)}
    return best | {part.measure: part.best for part in parts_of(look)}


def _gain(before: float | None, after: float | None) -> float:
    if before is None or after is None:
        return 0.0
    return float(np.clip(after - before, 0.0, 100.0))
