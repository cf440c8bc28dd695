"""What a marker card beside the sheet tells of the light and of the sheet's size."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.arrays import read_only
from lightplan.optics.colour import luminance_factor
from lightplan.shots.sheet.card import PATCH_LIGHTNESS, CardFound, find_marker_card, read_greys

if TYPE_CHECKING:
    from lightplan.shots.results import Triple
    from lightplan.shots.sheet.corners import SheetFound
    from lightplan.shots.shot import Shot

FIND_PX = 1500  # long side of the copy in which a card is looked for
_MIDDLE = PATCH_LIGHTNESS.index(50.0)
_NOT_CLIPPED, _NOT_BLACK = 0.95, 0.004
_SAME_SIZE = 0.03


@dataclass(frozen=True, eq=False)
class CardLight:
    """The light that a card's grey patches show.

    Parameters
    ----------
    card : CardFound
        In pixels of the shot.
    middle : (3,) float or None
        Linear level of the patch of L* 50; None where it is not seen or at its end.
    """

    card: CardFound
    middle: Triple | None

    def stock(self, paper_level: Triple | None) -> Triple | None:
        """Return the paper's reflectance by comparison with the grey; None where not told.

        The patch is taken to reflect as its CIE L* says (CIE 15); a printer strays from it
        by a tenth or so, in lightness more than in colour.
        """
        if self.middle is None or paper_level is None or max(paper_level) > _NOT_CLIPPED:
            return None
        grey = ((PATCH_LIGHTNESS[_MIDDLE] + 16) / 116) ** 3
        red, green, blue = np.clip(grey * np.array(paper_level) / self.middle, 0.01, 1).tolist()
        return red, green, blue

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for the details of a result."""
        return {
            "paper": self.card.layout.paper,
            "markers": self.card.markers,
            "rms_px": self.card.rms_px,
            "px_per_mm": self.card.px_per_mm(),
        }


def card_in(shot: Shot) -> CardFound | None:
    """Return the marker card in a photograph, in pixels of `shot.encoded`."""
    small = shot.preview(FIND_PX)
    card = find_marker_card(small)
    return None if card is None else in_copy(card, shot.cols / small.shape[1])


def card_light(shot: Shot, card: CardFound) -> CardLight:
    """Return what the grey patches show."""
    every = card.patch_corners().reshape(-1, 2)
    low = np.maximum(np.floor(every.min(axis=0)).astype(int) - 1, 0)
    high = np.minimum(np.ceil(every.max(axis=0)).astype(int) + 2, (shot.rows, shot.cols))
    if (high - low < 8).any():
        return CardLight(card, None)
    part = shot.linear_part(slice(low[0], high[0]), slice(low[1], high[1]))
    moved = np.array([[1, 0, -low[1]], [0, 1, -low[0]], [0, 0, 1.0]]) @ card.plane
    level = read_greys(part, replace(card, plane=read_only(moved)))[_MIDDLE]
    known = np.isfinite(level).all() and level.max() < _NOT_CLIPPED
    if not known or float(luminance_factor(level)) < _NOT_BLACK:
        return CardLight(card, None)
    red, green, blue = level.tolist()
    return CardLight(card, (red, green, blue))


def size_on_card(found: SheetFound, card: CardFound) -> tuple[float, float]:
    """Return width and height of a sheet that lies in the card's plane, in mm.

    Parameters
    ----------
    found : SheetFound
    card : CardFound
        In the same pixels.
    """
    places = card.on_card_mm(found.corners)
    far, right, near, left = np.linalg.norm(np.roll(places, -1, axis=0) - places, axis=1)
    return float(far + near) / 2, float(right + left) / 2


def is_card_itself(size_mm: tuple[float, float], card: CardFound) -> bool:
    """Say whether what was taken for the sheet has the size of the card's page or panel."""
    panel = card.layout.panel()
    known = (card.layout.page_mm, (panel.width_mm, panel.height_mm))
    return any(np.abs(np.log(np.sort(size_mm) / np.sort(one))).max() < _SAME_SIZE for one in known)


def in_copy(card: CardFound, factor: float) -> CardFound:
    """Return the card in a copy of the picture that is `factor` times as large."""
    half = 0.5 * factor - 0.5  # centres of pixels are whole numbers in both
    plane = np.array([[factor, 0, half], [0, factor, half], [0, 0, 1.0]]) @ card.plane
    return replace(card, plane=read_only(plane), rms_px=card.rms_px * factor)
