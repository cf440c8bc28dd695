"""The glare map: the sheet seen from above, its foil coloured by what it mirrors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from PIL import Image, ImageDraw

from lightplan.reports import canvas
from lightplan.reports.canvas import FAINT, INK, WHITE, Column, badge, font
from lightplan.reports.palette import Colour, colours_by_name, ink_on
from lightplan.reports.picture import codes_png
from lightplan.reports.sheet_image import SheetImage, sheet_image

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from lightplan.light import Layers
    from lightplan.measures import Finding, Judgement, Measures
    from lightplan.scene import Rig

MAP_PX = 900
PANEL_PX = 620
MARGIN = 48
CAPTION = 112  # room under the map for "your side" and the scale bar
PALE = 0.10  # how much of the colour the paper carries
PIN: Colour = (20, 20, 24)
PIN_RADIUS = 20
LETTER_RADIUS = 17
CAMERA_MARK: Colour = (150, 12, 60)
LEAST_NAMED_SHARE = 1e-5
VERDICTS: dict[str, Colour] = {
    "keep": (0, 112, 92), "adjust": (176, 100, 0), "retake": (178, 24, 60),
    "cannot tell": (90, 90, 100),
}  # fmt: skip


def glare_map_png(
    rig: Rig,
    layers: Layers,
    *,
    findings: Sequence[Finding] = (),
    judgement: Judgement | None = None,
    measures: Measures | None = None,
) -> bytes:
    """Return the glare map as the bytes of a PNG file.

    Parameters
    ----------
    rig : Rig
    layers : Layers
        Of this rig.
    findings : sequence of Finding
        Numbered on the map and explained beside it.
    judgement : Judgement, optional
        Shown above the legend.
    measures : Measures, optional
        Where given, their clipped shares stand in the legend, so that map and report
        agree to the digit; pixels are counted otherwise.
    """
    image = sheet_image(rig, layers, MAP_PX)
    colours = colours_by_name(rig, layers.sees_names)
    entries = _legend(layers.sees_names, colours, image)
    rows, cols = image.foil.shape
    panel_left = 2 * MARGIN + max(cols, 420)
    head = MARGIN + 34
    notes = _Notes(rig, entries, _clip_lines(image, measures), tuple(findings), judgement)
    needed = _panel(notes, Column(None, panel_left, MARGIN, PANEL_PX))
    height = round(max(head + rows + CAPTION, needed + MARGIN))
    page = canvas.blank(panel_left + PANEL_PX + MARGIN, height)
    left = MARGIN + max(0, (420 - cols) // 2)
    canvas.paste(page, _coloured(image, colours), (left, head))
    draw = ImageDraw.Draw(page)
    _frame(draw, rig, (left, head), image)
    pins = _pin_places(findings, image, (left, head), rig)
    _letters(draw, entries, image, (left, head), pins)
    for number, at in enumerate(pins, 1):
        badge(draw, at, str(number), PIN_RADIUS, PIN)
    _panel(notes, Column(draw, panel_left, MARGIN, PANEL_PX))
    return codes_png(np.asarray(page, np.uint8))


@dataclass(frozen=True)
class _Entry:
    """One line of the legend: `index` is its place in `sees_names`."""

    index: int
    letter: str
    name: str
    colour: Colour
    share: float


def _legend(
    names: Sequence[str], colours: Sequence[Colour], image: SheetImage
) -> tuple[_Entry, ...]:
    total = float(image.foil.sum())
    if total == 0:
        return ()
    weight = np.bincount(image.sees.ravel(), image.foil.ravel().astype(float), len(names)) / total
    order = [i for i in np.argsort(-weight, kind="stable") if weight[i] >= LEAST_NAMED_SHARE]
    return tuple(
        _Entry(int(i), chr(ord("A") + rank % 26), names[i], colours[i], float(weight[i]))
        for rank, i in enumerate(order)
    )


def _coloured(image: SheetImage, colours: Sequence[Colour]) -> NDArray[np.uint8]:
    """Foil in full colour, paper in a breath of it, clipped parts hatched and outlined."""
    full = np.asarray(colours, np.float32)[image.sees]
    pale = 255 + np.float32(PALE) * (full - 255)
    picture = pale + image.foil[..., None] * (full - pale)
    shape = image.foil.shape
    on_foil = image.foil > 0.5
    for part in (image.clipped & on_foil, image.clipped & ~on_foil):
        stripes = part & canvas.hatched(shape)
        picture[stripes] = 255
        picture[part & canvas.hatched(shape, stroke=2)] = 0
        picture[canvas.rim(part, 1)] = 0
    return np.asarray(np.clip(np.round(picture), 0, 255), np.uint8)


def _frame(draw: ImageDraw.ImageDraw, rig: Rig, corner: tuple[int, int], image: SheetImage) -> None:
    rows, cols = image.foil.shape
    left, top = corner
    draw.rectangle((left - 1, top - 1, left + cols, top + rows), outline=FAINT, width=2)
    middle = left + cols / 2
    draw.text((middle, top - 12), "far side", font=font(20), fill=FAINT, anchor="mb")
    words = "▲ your side"
    face = font(22, bold=True)
    draw.text((middle, top + rows + 40), words, font=face, fill=INK, anchor="mt")
    length = scale_bar_mm(rig.sheet.width_mm)
    _scale_bar(draw, (left, top + rows + 88), length, length * image.px_per_mm)
    _camera_mark(draw, rig, corner, image)


def scale_bar_mm(width_mm: float) -> float:
    """Return a round length of about a quarter of the sheet.

    >>> scale_bar_mm(148), scale_bar_mm(90), scale_bar_mm(297)
    (50.0, 20.0, 100.0)
    """
    wanted = 0.35 * width_mm
    decade = 10.0 ** np.floor(np.log10(wanted))
    return float(max(step * decade for step in (1, 2, 5) if step * decade <= wanted))


def _scale_bar(
    draw: ImageDraw.ImageDraw, at: tuple[float, float], length_mm: float, length_px: float
) -> None:
    x, y = at
    draw.line((x, y, x + length_px, y), fill=INK, width=4)
    for end in (x, x + length_px):
        draw.line((end, y - 8, end, y + 8), fill=INK, width=3)
    draw.text((x + length_px + 14, y), f"{length_mm:g} mm", font=font(20), fill=INK, anchor="lm")


def _camera_mark(
    draw: ImageDraw.ImageDraw, rig: Rig, corner: tuple[int, int], image: SheetImage
) -> None:
    """Mark where the lens stands over the sheet, or the edge beyond which it stands."""
    rows, cols = image.foil.shape
    x, y, _ = rig.camera.placement.position_mm
    across, down = x / rig.sheet.width_mm, -y / rig.sheet.height_mm
    beyond = 2 * max(abs(across), abs(down))
    out = 0 if beyond <= 1 else 20
    share = 1 / max(beyond, 1)
    at_x = corner[0] + cols / 2 + across * share * cols
    at_y = corner[1] + rows / 2 + down * share * rows
    at_x += out * np.sign(across) if abs(across) > abs(down) else 0
    at_y += out * np.sign(down) if abs(down) >= abs(across) else 0
    box = (at_x - 18, at_y - 11, at_x + 18, at_y + 11)
    draw.rounded_rectangle(box, 4, fill=CAMERA_MARK, outline=WHITE)
    draw.ellipse((at_x - 7, at_y - 7, at_x + 7, at_y + 7), fill=WHITE)
    draw.ellipse((at_x - 4, at_y - 4, at_x + 4, at_y + 4), fill=CAMERA_MARK)
    words = "camera" if beyond > 1 else "camera above"
    side = -1 if across > 0 else 1  # towards the middle, where there is room
    draw.text(
        (at_x + side * 26, at_y),
        words,
        font=font(18),
        fill=CAMERA_MARK,
        anchor="lm" if side > 0 else "rm",
        stroke_width=3,
        stroke_fill=WHITE,
    )


def _letters(
    draw: ImageDraw.ImageDraw,
    entries: Sequence[_Entry],
    image: SheetImage,
    corner: tuple[int, int],
    pins: Sequence[tuple[float, float]],
) -> None:
    """Put each legend letter on the widest piece of foil that mirrors its thing."""
    free = np.ones(image.foil.shape, np.uint8)
    for x, y in pins:
        spot = (round(x - corner[0]), round(y - corner[1]))
        cv2.circle(free, spot, PIN_RADIUS + LETTER_RADIUS, 0, -1)
    for entry in entries if len(entries) > 1 else ():
        mask = (image.sees == entry.index) & (image.foil > 0.5)
        if not mask.any():
            continue
        room = cv2.distanceTransform(np.pad(mask, 1).astype(np.uint8), cv2.DIST_L2, 5)[1:-1, 1:-1]
        best = int(np.argmax(room * free if (mask & (free > 0)).any() else room))
        row, col = np.unravel_index(best, room.shape)
        at = (corner[0] + float(col), corner[1] + float(row))
        badge(draw, at, entry.letter, LETTER_RADIUS, entry.colour)


def _pin_places(
    findings: Sequence[Finding], image: SheetImage, corner: tuple[int, int], rig: Rig
) -> list[tuple[float, float]]:
    """Return where the numbers go: on the sheet, and side by side where they would overlap."""
    rows, cols = image.foil.shape
    taken: list[tuple[float, float]] = []
    for finding in findings:
        x = (finding.where_mm[0] / rig.sheet.width_mm + 0.5) * cols
        y = (0.5 - finding.where_mm[1] / rig.sheet.height_mm) * rows
        x, y = (min(max(v, PIN_RADIUS), n - PIN_RADIUS) for v, n in ((x, cols), (y, rows)))
        step = 2.2 * PIN_RADIUS * (1 if x < cols / 2 else -1)
        while any(np.hypot(x - a, y - b) < 2.1 * PIN_RADIUS for a, b in taken):
            x += step
        taken.append((x, y))
    return [(corner[0] + x, corner[1] + y) for x, y in taken]


@dataclass(frozen=True, eq=False)
class _Notes:
    """Everything that stands beside the map."""

    rig: Rig
    entries: tuple[_Entry, ...]
    clip_lines: tuple[str, ...]
    findings: tuple[Finding, ...]
    judgement: Judgement | None


def _clip_lines(image: SheetImage, measures: Measures | None) -> tuple[str, ...]:
    lines = []
    on_foil = image.foil > 0.5
    for name, part in (("foil", on_foil), ("paper", ~on_foil)):
        key = f"{name}_clipped_share"
        if measures is not None and key in measures:
            lines.append(f"{_percent(measures[key].value)} of the {name}")
        elif part.any():
            lines.append(f"{_percent(float(image.clipped[part].mean()))} of the {name}")
    return tuple(lines)


def _percent(share: float) -> str:
    """Return a share as a maker reads it; what is there is never shown as 0 %.

    >>> _percent(0.0), _percent(0.004), _percent(0.0002), _percent(0.34), _percent(0.999)
    ('0 %', '0.4 %', 'under 0.1 %', '34 %', '99.9 %')
    """
    if share == 0.0 or share > 1 - 1e-6:
        return f"{100 * share:.0f} %"
    if share < 0.001:
        return "under 0.1 %"
    if share < 0.0995 or share > 0.99:
        return f"{min(100 * share, 99.9):.1f} %"
    return f"{100 * share:.0f} %"


def _panel(notes: _Notes, column: Column) -> float:
    """Write the panel and return where it ends."""
    column.text(notes.rig.title, 26, bold=True)
    column.gap(4)
    size = f"{notes.rig.sheet.width_mm:g} x {notes.rig.sheet.height_mm:g} mm"
    column.text(f"Look: {notes.rig.look.kind}. Sheet: {size}.", 20, colour=FAINT)
    if notes.judgement is not None:
        column.gap(14)
        _verdict(notes.judgement, column)
    column.gap(24)
    column.text("What the foil mirrors", 24, bold=True)
    column.gap(6)
    for entry in notes.entries:
        _swatch(column, entry.colour, entry.letter)
        column.text(f"{entry.name}: {_percent(entry.share)}", 22, indent=52)
        column.gap(8)
    if not notes.entries:
        column.text("The artwork has no foil.", 22)
    _hatch_swatch(column)
    column.text("clipped, too bright to show: " + ", ".join(notes.clip_lines), 22, indent=52)
    column.gap(24)
    _faults(notes.findings, column)
    return column.top


def _verdict(judgement: Judgement, column: Column) -> None:
    colour = VERDICTS[judgement.verdict]
    score = "no score" if judgement.score is None else f"{judgement.score:.0f} of 100"
    column.text(f"{judgement.verdict.capitalize()}: {score}", 28, bold=True, colour=colour)


def _swatch(column: Column, colour: Colour, letter: str) -> None:
    if column.draw is not None:
        box = (column.left, column.top, column.left + 38, column.top + 28)
        column.draw.rectangle(box, fill=colour, outline=INK)
        middle = (column.left + 19, column.top + 14)
        face = font(18, bold=True)
        column.draw.text(middle, letter, font=face, fill=ink_on(colour), anchor="mm")


def _hatch_swatch(column: Column) -> None:
    if column.draw is None:
        return
    at = (round(column.left), round(column.top))
    box = (*at, at[0] + 38, at[1] + 28)
    column.draw.rectangle(box, fill=(235, 235, 235))
    for lines, fill in (
        (canvas.hatched((29, 39)), (255, 255, 255)),
        (canvas.hatched((29, 39), stroke=2), (0, 0, 0)),
    ):
        column.draw.bitmap(at, Image.fromarray(lines), fill=fill)
    column.draw.rectangle(box, outline=(0, 0, 0), width=2)


def _faults(findings: Sequence[Finding], column: Column) -> None:
    if not findings:
        return
    column.text("What to look at", 24, bold=True)
    column.gap(6)
    for number, finding in enumerate(findings, 1):
        if column.draw is not None:
            badge(column.draw, (column.left + 21, column.top + 15), str(number), 19, PIN)
        column.text(_sentence(finding.what), 21, indent=52)
        if finding.cause:
            column.text(_sentence(finding.cause), 20, colour=FAINT, indent=52)
        if finding.move:
            column.text("→ " + _sentence(finding.move), 20, bold=True, indent=52)
        if finding.gain >= 0.5:
            points = f"{finding.gain:.0f} point" + ("" if round(finding.gain) == 1 else "s")
            column.text(f"Worth about {points}.", 20, colour=FAINT, indent=52)
        column.gap(12)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")
