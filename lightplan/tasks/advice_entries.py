"""Entries of the advice's report.json."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from lightplan.advice.orders import foreign_words
from lightplan.estimate.search import OFF

if TYPE_CHECKING:
    from lightplan.advice.first_things import FirstMove, FoundFirst
    from lightplan.estimate import Doubt, OtherView
    from lightplan.scene.foreign import Foreign


def slip_entry(found: FoundFirst) -> dict[str, Any]:
    """Return a thing that is off as plain values."""
    slip = found.slip
    return {
        "element": slip.element,
        "dimension": slip.dimension,
        "value": slip.value,
        "unit": slip.unit,
        "uncertainty": slip.uncertainty,
        "confidence": slip.confidence,
        "what": found.what,
        "cost": found.cost,
    }


def foreign_entry(one: Foreign) -> dict[str, Any]:
    """Return a thing that is in no rig as plain values."""
    return {
        "direction": list(one.direction),
        "distance_mm": one.distance_mm,
        "width_mm": one.width_mm,
        "luminance_cd_m2": list(one.luminance_cd_m2),
        "where_mm": None if one.where_mm is None else list(one.where_mm),
        "cost": one.cost,
        "what": foreign_words(one),
    }


def doubt_entry(one: Doubt) -> dict[str, Any]:
    """Return what photographs leave open as plain values."""
    return {
        "element": one.element,
        "what": one.kind,
        "uncertainty": one.sigma,
        "unit": one.unit,
        "share_left": one.share,
        "with_stops": one.with_stops,
        "lamp_off_in_second": one.second or None,
        "uncertainty_with_second": one.second_sigma if one.second else None,
        "uncertainty_with_pin": one.pin_sigma,
        "strip_on_side": one.strip,
        "uncertainty_with_strip": one.strip_sigma if one.strip else None,
    }


def other_entry(one: OtherView) -> dict[str, Any]:
    """Return what another photograph was taken for as plain values."""
    return {
        "turned_stops": {name: None if v <= OFF else v for name, v in one.turned},
        "moved_mm": None if one.moved_mm is None else list(one.moved_mm),
    }


def move_entry(move: FirstMove) -> dict[str, Any]:
    """Return the move to make first as plain values."""
    return {
        "text": move.text,
        "element": move.element,
        "dimension": move.dimension,
        "value": move.value,
        "unit": move.unit,
        "score_after": move.score_after,
        "uncertainty": move.uncertainty,
        "gain": move.gain,
        "parts": [list(part) for part in move.parts],
        "why": move.why,
    }
