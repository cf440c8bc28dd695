"""The parts of each look's score, with their weights.

The weights are this project's choice; the reasons for them are in ``docs/measures.md``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from lightplan.measures.curves import above, between, high, low

if TYPE_CHECKING:
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
        From the measure's value to 0..1; 1 wherever the wish is met.
    best : float
        A value at which nothing is lost; a finding's gain is worked out with it.
    wanted : str
        The target in words, to follow "wanted".
    """

    name: str
    measure: str
    weight: float
    quality: Quality
    best: float
    wanted: str


def _metal(weight: float, *, met: float = 0.75) -> PartRule:
    return PartRule(
        "reads as metal",
        "reads_as_metal_share",
        weight,
        lambda v: high(v, met=met, half_at=0.35),
        1.0,
        f"{met:.0%} or more",
    )


def _stands_off(weight: float) -> PartRule:
    return PartRule(
        "foil stands off from the paper",
        "foil_paper_contrast_dE00",
        weight,
        lambda v: high(v, met=15.0, half_at=6.0),
        30.0,
        "15 or more",
    )


def _paper(even: float, colour: float, exposure: float) -> tuple[PartRule, ...]:
    return (
        PartRule(
            "even paper",
            "paper_lightness_range_Lstar",
            even,
            lambda v: low(v, met=3.0, half_at=8.0),
            0.0,
            "3 or less",
        ),
        PartRule(
            "neutral paper",
            "paper_cast_Cab",
            colour,
            lambda v: low(v, met=4.0, half_at=8.0),
            0.0,
            "4 or less",
        ),
        PartRule(
            "exposure",
            "brightest_level_stops",
            exposure,
            lambda v: between(v, least=-1.0, most=-0.05, scale=1.2),
            -0.4,
            "up to 1 stop below clipping",
        ),
    )


def _foil_colour(weight: float) -> PartRule:
    return PartRule(
        "true foil colour",
        "foil_colour_error_dE00",
        weight,
        lambda v: low(v, met=6.0, half_at=14.0),
        0.0,
        "6 or less",
    )


def _strength(name: str, measure: str, weight: float, stops: float, words: str) -> PartRule:
    """Return the part of a look whose strength the maker chose: met within a fifth."""
    return PartRule(
        name,
        measure,
        weight,
        lambda v: between(v, least=0.8 * stops, most=1.2 * stops, scale=max(0.4, 0.4 * stops)),
        stops,
        f"{stops:.1f} stops{words}, give or take a fifth",
    )


def _bright(_: Look) -> tuple[PartRule, ...]:
    return (
        _metal(25.0),
        PartRule("run over the foil", "foil_run_stops", 10.0,
                 lambda v: between(v, least=1.0, most=2.5, scale=0.7), 1.6, "1 to 2.5 stops"),
        PartRule("foil lighter than white", "foil_to_white_stops", 15.0,
                 lambda v: between(v, least=0.0, most=1.0, scale=0.8), 0.4,
                 "0 to 1 stop above white paper"),
        _stands_off(10.0),
        *_paper(even=15.0, colour=10.0, exposure=5.0),
        _foil_colour(10.0),
    )  # fmt: skip


def _flat(_: Look) -> tuple[PartRule, ...]:
    return (
        PartRule("even foil", "foil_evenness_stops", 25.0,
                 lambda v: low(v, met=0.5, half_at=1.5), 0.0, "0.5 stops or less"),
        PartRule("foil level beside the paper", "foil_to_white_stops", 15.0,
                 lambda v: between(v, least=-0.3, most=1.5, scale=1.0), 0.7,
                 "up to 1.5 above white paper"),
        _stands_off(15.0),
        *_paper(even=20.0, colour=10.0, exposure=5.0),
        _foil_colour(10.0),
    )  # fmt: skip


def _band(look: Look) -> tuple[PartRule, ...]:
    return (
        _strength("band above its sides", "foil_band_stops", 20.0, look.strength_stops, ""),
        PartRule("width of the band", "foil_band_width_share", 10.0,
                 lambda v: between(v, least=0.14, most=0.45, scale=0.15), 0.3,
                 "14% to 45% of the foil"),
        PartRule("straight band", "foil_band_residual_stops", 10.0,
                 lambda v: low(v, met=0.25, half_at=0.7), 0.0, "0.25 stops or less"),
        _metal(25.0),
        _stands_off(5.0),
        *_paper(even=15.0, colour=5.0, exposure=5.0),
        _foil_colour(5.0),
    )  # fmt: skip


def _gradient(look: Look) -> tuple[PartRule, ...]:
    return (
        _strength("gradient along its direction", "foil_gradient_span_stops", 20.0,
                  look.strength_stops, ""),
        PartRule("no gradient across", "foil_gradient_across_stops", 5.0,
                 lambda v: between(v, least=-0.3, most=0.3, scale=0.6), 0.0, "0.3 stops or less"),
        PartRule("smooth gradient", "foil_gradient_residual_stops", 15.0,
                 lambda v: low(v, met=0.15, half_at=0.45), 0.0, "0.15 stops or less"),
        _metal(25.0),
        _stands_off(5.0),
        *_paper(even=15.0, colour=5.0, exposure=5.0),
        _foil_colour(5.0),
    )  # fmt: skip


def _dark(_: Look) -> tuple[PartRule, ...]:
    return (
        PartRule("dark foil", "foil_to_white_stops", 20.0,
                 lambda v: above(-v, met=2.0, half_at=1.2), -2.5, "2 or more below white paper"),
        PartRule("bright edges", "foil_rim_stops", 15.0,
                 lambda v: above(v, met=1.0, half_at=0.5), 2.5, "1 or more above the middle"),
        _metal(20.0, met=0.6),  # most of it is dark, where a run is seen less
        _stands_off(15.0),
        *_paper(even=15.0, colour=10.0, exposure=5.0),
    )  # fmt: skip


def _split(look: Look) -> tuple[PartRule, ...]:
    return (
        _strength("two levels", "split_separation_stops", 20.0, look.strength_stops, " apart"),
        PartRule("each half even", "split_scatter_stops", 15.0,
                 lambda v: low(v, met=0.2, half_at=0.5), 0.0, "0.2 stops or less"),
        PartRule("edge in the middle", "split_edge_share", 10.0,
                 lambda v: between(v, least=0.4, most=0.6, scale=0.15), 0.5,
                 "40% to 60% of the foil"),
        _metal(20.0),
        _stands_off(5.0),
        *_paper(even=15.0, colour=10.0, exposure=5.0),
    )  # fmt: skip


def _rainbow(_: Look) -> tuple[PartRule, ...]:
    return (
        PartRule("strong colours", "foil_colourfulness_Cab", 25.0,
                 lambda v: high(v, met=40.0, half_at=20.0), 60.0, "40 or more"),
        PartRule("many hues", "foil_hue_spread_share", 20.0,
                 lambda v: high(v, met=0.6, half_at=0.3), 0.9, "60% or more"),
        _metal(15.0),
        _stands_off(10.0),
        *_paper(even=10.0, colour=10.0, exposure=10.0),
    )  # fmt: skip


PARTS: Mapping[LookKind, Callable[[Look], tuple[PartRule, ...]]] = {
    "bright field": _bright,
    "gradient": _gradient,
    "dark field": _dark,
    "split": _split,
    "rainbow": _rainbow,
    "bright band": _band,
    "flat copy": _flat,
}
