"""How large, long and many the things of a rig file may be, each with the reason.

Checked on the file's content before anything is built or allocated, and written into the
JSON Schema, so that an editor marks what is beyond. The first rule that names a field
holds: by table and field, then by field, then by how the name ends.
"""

from __future__ import annotations

import math
import typing
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

from lightplan.errors import RigError
from lightplan.rigfiles.explain import dotted, inner_form, plain

if typing.TYPE_CHECKING:
    from pydantic import BaseModel

Where: TypeAlias = tuple[str | int, ...]


@dataclass(frozen=True)
class Bound:
    """From `low` to `high`: of a number its value, of a text its length, of a list its count."""

    low: float
    high: float
    why: str


_KILOMETRE = "nothing of a set lies a kilometre away"
_ROOM = "no room or board is larger than 100 m"
_TURN = "a full turn either way says everything"
_SHARE = "nothing gives back more light than it gets"
_NAME = "it stands in drawings and sentences"
_PATH = "disks take no longer names"
_LIGHT = "brighter than this is only the sun itself"
BOUNDS: Mapping[str, Bound] = {
    # how many
    "RigForm.lamps": Bound(0, 24, "the light of each is followed by itself"),
    "RigForm.cards": Bound(0, 40, "light goes to and fro between every two of them"),
    "RigForm.shells": Bound(0, 4, "light goes to and fro between every two of them"),
    "RigForm.props": Bound(0, 40, "each hides light from all others"),
    "RigForm.freedoms": Bound(0, 400, "a search over more finds nothing"),
    "RigForm.owned": Bound(0, 400, "each is tried in turn"),
    "RigForm.shop": Bound(0, 400, "each is tried in turn"),
    "PlanForm.tolerances": Bound(0, 2000, "a plan has a few for each thing"),
    "PlanForm.critical": Bound(0, 2000, "a plan has a few for each thing"),
    "PlanForm.measures": Bound(0, 1000, "there are not that many measures"),
    # texts
    "RigForm.title": Bound(0, 200, "it is one line on a page"),
    "RigForm.notes": Bound(0, 20_000, "more belongs in a file of its own"),
    "PlanForm.stopped_because": Bound(0, 1000, "it is one sentence"),
    "PlanForm.critical[]": Bound(0, 200, _NAME),
    "name": Bound(0, 200, _NAME),
    "element": Bound(0, 200, _NAME),
    "ToleranceForm.dimension": Bound(0, 200, _NAME),
    "made_with": Bound(0, 200, _NAME),
    "rig_digest": Bound(0, 200, "a fingerprint has 64 digits"),
    "artwork": Bound(1, 1000, _PATH),
    "file": Bound(1, 1000, _PATH),
    "ies": Bound(1, 1000, _PATH),
    # the product
    "SheetForm.width_mm": Bound(5, 5000, "this plans for goods that lie on a table"),
    "SheetForm.height_mm": Bound(5, 5000, "this plans for goods that lie on a table"),
    "SheetForm.bow_mm": Bound(-100, 100, "a sheet bowed further is no flat good"),
    "SheetForm.wave_mm": Bound(0, 20, "a sheet with higher waves is no flat good"),
    "SheetForm.wave_length_mm": Bound(1, 100_000, "a shorter wave is roughness"),
    "ReliefForm.depth_mm": Bound(-2, 2, "no stamp presses deeper"),
    "ReliefForm.flank_mm": Bound(0.01, 5, "no stamp has a wider slope"),
    "WavinessForm.slope_deg": Bound(0, 5, "stock is not rougher"),
    "WavinessForm.wavelength_mm": Bound(0.5, 500, "a shorter one is roughness, a longer one a bow"),
    "WavinessForm.seed": Bound(0, 2**31, "it only tells sheets apart"),
    "eta": Bound(0, 100, "no metal's refractive index is beyond"),
    "k": Bound(0, 100, "no metal's extinction coefficient is beyond"),
    "coat_index": Bound(1.01, 3.0, "no varnish or film is beyond"),
    "index": Bound(1.01, 3.0, "no varnish or film is beyond"),
    "lines_per_mm": Bound(0.1, 10_000, "finer lines spread no visible light"),
    # the camera
    "focal_length_mm": Bound(1, 3000, "no camera or phone has a lens beyond"),
    "equivalent_focal_length_mm": Bound(5, 3000, "no camera or phone has a lens beyond"),
    "sensor_width_mm": Bound(1, 300, "no camera or phone has a sensor beyond"),
    "sensor_height_mm": Bound(1, 300, "no camera or phone has a sensor beyond"),
    "pixels": Bound(16, 60_000, "no camera or phone has a picture beyond"),
    "f_number": Bound(0.5, 256, "no lens is beyond"),
    "time_s": Bound(1e-6, 86_400, "a day is the longest exposure"),
    "iso": Bound(0.1, 1e8, "no camera is beyond"),
    "paper_level": Bound(0.0, 1.0, "1 is clipping"),
    "foil_level": Bound(0.0, 1.0, "1 is clipping"),
    "white_balance_k": Bound(1500, 20_000, "no camera can be set beyond"),
    "BodyForm.width_mm": Bound(1, 2000, "the front of a camera or phone"),
    "BodyForm.height_mm": Bound(1, 2000, "the front of a camera or phone"),
    "lens_offset_mm": Bound(-500, 500, "the lens lies in the front"),
    "setback_mm": Bound(0, 500, "the front is near the lens"),
    # lamps and room
    "OutputForm.value": Bound(1e-9, 1e9, _LIGHT),
    "watts": Bound(1e-6, 1e6, _LIGHT),
    "lumens_per_watt": Bound(1, 683, "683 lm is all that a watt can give"),
    "trim_stops": Bound(-20, 20, "no lamp can be set beyond"),
    "colour_k": Bound(1500, 20_000, "no lamp is beyond"),
    "ambient_cd_m2": Bound(0, 1e7, _LIGHT),
    "scale_cd_m2": Bound(1e-9, 1e9, _LIGHT),
    "unit_mm": Bound(1e-6, 1e6, _KILOMETRE),
    "drop_mm": Bound(0.001, 5000, "the sheet lies on the table or over it"),
    "strength_stops": Bound(0.2, 8, "no print shows more"),
    "hole_mm": Bound(0.1, 100_000, _ROOM),
    "price": Bound(0, 1e9, "more is no price"),
    "count": Bound(1, 100, "nobody has more of one thing"),
    "score": Bound(0, 100, "scores go to 100"),
    "good_score": Bound(0, 100, "scores go to 100"),
    "yield_share": Bound(0, 1, "it is a share"),
    "minus": Bound(0, 1e6, _KILOMETRE),
    "plus": Bound(0, 1e6, _KILOMETRE),
    "low": Bound(-1e6, 1e6, _KILOMETRE),
    "high": Bound(-1e6, 1e6, _KILOMETRE),
    "PlanForm.measures[]": Bound(-1e12, 1e12, "no measure is beyond"),
    "format": Bound(1, 1000, "formats are counted from 1"),
}
_PLACES = ("position_mm", "aim_mm", "centre_mm", "offset_mm", "lowest_mm", "highest_mm")
ENDINGS: tuple[tuple[tuple[str, ...], Bound], ...] = (
    (_PLACES, Bound(-1e6, 1e6, _KILOMETRE)),
    (("top_width_mm",), Bound(0, 100_000, _ROOM)),
    (("_mm",), Bound(0.001, 100_000, _ROOM)),
    (("_deg",), Bound(-360, 360, _TURN)),
    (("reflectance", "transmittance", "roughness", "strength"), Bound(0, 1, _SHARE)),
)


