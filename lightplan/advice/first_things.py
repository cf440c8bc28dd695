"""First things first: what a photograph of a set needs, and the one move that is worth most.

The order is that of the table: the camera's own tone curve, under which no exposure is right,
exposure, white balance, focus and shake, where the camera stands, then lamps and cards. Of
moves that win about as much, the easier one is told.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from lightplan.advice.orders import balance_order, exposure_order, foreign_order, together, told_of
from lightplan.advice.slip_words import undo_words, what_is_off
from lightplan.errors import RigError
from lightplan.scene.slips import CAMERA_SETTINGS, Slip, slipped

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable, Sequence

    from lightplan.advice.worth import CameraAsSet, Worth
    from lightplan.scene import Rig
    from lightplan.scene.foreign import Foreign

ORDER = ("tone curve", "exposure", "white balance", "focus", "camera")
# Points that a move must win more than an easier one, by what it takes; our choice.
_EFFORTS = {
    "exposure": 0.2,
    "white balance": 0.2,
    "focus": 0.3,
    "tone curve": 0.4,
    "power_stops": 0.4,
    "missing": 0.6,
    "bow_mm": 1.0,
    "light": 1.0,
}
_TURN, _STEP, _CAMERA = 0.8, 1.2, 1.8
LEAST_GAIN = 1.0
"""Points below which nothing is asked of the maker."""
LEAST_KNOB = 0.5
"""The same for a knob where a set that stands as planned earns less than promised."""
MOST_LOST = 0.5
"""Points that a move may lose by itself, where it wins as the last of all."""
_FIRST_SHARE = 0.6  # of the best move's gain, from which an earlier thing is told first


@dataclass(frozen=True, kw_only=True)
class FoundFirst:
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
    parts : tuple of (str, float)
        All that is changed of the element: dimension, and by how much.
    undoes, takes_back : bool
        It leads back to the plan; to what stood before the last move.
    why : str
        What must be said beside it, a clause; empty where nothing must.
    """

    text: str
    element: str
    dimension: str
    value: float
    unit: str
    score_after: float | None
    uncertainty: float | None
    gain: float
    parts: tuple[tuple[str, float], ...] = ()
    undoes: bool = False
    takes_back: bool = False
    why: str = ""


