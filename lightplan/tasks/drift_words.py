"""What has drifted, in a maker's words: each thing with its size, its cost, how to put it back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.advice.orders import balance_order, exposure_order, foreign_words
from lightplan.advice.slip_words import undo_words, what_is_off
from lightplan.tasks.advice_words import capital, first_word

if TYPE_CHECKING:
    from lightplan.advice.first_things import FoundFirst
    from lightplan.scene import Rig
    from lightplan.scene.slips import Slip
    from lightplan.tasks.advise import Advice

TOLD_POINTS = 0.5
COLOUR = "white balance"
_SINCE = {
    "too far": "farther",
    "too near": "nearer",
    "too high": "higher",
    "too low": "lower",
    "too bright": "brighter",
    "too dim": "dimmer",
}
TOO_DARK = (
    "small changes where the sheet is nearly black, as a JPEG keeps too few steps of grey there: "
    "keep a reference that is exposed two stops more, or a raw picture (DNG), and compare with that"
)


def is_colour_alone(advice: Advice) -> bool:
    """Whether nothing but the colour has shifted."""
    kinds = {f.slip.element for f in advice.things}
    return kinds == {COLOUR} and not advice.foreign


def drift_sentence(advice: Advice) -> str:
    """Return in one line what has changed, and what to put back first."""
    head, since = first_word(advice.photo), advice.since
    if is_colour_alone(advice):
        return (
            f"{head} Only the colour has shifted since {since}; the light falls as it did. Set "
            "the white balance anew."
        )
    if not advice.things and not advice.foreign:
        return f"{head} Nothing that shows has changed since {since}; leave it."
    named = [changed_words(advice.planned, f.slip) for f in _dearest(advice)][:2]
    named += [foreign_words(f) for f in advice.foreign[:1]]
    what = f"{head} Since {since}: {' and '.join(named)}."
    if advice.first_move is not None:
        return f"{what} First: {advice.first_move.text}."
    return f"{what} It costs nothing yet."


def drift_words(advice: Advice) -> list[str]:
    """Return as lines what has changed since an earlier photograph."""
    words, since = [first_word(advice.photo)], advice.since
    if is_colour_alone(advice):
        return [
            *words,
            f"Only the colour has shifted since {since}; the light falls as it did.",
            f"To put it back: {put_back_words(advice, advice.things[0].slip)}.",
        ]
    if not advice.things and not advice.foreign:
        words.append(f"Nothing has changed since {since}, as far as the photographs tell.")
        return words + _not_told(advice)
    words.append(f"Changed since {since}:")
    for number, found in enumerate(advice.things, 1):
        what = capital(changed_words(advice.planned, found.slip))
        back = capital(put_back_words(advice, found.slip))
        words.append(f"{number}. {what}{_give_or_take(found.slip)}. {_cost(found)} {back}.")
    words += [f"{capital(foreign_words(f))}; it did not then." for f in advice.foreign]
    if len(advice.things) > 1:
        words.append("Put the first back and photograph again before you move anything else.")
    return words + _not_told(advice)


def _not_told(advice: Advice) -> list[str]:
    return [f"Not to be told from these photographs: {t}." for t in advice.cannot_tell]


def changed_words(rig: Rig, slip: Slip) -> str:
    """Return what has changed, a clause without full stop; `rig` is the set as it was then."""
    text = what_is_off(rig, slip).replace("than planned", "than then")
    if slip.element == COLOUR:
        return text
    for too, more in _SINCE.items():
        if f" {too}" in text:
            return f"{text.replace(f' {too}', f' {more}')} than then"
    return text


def put_back_words(advice: Advice, slip: Slip) -> str:
    """Return the order that puts one thing back, without full stop."""
    if slip.element == "exposure":
        return exposure_order(slip.value, advice.photo.settings.time_s)
    if slip.element == COLOUR:
        return balance_order(slip.value)
    if slip.element == "focus":
        return "focus on the foil again, with the camera on a stand"
    return undo_words(advice.planned, slip)


def _dearest(advice: Advice) -> list[FoundFirst]:
    return sorted(advice.things, key=lambda f: -f.cost)


def _cost(found: FoundFirst) -> str:
    if found.cost < TOLD_POINTS:
        return "It costs nothing that shows."
    return f"It costs about {found.cost:.0f} point{'' if round(found.cost) == 1 else 's'}."


def _give_or_take(slip: Slip) -> str:
    if slip.unit == "mm" and slip.dimension != "bow_mm":
        return f", give or take {max(1.0, slip.uncertainty):.0f} mm"
    if slip.unit == "deg":
        return f", give or take {max(0.5, round(2 * slip.uncertainty) / 2):g} degrees"
    return ""
