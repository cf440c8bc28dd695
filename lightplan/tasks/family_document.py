"""The family of angles as plain values."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.mirror.family import NO_MARGINS, Coverage, family_on_plane
from lightplan.words.stances import stance

if TYPE_CHECKING:
    from lightplan.scene import Card, Rig
    from lightplan.tasks.mirror_angles import Family


def height_of_hole(rig: Rig, stands: Card | None) -> float:
    """Return how high a card with a hole would lie: as the one asked for, else at the lens."""
    lens = rig.camera.placement.position_mm[2]
    return lens if stands is None else min(stands.placement.position_mm[2], lens)


def _bow_share(found: Family) -> float:
    """Return how much the sheet's own bow adds on a side, where it adds most, in mm."""
    sheet, coverage = found.rig.sheet, found.coverage
    level = replace(sheet, flatness=replace(sheet.flatness, bow_mm=0.0))
    flat = family_on_plane(found.rig.camera, level, coverage.plane, margins=NO_MARGINS)
    if flat is None:
        return 0.0
    wider = coverage.bare_width_mm - flat.bare_width_mm
    return max(wider, coverage.bare_height_mm - flat.bare_height_mm, 0.0) / 2


def _covers(card: Card, coverage: Coverage) -> str:
    """Return whether a card fills what the foil sees: with margins, without margins, no."""
    half = np.array([card.width_mm, card.height_mm]) / 2
    for words, outline in (
        ("with margins", coverage.outline_mm),
        ("without margins", coverage.seen_mm),
    ):
        if (np.abs(outline) <= half).all():
            return words
    return "no"


def family_document(found: Family) -> dict[str, Any]:
    """Return the numbers as plain values."""
    coverage, itself, out = found.coverage, found.itself, found.ways_out
    document: dict[str, Any] = {
        "card": None if found.card is None else found.card.name,
        "distance_mm": coverage.distance_mm,
        "smallest_card_mm": [coverage.width_mm, coverage.height_mm],
        "without_margins_mm": [coverage.bare_width_mm, coverage.bare_height_mm],
        "margins_mm": {
            "bow": _bow_share(found),
            "blur": coverage.lobe_margin_mm,
            "setting": coverage.setting_margin_mm,
        },
        "card_covers": None if found.card is None else _covers(found.card, coverage),
        "card_position_mm": [float(v) for v in coverage.card.position_mm],
        "stance": stance(coverage.card),
        "outline_mm": np.asarray(coverage.outline_mm).tolist(),
        "camera_sees_itself": None,
    }
    if itself is not None and out is not None:
        document["camera_sees_itself"] = {
            "width_mm": itself.width_mm,
            "height_mm": itself.height_mm,
            "share_of_sheet": itself.share,
            "shorter_side": "y" if found.rig.sheet.height_mm <= found.rig.sheet.width_mm else "x",
            "behind": [card.name for card in found.rig.cards if card.hole is not None]
            + [shell.name for shell in found.rig.shells],
            "tilt": {
                "angle_deg": math.degrees(out.tilt.angle_rad),
                "shift_mm": out.tilt.shift_mm,
                "keystone_share": out.tilt.keystone,
            },
            "offset": {
                "shift_mm": out.offset.shift_mm,
                "height_mm": out.offset.height_mm,
                "pixels_left_share": out.offset.share_left,
            },
            "hole": {
                "card_height_mm": height_of_hole(found.rig, found.card),
                "hole_mm": out.hole.hole_mm,
                "spot_mm": out.hole.spot_mm,
                "spot_share": out.hole.spot_share,
            },
        }
    return document
