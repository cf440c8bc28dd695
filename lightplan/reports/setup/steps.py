"""The order to build in, and how exactly each thing must stand."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lightplan.reports.setup.holding_words import fixing_words
from lightplan.scene.setting_errors import matters_little
from lightplan.units import LengthUnit, show_length
from lightplan.words.holders import holders_needed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from lightplan.reports.setup.elements import Element
    from lightplan.reports.setup.facts import SetupFacts, ToleranceLike
    from lightplan.scene import Rig

DIMENSION_WORDS = {
    "x_mm": "left/right",
    "y_mm": "towards/away",
    "z_mm": "height",
    "aim_x_mm": "aim left/right",
    "aim_y_mm": "aim towards/away",
    "aim_z_mm": "aim height",
    "width_mm": "width",
    "height_mm": "length",
    "hole_mm": "hole",
    "turn_deg": "turn",
    "lean_deg": "lean",
    "power_stops": "power",
    "trim_stops": "power",
    "bow_mm": "bow",
}
CARE = {
    "x_mm": "how far left or right {} stands",
    "y_mm": "how far away {} stands",
    "z_mm": "how high {} is",
    "aim_x_mm": "how far left or right {} aims",
    "aim_y_mm": "how far away {} aims",
    "aim_z_mm": "how high {} aims",
    "turn_deg": "which way {} is turned",
    "lean_deg": "how far {} leans",
    "power_stops": "how bright {} is",
    "trim_stops": "how bright {} is",
    "bow_mm": "how flat {} lies",
}
"""What of a thing is to be taken care of."""
WAYS = {
    "x_mm": ("right", "left"),
    "y_mm": ("away", "towards you"),
    "z_mm": ("higher", "lower"),
    "aim_x_mm": ("right", "left"),
    "aim_y_mm": ("away", "towards you"),
    "aim_z_mm": ("higher", "lower"),
    "width_mm": ("wider", "narrower"),
    "height_mm": ("longer", "shorter"),
    "hole_mm": ("wider", "narrower"),
    "power_stops": ("brighter", "darker"),
    "trim_stops": ("brighter", "darker"),
    "bow_mm": ("higher in the middle", "lower in the middle"),
}
"""What more and less of a dimension are called where they are not alike. Turns have no such
words: which way is more depends on where one stands."""
PLACE = ("x_mm", "y_mm", "z_mm")
SWING_DEG = 1.0
USUAL_MM = 5.0  # a tape measure in a maker's hands; common practice, no source
LEVEL_MM = 2.0  # edges that differ by less lie level


@dataclass(frozen=True)
class Step:
    """One step: a short name, what to do, and its tolerances ("" without)."""

    name: str
    text: str
    tolerance: str = ""


def steps_of(
    rig: Rig, elements: Sequence[Element], facts: SetupFacts, unit: LengthUnit
) -> list[Step]:
    """Return the steps: camera, sheet, props, cards, lamps, black cards, dark room."""
    told = {name: tolerance_words(name, facts.tolerances, unit) for name in _names(elements)}
    steps = [
        Step(
            "Cross",
            "Stick a cross of tape on the table where the middle of the sheet will lie, one arm "
            "pointing straight away from you. Every measure starts there.",
        ),
        Step(
            "Camera (1)",
            f"Set the lens first, {fixing_words(rig.camera)}, and do not move it again: whatever "
            "is set after it depends on it.",
            told["camera"],
        ),
        Step("Sheet", _sheet(rig), told["sheet"]),
    ]
    steps += _together([_thing(e, rig, told[e.name]) for e in elements if e.kind != "camera"])
    steps.append(
        Step(
            "Dark room",
            "Switch off the other lamps and close the curtains"
            + (" except for the window of the plan" if _has_window(rig) else "")
            + "; wear dark clothes and stay away from where the foil looks. Do the torch test.",
        )
    )
    return steps


def _together(steps: Sequence[Step]) -> list[Step]:
    """Join neighbours that are done in the same way."""
    found: list[Step] = []
    for step in steps:
        if found and (found[-1].text, found[-1].tolerance) == (step.text, step.tolerance):
            found[-1] = replace(step, name=f"{found[-1].name}, {step.name}")
        else:
            found.append(step)
    return found


def _names(elements: Sequence[Element]) -> list[str]:
    return ["sheet", *(e.name for e in elements)]


def _has_window(rig: Rig) -> bool:
    return any(lamp.is_window for lamp in rig.lamps)


def _sheet(rig: Rig) -> str:
    flat = rig.sheet.flatness
    text = "Middle on the cross, sides square to its arms; clean, free of dust. "
    if flat.bow_mm:
        way = "higher" if flat.bow_mm > 0 else "lower"
        return text + (
            f"The plan counts with a bow of {abs(flat.bow_mm):.1f} mm (middle {way} than the "
            "edges): lay a ruler across and look for the gap."
        )
    return text + "Hold it flat: the plan counts with no bow."


def _thing(element: Element, rig: Rig, tolerance: str) -> Step:
    name = f"{element.name} ({element.number})"
    if element.kind == "window":
        return Step(name, "The window stays where it is; turn the table until it fits.", tolerance)
    if element.kind == "lamp":
        trim = next(lamp.trim_stops for lamp in rig.lamps if lamp.name == element.name)
        return Step(name, f"Set the lamp; {power_words(trim)}.", tolerance)
    text = {
        "diffuser": "Fix the diffuser so that it hangs flat, without a fold.",
        "cone": "Stand the cone over the sheet.",
        "tent": "Stand the tent over the sheet.",
        "post": "Stand this post here.",
        "box": "Stand this box here.",
        "body": "Stand it here, by the middle of its foot.",
        "black card": "Black card last: it only takes light away.",
    }.get(element.kind, _fix_card(element))
    return Step(name, text, tolerance)


def _fix_card(element: Element) -> str:
    level = element.highest_mm - element.lowest_mm < LEVEL_MM
    check = "see that it lies level" if level else "check its lean with a phone's level"
    return f"Fix the card at two edges at least, so that it cannot sag; {check}."


def power_words(trim_stops: float) -> str:
    """Return a lamp's power setting.

    >>> power_words(0.0), power_words(-1.5)
    ('full power', '1.5 stops below full power, 35 % of its light')
    """
    if abs(trim_stops) < 0.005:
        return "full power"
    way = "below" if trim_stops < 0 else "above"
    shown = f"{abs(trim_stops):.2f}".rstrip("0").rstrip(".")
    plural = "stop" if shown == "1" else "stops"
    return f"{shown} {plural} {way} full power, {100 * 2**trim_stops:.0f} % of its light"


def tolerance_words(element: str, tolerances: Iterable[ToleranceLike], unit: LengthUnit) -> str:
    """Return the tolerances of one element, equal ones together, or ""."""
    groups: dict[str, list[str]] = {}
    for tolerance in tolerances:
        if tolerance.element == element:
            amount = how_far(tolerance, unit)
            names = groups.setdefault(amount, [])
            name = DIMENSION_WORDS.get(tolerance.dimension, tolerance.dimension)
            if name not in names and not (tolerance.dimension in PLACE and " or " in amount):
                names.append(name)  # "5 mm right or 3 mm left" says by itself what it is
    return "; ".join(f"{', '.join(names)} {amount}".lstrip() for amount, names in groups.items())


def how_far(tolerance: ToleranceLike, unit: LengthUnit) -> str:
    """Return how far one thing may be off; what no hand misses by is not worth a figure.

    >>> from types import SimpleNamespace
    >>> def of(dimension, minus, plus):
    ...     return how_far(SimpleNamespace(dimension=dimension, minus=minus, plus=plus), "mm")
    >>> of("y_mm", 14.0, 6.0), of("bow_mm", 0.2, 0.2)
    ('at most 6 mm away or 14 mm towards you', '±0.2 mm')
    >>> of("x_mm", 500.0, 32.0), of("turn_deg", 3.0, 2.0)
    ('at most 32 mm right, left matters little', '+2.0° / −3.0°')
    """
    dimension = tolerance.dimension
    sides = (tolerance.minus, tolerance.plus)
    minus, plus = (_size(side, dimension, unit) for side in sides)
    less_little, more_little = (matters_little(dimension, side) for side in sides)
    if less_little and more_little:
        return "matters little"
    if plus == minus and not (less_little or more_little):
        return f"±{plus}"
    if dimension not in WAYS:
        if less_little or more_little:
            side = f"+{plus}" if less_little else f"−{minus}"
            return f"{side}, the other way it matters little"
        return f"+{plus} / −{minus}"
    more, less = WAYS[dimension]
    if less_little:
        return f"at most {plus} {more}, {less} matters little"
    if more_little:
        return f"at most {minus} {less}, {more} matters little"
    return f"at most {plus} {more} or {minus} {less}"


def _size(value: float, dimension: str, unit: LengthUnit) -> str:
    if dimension.endswith("_deg"):
        return f"{value:.1f}°"
    if dimension.endswith("_stops"):
        return f"{value:.1f} stop"
    if dimension == "bow_mm":
        return f"{value:.1f} mm"  # tenths count here, in any unit
    return show_length(value, unit)


def care_words(element: str, dimension: str) -> str:
    """Return what is to be set with care, to follow "measure".

    >>> care_words("camera", "y_mm"), care_words("sheet", "bow_mm")
    ('how far away the camera stands', 'how flat the sheet lies')
    >>> care_words("white card", "hole_mm")
    'the hole of the white card'
    """
    thing = f"the {element}"
    if dimension in CARE:
        return CARE[dimension].format(thing)
    return f"the {DIMENSION_WORDS.get(dimension, dimension)} of {thing}"


def beforehand(rig: Rig, facts: SetupFacts, unit: LengthUnit) -> str:
    """Return what to have at hand, and which measurement matters most, first."""
    holders = holders_needed(rig, unit)
    at_hand = f"Have at hand to hold it all: {', '.join(holders)}. " if holders else ""
    return at_hand + _importance(rig, facts, unit)


def _importance(rig: Rig, facts: SetupFacts, unit: LengthUnit) -> str:
    if facts.critical:
        listed = [
            f"{i}. {care_words(element, dimension)}"
            for i, (element, dimension) in enumerate(facts.critical[:4], 1)
        ]
        return "Measure these best, the first most of all: " + "; ".join(listed) + "."
    usual = show_length(USUAL_MM, unit)
    swing = swing_mm(rig)
    if swing is None:
        return (
            f"Usual care: places to {usual}, angles to 1°. The camera's place and the sheet's "
            "flatness matter most."
        )
    name, shift = swing
    return (
        f"Usual care: places to {usual}, angles to 1°. The sheet's own tilt and flatness matter "
        f"most: 1° there moves what the foil sees by {show_length(shift, unit)} on “{name}”."
    )


def swing_mm(rig: Rig) -> tuple[str, float] | None:
    """Return the card nearest to the middle mirrored ray, and what 1 degree of sheet tilt does.

    The reflection turns twice as far as the sheet.
    """
    lens = rig.camera.placement.position_mm
    mirrored = (-lens[0], -lens[1], lens[2])
    length = math.hypot(*mirrored)
    best: tuple[float, str, float] | None = None
    for card in rig.cards:
        place = card.placement.position_mm
        along = sum(a * b for a, b in zip(place, mirrored, strict=True)) / length
        off = math.sqrt(max(math.hypot(*place) ** 2 - along**2, 0.0))
        if along > 0 and (best is None or off < best[0]):
            best = (off, card.name, along)
    if best is None:
        return None
    return best[1], best[2] * math.tan(math.radians(2 * SWING_DEG))
