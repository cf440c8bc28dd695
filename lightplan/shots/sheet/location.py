"""Where the sheet lies in a photograph: by hand, by a neighbour, its sides, a card, its artwork."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import read_only
from lightplan.shots.sheet import corners as finding
from lightplan.shots.sheet.by_artwork import Artwork, find_by_artwork
from lightplan.shots.sheet.carded import FIND_PX, card_in, in_copy
from lightplan.shots.sheet.corners import SheetFound, SheetNotFound
from lightplan.shots.sheet.framed import SHEET, Frame, likeliest_sides, printed_frame, sheet_round
from lightplan.shots.sheet.laid_out import LaidSheet, lay_out
from lightplan.shots.sheet.neighbour import Neighbour, find_near

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.shots.context import PhotoContext
    from lightplan.shots.sheet.card import CardFound
    from lightplan.shots.shot import Shot

_NEAR_PX = 750  # long side of the copy in which the sheet is found where another frame had it
GRID_PX = 400  # long side of the squared sheet that is measured and judged
_DOUBTFUL = 0.25  # confidence of a mask below which the sheet is looked for by its artwork,
_FITS = 0.5  # and from which a sheet found so is believed
_WHOLE, _SURE, _CLEARLY = 0.85, 0.95, 0.1
"""Share of the picture that its artwork explains from which no printed frame was taken for the
sheet's edge, from which another place is not looked for further, and by how much more it must
explain; right ones have 0.97 in rendered photographs."""


def place(shot: Shot, context: PhotoContext) -> tuple[LaidSheet | SheetNotFound, CardFound | None]:
    """Return the sheet laid out, and the marker card where one was looked for and seen.

    A sheet that its sides do not tell is looked for with a card, and by its artwork.
    """
    card = card_in(shot) if context.card else None
    found, near = find_in_shot(shot, context, card)
    if isinstance(found, SheetNotFound) and not context.card:
        card = card_in(shot)
        if card is not None:
            found, near = find_in_shot(shot, context, card)
    told: LaidSheet | SheetNotFound
    if isinstance(found, SheetFound):
        told = lay_out(shot, found, context, grid_px=GRID_PX, near=near)
        if found.how == "by hand" or near is not None:  # that of the neighbour was looked at
            return told, card
        if told.segmented.confidence >= _DOUBTFUL:
            return without_printed_frame(shot, told, context), card
    else:
        told = found
    again = _laid_near_plan(shot, context)  # soon done; features of artwork take a second each
    if again is None:
        again = _laid_by_artwork(shot, context)
    if again is None and isinstance(told, SheetNotFound):
        again = _laid_as_planned(shot, context)
    elif isinstance(told, LaidSheet) and (again is None or again.segmented.agreement < _WHOLE):
        # near the plan, too, a frame may have been taken for some sides
        round_frame = without_printed_frame(shot, told, context)
        if again is None or round_frame.segmented.agreement > again.segmented.agreement:
            again = round_frame
    return (told if again is None else again), card


def without_printed_frame(shot: Shot, told: LaidSheet, context: PhotoContext) -> LaidSheet:
    """Return the sheet laid out anew where a printed frame was taken for some of its sides."""
    is_sure = told.segmented.agreement >= _WHOLE or told.found.how != "sides"
    if context.artwork is None or is_sure:
        return told
    outlines, laid = printed_frame(context.artwork), {SHEET: told}

    def agreement(sides: Frame) -> float:
        other = sheet_round(told.found, sides)
        if other is None:
            return 0.0
        if sides != SHEET:
            laid[sides] = lay_out(shot, other, context, grid_px=GRID_PX)
        return laid[sides].segmented.agreement

    best = laid[likeliest_sides(outlines, agreement, _SURE)] if outlines else told
    if best.segmented.agreement < told.segmented.agreement + _CLEARLY:
        return told
    whole, (small, focal_px) = (shot.rows, shot.cols), _small(shot, _NEAR_PX)
    size = {"width_mm": context.width_mm, "height_mm": context.height_mm}
    near = find_near(small, best.found, focal_px=focal_px, reach=0.006, least=_FITS, **size)
    if near is None:
        return best
    finer = lay_out(shot, replace(near.scaled(whole), how="sides"), context, grid_px=GRID_PX)
    return max(finer, best, key=lambda one: one.segmented.agreement)


def _laid_by_artwork(shot: Shot, context: PhotoContext) -> LaidSheet | None:
    """Return the sheet where its artwork is seen, if the artwork then fits it surely."""
    if context.artwork is None:
        return None
    whole = (shot.rows, shot.cols)
    size = {"width_mm": context.width_mm, "height_mm": context.height_mm}
    artwork = Artwork.of(context.artwork, **size)
    planned = _planned(shot, context)
    # a soft picture of many pixels shows its features in a smaller copy
    for long_side_px in (FIND_PX, _NEAR_PX):
        small, focal_px = _small(shot, long_side_px)
        shape = (small.shape[0], small.shape[1])
        there = None if planned is None else planned.scaled(shape).corners
        found = find_by_artwork(
            small, artwork, focal_px=focal_px, planned=there, half_lit=context.half_lit
        )
        if found is not None:
            laid = lay_out(shot, found.scaled(whole), context, grid_px=GRID_PX)
            if laid.segmented.confidence >= _FITS:
                return laid
        if max(whole) <= _NEAR_PX:
            break
    return None


def _laid_near_plan(shot: Shot, context: PhotoContext) -> LaidSheet | None:
    """Return the sheet near where the plan's camera has it, if the artwork fits surely there."""
    planned = _planned(shot, context)
    if planned is None:
        return None
    small, focal_px = _small(shot, _NEAR_PX)
    size = {"width_mm": context.width_mm, "height_mm": context.height_mm}
    for reach in (0.006, 0.02, 0.05):
        found = find_near(small, planned, focal_px=focal_px, reach=reach, least=_FITS, **size)
        if found is not None:
            laid = lay_out(shot, found.scaled(planned.shape), context, grid_px=GRID_PX)
            if laid.segmented.confidence >= _FITS:
                return laid
    return None


