"""The set in three dimensions as one HTML page that works offline and asks for nothing."""

from __future__ import annotations

import base64
import html
import json
import re
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.manifest import write_output
from lightplan.reports.pages import template
from lightplan.reports.picture import codes_png
from lightplan.reports.set_model import Line, ModelPart, SetModel, set_model
from lightplan.reports.viewpoint import telling_turn
from lightplan.scene.surfaces import build_surfaces

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from lightplan.light import Layers
    from lightplan.reports.palette import Colour
    from lightplan.scene import Rig

SPOTS = ("near left", "near right", "far right", "far left", "middle")
GROUPS = {
    "lamp": "lamps",
    "window": "lamps",
    "card": "cards",
    "diffuser": "cards",
    "shell": "cards",
    "table": "table",
    "room": "table",
    "prop": "table",
}


def write_view_html(path: Path, rig: Rig, layers: Layers, *, replace: bool) -> Path:
    """Write the set as one HTML file, whole or not at all.

    Parameters
    ----------
    path : Path
    rig : Rig
    layers : Layers
        Its prediction.
    replace : bool
        Whether a file that is there may be replaced.
    """
    return write_output(path, view_html(rig, layers), replace=replace)


def view_html(rig: Rig, layers: Layers) -> str:
    """Return the page; the same prediction gives the same page."""
    page = template("view_page.html")
    model = json.dumps(_plain(rig, set_model(rig, layers)), separators=(",", ":"), allow_nan=False)
    told = {"TITLE": html.escape(rig.title), "MODEL": as_script_data(model)}
    # In one go: what is filled in may itself look like a mark.
    return re.sub("@@([A-Z]+)@@", lambda mark: told[mark[1]], page)


def as_script_data(text: str) -> str:
    r"""Return JSON that cannot end the script element it stands in.

    >>> as_script_data('{"a":"</script>"}')
    '{"a":"\\u003c/script\\u003e"}'
    """
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def _plain(rig: Rig, model: SetModel) -> dict[str, Any]:
    roles = {surface.name: GROUPS.get(surface.role, "other") for surface in build_surfaces(rig)}
    roles |= {"camera": "camera", "lens": "camera", "view": "camera", "sheet": "sheet"}
    low, high = model.points.min(axis=0), model.points.max(axis=0)
    sheet = next(part for part in model.parts if part.name == "sheet")
    assert sheet.texture is not None
    picture = base64.b64encode(codes_png(sheet.texture)).decode()
    corners = _hull_points(model)
    return {
        "view": [round(angle, 3) for angle in telling_turn(rig)],
        "focus": _rounded((low + high) / 2),
        "corners": [_rounded(point) for point in corners],
        "parts": [_part(part, roles) for part in model.parts],
        "lines": [_line(line, roles) for line in model.lines],
        "labels": [
            {"text": label.text, "at": _rounded(label.at), "colour": list(label.colour)}
            for label in model.labels
        ],
        "places": _places(rig, model),
        "mirrors": [
            {"spot": spot, "name": line.name.removeprefix("mirrors "), "colour": list(line.colour)}
            for spot, line in zip(SPOTS, _mirrored(model), strict=True)
        ],
        "texture": f"data:image/png;base64,{picture}",
    }


def _mirrored(model: SetModel) -> list[Line]:
    return [line for line in model.lines if line.name.startswith("mirrors ")]


def _hull_points(model: SetModel) -> Sequence[Any]:
    """Return the points that decide how far the eye must be: the box of each part."""
    found = []
    for part in model.parts:
        if part.name == "table":
            continue
        low, high = part.vertices.min(axis=0), part.vertices.max(axis=0)
        box = np.array(np.meshgrid(*zip(low, high, strict=True))).reshape(3, -1).T
        found.append(part.vertices if len(part.vertices) <= len(box) else box)
    return list(np.unique(np.concatenate(found).round(1), axis=0))


def _part(part: ModelPart, groups: dict[str, str]) -> dict[str, Any]:
    plain: dict[str, Any] = {
        "group": groups.get(part.name, "other"),
        "vertices": [_rounded(point) for point in part.vertices],
        "triangles": part.triangles.tolist(),
        "colour": list(part.colour),
        "opacity": part.opacity,
        "emits": part.emits,
        "textured": part.texture is not None,
    }
    if part.coordinates is not None:
        plain["coordinates"] = part.coordinates.round(4).tolist()
    return plain


def _line(line: Line, groups: dict[str, str]) -> dict[str, Any]:
    group = "lines" if line.name.startswith("mirrors ") else groups.get(line.name, "other")
    return {
        "group": group,
        "points": [_rounded(point) for point in line.points],
        "colour": list(line.colour),
        "width": line.width,
        "opacity": line.opacity,
    }


def _places(rig: Rig, model: SetModel) -> list[dict[str, Any]]:
    colours: dict[str, Colour] = {label.text: label.colour for label in model.labels}
    spots = [("camera", rig.camera.placement.position_mm)]
    spots += [(lamp.name, lamp.placement.position_mm) for lamp in rig.lamps]
    spots += [(card.name, card.placement.position_mm) for card in rig.cards]
    spots += [(shell.name, shell.centre_mm) for shell in rig.shells]
    return [{"name": name, "at": _rounded(at), "colour": list(colours[name])} for name, at in spots]


def _rounded(values: Any) -> list[float]:
    return [round(float(value), 2) + 0.0 for value in values]
