"""What in the rig causes a fault, and the one move that helps most against it.

Causes come from geometry (what is mirrored at the fault, which lamp lights the place);
moves are worked out from it, tried by predicting the rig after each, and the best is told.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.advice.card_moves import uncovered_sides
from lightplan.advice.case import Case
from lightplan.advice.moves_to_try import moves_for, nudges
from lightplan.advice.tryout import best_of
from lightplan.words.places import edge, side_of_sheet

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.light import Layers
    from lightplan.measures import Finding
    from lightplan.scene import Rig

NO_MOVE = "this needs more than one thing moved: let lightplan plan look for another set-up"
PAPER_CODES = ("paper uneven", "glare on paper")
EXPOSURE_CODES = ("paper clipped", "too dark", "no headroom", "paper dull", "paper washed out")
SPREAD_CODES = (
    "foil uneven",
    "glare on foil",
    "halves uneven",
    "gradient too weak",
    "gradient too strong",
    "gradient askew",
    "gradient rough",
    "split too weak",
    "split too strong",
    "split off middle",
    "no bright edges",
    "foil reads as print",
    "foil too even",
    "foil runs too far",
    "band too weak",
    "band too strong",
    "band too narrow",
    "band too wide",
    "band askew",
)
LEAST_STOPS = 0.2
SEEN_STOPS = 0.05


def explain_findings(rig: Rig, layers: Layers, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return the findings with their causes and the move that helps most against each.

    Parameters
    ----------
    rig : Rig
    layers : Layers
        As predicted for this rig.
    findings : sequence of Finding
        Of this prediction.

    Returns
    -------
    tuple of Finding
        In the same order. Where a move was found, `gain` is the points that the rig wins
        with that move, predicted anew; otherwise it stays what a cure would be worth.
    """
    case = Case(rig, layers)
    return tuple(explained(case, finding)[0] for finding in findings)


def explained(case: Case, finding: Finding) -> tuple[Finding, Rig | None]:
    """Return a finding with its cause and cure, and the rig after that cure."""
    cause = cause_of(case, finding)
    wanted = finding.measures[0]
    best = best_of(case.bench, moves_for(case, finding), wanted)
    if best is None and finding.code != "not sharp":
        best = best_of(case.bench, nudges(case), wanted)
    if best is None:
        return replace(finding, cause=cause, move=NO_MOVE), None
    gain = float(np.clip(best.score - case.bench.start.score, 0.0, 100.0))
    cured = replace(finding, cause=cause, move=best.move.text, gain=gain)
    return cured, best.move.build()


def cause_of(case: Case, finding: Finding) -> str:
    """Return what causes a fault, a clause without full stop."""
    if finding.code in PAPER_CODES:
        return _uneven_paper(case)
    if finding.code in EXPOSURE_CODES:
        return _exposure(case)
    if finding.code == "colour cast":
        return _cast(case)
    if finding.code in SPREAD_CODES:
        return _spread(case)
    return _mirrored_at(case, finding.where_mm)


def _mirrored_at(case: Case, where_mm: tuple[float, float]) -> str:
    """Say what the foil mirrors at a place, and how bright that is in the picture."""
    rays = case.rays
    at = rays.nearest(where_mm)
    name = rays.names[int(rays.sees[at])]
    if name == "camera":
        return "the camera sees itself here"
    if name.startswith("hole in "):
        return f"the {name} is mirrored here"
    if case.is_gap(name):
        return _gap(case, name)
    stops = math.log2(max(float(rays.level[at]), 1e-6))
    lamp = case.main_lamp(where_mm, foil=True)
    if case.rig.sheet.foil.grating is not None and lamp is not None:
        words = f"the foil's grating turns the light of {case.thing(lamp.name)} to the camera here"
        return _with_level(words, stops)
    surface = case.surface(name)
    shines = surface is not None and surface.role in ("lamp", "window")
    words = (
        f"{case.thing(name)} itself is mirrored here"
        if shines
        else (f"{case.thing(name)} is mirrored here")
    )
    return _with_level(words, stops)


def _with_level(words: str, stops: float) -> str:
    if stops > SEEN_STOPS:
        return f"{words}, {stops:.1f} stops brighter than the picture can hold"
    return f"{words}, {max(-stops, 0.0):.1f} stops below clipping"


