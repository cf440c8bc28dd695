"""Which moves to try against which fault."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.advice.card_moves import fit_card
from lightplan.advice.lamp_moves import aim_lamp, lamp_farther, lamp_out_of_view, slide_lamp
from lightplan.advice.moves import AdvisedMove, camera_aside, exposure_move, nudge, trim_move
from lightplan.geometry.shapes import Flat
from lightplan.mirror.foil_rays import places_on

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.advice.case import Case
    from lightplan.measures import Finding
    from lightplan.scene import Lamp

EXPOSED_CODES = (
    "foil clipped",
    "paper clipped",
    "too dark",
    "no headroom",
    "foil black",
    "foil vanishes",
)
PAPER_CODES = ("paper uneven", "glare on paper", "paper clipped", "colour cast")
CLEAR_OF_CLIPPING = 0.9
THIRDS_TRIED = (-1, 0, 1, 3)  # round the exposure that is worked out
NUDGE_MM = 60.0
TRIMS_STOPS = (-2.0, -1.0, -2 / 3, -1 / 3, 1 / 3, 2 / 3, 1.0)


def moves_for(case: Case, finding: Finding) -> Iterator[AdvisedMove]:
    """Yield the moves worth a try against a fault."""
    if finding.code == "not sharp":
        return
    on_paper = finding.code in PAPER_CODES
    if finding.code in EXPOSED_CODES:
        yield from _exposures(case, finding)
    if not on_paper:
        yield from _mirror_moves(case, finding.where_mm)
    yield from _powers(case)
    lamp = case.main_lamp(finding.where_mm, foil=not on_paper)
    if lamp is not None and not lamp.is_window:
        yield from _lamp_moves(case, lamp, on_paper=on_paper)


def nudges(case: Case) -> Iterator[AdvisedMove]:
    """Yield small steps of every lamp and card along the room's own directions."""
    for axis in np.vstack([np.eye(3), -np.eye(3)]):
        for lamp in case.rig.lamps:
            if lamp.on and not lamp.is_window:
                yield nudge(case.rig, lamp, NUDGE_MM * axis)
        for card in case.rig.cards:
            yield nudge(case.rig, card, NUDGE_MM * axis)


def _exposures(case: Case, finding: Finding) -> Iterator[AdvisedMove]:
    """Exposures round the one that puts the brightest part just below clipping."""
    levels = [float(np.quantile(case.rays.level, 0.99))]
    levels.append(float(np.quantile(case.paper_level[case.bare_paper], 0.98)))
    level = (
        levels[1]
        if finding.code == "paper clipped"
        else (levels[0] if finding.code == "foil clipped" else max(levels))
    )
    stops = math.log2(CLEAR_OF_CLIPPING / max(level, 1e-6))
    middle = round(3 * min(max(stops, -8.0), 8.0))
    for thirds in THIRDS_TRIED:
        if middle + thirds:
            yield exposure_move(case.rig, (middle + thirds) / 3)


def _mirror_moves(case: Case, where_mm: tuple[float, float]) -> Iterator[AdvisedMove]:
    """Yield moves against what is mirrored at the fault, and against gaps anywhere on the foil."""
    name = case.rays.name_at(where_mm)
    gaps = [n for n in case.rays.names if case.is_gap(n)]
    for lamp in case.rig.lamps:
        surface = case.surface(lamp.name)
        seen = case.rays.seeing([lamp.name])
        if (
            len(seen)
            and not lamp.is_window
            and surface is not None
            and isinstance(surface.shape, Flat)
        ):
            yield from lamp_out_of_view(case.rig, lamp, surface.shape, seen)
    if "camera" in (name, *gaps):
        yield from camera_aside(case.rig)
    for gap in gaps:
        rays = case.rays.seeing([gap])
        beside = case.card_beside(rays) if len(rays) else None
        if beside is not None:
            card = next(c for c in case.rig.cards if c.name == beside[0])
            yield from fit_card(case.rig, card, beside[1], case.rays.seeing([gap, card.name]))


def _powers(case: Case) -> Iterator[AdvisedMove]:
    for lamp in case.rig.lamps:
        if lamp.is_window or not lamp.on:
            continue
        for stops in TRIMS_STOPS:
            if lamp.trim_stops + stops <= max(lamp.trim_stops, 0.0) + 1e-9:
                yield trim_move(case.rig, lamp, stops)


def _lamp_moves(case: Case, lamp: Lamp, *, on_paper: bool) -> Iterator[AdvisedMove]:
    yield from lamp_farther(case.rig, lamp)
    if on_paper:
        bright, dark = case.paper_extremes()
        towards = (dark[0] - bright[0], dark[1] - bright[1])
        yield from slide_lamp(case.rig, lamp, towards)
        spot = np.array([*dark, 0.0])
        yield from aim_lamp(case.rig, lamp, spot, "the darkest part of the sheet")
        return
    yield from _aims_at_card(case, lamp)


def _aims_at_card(case: Case, lamp: Lamp) -> Iterator[AdvisedMove]:
    """Turn the lamp to the part of the card that the darkest foil mirrors."""
    _, dark = case.foil_extremes()
    name = case.rays.names[int(case.rays.sees[dark])]
    surface = case.surface(name)
    if surface is None or surface.role not in ("card", "diffuser"):
        return
    assert isinstance(surface.shape, Flat)
    _, distance = places_on(surface.shape, case.rays)
    spot = case.rays.points[dark] + float(distance[dark]) * case.rays.directions[dark]
    at_what = f"the part of {case.thing(name)} that the darkest foil mirrors"
    yield from aim_lamp(case.rig, lamp, spot, at_what)