def bound_of(form: type[BaseModel], field: str) -> Bound | None:
    """Return the bound of a field; None for words to choose from, switches and tables."""
    place = f"{form.__name__}.{field}"
    for key in (place, field):
        if key in BOUNDS:
            return BOUNDS[key]
    return next((b for ends, b in ENDINGS if place.endswith(ends)), None)


def beyond(document: Mapping[str, Any], form: type[BaseModel]) -> list[RigError]:
    """Return all that is too large, too long or too many in a file's content."""
    return [
        RigError(
            field=dotted(where, document),
            wanted=wanted(value, bound),
            got=_got(value),
            cure=f"change it, as {bound.why}",
        )
        for where, value, bound in _values(document, form, ())
        if not _within(value, bound)
    ]


def wanted(value: Any, bound: Bound) -> str:
    """Return what a bound asks for, to follow "must be".

    >>> wanted(3.0, Bound(5, 50, "")), wanted("x", Bound(0, 9, "")), wanted([], Bound(0, 4, ""))
    ('from 5 to 50', 'at most 9 characters long', 'at most 4')
    """
    if isinstance(value, str):
        empty = "given and " if bound.low > 0 else ""
        return f"{empty}at most {bound.high:g} characters long"
    if isinstance(value, list | Mapping):
        return f"at most {bound.high:g}"
    return f"from {bound.low:g} to {bound.high:g}"


