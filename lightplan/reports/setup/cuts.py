"""What is to be cut: outlines, the board each comes out of, holes."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.reports.setup.elements import card_kind, size_words
from lightplan.units import LengthUnit, show_length

if TYPE_CHECKING:
    from lightplan.scene import Card, Rig, Shell

BOARDS_MM: tuple[tuple[str, float, float], ...] = (  # ISO 216, smallest first
    ("A4", 210.0, 297.0),
    ("A3", 297.0, 420.0),
    ("A2", 420.0, 594.0),
    ("A1", 594.0, 841.0),
)
# Sold where inches are used: ASME Y14.1 sheets A and B, usual boards; from memory.
INCH_BOARDS_MM: tuple[tuple[str, float, float], ...] = (
    ("8.5 x 11 in", 215.9, 279.4),
    ("11 x 17 in", 279.4, 431.8),
    ("16 x 20 in", 406.4, 508.0),
    ("20 x 30 in", 508.0, 762.0),
    ("32 x 40 in", 812.8, 1016.0),
)
CUT_SLACK_MM = 0.5  # a board may be this much too small
ARC_STEPS = 90


@dataclass(frozen=True, kw_only=True, eq=False)
class Cut:
    """One outline to cut, and how many times.

    Parameters
    ----------
    names : tuple of str
        What it becomes; more than one for equal pieces.
    kind : str
        Material in words.
    width_mm, height_mm : float
        Of the rectangle it lies in.
    outline_mm : (n, 2) float
        Closed, from the lower left corner of that rectangle.
    hole : (x, y, diameter) or None
        From the lower left corner. [mm]
    remark : str
        What else is to be known, or "".
    is_rectangle : bool
    """

    names: tuple[str, ...]
    kind: str
    width_mm: float
    height_mm: float
    outline_mm: Doubles
    hole: tuple[float, float, float] | None = None
    remark: str = ""
    is_rectangle: bool = True

    @property
    def count(self) -> int:
        """How many are cut."""
        return len(self.names)


def cuts_of(rig: Rig, unit: LengthUnit = "mm") -> tuple[Cut, ...]:
    """Return what is to be cut for a rig: its cards, then the parts of its shells."""
    found: list[Cut] = []
    for card in rig.cards:
        _add(found, _card_cut(card))
    for shell in rig.shells:
        for cut in _cone(shell, unit) if shell.shape == "cone" else _tent(shell):
            _add(found, cut)
    return tuple(found)


def board_for(cut: Cut, unit: LengthUnit = "mm") -> str:
    """Return the smallest usual board a piece comes out of, in words.

    >>> piece = rectangle("sky", "white card", 420.0, 420.0)
    >>> board_for(piece)
    'A2'
    >>> board_for(rectangle("roof", "white card", 420.0, 297.0))
    'A3, whole'
    >>> board_for(rectangle("wall", "white card", 900.0, 900.0))
    'larger than A1'
    >>> board_for(piece, "in")
    '20 x 30 in'
    """
    boards = INCH_BOARDS_MM if unit == "in" else BOARDS_MM
    short, long = sorted((cut.width_mm, cut.height_mm))
    for name, board_short, board_long in boards:
        if short <= board_short + CUT_SLACK_MM and long <= board_long + CUT_SLACK_MM:
            whole = short >= board_short - CUT_SLACK_MM and long >= board_long - CUT_SLACK_MM
            many = _pieces(short, long, board_short, board_long)
            if whole and cut.is_rectangle:
                return f"{name}, whole"
            if cut.count > 1 and many >= cut.count and cut.is_rectangle:
                return f"{name} ({cut.count} from one)"
            return name if cut.count == 1 else f"{cut.count} x {name}"
    return f"larger than {boards[-1][0]}"


def _pieces(short: float, long: float, board_short: float, board_long: float) -> int:
    """Return how many rectangles lie side by side on a board, all turned the same way."""
    ways = ((short, long), (long, short))
    slack = CUT_SLACK_MM
    return max(int((board_short + slack) // a) * int((board_long + slack) // b) for a, b in ways)


def rectangle(
    name: str,
    kind: str,
    width_mm: float,
    height_mm: float,
    hole: tuple[float, float, float] | None = None,
) -> Cut:
    """Return a rectangular piece."""
    rim = read_only(np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * [width_mm, height_mm])
    return Cut(
        names=(name,), kind=kind, width_mm=width_mm, height_mm=height_mm, outline_mm=rim, hole=hole
    )


def _card_cut(card: Card) -> Cut:
    hole = None
    if card.hole is not None:
        x, y = card.hole.offset_mm
        hole = (card.width_mm / 2 + x, card.height_mm / 2 + y, card.hole.diameter_mm)
    cut = rectangle(card.name, _material(card), card.width_mm, card.height_mm, hole)
    return replace(cut, remark="stretch it on a frame") if card.is_diffuser else cut


def _material(card: Card) -> str:
    kind = card_kind(card)
    if kind == "diffuser":
        return "diffusing paper or cloth"
    back = card.back.finish
    return kind if back == card.front.finish else f"{kind}, {back} back"


def _cone(shell: Shell, unit: LengthUnit) -> list[Cut]:
    """Return the flat pattern of a truncated cone: a ring sector."""
    foot, top = shell.foot_width_mm / 2, shell.top_width_mm / 2
    if foot == top:
        side = rectangle(shell.name, "diffusing sheet", 2 * math.pi * foot, shell.height_mm)
        return [replace(side, remark="roll it up; add a strip to glue")]
    slant = math.hypot(shell.height_mm, foot - top)
    outer, inner = (max(foot, top), min(foot, top))
    radius = outer * slant / abs(foot - top)
    small = inner * slant / abs(foot - top)
    angle = 2 * math.pi * outer / radius
    turn = math.pi / 2 + np.linspace(-angle / 2, angle / 2, ARC_STEPS + 1)
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    rim = np.concatenate([radius * ring, small * ring[::-1]])
    rim -= rim.min(axis=0)
    width, height = rim.max(axis=0)
    remark = (
        f"ring sector of {math.degrees(angle):.0f}°, radii {show_length(small, unit)} and "
        f"{show_length(radius, unit)}; add a strip along one straight edge to glue"
    )
    return [
        Cut(
            names=(shell.name,),
            kind="diffusing sheet",
            width_mm=float(width),
            height_mm=float(height),
            outline_mm=read_only(rim),
            remark=remark,
            is_rectangle=False,
        )
    ]


def _tent(shell: Shell) -> list[Cut]:
    wide, deep, high = shell.foot_width_mm, shell.foot_depth_mm, shell.height_mm
    kind = "diffusing sheet"
    walls = [
        (f"{shell.name}, {side} wall", length)
        for side, length in (("near", wide), ("far", wide), ("left", deep), ("right", deep))
    ]
    hole = (wide / 2, deep / 2, shell.top_width_mm) if shell.top_width_mm > 0 else None
    found = [rectangle(name, kind, length, high) for name, length in walls]
    return [*found, rectangle(f"{shell.name}, roof", kind, wide, deep, hole)]


def _add(found: list[Cut], cut: Cut) -> None:
    """Add a piece, counting it with an equal one."""
    for index, other in enumerate(found):
        same = (other.kind, other.hole, other.remark, other.outline_mm.tolist()) == (
            cut.kind,
            cut.hole,
            cut.remark,
            cut.outline_mm.tolist(),
        )
        if same:
            found[index] = replace(other, names=(*other.names, *cut.names))
            return
    found.append(cut)


def cut_size(cut: Cut, unit: LengthUnit) -> str:
    """Return the size of a piece in words, width first."""
    return size_words(cut.width_mm, cut.height_mm, unit)


def hole_words(cut: Cut, unit: LengthUnit) -> str:
    """Return where the hole goes, seen from the front, or "none"."""
    if cut.hole is None:
        return "none"
    x, y, diameter = cut.hole
    return (
        f"{show_length(diameter, unit)} across, middle {show_length(x, unit)} from the left, "
        f"{show_length(y, unit)} from the lower edge"
    )
