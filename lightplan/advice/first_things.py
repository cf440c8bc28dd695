"""First things first: what a photograph of a set needs, and the one move that is worth most.

The order is that of the table: exposure, white balance, focus and shake, where the camera
stands, then lamps and cards. Of moves that win about as much, the easier one is told.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from lightplan.advice.slip_words import light_words, name_in, shutter_words, undo_words, what_is_off
from lightplan.advice.words import way
from lightplan.advice.worth import Camera, Worth
from lightplan.errors import RigError
from lightplan.scene import Rig
from lightplan.scene.slips import CAMERA_SETTINGS, Foreign, Slip, slipped

ORDER = ("exposure", "white balance", "focus", "camera")
# Points that a move must win more than an easier one, by what it takes; our choice.
_EFFORTS = {"exposure": 0.2, "white balance": 0.2, "focus": 0.3, "power_stops": 0.4,
            "missing": 0.6, "bow_mm": 1.0, "light": 1.0}  # fmt: skip
_TURN, _STEP, _CAMERA = 0.8, 1.2, 1.8
LEAST_GAIN = 1.0
"""Points below which nothing is asked of the maker."""
_FIRST_SHARE = 0.6  # of the best move's gain, from which an earlier thing is told first
_OWN_SIGMA = 1.5  # points: what prediction and photograph differ by when all is as planned


@dataclass(frozen=True, kw_only=True)
class Found:
    """One thing that is off, and what it costs.

    Attributes
    ----------
    slip : Slip
    what : str
        A sentence without full stop.
    cost : float
        Points that undoing it alone wins on the rig as built.
    """

    slip: Slip
    what: str
    cost: float


@dataclass(frozen=True, kw_only=True)
class FirstMove:
    """The one move.

    Attributes
    ----------
    text : str
        An order, without full stop.
    element, dimension, unit : str
    value : float
        By how much, signed as the slip's dimension is.
    score_after, uncertainty : float or None
        Of the photograph after it; None where no score can be told.
    gain : float
        Points.
    """

    text: str
    element: str
    dimension: str
    value: float
    unit: str
    score_after: float | None
    uncertainty: float | None
    gain: float


@dataclass(frozen=True, eq=False)
class Option:
    """A move that could be told: its words, and rig and camera after it."""

    text: str
    element: str
    dimension: str
    value: float
    unit: str
    rig: Rig
    camera: Camera
    gain: float

    @property
    def effort(self) -> float:
        """What it takes."""
        if self.element in _EFFORTS:
            return _EFFORTS[self.element]
        if self.dimension in _EFFORTS:
            return _EFFORTS[self.dimension]
        if self.element == "camera":
            return _CAMERA
        return _TURN if self.dimension.endswith("deg") else _STEP

    @property
    def place(self) -> int:
        """Place in the order of the table."""
        return ORDER.index(self.element) if self.element in ORDER else len(ORDER)


@dataclass(frozen=True, eq=False)
class State:
    """A rig as it stands, and the camera as it is set.

    Attributes
    ----------
    planned : Rig
    slips : tuple of Slip
        Of the set and of the camera's settings.
    foreign : tuple of Foreign
    camera : Camera
    time_s : float or None
        The photograph's exposure time, for words.
    """

    planned: Rig
    slips: tuple[Slip, ...]
    foreign: tuple[Foreign, ...]
    camera: Camera
    time_s: float | None

    def rig(self, without: Iterable[Slip] = (), *, foreign: bool = True) -> Rig:
        """Return the rig as it stands, some slips undone."""
        undone = {(s.element, s.dimension) for s in without}
        values = {
            (s.element, s.dimension): s.value
            for s in self.slips
            if (s.element, s.dimension) not in undone and s.element not in CAMERA_SETTINGS
        }
        found = slipped(self.planned, values)
        if foreign and self.foreign:
            more = tuple(f.lamp(f"not in the rig {i + 1}") for i, f in enumerate(self.foreign))
            found = replace(found, lamps=(*found.lamps, *more))
        return found


def options_of(state: State, worth: Worth) -> list[Option]:
    """Return what could be told: each slip undone, foreign light shut out; best first."""
    here = state.rig()
    now = worth.score(here, state.camera)
    found = []
    for slip in _moves_together(state.slips):
        option = _undone(state, slip, here)
        if option is not None:
            gain = worth.score(option.rig, option.camera) - now
            found.append(replace(option, gain=gain))
    if state.foreign:
        rig = state.rig(foreign=False)
        gain = worth.score(rig, state.camera) - now
        found.append(Option(foreign_order(state.foreign[0]), "not in the rig", "light", 0.0, "",
                            rig, state.camera, gain))  # fmt: skip
    return sorted(found, key=lambda o: -o.gain)


def _moves_together(slips: Sequence[Slip]) -> list[tuple[Slip, ...]]:
    """Return slips of one thing together: it is moved once."""
    groups: dict[str, list[Slip]] = {}
    for slip in slips:
        groups.setdefault(slip.element, []).append(slip)
    return [tuple(group) for group in groups.values()]


def _undone(state: State, group: tuple[Slip, ...], here: Rig) -> Option | None:
    slip = max(group, key=lambda s: abs(s.value))
    if slip.element == "focus":
        return None
    camera = state.camera
    if slip.element == "exposure":
        camera = replace(camera, stops=camera.stops - slip.value)
        text = exposure_order(slip.value, state.time_s)
        return Option(text, "exposure", "stops", -slip.value, "stops", here, camera, 0.0)
    if slip.element == "white balance":
        camera = replace(camera, red_stops=0.0, blue_stops=0.0)
        text = balance_order(slip.value)
        return Option(text, slip.element, slip.dimension, -slip.value, slip.unit, here, camera, 0.0)
    try:
        rig = state.rig(group)
    except RigError:
        return None
    text = undo_words(state.planned, slip)
    if len(group) > 1:
        text = together(state.planned, group)
    return Option(text, slip.element, slip.dimension, -slip.value, slip.unit, rig, camera, 0.0)


def together(planned: Rig, group: Sequence[Slip]) -> str:
    """Return the order that undoes several slips of one thing."""
    told = [s for s in group if abs(s.value) >= (8.0 if s.unit == "mm" else 1.5)]
    orders = [undo_words(planned, s) for s in (told if told else group[:1])]
    name = name_in(planned, group[0].element)
    first, *rest = orders
    parts = [first]
    for order in rest:
        parts.append(order.replace(f"move {name} ", "").replace(f" {name}", " it"))
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)


def exposure_order(stops: float, time_s: float | None) -> str:
    """Return the order that undoes an exposure that is off by some stops.

    >>> exposure_order(1.35, 1 / 20), exposure_order(-1.0, None)
    ('expose 1 1/3 stops less: 1/50 instead of 1/20', 'expose 1 stop (twice) more')
    """
    word = "less" if stops > 0 else "more"
    text = f"expose {light_words(-stops)} {word}"
    if time_s is None:
        return text
    return f"{text}: {shutter_words(time_s / 2**stops)} instead of {shutter_words(time_s)}"


def balance_order(stops: float) -> str:
    """Return the order that undoes a white balance; `stops` is red over blue."""
    tone = "warm" if stops > 0 else "cold"
    return (
        f"set the white balance on white paper under these lamps, and lock it: the picture is "
        f"too {tone}"
    )


def foreign_order(foreign: Foreign) -> str:
    """Return the order that shuts out light that is not in the rig."""
    x, y, z = foreign.direction
    level = way([x, y, 0.0]) if abs(x) + abs(y) > 0.2 else "above the set"
    height = "high up" if z > 0.6 else ("at about the height of a head" if z > 0.3 else "low down")
    side = {"to the right": "from the right", "to the left": "from the left",
            "away from you": "from behind the set", "towards you": "from your own side",
            "above the set": "from above"}[level]  # fmt: skip
    return (
        f"shut out the light that comes {side}, {height}: it is not in the plan (a lamp, a "
        "window, a screen or a bright shirt)"
    )


def first_of(options: Sequence[Option]) -> Option | None:
    """Return the option to tell first; None where none is worth a walk."""
    worth = [o for o in options if o.gain >= LEAST_GAIN]
    if not worth:
        return None
    best = max(worth, key=lambda o: o.gain - o.effort)
    early = [o for o in worth if o.place < best.place and o.gain >= _FIRST_SHARE * best.gain]
    return min(early, key=lambda o: o.place) if early else best


def told_move(option: Option, state: State, worth: Worth, photo_score: float | None) -> FirstMove:
    """Return an option as it is told, with the score of the photograph after it."""
    if photo_score is None:
        after: float | None = worth.score(option.rig, option.camera)
    else:
        after = min(100.0, max(0.0, photo_score + option.gain))
    spread = _spread(option, state, worth)
    return FirstMove(
        text=option.text, element=option.element, dimension=option.dimension,
        value=option.value, unit=option.unit, score_after=after,
        uncertainty=(spread**2 + _OWN_SIGMA**2) ** 0.5, gain=option.gain,
    )  # fmt: skip


def _spread(option: Option, state: State, worth: Worth) -> float:
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


def found_things(state: State, options: Sequence[Option]) -> list[Found]:
    """Return what is off, in the order of the table, dearest first within the set."""
    gains = {o.element: o.gain for o in options}
    told = [
        Found(slip=s, what=what_is_off(state.planned, s), cost=max(0.0, gains.get(s.element, 0.0)))
        for s in state.slips
    ]
    place = {s: ORDER.index(s) for s in ORDER}
    return sorted(told, key=lambda f: (place.get(f.slip.element, len(ORDER)), -f.cost))


def trims_of_state(state: State, worth: Worth) -> list[Option]:
    """Return settings of exposure and lamps that help the rig as it stands.

    For a set that is as planned, or whose slips cost nothing: a hand's small errors may still
    have put the brightest foil beyond the clip level.
    """
    here, camera = state.rig(), state.camera
    now = worth.score(here, camera)
    found = []
    for thirds in (-4, -3, -2, -1, 1, 2, 3, 4):
        stops = thirds / 3
        other = replace(camera, stops=camera.stops + stops)
        gain = worth.score(here, other) - now
        text = exposure_order(-stops, state.time_s)
        found.append(Option(text, "exposure", "stops", stops, "stops", here, other, gain))
    for lamp in here.lamps:
        if lamp.is_window or not lamp.on:
            continue
        for stops in (-1.0, -0.5, 0.5, 1.0):
            slip = Slip(element=lamp.name, dimension="power_stops", value=-stops, unit="stops",
                        uncertainty=0.05, confidence=1.0)  # fmt: skip
            try:
                rig = slipped(here, {(lamp.name, "power_stops"): stops})
            except RigError:
                continue
            text = undo_words(state.planned, slip)
            gain = worth.score(rig, camera) - now
            found.append(Option(text, lamp.name, "power_stops", stops, "stops", rig, camera, gain))
    return sorted(found, key=lambda o: -o.gain)


def foreign_words(foreign: Foreign) -> str:
    """Return what is there that the plan does not have, a clause without full stop."""
    return (
        foreign_order(foreign)
        .replace("shut out the light that comes", "light comes")
        .replace(
            ": it is not in the plan (a lamp, a window, a screen or a bright shirt)",
            " that is not in the plan",
        )
    )