def _gap(case: Case, name: str) -> str:
    """Say what is mirrored where no card is, and which card is how much too small for it."""
    gap = case.rays.seeing([name])
    beside = case.card_beside(gap)
    words = f"{case.thing(name)} is mirrored here"
    if beside is None:
        return f"{words}: no card stands where the foil looks"
    card, face = beside
    over = uncovered_sides(face, gap)
    side = max(over, key=over.__getitem__)
    if over[side] <= 0:
        return f"{words}, before {case.thing(card)}"
    axis = face.right if side[0] == "u" else face.up
    outward = np.asarray(axis) * (1 if side[1] == "+" else -1)
    return (
        f"{words}, past the {edge(outward)} edge of {case.thing(card)}, which ends "
        f"{over[side]:.0f} mm too early there"
    )


def _spread(case: Case) -> str:
    """Say what the brightest and the darkest foil mirror."""
    rays = case.rays
    bright, dark = case.foil_extremes()
    ratio = (max(float(rays.level[i]), 1e-6) for i in (bright, dark))
    stops = math.log2(next(ratio) / next(ratio))
    names = [rays.names[int(rays.sees[i])] for i in (bright, dark)]
    sides = [side_of_sheet(rays.points[i]) for i in (bright, dark)]
    if names[0] != names[1]:
        return (
            f"the brightest foil ({sides[0]}) mirrors {case.thing(names[0])}, the darkest "
            f"({sides[1]}) {case.thing(names[1])}, {stops:.1f} stops less"
        )
    if stops < LEAST_STOPS:
        return f"all of the foil mirrors {case.thing(names[0])}, which is evenly bright"
    where = f"at the {sides[0]}" if sides[0] != sides[1] else "at one place"
    return (
        f"all of the foil mirrors {case.thing(names[0])}, and the part of it seen {where} is "
        f"{stops:.1f} stops brighter than the darkest part"
    )


def _uneven_paper(case: Case) -> str:
    bright, dark = case.paper_extremes()
    lamp = case.main_lamp(bright, foil=False)
    if lamp is None:
        return "the room's own light falls unevenly on the sheet"
    share = case.light_at(bright, foil=False)[lamp.name]
    low, high = (_paper_level_at(case, place) for place in (dark, bright))
    stops = math.log2(max(high, 1e-6) / max(low, 1e-6))
    return (
        f"{case.thing(lamp.name)} gives {share:.0%} of the light on the brightest paper "
        f"({side_of_sheet(bright)}), which gets {stops:.1f} stops more than the darkest "
        f"({side_of_sheet(dark)})"
    )


def _paper_level_at(case: Case, where_mm: tuple[float, float]) -> float:
    col = int(np.argmin(np.abs(case.layers.sheet_x_mm - where_mm[0])))
    row = int(np.argmin(np.abs(case.layers.sheet_y_mm - where_mm[1])))
    return float(case.paper_level[row, col])


def _exposure(case: Case) -> str:
    level = float(np.quantile(case.paper_level[case.bare_paper], 0.98))
    stops = math.log2(max(level, 1e-6))
    place = f"{stops:.1f} stops above" if stops > 0 else f"{-stops:.1f} stops below"
    foil = math.log2(max(float(np.quantile(case.rays.level, 0.98)), 1e-6))
    other = f"{foil:.1f} stops above" if foil > 0 else f"{-foil:.1f} stops below"
    return f"the exposure puts the brightest paper {place} clipping and the brightest foil {other}"


def _cast(case: Case) -> str:
    tinted = [lamp for lamp in case.rig.lamps if lamp.on and lamp.colour_k is not None]
    if tinted:
        lamp = tinted[0]
        return (
            f"{case.thing(lamp.name)} shines at {lamp.colour_k:.0f} K, which is not the white "
            "balance of the camera"
        )
    coloured = [c.name for c in case.rig.cards if _is_coloured(c.front.reflectance)]
    table = case.rig.room.table
    if table is not None and _is_coloured(table.reflectance):
        coloured.append("table")
    if coloured:
        return f"light bounced off {case.thing(coloured[0])} is coloured"
    return "the light that reaches the paper is coloured"


def _is_coloured(reflectance: tuple[float, float, float]) -> bool:
    return max(reflectance) > 1.05 * min(reflectance)