@dataclass(frozen=True, eq=False)
class FirstOption:
    """A move that could be told: its words, and rig and camera after it."""

    text: str
    element: str
    dimension: str
    value: float
    unit: str
    rig: Rig
    camera: CameraAsSet
    gain: float
    last: float = 0.0
    parts: tuple[tuple[str, float], ...] = ()
    undoes: bool = False
    takes_back: bool = False
    why: str = ""

    @property
    def changes(self) -> tuple[tuple[str, float], ...]:
        """All that it changes of the element: dimension, and by how much."""
        return self.parts if self.parts else ((self.dimension, self.value),)

    @property
    def worth(self) -> float:
        """Points it is chosen by: the mean of what it wins alone and as the last of all.

        With two things badly off, neither alone may show. What loses by itself is not told
        first: the next frame would be worse, and whether the rest is true nobody knows yet.
        """
        if self.gain < -MOST_LOST:
            return self.gain
        return max(self.gain, 0.5 * (self.gain + self.last))

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
    """A rig as it stands, and the camera as it is set; each rig that is made of it is made once.

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
    camera: CameraAsSet
    time_s: float | None
    _made: dict[Hashable, Rig | None] = field(default_factory=dict, init=False, repr=False)

    def rig(self, without: Iterable[Slip] = (), *, foreign: bool = True) -> Rig:
        """Return the rig as it stands, some slips undone."""
        undone = frozenset((s.element, s.dimension) for s in without)
        key = (undone, foreign)
        made = self._made.get(key)
        if made is None:
            made = self._made[key] = self._with(undone, foreign=foreign)
        return made

    def stepped(self, name: tuple[str, str], step: float) -> Rig | None:
        """Return the rig as it stands with one dimension off by more; None where it cannot be."""
        if step == 0:
            return self.rig()
        key = (name, step)
        if key not in self._made:
            try:
                self._made[key] = slipped(self.rig(), {name: step})
            except RigError:
                self._made[key] = None
        return self._made[key]

    def _with(self, undone: frozenset[tuple[str, str]], *, foreign: bool) -> Rig:
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


def options_of(state: State, worth: Worth) -> list[FirstOption]:
    """Return what could be told: each slip undone, foreign light shut out; best first."""
    here = state.rig()
    now = worth.score(here, state.camera)
    found = []
    for slip in _moves_together(state.slips):
        option = _undone(state, slip, here)
        if option is not None:
            gain = worth.score(option.rig, option.camera) - now
            found.append(replace(option, gain=gain, undoes=True))
    if state.foreign:
        rig = state.rig(foreign=False)
        gain = worth.score(rig, state.camera) - now
        found.append(
            FirstOption(
                foreign_order(state.foreign[0]),
                "not in the rig",
                "light",
                0.0,
                "",
                rig,
                state.camera,
                gain,
                undoes=True,
            )
        )
    if max((o.gain for o in found), default=0.0) < LEAST_GAIN and len(found) > 1:
        found = _as_last(state, worth, found)
    return sorted(found, key=lambda o: -o.worth)


def _as_last(state: State, worth: Worth, options: Sequence[FirstOption]) -> list[FirstOption]:
    """Return options with what each wins when all else is in order already."""
    kinds = {s.element for s in state.slips}
    set_right = state.rig(
        [s for s in state.slips if s.element not in CAMERA_SETTINGS], foreign=False
    )
    shot_right = _camera_right(state.camera, state.slips, kinds)
    whole = worth.score(set_right, shot_right)
    found = []
    for option in options:
        if option.element in CAMERA_SETTINGS:
            kept = [s for s in state.slips if s.element == option.element]
            others = kinds - {s.element for s in kept}
            rest = worth.score(set_right, _camera_right(state.camera, state.slips, others))
        else:
            undone = [s for s in state.slips if s.element != option.element]
            shut = option.element == "not in the rig"
            rest = worth.score(state.rig(undone, foreign=shut), shot_right)
        found.append(replace(option, last=whole - rest))
    return found


def _camera_right(camera: CameraAsSet, slips: Sequence[Slip], kinds: set[str]) -> CameraAsSet:
    """Return the camera with some of its settings in order."""
    for slip in slips:
        if slip.element == "exposure" and "exposure" in kinds:
            camera = replace(camera, stops=camera.stops - slip.value)
        if slip.element == "white balance" and "white balance" in kinds:
            camera = replace(camera, red_stops=0.0, blue_stops=0.0)
    return camera


def _moves_together(slips: Sequence[Slip]) -> list[tuple[Slip, ...]]:
    """Return slips of one thing together: it is moved once."""
    groups: dict[str, list[Slip]] = {}
    for slip in slips:
        groups.setdefault(slip.element, []).append(slip)
    return [tuple(group) for group in groups.values()]


def _undone(state: State, group: tuple[Slip, ...], here: Rig) -> FirstOption | None:
    slip = max(group, key=lambda s: abs(s.value))
    if slip.element == "focus":
        return None
    camera = state.camera
    if slip.element == "exposure":
        camera = replace(camera, stops=camera.stops - slip.value)
        text = exposure_order(slip.value, state.time_s)
        return FirstOption(text, "exposure", "stops", -slip.value, "stops", here, camera, 0.0)
    if slip.element == "white balance":
        camera = replace(camera, red_stops=0.0, blue_stops=0.0)
        text = balance_order(slip.value)
        return FirstOption(
            text, slip.element, slip.dimension, -slip.value, slip.unit, here, camera, 0.0
        )
    try:
        rig = state.rig(group)
    except RigError:
        return None
    text = undo_words(state.planned, slip)
    if len(group) > 1:
        text = together(state.planned, group)
    parts = tuple((s.dimension, -s.value) for s in (told_of(group) if len(group) > 1 else group))
    return FirstOption(
        text, slip.element, slip.dimension, -slip.value, slip.unit, rig, camera, 0.0, parts=parts
    )


def first_of(options: Sequence[FirstOption], least: float = LEAST_GAIN) -> FirstOption | None:
    """Return the option to tell first; None where none wins `least` points."""
    worth = [o for o in options if o.worth >= least]
    if not worth:
        return None
    best = max(worth, key=lambda o: o.worth - o.effort)
    early = [o for o in worth if o.place < best.place and o.worth >= _FIRST_SHARE * best.worth]
    return min(early, key=lambda o: o.place) if early else best


def found_things(state: State, options: Sequence[FirstOption]) -> list[FoundFirst]:
    """Return what is off, in the order of the table, dearest first within the set."""
    gains = {o.element: o.worth for o in options}
    told = [
        FoundFirst(
            slip=s, what=what_is_off(state.planned, s), cost=max(0.0, gains.get(s.element, 0.0))
        )
        for s in state.slips
    ]
    place = {s: ORDER.index(s) for s in ORDER}
    return sorted(told, key=lambda f: (place.get(f.slip.element, len(ORDER)), -f.cost))
