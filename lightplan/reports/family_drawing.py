"""The family of angles as a drawing: where a card must lie, and where the camera sees itself."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.units import LengthUnit, show_length, to_mm

if TYPE_CHECKING:
    from lightplan.arrays import Doubles

INK, PALE, SEEN, MARGIN, CARD, SELF = (
    "#1a1a1a",
    "#767676",
    "#2563b8",
    "#9dbfe8",
    "#b45309",
    "#960c3c",
)

LEGEND_IN = 0.5  # below the axis


@dataclass(frozen=True, kw_only=True, eq=False)
class FamilyFacts:
    """What is drawn.

    Parameters
    ----------
    seen_mm, outline_mm : (n, 2), (m, 2) float
        Outline on the plane that the foil sees, without and with margins (right, up).
    card_mm : (4,) float
        Smallest card with margins: left, right, lower, upper, in the same axes.
    standing_mm : (4, 2) float or None
        Corners of the card of the rig that stands on the plane.
    distance_mm : float
        From the sheet's middle to the plane, along the mirrored ray.
    sheet_mm : (2,) float
    self_mm : (k, 2) float or None
        Outline of the camera's own reflection on the sheet (right, away).
    title : str
    """

    seen_mm: Doubles
    outline_mm: Doubles
    card_mm: tuple[float, float, float, float]
    standing_mm: Doubles | None
    distance_mm: float
    sheet_mm: tuple[float, float]
    self_mm: Doubles | None
    title: str


def family_png(facts: FamilyFacts, unit: LengthUnit = "mm") -> bytes:
    """Return the drawing as the bytes of a PNG file."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(12, 7), dpi=110, facecolor="white")
    FigureCanvasAgg(figure)
    figure.suptitle(facts.title, x=0.06, ha="left", fontsize=15, fontweight="bold", color=INK)
    left, right = figure.subplots(1, 2, width_ratios=(1.6, 1))
    figure.subplots_adjust(left=0.06, right=0.98, bottom=0.16, top=0.84, wspace=0.22)
    _plane(left, facts, unit)
    _sheet(right, facts, unit)
    page = io.BytesIO()
    figure.savefig(page, format="png", metadata={"Software": None})
    return page.getvalue()


def _plane(axes: Any, facts: FamilyFacts, unit: LengthUnit) -> None:
    """Draw the plane of the card, as the sheet looks at it."""
    _shape(axes, facts.outline_mm, MARGIN, "with margins for blur and setting", fill=True)
    _shape(axes, facts.seen_mm, SEEN, "what the foil sees", fill=True)
    low_x, high_x, low_y, high_y = facts.card_mm
    corners = np.array([[low_x, low_y], [high_x, low_y], [high_x, high_y], [low_x, high_y]])
    _shape(axes, corners, CARD, "smallest card", fill=False)
    if facts.standing_mm is not None:
        _shape(axes, facts.standing_mm, INK, "card of the rig", fill=False, dashed=True)
    size = f"{show_length(high_x - low_x, unit)} x {show_length(high_y - low_y, unit)}"
    axes.text(
        (low_x + high_x) / 2,
        high_y,
        size,
        ha="center",
        va="bottom",
        fontsize=12,
        color=CARD,
        fontweight="bold",
    )
    away = show_length(facts.distance_mm, unit)
    plane = "the card's plane" if facts.standing_mm is not None else "a plane"
    axes.set_title(
        f"On {plane}, {away} from the sheet\nalong the mirrored view, seen from the sheet",
        fontsize=12,
        loc="left",
        color=INK,
    )
    _legend(axes, columns=2)
    _finish(axes, "right of the mirrored middle", "above it", unit)


def _sheet(axes: Any, facts: FamilyFacts, unit: LengthUnit) -> None:
    """Draw the sheet from above, with the camera's reflection."""
    half = np.array(facts.sheet_mm) / 2
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    _shape(axes, corners, PALE, "sheet", fill=False)
    told = "The camera does not see itself."
    if facts.self_mm is not None:
        _shape(axes, facts.self_mm, SELF, "the camera's reflection", fill=True)
        inside = np.abs(facts.self_mm) <= half
        if inside.all(axis=1).any() or _crosses(facts.self_mm, half):
            width = np.ptp(facts.self_mm[:, 0])
            told = f"The camera sees itself, {show_length(float(width), unit)} wide."
    axes.set_title(f"On the sheet, from above\n{told}", fontsize=12, loc="left", color=INK)
    reach = 1.6 * half
    if facts.self_mm is not None:
        reach = np.minimum(np.maximum(reach, 1.1 * np.abs(facts.self_mm).max(axis=0)), 4 * half)
    axes.set_xlim(-reach[0], reach[0])
    axes.set_ylim(-reach[1], reach[1])
    _legend(axes, columns=1)
    _finish(axes, "right of the middle", "away from you", unit)


def _legend(axes: Any, *, columns: int) -> None:
    """Put the legend a fixed way below the axis, however high the axes are."""
    from matplotlib.transforms import ScaledTranslation

    below = axes.transAxes + ScaledTranslation(0, -LEGEND_IN, axes.figure.dpi_scale_trans)
    axes.legend(
        loc="upper center",
        bbox_to_anchor=(0.5, 0.0),
        bbox_transform=below,
        ncols=columns,
        frameon=False,
    )


def _crosses(outline: Doubles, half: Doubles) -> bool:
    low, high = outline.min(axis=0), outline.max(axis=0)
    return bool((low < half).all() and (high > -half).all())


def _shape(
    axes: Any, corners: Doubles, colour: str, label: str, *, fill: bool, dashed: bool = False
) -> None:
    closed = np.vstack([corners, corners[:1]])
    if fill:
        axes.fill(closed[:, 0], closed[:, 1], color=colour, alpha=0.35, lw=0)
    style = "--" if dashed else "-"
    axes.plot(closed[:, 0], closed[:, 1], style, color=colour, lw=2, label=label)


def _finish(axes: Any, across: str, along: str, unit: LengthUnit) -> None:
    """Label both axes in the unit asked for; what is drawn stays in mm."""
    from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

    per = to_mm(1.0, unit)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlabel(f"{across}, {unit}", color=PALE)
    axes.set_ylabel(f"{along}, {unit}", color=PALE)
    for axis, limits in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
        steps = MaxNLocator(nbins=8, steps=[1, 2, 5, 10]).tick_values(*(v / per for v in limits))
        axis.set_major_locator(MultipleLocator(per * float(steps[1] - steps[0])))
        axis.set_major_formatter(FuncFormatter(lambda v, _: f"{round(v / per, 3) + 0.0:g}"))
    axes.grid(color="#e5e5e5", lw=0.8)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
