"""What a move is told to win: the score of the photograph after it, and how sure that is."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from lightplan.advice.first_things import FirstMove
from lightplan.errors import RigError
from lightplan.scene.slips import CAMERA_SETTINGS, slipped

if TYPE_CHECKING:
    from lightplan.advice.first_things import FirstOption, State
    from lightplan.advice.worth import Worth

# Points by which prediction and photograph differ when all is as planned, and the share of a gain
# that is not to be relied on: set on the design photographs (tests/advice/promised.py).
_OWN_SIGMA, _GAIN_SHARE = 2.0, 0.45


def told_move(
    option: FirstOption, state: State, worth: Worth, photo_score: float | None, sharp: float = 1.0
) -> FirstMove:
    """Return an option as it is told, with the score of the photograph after it.

    `sharp` is the factor that the photograph's sharpness puts on its score: a move of the set
    changes nothing about that.
    """
    foretold = worth.score(option.rig, option.camera)
    spread = spread_of(option, state, worth)
    if photo_score is None:
        photo_score, sharp = foretold - option.gain, 1.0
    after, sigma = promised(
        photo_score, sharp * foretold, gain=sharp * option.gain, spread=sharp * spread
    )
    return FirstMove(
        text=option.text,
        element=option.element,
        dimension=option.dimension,
        value=option.value,
        unit=option.unit,
        score_after=after,
        uncertainty=sigma,
        gain=sharp * option.gain,
        parts=option.changes,
        undoes=option.undoes,
        takes_back=option.takes_back,
        why=option.why,
    )


def promised(photo: float, foretold: float, *, gain: float, spread: float) -> tuple[float, float]:
    """Return the score of the photograph after a move, and one standard deviation.

    It lies half way between what the photograph earns and the move wins, and what the rig
    after the move is predicted to earn; how far these two are apart tells how sure it is.

    Parameters
    ----------
    photo, foretold : float
        Score of the photograph, and predicted score after the move.
    gain : float
        Points that the move wins in prediction.
    spread : float
        Points by which the slip's uncertain size may change that.

    >>> [round(v) for v in promised(60.0, 82.0, gain=20.0, spread=1.0)]
    [81, 9]
    """
    added = photo + gain
    after = min(100.0, max(0.0, 0.5 * (added + foretold)))
    parts = (spread, _OWN_SIGMA, _GAIN_SHARE * gain, 0.5 * (added - foretold))
    return after, math.hypot(*parts)


def spread_of(option: FirstOption, state: State, worth: Worth) -> float:
    """Return how far the score after may be off, as the slip's size is not known exactly."""
    slip = next((s for s in state.slips if s.element == option.element), None)
    if slip is None or slip.dimension == "missing" or slip.uncertainty <= 0:
        return 1.0
    after = worth.score(option.rig, option.camera)
    if slip.element == "exposure":
        other = worth.score(option.rig, replace(option.camera, stops=option.camera.stops + 0.17))
        return abs(after - other)
    if slip.element in CAMERA_SETTINGS:
        return 1.0
    far = []
    for sign in (-1.0, 1.0):
        try:
            rig = slipped(option.rig, {(slip.element, slip.dimension): sign * slip.uncertainty})
        except RigError:
            continue
        far.append(abs(after - worth.score(rig, option.camera)))
    return max(far, default=1.0)
