"""The family of angles: where a card must lie, and where the camera sees itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.errors import RigError
from lightplan.manifest import write_output
from lightplan.mirror.family import Coverage, family_on_plane, mirror_plane
from lightplan.mirror.self_view import SelfView, WaysOut, self_view, ways_out
from lightplan.reports.family_drawing import FamilyFacts, family_png
from lightplan.reports.setup.cuts import board_for as board_for
from lightplan.reports.setup.cuts import rectangle as rectangle
from lightplan.rigfiles import LoadedRig, load_rig
from lightplan.scene import Card, Rig
from lightplan.scene.surfaces import flat_at
from lightplan.tasks.family_document import height_of_hole
from lightplan.tasks.folder import prepare_files
from lightplan.tasks.predict import RigLike, as_rig

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.arrays import Doubles
    from lightplan.units import LengthUnit

USUAL_DISTANCE_MM = 400.0


@dataclass(frozen=True, eq=False)
class Family:
    """What the foil of a rig sees on one plane.

    Attributes
    ----------
    rig : Rig
    card : Card or None
        The card whose plane it is.
    coverage : Coverage
        Outline, smallest card and margins.
    itself : SelfView or None
        The camera's own reflection, where it lies on the sheet.
    ways_out : WaysOut or None
        Three ways out of that, with their price.
    """

    rig: Rig
    card: Card | None
    coverage: Coverage
    itself: SelfView | None
    ways_out: WaysOut | None


def family(rig: RigLike, *, card: str | None = None, distance_mm: float | None = None) -> Family:
    """Return what the foil sees on the plane of a card, or square to the mirrored ray.

    Parameters
    ----------
    rig : Rig, LoadedRig, path or name of a preset
    card : str or None
        The card on whose plane to look.
    distance_mm : float or None
        Instead: distance of a plane square to the mirrored ray; 400 mm when neither is given.

    Raises
    ------
    BadInput
        When there is no such card, or its plane is not met by the mirrored rays.
    """
    found = as_rig(rig)
    stands = None
    if card is None:
        away = USUAL_DISTANCE_MM if distance_mm is None else distance_mm
        plane = mirror_plane(found.camera, found.sheet, away)
    else:
        stands = _card(found, card)
        plane = stands.placement
    coverage = family_on_plane(found.camera, found.sheet, plane)
    if coverage is None:
        raise RigError(
            field="card plane",
            wanted="one that all mirrored rays meet",
            got=card if card is not None else distance_mm,
            cure="lean the card so that it faces the sheet, or choose another card",
        )
    height = height_of_hole(found, stands)
    itself = self_view(found.camera, found.sheet)
    if itself is not None and itself.share == 0:
        itself = None
    return Family(
        found,
        stands,
        coverage,
        itself,
        None if itself is None else ways_out(found.camera, found.sheet, card_height_mm=height),
    )


def _card(rig: Rig, name: str) -> Card:
    for card in rig.cards:
        if card.name == name:
            return card
    names = ", ".join(card.name for card in rig.cards)
    raise RigError(
        field="--card",
        wanted="the name of a card",
        got=name,
        cure=f"use one of: {names}" if names else "the rig has no cards",
    )


def ready(rig: RigLike, path: Path | None, *, replace_file: bool = False) -> RigLike:
    """Return the rig, read, after the place of its drawing was found fit for it."""
    loaded = rig if isinstance(rig, Rig | LoadedRig) else load_rig(rig)
    inputs = loaded.inputs if isinstance(loaded, LoadedRig) else ()
    prepare_files([path], replace=replace_file, inputs=inputs)
    return loaded


def write_drawing(
    found: Family, path: Path, *, unit: LengthUnit = "mm", replace_file: bool = False
) -> Path:
    """Write the family of angles as a PNG."""
    coverage = found.coverage
    right, up, _ = coverage.plane.axes()
    offset = np.subtract(coverage.card.position_mm, coverage.plane.position_mm)
    x, y = float(offset @ right), float(offset @ up)
    half_w, half_h = coverage.width_mm / 2, coverage.height_mm / 2
    facts = FamilyFacts(
        seen_mm=_as_seen(coverage.seen_mm),
        outline_mm=_as_seen(coverage.outline_mm),
        card_mm=(-x - half_w, -x + half_w, y - half_h, y + half_h),
        standing_mm=None if found.card is None else _corners(found.card),
        distance_mm=coverage.distance_mm,
        sheet_mm=(found.rig.sheet.width_mm, found.rig.sheet.height_mm),
        self_mm=None if found.itself is None else np.asarray(found.itself.outline_mm),
        title=f"Family of angles: {found.rig.title}",
    )
    return write_output(path, family_png(facts, unit), replace=replace_file)


def _as_seen(outline: Doubles) -> Doubles:
    """Turn a plane's own right into right as the sheet sees it."""
    return np.asarray(outline) * [-1.0, 1.0]


def _corners(card: Card) -> Doubles:
    right, up, _ = card.placement.axes()
    flat = flat_at(card.placement, card.width_mm, card.height_mm)
    offset = flat.outline() - np.asarray(card.placement.position_mm)
    return np.stack([-(offset @ right), offset @ up], axis=1)
