"""The marker card as a page to print (PDF, vector)."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from lightplan.manifest import write_output
from lightplan.shots.sheet.card import (
    PANEL_LIGHTNESS,
    PATCH_LIGHTNESS,
    Box,
    CardLayout,
    Paper,
    marker_modules,
)
from lightplan.units import LengthUnit

_INK = "#1a1a1a"
_PALE = "#6b6b6b"
_SIZES_MM = ((148.0, 210.0, "A5"), (105.0, 148.0, "A6"), (85.0, 55.0, "85 × 55"))


def write_marker_card(
    path: Path, unit: LengthUnit = "mm", *, paper: Paper | None = None, replace: bool = False
) -> Path:
    """Write the marker card as a PDF to print at its true size.

    Parameters
    ----------
    path : Path
    unit : str
        Unit the maker reads: "in" prints on Letter and puts inches first, unless
        `paper` says otherwise.
    paper : {"A4", "Letter"}, optional
    replace : bool
        Whether a file that is there already may be replaced.

    Raises
    ------
    lightplan.safe_write.FileExists
        The file is there and `replace` is false.
    """
    if paper is None:
        paper = "Letter" if unit == "in" else "A4"
    page = io.BytesIO()
    metadata = {"Title": "lightplan marker card", "CreationDate": None}
    card_figure(CardLayout(paper), unit).savefig(page, format="pdf", metadata=metadata)
    return write_output(Path(path), page.getvalue(), replace=replace)


def card_figure(layout: CardLayout, unit: LengthUnit = "mm") -> Any:
    """Return the card as a matplotlib figure of the page's size."""
    from matplotlib.figure import Figure

    width, height = layout.page_mm
    figure = Figure(figsize=(width / 25.4, height / 25.4))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, width)
    axes.set_ylim(height, 0)
    axes.axis("off")
    for number, box in layout.markers().items():
        _marker(axes, number, box)
    _panel(axes, layout.panel())
    _patches(axes, layout.patches())
    _heading(axes, layout, unit)
    _ruler(axes, layout.between(), unit)
    return figure


def _fill(axes: Any, box: Box, colour: Any) -> None:
    from matplotlib.patches import Rectangle

    axes.add_patch(
        Rectangle(
            (box.x_mm, box.y_mm), box.width_mm, box.height_mm, facecolor=colour, edgecolor="none"
        )
    )


def _line(
    axes: Any, x: tuple[float, float], y: tuple[float, float], colour: str, pt: float
) -> None:
    axes.plot(x, y, color=colour, linewidth=pt, solid_capstyle="butt")


def _text(axes: Any, x: float, y: float, words: str, pt: float, **more: Any) -> None:
    style = {"color": _INK, "ha": "left", "va": "baseline", "family": "DejaVu Sans"} | more
    axes.text(x, y, words, fontsize=pt, **style)


def _marker(axes: Any, number: int, box: Box) -> None:
    modules = marker_modules(number)
    step = box.width_mm / len(modules)
    for row, line in enumerate(modules):
        start = None
        for col, black in enumerate([*line.tolist(), False]):  # runs: no hairlines between
            if black and start is None:
                start = col
            if not black and start is not None:
                run = Box(
                    box.x_mm + start * step,
                    box.y_mm + row * step,
                    (col - start) * step,
                    step + 0.01,
                )
                _fill(axes, run, "black")
                start = None


def _grey(lightness: float) -> tuple[float, float, float]:
    """Return the sRGB grey of a CIE L* (CIE 15, IEC 61966-2-1)."""
    f = (lightness + 16) / 116
    linear = f**3 if f > 6 / 29 else 3 * (6 / 29) ** 2 * (f - 4 / 29)
    code = 12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055
    return code, code, code


