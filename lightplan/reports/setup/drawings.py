"""Both views of a rig at one scale: side by side, or one over the other where that is larger."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from lightplan.reports.print.flow import GAP_MM, Flow
from lightplan.reports.print.page import FAINT, Page, line_height, text_width, wrap
from lightplan.reports.setup.views import (
    PLAN,
    SIDE,
    Axes,
    Extent,
    View,
    extent_of,
    label_room,
    scale_for,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.reports.setup.elements import Element
    from lightplan.scene import Rig
    from lightplan.units import LengthUnit

PAD_MM = 14.0  # free paper in a drawing beyond its things, both sides together
BESIDE_MM = 5.0  # between two drawings
CAPTION_MM = 2 * line_height() + 1.4


@dataclass(frozen=True)
class _Layout:
    """Scale of both drawings, their sizes, and the room for numbers below and beside them."""

    stacked: bool
    scale: float
    sizes: tuple[tuple[float, float], tuple[float, float]]
    below: float
    beside: tuple[float, float]

    @property
    def height(self) -> float:
        """Of everything, mm."""
        heights = [size[1] + self.below + CAPTION_MM for size in self.sizes]
        return sum(heights) + GAP_MM if self.stacked else max(heights)


def draw_both(
    flow: Flow, rig: Rig, elements: Sequence[Element], unit: LengthUnit, most_mm: float
) -> None:
    """Draw the rig from above and from the side in at most `most_mm` of height."""
    extents = (extent_of(rig, elements, PLAN), extent_of(rig, elements, SIDE))
    layouts = [
        _layout(elements, unit, extents, flow.width, most_mm, stacked=stacked)
        for stacked in (False, True)
    ]
    layout = min(layouts, key=lambda found: (found.scale, found.height))
    page = flow.room(layout.height)
    frames = _frames(layout, flow.left, flow.y, flow.width)
    for axes, extent, frame in zip((PLAN, SIDE), extents, frames, strict=True):
        view = View(page, axes, frame, layout.scale, extent, unit)
        view.draw(rig, elements)
        _caption(page, view)
    flow.y -= layout.height + GAP_MM


def _layout(
    elements: Sequence[Element],
    unit: LengthUnit,
    extents: tuple[Extent, Extent],
    width: float,
    most_mm: float,
    *,
    stacked: bool,
) -> _Layout:
    xs, ys, zs = ([e.position_mm[i] for e in elements] for i in range(3))
    below = max(label_room(xs, unit), label_room(ys, unit))
    beside = (label_room(ys, unit), label_room(zs, unit))
    (plan_w, plan_h), (side_w, side_h) = (extent.size for extent in extents)
    if stacked:
        wide = width - max(beside) - PAD_MM
        high = most_mm - 2 * (below + CAPTION_MM + PAD_MM) - GAP_MM
        scale = scale_for(wide, high, (max(plan_w, side_w), plan_h + side_h))
    else:
        wide = width - sum(beside) - BESIDE_MM - 2 * PAD_MM
        high = most_mm - below - CAPTION_MM - PAD_MM
        scale = scale_for(wide, high, (plan_w + side_w, max(plan_h, side_h)))
    sizes = (
        (plan_w / scale + PAD_MM, plan_h / scale + PAD_MM),
        (side_w / scale + PAD_MM, side_h / scale + PAD_MM),
    )
    return _Layout(stacked, scale, sizes, below, beside)


def _frames(
    layout: _Layout, left: float, top: float, width: float
) -> list[tuple[float, float, float, float]]:
    """Return where both drawings go; they share what is left over."""
    (plan_w, plan_h), (side_w, side_h) = layout.sizes
    top -= CAPTION_MM
    if layout.stacked:
        x = left + max(layout.beside)
        second = top - plan_h - layout.below - GAP_MM - CAPTION_MM
        return [(x, top - plan_h, left + width, top), (x, second - side_h, left + width, second)]
    tall = max(plan_h, side_h)
    spare = (width - sum(layout.beside) - BESIDE_MM - plan_w - side_w) / 2
    x = left + layout.beside[0]
    middle = x + plan_w + spare
    return [
        (x, top - tall, middle, top),
        (middle + BESIDE_MM + layout.beside[1], top - tall, left + width, top),
    ]


def _caption(page: Page, view: View) -> None:
    """Write a drawing's title over it: what it shows, its scale, where the maker stands."""
    left, _, right, top = view.frame
    title = f"{view.axes.title}, 1:{view.scale:g}"
    y = top + CAPTION_MM - line_height()
    page.text(left, y, title, bold=True)
    lines = wrap(_where_you_are(view.axes), right - left)
    if len(lines) == 1 and text_width(f"{title}   {lines[0]}", bold=True) > right - left:
        y -= line_height()
        page.text(left, y, lines[0], colour=FAINT)
    elif len(lines) == 1:
        page.text(right, y, lines[0], colour=FAINT, align="right")


def _where_you_are(axes: Axes) -> str:
    return "you stand at the lower edge" if axes is PLAN else "you stand at the left edge"
