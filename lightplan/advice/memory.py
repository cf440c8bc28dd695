"""What a shoot has asked of its maker so far, and so the plan that it has by now.

A photograph judged alone knows the first plan only: an exposure, a white balance or a step that
the frame before asked for looks like a fault in it. What was asked for and made is the new plan of
the shoot, what lost points is taken back and not asked again, and nothing is asked the other way
round without saying why.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lightplan.advice.first_things import FirstOption, State
from lightplan.errors import RigError
from lightplan.scene.slips import CAMERA_SETTINGS, slipped

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from lightplan.advice.first_things import FirstMove
    from lightplan.scene import Rig
    from lightplan.scene.slips import Slip

Name = tuple[str, str]
MADE_STOPS = 0.5
"""How near to the exposure that was asked for a frame must be to have it: settings come in thirds,
and an exposure is read to two tenths of a stop. Ours."""
IN_VAIN_POINTS = 1.0
"""Points that a move must have won in the photograph to be asked for once more. Ours."""
LOST_POINTS = 2.0
"""Points that a step off the plan must have lost to be taken back: two photographs of one set
differ by one. Ours."""
OPPOSITE_POINTS = 3.0
"""Points that a move must win to be asked for against an earlier one. Ours."""
NO_RIG = ("tone curve", "not in the rig", "room", *CAMERA_SETTINGS)
"""What moves change that is no lamp, card or shell of the plan."""


@dataclass(frozen=True, kw_only=True)
class AskedMoves:
    """A move that a frame asked for.

    Attributes
    ----------
    text : str
    element : str
    parts : tuple of (str, float)
        What it changes of the element: dimension, and by how much.
    undoes : bool
        It leads back to the plan of the shoot, so that this stays as it is.
    takes_back : bool
        It undoes the move before, which had lost points.
    """

    text: str
    element: str
    parts: tuple[tuple[str, float], ...]
    undoes: bool
    takes_back: bool = False
    steps: tuple[tuple[str, float], ...] | None = None
    """By how much the plan of the shoot changes by it, where a slip goes with the move; else as
    `parts` say."""


@dataclass(frozen=True, kw_only=True)
class RememberedMoves:
    """One frame of a shoot.

    Attributes
    ----------
    file : str
    score : float or None
    stops, balance : float or None
        Exposure over the first plan, and red over blue; None where no sheet was found. [stops]
    asked : Asked or None
    """

    file: str
    score: float | None
    stops: float | None
    balance: float | None
    asked: AskedMoves | None


@dataclass(frozen=True)
class Memory:
    """The frames of a shoot before the one that is looked at, in their order."""

    frames: tuple[RememberedMoves, ...] = ()

    @property
    def last(self) -> RememberedMoves | None:
        """The frame before; None for the first."""
        return self.frames[-1] if self.frames else None

    def before(self, file: str) -> Memory:
        """Return what was known before a frame: it and what came later left out."""
        names = [frame.file for frame in self.frames]
        return Memory(self.frames[: names.index(file)]) if file in names else self

    def plan(self, first: Rig) -> Rig:
        """Return the plan of the shoot as it is by now: the first one with the steps asked for."""
        values: dict[Name, float] = {}
        for frame in self.frames:
            asked = frame.asked
            if asked is None or asked.undoes or asked.element in NO_RIG:
                continue
            for dimension, value in asked.parts if asked.steps is None else asked.steps:
                name = (asked.element, dimension)
                values[name] = values.get(name, 0.0) + value
        try:
            return slipped(first, {n: v for n, v in values.items() if v})
        except (RigError, KeyError):  # a step that cannot be told from the words of its name
            return first

    def exposure(self, now: float | None = None) -> float:
        """Return the exposure of the shoot's plan over the first one, in stops.

        Parameters
        ----------
        now : float or None
            Exposure of the frame that is looked at, over the first plan: where it is about what
            was asked for, it is the plan's.
        """
        plan = 0.0
        for frame, there in self._followed([f.stops for f in self.frames], now):
            asked = frame.asked
            if asked is None or asked.element != "exposure":
                continue
            wanted = plan
            if not asked.undoes and frame.stops is not None:
                wanted = frame.stops + sum(value for _, value in asked.parts)
            if there is None:
                plan = wanted
            elif abs(there - wanted) <= MADE_STOPS:
                plan = there
        return plan

    def balance(self, now: float | None) -> float:
        """Return the white balance that counts as right: neutral, or as it was set when asked.

        Also where it came out as it was: then the room or the stock has the colour.
        """
        right = 0.0
        for frame, there in self._followed([f.balance for f in self.frames], now):
            asked = frame.asked
            if asked is not None and asked.element == "white balance" and there is not None:
                right = there
        return right

    def _followed(
        self, values: Sequence[float | None], now: float | None
    ) -> Iterator[tuple[RememberedMoves, float | None]]:
        """Yield each frame with a value of the one after it; `now` comes after the last."""
        yield from zip(self.frames, [*values[1:], now], strict=False)

    def asked_for(self, element: str) -> bool:
        """Whether something was asked of a thing before."""
        return any(f.asked is not None and f.asked.element == element for f in self.frames)

    def refuses(self, option: FirstOption) -> bool:
        """Whether a move is of a kind that was taken back before."""
        taken = [f.asked for f in self.frames if f.asked is not None and f.asked.takes_back]
        back = {(a.element, d, v < 0) for a in taken for d, v in a.parts}
        return any((option.element, d, v > 0) in back for d, v in option.changes)

    def in_vain(self, option: FirstOption, score: float | None) -> bool:
        """Whether a move was asked for before and has won nothing in the photograph after it.

        `score` is that of the frame that is looked at.
        """
        scores = [*(f.score for f in self.frames[1:]), score]
        for frame, after in zip(self.frames, scores, strict=False):
            asked = frame.asked
            if asked is None or asked.element != option.element or asked.takes_back:
                continue
            known = dict(asked.parts)
            same = any(known.get(d, 0.0) * v > 0 for d, v in option.changes)
            same = same or asked.text == option.text
            won = None if after is None or frame.score is None else after - frame.score
            if same and won is not None and won < IN_VAIN_POINTS:
                return True
        return False

    def against(self, option: FirstOption) -> RememberedMoves | None:
        """Return the last frame that asked for the opposite of a move; None where none did."""
        for frame in reversed(self.frames):
            asked = frame.asked
            if asked is None or asked.element != option.element or asked.takes_back:
                continue
            known = dict(asked.parts)
            if any(known.get(d, 0.0) * v < 0 for d, v in option.changes):
                return frame
        return None


def remembered_move(
    move: FirstMove, slips: Sequence[Slip], last: RememberedMoves | None = None
) -> AskedMoves:
    """Return a move as it is remembered.

    A step off the plan starts where the thing stands: what it was off by goes into the new plan.

    Parameters
    ----------
    slips : sequence of Slip
        That were found in the frame.
    last : Remembered or None
        The frame before it.
    """
    off = {(s.element, s.dimension): s.value for s in slips}
    steps = tuple((d, v + off.get((move.element, d), 0.0)) for d, v in move.parts)
    if move.takes_back and last is not None and last.asked is not None:
        before = last.asked.parts if last.asked.steps is None else last.asked.steps
        steps = tuple((d, -v) for d, v in before)
    return AskedMoves(
        text=move.text,
        element=move.element,
        parts=move.parts,
        undoes=move.undoes,
        takes_back=move.takes_back,
        steps=steps,
    )


def minded(
    options: Sequence[FirstOption], memory: Memory, score: float | None = None
) -> list[FirstOption]:
    """Return the options that may be told after what was asked before, with the reason they need.

    What lost points and was taken back, or won none, is not asked again; `score` is the frame's.
    The opposite of an earlier move must win more, and says why it is asked.
    """
    found = []
    for option in options:
        if memory.refuses(option) or memory.in_vain(option, score):
            continue
        earlier = memory.against(option)
        if earlier is None or earlier.asked is None:
            found.append(option)
        elif option.worth >= OPPOSITE_POINTS:
            why = (
                f"after {earlier.file} the opposite was asked ({earlier.asked.text}); by this "
                "photograph that went too far"
            )
            found.append(replace(option, why=why))
    return found


def taken_back(memory: Memory, state: State, score: float | None) -> FirstOption | None:
    """Return the order to take the last move back; None where it has not lost points.

    Only a step off the plan is taken back. What it cost is known from two photographs.
    """
    last = memory.last
    if last is None or last.asked is None or last.score is None or score is None:
        return None
    asked, lost = last.asked, last.score - score
    in_rig = asked.element not in NO_RIG
    if asked.undoes or asked.takes_back or lost < LOST_POINTS:
        return None
    if not in_rig and asked.element != "exposure":
        return None
    rig, camera = state.rig(), state.camera
    try:
        if in_rig:
            rig = slipped(rig, {(asked.element, d): -v for d, v in asked.parts})
        else:
            camera = replace(camera, stops=camera.stops - sum(v for _, v in asked.parts))
    except RigError:
        return None
    dimension, value = max(asked.parts, key=lambda part: abs(part[1]))
    end = dimension.rpartition("_")[2]
    return FirstOption(
        f"take the last move back, which was: {asked.text}",
        asked.element,
        dimension,
        -value,
        end if end in ("mm", "deg") else "stops",
        rig,
        camera,
        lost,
        parts=tuple((d, -v) for d, v in asked.parts),
        takes_back=True,
        why=f"the photograph before it, {last.file}, earned {last.score:.0f}",
    )
