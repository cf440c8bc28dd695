"""What helps a set that stands as planned: exposure, lamps turned up or down, small steps.

Nothing has slipped, yet the photograph earns less than the plan promised: a hand's many small
errors, a tone curve, light that the model does not know.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.advice.first_things import LEAST_KNOB, MOST_LOST, FirstOption, State
from lightplan.advice.orders import CURVE_ORDER, FOCUS_ORDER, exposure_order
from lightplan.advice.slip_words import undo_words
from lightplan.errors import RigError
from lightplan.measures.gates import LEAST_METAL
from lightplan.scene.setting_errors import SettingErrors, error_dimensions
from lightplan.scene.slips import Slip

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from lightplan.advice.worth import CameraAsSet, Worth
    from lightplan.scene import Rig

CONTENT = 1.5
"""Points below the plan's score at which a photograph is what was promised; our choice. Half of
what a maker forgives: the plan's own score is known to a point or two."""
METAL_POINTS = 25.0
"""What the share of foil that reads as metal counts for below the limit, in points for the whole
of it: the score forgives a little there, the eye does not. Ours."""
CURVE_LIFT, CURVE_CONTRAST = 0.4, 0.12
"""Of a tone curve that is no camera's plainest: stops and share, three deviations of those that
were fitted to plain sRGB files. Ours."""
STEPS = {"mm": 20.0, "deg": 3.0}
SHIFTED = {"mm": 16.0, "deg": 3.0}
"""How far a thing may stand off where it is held to stand, two errors of a hand: a step that loses
from there is a gamble. Ours."""
POINTS_A_STOP = 1.5
"""Points that an exposure off the plan's must win for each stop: what it does far from the plan the
model knows less well. Ours."""
HEADROOM = 1 / 6
"""Stops by which more light must not yet clip: the exposure of a photograph is found to a seventh
of a stop (95 in 100)."""
LEFT_CLIPPED = 0.01
"""Share of a material that less exposure may leave clipped; ours."""
_REFINED = 3
_TURNED = (-1.0, -0.5, 0.5, 1.0)
"""Stops by which lamps are turned."""
_THIRDS = (-9, -7, -5, -4, -3, -2, -1, 1, 2, 3, 4, 5, 7, 9)
"""Steps of exposure that are tried, in thirds of a stop."""


def read_as(rig: Rig, camera: CameraAsSet, worth: Worth) -> float:
    """Return the score of a rig, less what is missing of foil that reads as metal."""
    share = worth.measures(rig, camera).get("reads_as_metal_share")
    short = 0.0 if share is None else max(0.0, LEAST_METAL - share.value)
    return worth.score(rig, camera) - METAL_POINTS * short


def _surely(rig: Rig, camera: CameraAsSet, worth: Worth, least: float, *, brighter: bool) -> float:
    """Return what a rig is read as, where it became brighter with some room below the clip.

    What does not reach `least` without that room is not asked about it.
    """
    read = read_as(rig, camera, worth)
    if not brighter or read < least:
        return read
    near = replace(camera, stops=camera.stops + HEADROOM)
    return min(read, read_as(rig, near, worth))


def trims_of_state(state: State, worth: Worth) -> list[FirstOption]:
    """Return settings of exposure and lamps that help the rig as it stands.

    For a set that is as planned, or whose slips cost nothing: a hand's small errors may still
    have put the brightest foil beyond the clip level.
    """
    here, camera = state.rig(), state.camera
    now = read_as(here, camera, worth)
    found = []
    others = {t / 3: replace(camera, stops=camera.stops + t / 3) for t in _THIRDS}
    worth.look_ahead([here], *others.values())
    for stops, other in others.items():
        least = POINTS_A_STOP * abs(stops)
        gain = _surely(here, other, worth, now + least, brighter=stops > 0) - now
        if gain < least:
            continue
        text = exposure_order(-stops, state.time_s)
        found.append(FirstOption(text, "exposure", "stops", stops, "stops", here, other, gain))
    names = [(x.name, "power_stops") for x in here.lamps if x.on and not x.is_window]
    turned = [state.stepped(name, stops) for name in names for stops in _TURNED]
    worth.look_ahead([rig for rig in turned if rig is not None], camera)
    for name in names:
        for stops in _TURNED:
            slip = Slip(
                element=name[0],
                dimension="power_stops",
                value=-stops,
                unit="stops",
                uncertainty=0.05,
                confidence=1.0,
            )
            rig = state.stepped(name, stops)
            if rig is None:
                continue
            text = undo_words(state.planned, slip)
            gain = _surely(rig, camera, worth, now + LEAST_KNOB, brighter=stops > 0) - now
            found.append(FirstOption(text, *name, stops, "stops", rig, camera, gain))
    return sorted(found, key=lambda o: -o.gain)


def plain_curve(state: State, worth: Worth) -> FirstOption | None:
    """Return the order to photograph without the camera's own tone curve; None where it is plain.

    A phone lifts the middle tones of what it saves as JPEG, which takes the run off the foil.
    A plan that knows of it counts on it: there it is no fault, and `choose` asks for raw pictures
    only where nothing wins as much.
    """
    camera = state.camera
    is_plain = abs(camera.lift_stops) < CURVE_LIFT and abs(camera.contrast) < CURVE_CONTRAST
    if is_plain:
        return None
    here, plain = state.rig(), replace(camera, contrast=0.0, lift_stops=0.0)
    gain = read_as(here, plain, worth) - read_as(here, camera, worth)
    return FirstOption(
        CURVE_ORDER, "tone curve", "lift_stops", -camera.lift_stops, "stops", here, plain, gain
    )


