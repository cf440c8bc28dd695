"""The contact sheet: a page that shows every photograph of a set with its score and why."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import cv2
import numpy as np

from lightplan.measures.verdict import show
from lightplan.reports.pages import template

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from lightplan.arrays import Doubles
    from lightplan.reports.scores import ScoreRow

MOST_TIES = 6
CIRCLE = 20  # corners of a hot spot's outline
LEAST_SPOT_PX = 0.008  # radius of a mark, as a share of the picture's longer side
MARK_SIZE = 4.0  # of a mark, in least radii
ORDER = ("keep", "adjust", "retake", "cannot tell", "error")


@dataclass(frozen=True)
class Mark:
    """A numbered spot on a photograph, in pixels (x, y) of the upright file."""

    number: str
    x: float
    y: float


@dataclass(frozen=True)
class Overlay:
    """What is drawn over a thumbnail, in pixels of the upright file.

    Parameters
    ----------
    cols, rows : int
        Size of the file.
    sheet : str
        Corners of the sheet, "x,y x,y ..."; blank where it was not found.
    spots : tuple of str
        Outlines of glare, alike.
    marks : tuple of Mark
        Places of the findings.
    radius : float
        Of a mark.
    """

    cols: int
    rows: int
    sheet: str
    spots: tuple[str, ...]
    marks: tuple[Mark, ...]
    radius: float


def contact_sheet_html(
    rows: Sequence[ScoreRow],
    *,
    title: str,
    look: str,
    sheet_mm: tuple[float, float] | None = None,
    comparison: str | None = None,
    reasons: Sequence[str] = (),
) -> str:
    """Return the page; it works offline and asks for nothing but thumbnails beside it.

    Parameters
    ----------
    rows : sequence of ScoreRow
        Best first: the order in which they are shown until the reader sorts them.
    title : str
    look : str
        The look they were judged for.
    sheet_mm : (2,) float or None
        Width and height of the sheet; without it findings are listed but not drawn.
    comparison : str or None
        The answer when two sets were compared, with `reasons`.
    """
    import jinja2

    # Everything that comes in is text, never markup: file names and messages are not ours.
    place = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    page = place.from_string(template("contact_sheet.html"))
    counts = {name: sum(row.verdict == name for row in rows) for name in ORDER}
    return page.render(
        title=title,
        look=look,
        counts=counts,
        total=len(rows),
        comparison=comparison,
        reasons=reasons,
        order={name: number for number, name in enumerate(ORDER)},
        mark_size=MARK_SIZE,
        frames=[_frame(row, sheet_mm) for row in rows],
    )


def _frame(row: ScoreRow, sheet_mm: tuple[float, float] | None) -> dict[str, Any]:
    entry = row.entry
    uncertainty = entry.get("uncertainty")
    return {
        "file": row.file,
        "group": row.group,
        "rank": row.rank,
        "score": row.score,
        "uncertainty": uncertainty,
        "verdict": row.verdict,
        "error": entry.get("error"),
        "reasons": list(entry.get("reasons", ())),
        "findings": [_finding(finding) for finding in entry["findings"]],
        "likeness": row.likeness,
        "ties": _few(row.ties),
        "flags": row.flags,
        "measures": [(_words(name), show(name, value)) for name, value in row.measures.items()],
        "picture": _source(row.picture, "image/jpeg"),
        "clipped": _source(row.clipped, "image/png"),
        "overlay": overlay(entry, sheet_mm),
    }


def _finding(finding: Mapping[str, Any]) -> dict[str, str]:
    return {name: str(finding.get(name, "")) for name in ("what", "cause", "move")}


def _few(names: Sequence[str]) -> str:
    """Return some of the names, and how many more there are.

    >>> _few(["a.jpg", "b.jpg"]), _few([f"{i}.jpg" for i in range(9)])[-10:]
    ('a.jpg, b.jpg', 'and 3 more')
    """
    shown = ", ".join(names[:MOST_TIES])
    more = len(names) - MOST_TIES
    return f"{shown} and {more} more" if more > 0 else shown


@lru_cache(maxsize=512)
def _words(name: str) -> str:
    """Return a measure's name without its unit.

    >>> _words("foil_clipped_share"), _words("foil_gradient_stops_per_cm")
    ('foil clipped', 'foil gradient')
    """
    unit = "_stops_per_cm" if name.endswith("_stops_per_cm") else "_" + name.rpartition("_")[2]
    return name.removesuffix(unit).replace("_", " ")


def _source(content: bytes | str | None, kind: str) -> str | None:
    if content is None:
        return None
    if isinstance(content, str):
        return quote(content)  # a name may hold spaces, #, ? and %
    return f"data:{kind};base64,{base64.b64encode(content).decode()}"


def overlay(entry: Mapping[str, Any], sheet_mm: tuple[float, float] | None) -> Overlay | None:
    """Return what to draw over a photograph; None where the sheet was not found."""
    placed = entry.get("placed")
    if placed is None:
        return None
    rows, cols = int(placed["rows"]), int(placed["cols"])
    corners = np.asarray(placed["corners"], float)[:, ::-1]  # x to the right, y down
    radius = LEAST_SPOT_PX * max(rows, cols)
    details = entry.get("details", {})
    if sheet_mm is None or details.get("mirrored", False):
        return Overlay(cols, rows, _polygon(corners), (), (), radius)
    to_px = _sheet_to_pixels(corners, sheet_mm)
    spots = tuple(_outline(to_px, spot, radius) for spot in details.get("hot_spots", ()))
    places = [finding["where_mm"] for finding in entry["findings"]]
    marks = _apart(_project(to_px, np.array(places, float).reshape(-1, 2)), MARK_SIZE * radius)
    return Overlay(cols, rows, _polygon(corners), spots, marks, radius)


def _apart(places: Doubles, size: float) -> tuple[Mark, ...]:
    """Return numbered marks, moved to the right where they would cover each other."""
    taken: list[Mark] = []
    for number, (x, y) in enumerate(places, 1):
        while any(np.hypot(x - mark.x, y - mark.y) < 2 * size for mark in taken):
            x += 2.1 * size
        taken.append(Mark(str(number), round(float(x), 1), round(float(y), 1)))
    return tuple(taken)


def _sheet_to_pixels(corners: Doubles, sheet_mm: tuple[float, float]) -> Doubles:
    """Return the projective map from mm on the sheet (y away from the maker) to pixels."""
    half = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) / 2 * sheet_mm
    found = cv2.getPerspectiveTransform(half.astype(np.float32), corners.astype(np.float32))
    return np.asarray(found, float)


def _project(to_px: Doubles, places_mm: Doubles) -> Doubles:
    flat = np.column_stack([places_mm, np.ones(len(places_mm))]) @ to_px.T
    return np.asarray(flat[:, :2] / flat[:, 2:], float)


def _outline(to_px: Doubles, spot: Mapping[str, Any], least_px: float) -> str:
    """Return the outline of a hot spot as a circle of its area on the sheet."""
    turn = 2 * np.pi * np.arange(CIRCLE) / CIRCLE
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    middle = np.asarray(spot["where_mm"], float)
    points = _project(to_px, middle + np.sqrt(float(spot["area_mm2"]) / np.pi) * ring)
    centre = _project(to_px, middle[None])[0]
    size = float(np.linalg.norm(points - centre, axis=1).mean())
    if size < least_px:  # too small to see: drawn larger than it is
        points = centre + least_px * ring
    return _polygon(points)


def _polygon(points: Doubles) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
