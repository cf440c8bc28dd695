"""What each look is judged by: parts with weights, and gates.

The weights are this project's choice; the reasons for them are in ``docs/measures.md``.
The same rules judge predicted and photographed pictures.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from lightplan.measures.curves import above, close, high, low
from lightplan.scene.look import Look, LookKind

Quality = Callable[[float], float]


@dataclass(frozen=True)
class PartRule:
    """How one part of the score follows from one measure.

    Parameters
    ----------
    name : str
        What the maker reads.
    measure : str
        The measure it is taken from.
    weight : float
        Points it gives at most; 100 in all.
    quality : callable
        From the measure's value to 0..1.
    best : float
        The value at which nothing is lost; a finding's gain is worked out with it.
    wanted : str
        The target in words, to follow "wanted".
    """

    name: str
    measure: str
    weight: float
    quality: Quality
    best: float
    wanted: str


@dataclass(frozen=True)
class GateRule:
    """A limit that must be kept before points count in full.

    Passing it by one `scale` multiplies the score by exp(-1/2), far beyond by
    exp(-1) for each further `scale`. `sign` -1 makes the limit a least value.
    """

    name: str
    measure: str
    limit: float
    scale: float
    sign: float
    wanted: str
    best: float


def _stands_off(weight: float) -> PartRule:
    return PartRule(
        "foil stands off from the paper", "foil_paper_contrast_dE00", weight,
        lambda v: high(v, half_at=6.0), 30.0, "15 or more",
    )  # fmt: skip


def _paper(even: float, colour: float, exposure: float) -> tuple[PartRule, ...]:
    return (
        PartRule("even paper", "paper_lightness_range_Lstar", even,
                 lambda v: low(v, half_at=6.0), 0.0, "3 or less"),
        PartRule("neutral paper", "paper_cast_Cab", colour,
                 lambda v: low(v, half_at=6.0), 0.0, "4 or less"),
        PartRule("exposure", "brightest_level_stops", exposure,
                 lambda v: close(v, target=-0.4, scale=1.5), -0.4, "about 0.5 below clipping"),
    )  # fmt: skip


def _foil_colour(weight: float) -> PartRule:
    return PartRule("true foil colour", "foil_colour_error_dE00", weight,
                    lambda v: low(v, half_at=12.0), 0.0, "6 or less")  # fmt: skip


def _metal(weight: float) -> PartRule:
    return PartRule("reads as metal", "reads_as_metal_share", weight,
                    lambda v: high(v, half_at=0.35), 1.0, "60% or more")  # fmt: skip


def _bright(look: Look) -> tuple[PartRule, ...]:
    return (
        _metal(15.0),
        PartRule("run over the foil", "foil_run_stops", 15.0,
                 lambda v: close(v, target=1.6, scale=1.2), 1.6, "1 to 2.5 stops"),
        PartRule("foil lighter than white", "foil_to_white_stops", 15.0,
                 lambda v: close(v, target=0.7, scale=1.5), 0.7, "0 to 1.5 above white paper"),
        _stands_off(10.0),
        *_paper(even=20.0, colour=10.0, exposure=5.0),
        _foil_colour(10.0),
    )  # fmt: skip


def _flat(look: Look) -> tuple[PartRule, ...]:
    return (
        PartRule("even foil", "foil_evenness_stops", 25.0,
                 lambda v: low(v, half_at=1.5), 0.0, "0.5 stops or less"),
        PartRule("foil level beside the paper", "foil_to_white_stops", 15.0,
                 lambda v: close(v, target=0.7, scale=1.5), 0.7, "0 to 1.5 above white paper"),
        _stands_off(15.0),
        *_paper(even=20.0, colour=10.0, exposure=5.0),
        _foil_colour(10.0),
    )  # fmt: skip


def _band(look: Look) -> tuple[PartRule, ...]:
    height = look.strength_stops
    return (
        PartRule("band above its sides", "foil_band_stops", 20.0,
                 lambda v: close(v, target=height, scale=max(0.5, 0.5 * height)), height,
                 f"{height:.1f} stops"),
        PartRule("width of the band", "foil_band_width_share", 10.0,
                 lambda v: close(v, target=0.3, scale=0.25), 0.3, "14% to 45% of the foil"),
        PartRule("straight band", "foil_band_residual_stops", 10.0,
                 lambda v: low(v, half_at=0.4), 0.0, "0.2 stops or less"),
        _metal(20.0),
        _stands_off(10.0),
        *_paper(even=15.0, colour=5.0, exposure=5.0),
        _foil_colour(5.0),
    )  # fmt: skip


def _gradient(look: Look) -> tuple[PartRule, ...]:
    span = look.strength_stops
    return (
        PartRule("gradient along its direction", "foil_gradient_span_stops", 20.0,
                 lambda v: close(v, target=span, scale=max(0.5, 0.5 * span)), span,
                 f"{span:.1f} stops"),
        PartRule("no gradient across", "foil_gradient_across_stops", 10.0,
                 lambda v: low(v, half_at=0.75), 0.0, "0.3 stops or less"),
        PartRule("smooth gradient", "foil_gradient_residual_stops", 15.0,
                 lambda v: low(v, half_at=0.3), 0.0, "0.15 stops or less"),
        _stands_off(10.0),
        PartRule("one side of the paper's tone", "foil_sign_flip_share", 5.0,
                 lambda v: low(v, half_at=0.3), 0.0, "none of the foil on the other side"),
        *_paper(even=20.0, colour=10.0, exposure=5.0),
        _foil_colour(5.0),
    )  # fmt: skip


def _dark(look: Look) -> tuple[PartRule, ...]:
    return (
        PartRule("dark foil", "foil_to_white_stops", 25.0,
                 lambda v: above(-v, half_at=1.5, scale=0.75), -4.0, "2 or more below white paper"),
        PartRule("bright edges", "foil_rim_stops", 15.0,
                 lambda v: above(v, half_at=0.7, scale=0.5), 2.5, "1 or more above the middle"),
        _stands_off(20.0),
        *_paper(even=20.0, colour=10.0, exposure=10.0),
    )  # fmt: skip


def _split(look: Look) -> tuple[PartRule, ...]:
    step = look.strength_stops
    return (
        PartRule("two levels", "split_separation_stops", 25.0,
                 lambda v: close(v, target=step, scale=max(0.5, 0.5 * step)), step,
                 f"{step:.1f} stops apart"),
        PartRule("each half even", "split_scatter_stops", 20.0,
                 lambda v: low(v, half_at=0.4), 0.0, "0.2 stops or less"),
        PartRule("edge in the middle", "split_edge_share", 10.0,
                 lambda v: close(v, target=0.5, scale=0.2), 0.5, "40% to 60% of the foil"),
        _stands_off(10.0),
        *_paper(even=20.0, colour=10.0, exposure=5.0),
    )  # fmt: skip


def _rainbow(look: Look) -> tuple[PartRule, ...]:
    return (
        PartRule("strong colours", "foil_colourfulness_Cab", 30.0,
                 lambda v: high(v, half_at=20.0), 60.0, "40 or more"),
        PartRule("many hues", "foil_hue_spread_share", 25.0,
                 lambda v: high(v, half_at=0.3), 0.9, "60% or more"),
        _stands_off(10.0),
        *_paper(even=15.0, colour=10.0, exposure=10.0),
    )  # fmt: skip


_PARTS: Mapping[LookKind, Callable[[Look], tuple[PartRule, ...]]] = {
    "bright field": _bright,
    "gradient": _gradient,
    "dark field": _dark,
    "split": _split,
    "rainbow": _rainbow,
    "bright band": _band,
    "flat copy": _flat,
}

_DARK_LIMIT: Mapping[LookKind, float] = {
    "bright field": 0.02, "flat copy": 0.02, "gradient": 0.2, "split": 0.55, "bright band": 0.6,
}  # fmt: skip
"""Share of foil that may be black; the other looks want it or do not mind."""


@lru_cache(maxsize=256)
def parts_of(look: Look) -> tuple[PartRule, ...]:
    """Return the parts of a look; their weights add up to 100."""
    return _PARTS[look.kind](look)


@lru_cache(maxsize=256)
def gates_of(look: Look) -> tuple[GateRule, ...]:
    """Return the gates of a look."""
    edge = 0.03 if look.kind == "dark field" else 0.01
    gates = [
        GateRule("sharp", "sharpness_resolved_count", 400.0, 100.0, -1.0,
                 "400 or more elements along the sheet", 800.0),
        GateRule("foil not clipped", "foil_clipped_share", edge, 0.04, 1.0,
                 f"at most {edge:.0%} of the foil", 0.0),
        GateRule("paper not clipped", "paper_clipped_share", 0.005, 0.03, 1.0,
                 "at most 0.5% of the paper", 0.0),
        GateRule("enough light", "brightest_level_stops", -3.0, 1.0, -1.0,
                 "no more than 3 stops below clipping", -0.4),
        GateRule("foil told from paper", "foil_paper_contrast_dE00", 6.0, 3.0, -1.0,
                 "6 or more", 30.0),
        GateRule("paper colour in range", "paper_cast_Cab", 8.0, 8.0, 1.0, "8 or less", 0.0),
    ]  # fmt: skip
    if look.kind in _DARK_LIMIT:
        limit = _DARK_LIMIT[look.kind]
        gates.append(GateRule("foil not black", "foil_dark_share", limit, 0.15, 1.0,
                              f"at most {limit:.0%} of the foil", 0.0))  # fmt: skip
        gates.append(GateRule("foil colour in range", "foil_colour_error_dE00", 20.0, 15.0, 1.0,
                              "20 or less", 0.0))  # fmt: skip
    return tuple(gates)


@lru_cache(maxsize=256)
def judged_names(look: Look) -> frozenset[str]:
    """Return the measures on which parts and gates of a look depend."""
    parts, gates = parts_of(look), gates_of(look)
    return frozenset([*(rule.measure for rule in parts), *(rule.measure for rule in gates)])
