"""What `lightplan family` says."""

from __future__ import annotations

from typing import Any

from lightplan.tasks.mirror_angles import board_for, rectangle
from lightplan.units import LengthUnit, show_length
from lightplan.words.places import away_towards, left_right

FITS_WORDS = {
    "with margins": "covers all that the foil sees, margins included.",
    "without margins": "just covers what the foil sees, but leaves no room for bow, blur and "
    "errors of setting.",
    "no": "is too small or stands too far aside: the foil sees past it.",
}


def family_words(document: dict[str, Any], unit: LengthUnit) -> list[str]:
    """Return the numbers of `family_document` as lines for the maker."""
    return [*_card(document, unit), *_itself(document, unit)]


def _card(document: dict[str, Any], unit: LengthUnit) -> list[str]:
    def show(length: float) -> str:
        return show_length(length, unit)

    wide, high = document["smallest_card_mm"]
    bare_wide, bare_high = document["without_margins_mm"]
    margins = document["margins_mm"]
    x, y, z = document["card_position_mm"]
    board = board_for(rectangle("card", "", wide, high), unit)
    words = [
        f"At {show(document['distance_mm'])} from the sheet, along the mirrored view, the smallest "
        f"card is {show(wide)} x {show(high)} ({show(bare_wide)} x {show(bare_high)} for a "
        f"perfect mirror set without error); board: {board}.",
        f"Its middle, from the sheet's: {left_right(x, unit)}, {away_towards(y, unit)}, "
        f"height {show(z)}. It stands so: {document['stance']}.",
        f"On each side, at most, the sheet's bow asks for {show(margins['bow'])}, the blur of the "
        f"foil for {show(margins['blur'])}, errors of setting for {show(margins['setting'])}.",
    ]
    if document["card"] is not None:
        words.append(f"Your “{document['card']}” {FITS_WORDS[document['card_covers']]}")
    return words


def _itself(document: dict[str, Any], unit: LengthUnit) -> list[str]:
    def show(length: float) -> str:
        return show_length(length, unit)

    itself = document["camera_sees_itself"]
    if itself is None:
        return ["The camera does not see itself in the sheet."]
    tilt, offset, hole = itself["tilt"], itself["offset"], itself["hole"]
    way = "left or right" if itself["shorter_side"] == "x" else "towards you or away"
    words = [
        f"The camera sees itself on {100 * itself['share_of_sheet']:.0f} % of the sheet, in a "
        f"patch of {show(itself['width_mm'])} x {show(itself['height_mm'])}. Three ways out:",
        f"  look from the side: stand the lens {show(tilt['shift_mm'])} {way}, counted from "
        f"over the sheet's middle, and turn it back by {tilt['angle_deg']:.0f} degrees; price: "
        f"the near edge is drawn {100 * tilt['keystone_share']:.0f} % larger;",
        f"  stay square and crop: the lens {show(offset['shift_mm'])} {way}, "
        f"{show(offset['height_mm'])} high, looking straight down; price: "
        f"{100 * offset['pixels_left_share']:.0f} % of the pixels remain;",
        f"  shoot through a hole in a card that lies {show(hole['card_height_mm'])} high: "
        f"{show(hole['hole_mm'])} across; price: a dark spot of {show(hole['spot_mm'])}, "
        f"{100 * hole['spot_share']:.1f} % of the sheet.",
    ]
    if itself["behind"]:
        names = " and ".join(f"“{name}”" for name in itself["behind"])
        words.append(f"In this rig {names} hides the camera from the foil, but for its opening.")
    return words
