"""The rig from above and from the side, to scale, measured from the cross on the table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.reports.print.page import FAINT, INK, RULE, Page, PageBox, text_width
from lightplan.reports.setup.elements import PROP_KINDS, Element, Kind
from lightplan.scene.supports import supports_of
from lightplan.units import LengthUnit, show_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles
    from lightplan.scene import Rig
    from lightplan.scene.supports import Support

SCALES = (1, 2, 2.5, 4, 5, 7.5, 10, 12.5, 15, 20, 25, 30, 40, 50, 75, 100, 150, 200, 300, 500,
          1000, 2000, 5000, 10000)  # fmt: skip
LABEL_STEP_MM = 3.5  # between numbers of 8 pt
TICK_MM = 2.6
BALLOON_MM = 2.3
FILLS: dict[Kind, tuple[str, float]] = {
    "camera": ("#50525c", 0.85),
    "lamp": ("#ffd75e", 0.75),
    "window": ("#bfe3ff", 0.75),
    "white card": ("#ffffff", 0.75),
    "grey card": ("#a9abb3", 0.75),
    "black card": ("#2c2c33", 0.6),
    "silver card": ("#cfd4dc", 0.8),
    "diffuser": ("#d9f0dd", 0.7),
    "cone": ("#d9f0dd", 0.35),
    "tent": ("#d9f0dd", 0.35),
    "post": ("#5f7355", 0.8),
    "box": ("#5f7355", 0.8),
    "body": ("#5f7355", 0.5),
}
SHEET_FILL = "#e08a1e"
BOOKS, HOLDER = "#d8c3a5", "#8d8f99"


@dataclass(frozen=True)
class Axes:
    """Which two of x, y, z run right and up in a drawing, and its title."""

    title: str
    right: int
    up: int


PLAN = Axes("From above", 0, 1)
SIDE = Axes("From the right side", 1, 2)


@dataclass(frozen=True)
class Extent:
    """What a drawing must hold, in mm of the rig."""

    low: tuple[float, float]
    high: tuple[float, float]

    @property
    def size(self) -> tuple[float, float]:
        """Width and height."""
        return self.high[0] - self.low[0], self.high[1] - self.low[1]


def extent_of(rig: Rig, elements: Sequence[Element], axes: Axes) -> Extent:
    """Return what a drawing must hold: the sheet and everything that is set up."""
    half = np.array([rig.sheet.width_mm / 2, rig.sheet.height_mm / 2, 0.0])
    points = [-half[None, :], half[None, :]]
    points += [np.asarray([e.position_mm]) for e in elements]
    points += [ring for e in elements for ring in e.rings_mm]
    points += [stack for support in supports_of(rig) for stack in support.stacks]
    flat = np.concatenate(points)[:, [axes.right, axes.up]]
    low, high = flat.min(axis=0), flat.max(axis=0)
    return Extent((float(low[0]), float(low[1])), (float(high[0]), float(high[1])))


def scale_for(width_mm: float, height_mm: float, extent: tuple[float, float]) -> float:
    """Return n of the largest usual scale 1:n at which an extent fits.

    >>> scale_for(100, 80, (940.0, 500.0))
    10
    """
    wanted = max(extent[0] / max(width_mm, 1.0), extent[1] / max(height_mm, 1.0))
    for scale in SCALES:
        if scale >= wanted:
            return scale
    return float(np.ceil(wanted))


def label_room(values_mm: Sequence[float], unit: LengthUnit) -> float:
    """Return how much room the numbers beside a drawing take, mm of paper."""
    widest = max(text_width(show_length(abs(v), unit)) for v in values_mm)
    return widest + TICK_MM + 1.5


def spread(wanted: Sequence[float], step: float) -> list[float]:
    """Return ascending places at least `step` apart, as near as can be to the wanted ones.

    >>> spread([0.0, 1.0, 10.0], 4.0)
    [-1.5, 2.5, 10.0]
    """
    groups: list[list[float]] = []  # [sum of wanted places less their own step, count]
    for place in wanted:
        groups.append([place, 1])
        while len(groups) > 1:
            last, before = groups[-1], groups[-2]
            ends = before[0] / before[1] + (before[1] - 1) * step / 2
            starts = last[0] / last[1] - (last[1] - 1) * step / 2
            if starts - ends >= step - 1e-9:
                break
            groups.pop()
            before[0] += last[0]
            before[1] += last[1]
    found: list[float] = []
    for total, count in groups:
        first = total / count - (count - 1) * step / 2
        found += [first + i * step for i in range(int(count))]
    return found


def _rectangle(low: Doubles, high: Doubles) -> Doubles:
    return np.array([low, [high[0], low[1]], high, [low[0], high[1]]])


class View:
    """One drawing on a page.

    Parameters
    ----------
    page : Page
    frame : (left, bottom, right, top)
        Of the drawing itself, without its numbers. [mm of paper]
    scale : float
        n of 1:n.
    """

    def __init__(
        self,
        page: Page,
        axes: Axes,
        frame: tuple[float, float, float, float],
        scale: float,
        extent: Extent,
        unit: LengthUnit,
    ) -> None:
        self.page, self.axes, self.frame, self.scale, self.unit = page, axes, frame, scale, unit
        left, bottom, right, top = frame
        middle = (np.asarray(extent.low) + extent.high) / 2
        self._shift = np.array([left + right, bottom + top]) / 2 - middle / scale
        self._taken: list[PageBox] = []

    def place(self, points_mm: Doubles) -> Doubles:
        """Return points of the rig (n, 3) on the paper (n, 2)."""
        flat = np.asarray(points_mm)[:, [self.axes.right, self.axes.up]]
        return np.asarray(flat / self.scale + self._shift)

    def draw(self, rig: Rig, elements: Sequence[Element]) -> None:
        """Draw everything: table, sheet, things, numbers, balloons."""
        left, bottom, right, top = self.frame
        corners = [(left, bottom), (right, bottom), (right, top), (left, top)]
        self.page.shape(corners, fill="#fbfbfc", colour=RULE, width_pt=0.5, over=0)
        self._table(rig)
        self._sheet(rig)
        for support in supports_of(rig):
            self._support(support)
        axis = 2 if self.axes is PLAN else 0  # what is nearer to the eye comes later
        for element in sorted(elements, key=lambda e: e.position_mm[axis]):
            self._element(element)
        self._rays(rig)
        self._cross()
        self._numbers(elements)
        self._balloons(elements)

    def _table(self, rig: Rig) -> None:
        table = rig.room.table
        if table is None:
            half_w, half_d, drop = 1e5, 1e5, 0.0
        else:
            half_w, half_d, drop = table.width_mm / 2, table.depth_mm / 2, table.drop_mm
        if self.axes is SIDE:
            edge = np.array([[0, -half_d, -drop], [0, half_d, -drop]])
            self.page.line(self.place(edge), width_pt=1.4, colour="#8b6f4e", within=self.frame)
        elif table is not None:
            rim = np.array(
                [
                    [-half_w, -half_d, 0],
                    [half_w, -half_d, 0],
                    [half_w, half_d, 0],
                    [-half_w, half_d, 0],
                ]
            )
            self.page.shape(
                self.place(rim),
                fill="#f3ece2",
                colour="#8b6f4e",
                width_pt=0.8,
                within=self.frame,
                over=0.5,
            )

    def _sheet(self, rig: Rig) -> None:
        w, h = rig.sheet.width_mm / 2, rig.sheet.height_mm / 2
        rim = self.place(np.array([[-w, -h, 0], [w, -h, 0], [w, h, 0], [-w, h, 0]]))
        if self.axes is PLAN:
            self.page.shape(rim, fill=SHEET_FILL, opacity=0.55, width_pt=0.8, over=1)
        else:
            self.page.line(rim[[0, 2]], colour=SHEET_FILL, width_pt=2.2, over=3)

    def _support(self, support: Support) -> None:
        """Draw what holds a thing: books as boxes, poles, arms and strings as thin lines."""
        for stack in support.stacks:
            flat = self.place(stack)
            low, high = flat.min(axis=0), flat.max(axis=0)
            rim = flat[:4] if self.axes is PLAN else _rectangle(low, high)
            self.page.shape(
                rim,
                fill=BOOKS,
                opacity=0.8,
                colour=HOLDER,
                width_pt=0.5,
                over=1.8,
                within=self.frame,
            )
        for line in support.lines:
            self.page.line(
                self.place(line), colour=HOLDER, width_pt=1.1, over=1.9, within=self.frame
            )

    def _element(self, element: Element) -> None:
        fill, opacity = FILLS[element.kind]
        for ring in element.rings_mm:
            self.page.shape(
                self.place(ring),
                fill=fill,
                opacity=opacity,
                width_pt=0.9,
                over=2.5,
                within=self.frame,
            )
        if element.kind in ("cone", "tent", *PROP_KINDS):
            self._upright_sides(element)
        at = self.place(np.array([element.position_mm]))[0]
        self.page.dot(at[0], at[1], 0.55)
        if element.facing is not None:
            self._arrow(at, element)

    def _upright_sides(self, element: Element) -> None:
        """Join the foot and the top at their outermost points."""
        foot, top = (self.place(ring) for ring in element.rings_mm[:2])
        for pick in (np.argmin, np.argmax):
            ends = [foot[int(pick(foot[:, 0]))], top[int(pick(top[:, 0]))]]
            self.page.line(np.array(ends), width_pt=0.9, over=2.6, within=self.frame)

    def _arrow(self, at: Doubles, element: Element) -> None:
        """Show which way a face looks."""
        facing = np.asarray(element.facing)[[self.axes.right, self.axes.up]]
        length = float(np.hypot(*facing))
        if length < 0.2:
            return
        way = facing / length
        tip = at + 6.0 * length * way
        side = np.array([-way[1], way[0]])
        self.page.line(np.array([at, tip]), width_pt=0.9, over=5, within=self.frame)
        self._taken.append(PageBox("arrow", tip[0] - 0.9, tip[1] - 0.9, tip[0] + 0.9, tip[1] + 0.9))
        head = np.array([tip + 1.3 * way, tip + 0.6 * side, tip - 0.6 * side])
        self.page.shape(head, fill=INK, width_pt=0.2, over=5, within=self.frame)

    def _rays(self, rig: Rig) -> None:
        """Dash the line from the lens to the cross and where the foil throws it."""
        lens = np.asarray(rig.camera.placement.position_mm)
        mirrored = lens * [-1, -1, 1]
        self.page.line(
            self.place(np.array([lens, [0, 0, 0], 3 * mirrored])),
            colour="#c2410c",
            width_pt=0.6,
            dashes=(4, 3),
            over=4,
            within=self.frame,
        )

    def _cross(self) -> None:
        x, y = self.place(np.zeros((1, 3)))[0]
        arm = 2.2
        ends = ([(x - arm, y), (x + arm, y)], [(x, y - arm), (x, y + arm)])
        for end in ends:
            self.page.line(end, colour="#ffffff", width_pt=2.6, over=6)
            self.page.line(end, colour="#c2001a", width_pt=1.4, over=7)
        self._taken.append(PageBox("cross", x - arm, y - arm, x + arm, y + arm))

    def _numbers(self, elements: Sequence[Element]) -> None:
        """Write the distance of each thing from the cross along the bottom and the left."""
        left, bottom, _, _ = self.frame
        for axis, pick in ((0, self.axes.right), (1, self.axes.up)):
            at: dict[str, list[Element]] = {}
            for e in sorted(elements, key=lambda e: e.position_mm[pick]):
                way = np.sign(round(e.position_mm[pick], 1))
                at.setdefault(
                    f"{way:+.0f}{show_length(abs(e.position_mm[pick]), self.unit)}", []
                ).append(e)
            groups = list(at.items())
            marks = [float(self.place(np.array([g[0].position_mm]))[0][axis]) for _, g in groups]
            for mark, label, (name, group) in zip(
                marks, spread(marks, LABEL_STEP_MM), groups, strict=True
            ):
                self._guide(axis, mark, group)
                if axis == 0:
                    self.page.line([(mark, bottom), (label, bottom - TICK_MM)], width_pt=0.5)
                    self.page.text(
                        label, bottom - TICK_MM - 0.8, name[2:], align="right", upwards=True
                    )
                else:
                    self.page.line([(left, mark), (left - TICK_MM, label)], width_pt=0.5)
                    self.page.text(left - TICK_MM - 0.8, label - 1.0, name[2:], align="right")

    def _guide(self, axis: int, mark: float, group: Sequence[Element]) -> None:
        """Join a number with the things it belongs to."""
        far = max(float(self.place(np.array([e.position_mm]))[0][1 - axis]) for e in group)
        edge = self.frame[1] if axis == 0 else self.frame[0]
        ends = [(mark, edge), (mark, far)] if axis == 0 else [(edge, mark), (far, mark)]
        self.page.line(ends, colour=FAINT, width_pt=0.35, dashes=(1.5, 2.5), over=1.5)

    def _balloons(self, elements: Sequence[Element]) -> None:
        spots = {e.number: self.place(np.array([e.position_mm]))[0] for e in elements}
        for x, y in spots.values():
            self._taken.append(PageBox("dot", x - 0.7, y - 0.7, x + 0.7, y + 0.7))
        for number, spot in spots.items():
            x, y = self._free_place(spot)
            radius = BALLOON_MM
            self._taken.append(PageBox(str(number), x - radius, y - radius, x + radius, y + radius))
            self.page.line([tuple(spot), (x, y)], width_pt=0.5, colour="#1d4ed8", over=7)
            self.page.dot(x, y, radius, fill="#ffffff", colour="#1d4ed8", width_pt=0.9, over=8)
            self.page.text(x, y - 1.0, str(number), bold=True, align="center", colour="#1d4ed8")

    def _free_place(self, spot: Doubles) -> tuple[float, float]:
        """Return the place for a balloon nearest to its thing where nothing else is."""
        left, bottom, right, top = self.frame
        reach = BALLOON_MM + 0.5
        best = (float("inf"), float(spot[0]), float(spot[1]))
        for radius in (4.2, 5.5, 7.0, 9.0, 11.0, 13.5, 16.0):
            for turn in range(16):
                angle = 2 * np.pi * (turn + 0.5) / 16 + np.pi / 2
                x, y = spot + radius * np.array([np.cos(angle), np.sin(angle)])
                inside = left + reach < x < right - reach and bottom + reach < y < top - reach
                box = PageBox("", x - reach, y - reach, x + reach, y + reach)
                clash = sum(box.overlaps(other) for other in self._taken)
                cost = radius + 100.0 * clash + (0.0 if inside else 1000.0)
                if cost < best[0] - 1e-9:
                    best = (cost, float(x), float(y))
        return best[1], best[2]