def steps_of_state(state: State, worth: Worth) -> list[FirstOption]:
    """Return steps of lamps, cards and shells that help the rig as it stands, best first.

    Each is tried one way; what loses is tried the other way, and the best are tried at half
    and at twice the step.
    """
    steps = _Steps(state, worth)
    tried: dict[tuple[str, str], tuple[float, FirstOption]] = {}
    lengths = {name: STEPS[name[1].rpartition("_")[2]] for name in _movable(state)}
    for way in (1.0, -1.0):
        left = [n for n in lengths if n not in tried or tried[n][1].gain < 0]
        steps.look_ahead((name, way * lengths[name]) for name in left)
        for name in left:
            option = steps.at(name, way * lengths[name])
            if option is not None and (name not in tried or option.gain > tried[name][1].gain):
                tried[name] = (way * lengths[name], option)
    best = sorted(tried.items(), key=lambda one: -one[1][1].gain)[:_REFINED]
    found = [option for _, option in tried.values()]
    steps.look_ahead((name, share * way) for name, (way, _) in best for share in (0.5, 2.0))
    for name, (way, _) in best:
        more = [steps.at(name, share * way) for share in (0.5, 2.0)]
        found += [option for option in more if option is not None]
    return sorted(found, key=lambda o: -o.gain)


def is_sure(step: FirstOption, state: State, worth: Worth) -> bool:
    """Whether a step loses nothing where the thing stands a little off where it is held to stand.

    What seems to win much by a hair's breadth, as a gate is just passed, loses in half of the
    sets that stand a degree otherwise.
    """
    name, shift = (step.element, step.dimension), SHIFTED[step.unit]
    pairs = [(state.stepped(name, o), state.stepped(name, o + step.value)) for o in (-shift, shift)]
    worth.look_ahead((rig for pair in pairs for rig in pair if rig is not None), state.camera)
    for there, then in pairs:
        if there is None or then is None:
            return False
        try:
            won = worth.score(then, state.camera) - worth.score(there, state.camera)
        except RigError:
            return False
        if won < -MOST_LOST:
            return False
    return True


class _Steps:
    def __init__(self, state: State, worth: Worth) -> None:
        self._state, self._worth = state, worth
        self._now = read_as(state.rig(), state.camera, worth)

    def look_ahead(self, wanted: Iterable[tuple[tuple[str, str], float]]) -> None:
        """Work out the light of steps, each of which will be asked for."""
        rigs = [self._state.stepped(name, step) for name, step in wanted]
        self._worth.look_ahead((rig for rig in rigs if rig is not None), self._state.camera)

    def at(self, name: tuple[str, str], step: float) -> FirstOption | None:
        """Return a step as an option; None where it cannot be made."""
        rig = self._state.stepped(name, step)
        if rig is None:
            return None
        try:
            gain = read_as(rig, self._state.camera, self._worth) - self._now
        except RigError:
            return None
        element, dimension = name
        slip = Slip(
            element=element,
            dimension=dimension,
            value=-step,
            unit="mm" if dimension.endswith("mm") else "deg",
            uncertainty=0.0,
            confidence=1.0,
        )
        text = undo_words(self._state.planned, slip)
        return FirstOption(text, element, dimension, step, slip.unit, rig, self._state.camera, gain)


def _movable(state: State) -> Iterator[tuple[str, str]]:
    for one in error_dimensions(state.rig(), SettingErrors()):
        if one.element not in ("camera", "sheet") and one.dimension != "power_stops":
            yield one.element, one.dimension


def sharper(state: State, score: float, sharp: float) -> FirstOption | None:
    """Return the order to focus anew; None where the picture is not soft.

    Parameters
    ----------
    score : float
        Of the photograph.
    sharp : float
        What its sharpness multiplies that by: the gain is what it takes.
    """
    slip = next((s for s in state.slips if s.element == "focus"), None)
    if slip is None:
        return None
    gain = min(100.0, score / max(sharp, 0.05)) - score
    text, here = FOCUS_ORDER, state.rig()
    return FirstOption(text, "focus", slip.dimension, -slip.value, "", here, state.camera, gain)


def less_light(
    state: State, worth: Worth, clipped: Mapping[str, float], gates: Sequence[float]
) -> FirstOption | None:
    """Return less exposure for a photograph in which much is clipped, whatever was found.

    How far beyond the end the light went is not in the file. The share that is clipped says
    whether it was little or much, and how evenly lit the model has the material, how little it may
    have been. The gain is what the gates of clipping cost.

    Parameters
    ----------
    clipped : mapping of str to float
        Share of "foil" and "paper" that is clipped.
    gates : sequence of float
        Factors on the score by clipping.
    """
    factor = math.prod(gates)
    if factor > 0.95:
        return None
    material = max(clipped, key=lambda name: clipped[name], default="foil")
    most = clipped.get(material, 0.0)
    stops = 1 / 3 if most < 0.05 else (2 / 3 if most < 0.2 else 1.0)
    if most > 0:
        light = worth.brightness(state.rig(), state.camera, foil=material == "foil")
        ends, begins = np.quantile(light, [1 - LEFT_CLIPPED, 1 - min(1.0, most)])
        beyond = math.ceil(3 * float(ends - begins)) / 3
        stops = min(stops, max(1 / 3, beyond))
    camera = replace(state.camera, stops=state.camera.stops - stops)
    text = exposure_order(stops, state.time_s)
    return FirstOption(text, "exposure", "stops", -stops, "stops", state.rig(), camera, 0.0)