def _panel(axes: Any, box: Box) -> None:
    _fill(axes, box, _grey(PANEL_LIGHTNESS))
    middle_x, middle_y = box.x_mm + box.width_mm / 2, box.y_mm + box.height_mm / 2
    for width, height, name in _SIZES_MM:
        if width > box.width_mm or height > box.height_mm:
            continue
        x, y = middle_x - width / 2, middle_y - height / 2
        _corner_marks(axes, Box(x, y, width, height))
        _text(axes, x + 1.5, y + 3.2, name, 5.5, color="#d0d0d0")


def _corner_marks(axes: Any, box: Box, length: float = 5.0) -> None:
    for x, inward in ((box.x_mm, 1), (box.x_mm + box.width_mm, -1)):
        for y, down in ((box.y_mm, 1), (box.y_mm + box.height_mm, -1)):
            _line(axes, (x, x + inward * length), (y, y), "#d0d0d0", 0.4)
            _line(axes, (x, x), (y, y + down * length), "#d0d0d0", 0.4)


def _patches(axes: Any, boxes: list[Box]) -> None:
    for lightness, box in zip(PATCH_LIGHTNESS, boxes, strict=True):
        _fill(axes, box, _grey(lightness))
        words = f"L* {lightness:.0f}"
        colour = _INK if lightness > 55 else "#f2f2f2"
        _text(axes, box.x_mm + 1.2, box.y_mm + box.height_mm - 1.4, words, 5.5, color=colour)


def _heading(axes: Any, layout: CardLayout, unit: LengthUnit) -> None:
    strip = layout.between()
    _text(axes, strip.x_mm, strip.y_mm + 3.6, "Marker card", 12, weight="bold")
    _text(axes, strip.x_mm + 31, strip.y_mm + 3.6, f"lightplan, {layout.paper}", 7, color=_PALE)
    check = "4 inches" if unit == "in" else "100 mm"
    for line, words in enumerate(
        (
            f"Print at 100 %, not fitted to the page; the ruler must measure {check}. "
            "Lay the sheet on the grey,",
            "leave all four markers in view. Greys are nominal: "
            "use them for the light's colour and for drift.",
        )
    ):
        _text(axes, strip.x_mm, strip.y_mm + 6.9 + 2.5 * line, words, 5.3, color=_PALE)


def _ruler(axes: Any, strip: Box, unit: LengthUnit) -> None:
    """Draw millimetres above and inches below one line, or the other way round."""
    x, y = strip.x_mm + 1.0, strip.y_mm + 15.0
    length = 4 * 25.4 if unit == "in" else 100.0
    _line(axes, (x, x + length), (y, y), _INK, 0.5)
    up, down = (_inches, _millimetres) if unit == "in" else (_millimetres, _inches)
    up(axes, x, y, -1, length)
    down(axes, x, y, 1, length)


def _millimetres(axes: Any, x: float, y: float, way: int, length: float) -> None:
    for tick in range(int(length) + 1):
        high = 2.6 if tick % 10 == 0 else 1.9 if tick % 5 == 0 else 1.2
        _line(axes, (x + tick, x + tick), (y, y + way * high), _INK, 0.35)
        if tick % 10 == 0 and tick:
            _number(axes, x + tick, y, way, str(tick))
    _number(axes, x + length + 5, y, way, "mm")


def _inches(axes: Any, x: float, y: float, way: int, length: float) -> None:
    for tick in range(int(length / 25.4 * 16) + 1):
        high = 2.6 if tick % 16 == 0 else 1.9 if tick % 8 == 0 else 1.2
        place = x + tick * 25.4 / 16
        _line(axes, (place, place), (y, y + way * high), _INK, 0.35)
        if tick % 16 == 0 and tick:
            _number(axes, place, y, way, str(tick // 16))
    _number(axes, x + length + 5, y, way, "in")


def _number(axes: Any, x: float, y: float, way: int, words: str) -> None:
    _text(axes, x - 0.5, y + (4.9 if way > 0 else -1.9), words, 4.8, ha="right", color=_PALE)