def _values(table: Any, form: type[BaseModel], where: Where) -> Iterator[tuple[Where, Any, Bound]]:
    """Yield every value of a table that has a bound; what is no table is told elsewhere."""
    if not isinstance(table, Mapping):
        return
    for field, about in form.model_fields.items():
        if field not in table:
            continue
        value, inner, bound = table[field], inner_form(about.annotation), bound_of(form, field)
        here = (*where, field)
        is_other_kind = isinstance(value, str) and not takes_text(about.annotation)
        if bound is not None and (inner is None or isinstance(value, list)) and not is_other_kind:
            yield from _leaves(here, value, bound)
        many = isinstance(value, list) and bound is not None and len(value) > bound.high
        if inner is not None and not many:  # of too many things each would be told
            if isinstance(value, list):
                for number, item in enumerate(value):
                    yield from _values(item, inner, (*here, number))
            else:
                yield from _values(value, inner, here)
        within = BOUNDS.get(f"{form.__name__}.{field}[]")
        if within is not None and isinstance(value, Mapping):
            for name, number in value.items():
                yield from _leaves((*here, name), number, within)
        elif within is not None and isinstance(value, list):
            for number, pair in enumerate(value):
                for text in pair if isinstance(pair, list) else ():
                    yield from _leaves((*here, number), text, within)


def takes_text(annotation: Any) -> bool:
    """Tell whether a field takes text.

    >>> takes_text(str | None), takes_text(list[float]), takes_text(float)
    (True, False, False)
    """
    return annotation is str or any(map(takes_text, typing.get_args(annotation)))


def _leaves(where: Where, value: Any, bound: Bound) -> Iterator[tuple[Where, Any, Bound]]:
    """Yield the value, or the numbers of a short list of them."""
    if isinstance(value, list) and value and all(_is_number(v) for v in value):
        for number in value[:4]:
            yield where, number, bound
    elif _is_number(value) or isinstance(value, str | list | Mapping):
        yield where, value, bound


def _within(value: Any, bound: Bound) -> bool:
    size = value if _is_number(value) else len(value)
    return bool(bound.low <= size <= bound.high)


def _got(value: Any) -> str:
    if isinstance(value, str):
        return f"{len(value)}" if value else "nothing"
    return f"{len(value)}" if isinstance(value, list | Mapping) else plain(value)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and not _is_nan(value)


def _is_nan(value: float) -> bool:
    return isinstance(value, float) and math.isnan(value)


def with_bounds(schema: dict[str, Any], forms: Mapping[str, type[BaseModel]]) -> dict[str, Any]:
    """Return a JSON Schema with the bounds in it; changes and returns the one given."""
    tables = {**schema.get("$defs", {}), "RigForm": schema}
    for name, form in forms.items():
        for field, about in tables[name]["properties"].items():
            bound = bound_of(form, field)
            if bound is not None:
                _limit(about, bound, BOUNDS.get(f"{name}.{field}[]"))
    return schema


def _limit(about: dict[str, Any], bound: Bound, within: Bound | None) -> None:
    """Put a bound into the schema of a field, wherever its value is described there."""
    kind = about.get("type")
    if kind in ("number", "integer"):
        about["minimum"], about["maximum"] = bound.low, bound.high
        about.pop("exclusiveMinimum", None)
    elif kind == "string" and "enum" not in about:
        about |= {"maxLength": int(bound.high)} | ({"minLength": 1} if bound.low > 0 else {})
    elif kind == "array" and "maxItems" not in about:
        about["maxItems"] = int(bound.high)
        if within is not None:
            _limit(about["items"], within, None)
    elif kind == "array":
        _limit(about["items"], bound, None)
    elif kind == "object" and "additionalProperties" in about:
        about["maxProperties"] = int(bound.high)
        if within is not None:
            _limit(about["additionalProperties"], within, None)
    for choice in about.get("anyOf", ()):
        _limit(choice, bound, within)