def _laid_as_planned(shot: Shot, context: PhotoContext) -> LaidSheet | None:
    """Return the sheet just where the plan's camera has it, if the artwork fits surely there."""
    planned = _planned(shot, context)
    if planned is None:
        return None
    laid = lay_out(shot, planned, context, grid_px=GRID_PX)
    return laid if laid.segmented.confidence >= _FITS else None


def _planned(shot: Shot, context: PhotoContext) -> SheetFound | None:
    """Return where the plan's camera has the sheet; None where it is not known, or not whole."""
    if context.expected is None or context.artwork is None:
        return None
    whole = (shot.rows, shot.cols)
    corners = context.expected * np.array(whole) - 0.5
    if (corners < -1).any() or (corners > np.array(whole)).any():
        return None
    return SheetFound(read_only(corners), whole, _FITS, "artwork")


def _small(shot: Shot, long_side_px: int) -> tuple[NDArray[np.uint8], float | None]:
    """Return a small copy and the focal length in its pixels."""
    small = shot.preview(long_side_px)
    focal = shot.focal_length_px()
    return small, None if focal is None else focal * small.shape[1] / shot.cols


def find_in_shot(
    shot: Shot, context: PhotoContext, card: CardFound | None = None
) -> tuple[SheetFound | SheetNotFound, Neighbour | None]:
    """Return the sheet's corners in pixels of `shot.encoded`, and the frame that led there.

    `card` is a marker card in the sheet's plane, in the same pixels.
    """
    whole = (shot.rows, shot.cols)
    if shot.file in context.corners:
        by_hand = np.asarray(context.corners[shot.file], float)
        file_shape = (shot.file_rows, shot.file_cols)
        return finding.corners_by_hand(by_hand, file_shape).scaled(whole), None
    width_mm, height_mm = context.width_mm, context.height_mm
    if context.near is not None:
        small, focal_px = _small(shot, _NEAR_PX)
        near = find_near(
            small, context.near.found, width_mm=width_mm, height_mm=height_mm, focal_px=focal_px
        )
        if near is not None:
            return near.scaled(whole), context.near
    small, focal_px = _small(shot, FIND_PX)
    near_card = None if card is None else in_copy(card, small.shape[1] / shot.cols)
    found = finding.find_sheet(
        small, width_mm=width_mm, height_mm=height_mm, focal_px=focal_px, card=near_card
    )
    return (found.scaled(whole) if isinstance(found, SheetFound) else found), None
