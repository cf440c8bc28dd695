"""Limits that must be kept before points count in full."""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from lightplan.measures.curves import beyond, softly

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lightplan.scene.look import Look, LookKind

ABSENT_FACTOR = 0.6
"""Where a look itself is absent the score is at most 60."""
LEAST_METAL = 0.35
"""No picture is kept whose foil reads as metal by less. Seen by eye: below it looks printed."""


@dataclass(frozen=True)
class GateRule:
    """A limit that must be kept before points count in full.

    Parameters
    ----------
    name, measure : str
    limit, scale : float
        Passing the limit by one `scale` multiplies the score by exp(-1/2), far beyond by
        exp(-1) for each further `scale`. Of a gate that is the look itself, one `scale`
        multiplies by 0.6, and what lies farther costs little more.
    sign : float
        -1 makes the limit a least value.
    wanted : str
        In words.
    best : float
        A value at which nothing is lost.
    is_look : bool
        Whether this is the look itself: a picture that does not reach it is never kept.
    """

    name: str
    measure: str
    limit: float
    scale: float
    sign: float
    wanted: str
    best: float
    is_look: bool = False

    def penalty(self, value: float) -> float:
        """Return what the score is divided by, as a logarithm; 0 within the limit."""
        over, limit = self.sign * value, self.sign * self.limit
        if not self.is_look:
            return beyond(over, limit=limit, scale=self.scale)
        steps = max(0.0, (over - limit) / self.scale)
        farther = 0.05 * math.log1p(max(0.0, steps - 1.0))
        return -math.log(ABSENT_FACTOR) * softly(steps, start=0.0, end=1.0) + farther

    def is_kept(self, value: float) -> bool:
        """Whether a value lies within the limit."""
        return self.sign * value <= self.sign * self.limit

    @property
    def fault(self) -> str:
        """What is wrong where the limit is not kept, in the maker's words."""
        return FAULTS[self.name]


FAULTS: Mapping[str, str] = MappingProxyType(
    {
        "foil as light as white": "the foil is darker than white paper",
        "a gradient is there": "the foil hardly runs from light to dark",
        "a band is there": "no clear bright band crosses the foil",
        "a split is there": "the two halves of the foil hardly differ",
        "edges are bright": "the edges of the foil do not shine",
        "colours are there": "the foil shows hardly any colours",
        "foil is even": "the foil is uneven",
        "foil reads as metal": "the foil could be flat ink",
        "sharp": "not sharp enough",
        "sheet fills the frame": "the sheet is small in the frame",
        "corners of the frame lit": "the corners of the frame are dark",
        "nothing runs through the frame": "an edge runs through the frame",
        "background no rival of the foil": "the background outshines the foil",
        "foil not blank": "part of the foil is blank white",
        "paper not clipped": "part of the paper is blank white",
        "enough light": "too dark",
        "paper not dull": "the paper looks dull",
        "paper not washed out": "the paper looks washed out",
        "foil told from paper": "the foil hardly differs from the paper",
        "foil seen all over": "part of the foil vanishes into the paper",
        "foil seen on dark stock": "part of the foil is black on dark stock",
        "paper colour in range": "the paper has a tint",
        "foil not black": "much of the foil is black",
        "foil colour in range": "the colour of the foil is off",
    }
)
"""By the name of the limit."""


def _at_least(
    name: str, measure: str, limit: float, scale: float, wanted: str, best: float
) -> GateRule:
    return GateRule(name, measure, limit, scale, -1.0, wanted, best, is_look=True)


def _itself(look: Look) -> GateRule:
    """Return the gate that is the look itself."""
    weak = 0.4 * look.strength_stops
    words = f"{weak:.1f} stops or more"
    match look.kind:
        case "bright field":
            return _at_least(
                "foil as light as white",
                "foil_to_white_stops",
                0.0,
                0.3,
                "no darker than white paper",
                0.4,
            )
        case "gradient":
            return _at_least(
                "a gradient is there",
                "foil_gradient_span_stops",
                weak,
                0.5 * weak,
                words,
                look.strength_stops,
            )
        case "bright band":
            return _at_least(
                "a band is there", "foil_band_stops", weak, 0.5 * weak, words, look.strength_stops
            )
        case "split":
            return _at_least(
                "a split is there",
                "split_separation_stops",
                weak,
                0.5 * weak,
                words,
                look.strength_stops,
            )
        case "dark field":
            return _at_least(
                "edges are bright",
                "foil_rim_stops",
                0.5,
                0.3,
                "0.5 stops or more above the middle",
                2.5,
            )
        case "rainbow":
            return _at_least(
                "colours are there", "foil_colourfulness_Cab", 15.0, 6.0, "15 or more", 60.0
            )
        case "flat copy":
            return GateRule(
                "foil is even",
                "foil_evenness_stops",
                1.2,
                0.6,
                1.0,
                "1.2 stops or less",
                0.0,
                is_look=True,
            )


_DARK_LIMIT: Mapping[LookKind, float] = {
    "bright field": 0.02,
    "flat copy": 0.02,
    "gradient": 0.2,
    "split": 0.55,
    "bright band": 0.6,
}
"""Share of foil that may be black; the other looks want it or do not mind."""


_FRAME = (
    GateRule(
        "corners of the frame lit",
        "frame_corner_Lstar",
        15.0,
        25.0,
        1.0,
        "15 or less below it",
        0.0,
    ),
    GateRule(
        "nothing runs through the frame",
        "frame_edge_share",
        0.25,
        1.0,
        1.0,
        "no edge longer than 25% of the frame",
        0.0,
    ),
    GateRule(
        "background no rival of the foil",
        "frame_over_foil_Lstar",
        10.0,
        40.0,
        1.0,
        "10 or less above the brightest foil",
        -20.0,
    ),
)
"""The frame belongs to the picture: what surrounds the sheet, where the whole frame is known.
Slopes are long: a frame can be cropped or its background changed. Our choice."""


def gates_for(look: Look) -> tuple[GateRule, ...]:
    """Return the gates of a look, the look itself first."""
    is_record = look.kind == "flat copy"
    blank, slope = (0.01, 0.04) if is_record else (0.05, 0.1)
    gates = [_itself(look)]
    if not is_record:
        gates.append(
            _at_least(
                "foil reads as metal",
                "reads_as_metal_share",
                LEAST_METAL,
                0.15,
                f"{LEAST_METAL:.0%} or more",
                1.0,
            )
        )
    gates += [
        GateRule(
            "sharp",
            "sharpness_resolved_count",
            400.0,
            100.0,
            -1.0,
            "400 or more elements along the sheet",
            800.0,
        ),
        GateRule(
            "sheet fills the frame",
            "frame_fill_share",
            0.5,
            0.6,
            -1.0,
            "50% or more of a side",
            0.78,
        ),
        *_FRAME,
        GateRule(
            "foil not blank",
            "foil_clipped_share",
            blank,
            slope,
            1.0,
            f"at most {blank:.0%} of the foil",
            0.0,
        ),
        GateRule(
            "paper not clipped",
            "paper_clipped_share",
            0.005,
            0.03,
            1.0,
            "at most 0.5% of the paper",
            0.0,
        ),
        GateRule(
            "enough light",
            "brightest_level_stops",
            -3.0,
            1.0,
            -1.0,
            "no more than 3 stops below clipping",
            -0.4,
        ),
        GateRule(
            "paper not dull",
            "paper_tone_Lstar",
            -9.0,
            8.0,
            -1.0,
            "white stock white, other stock as light as it is",
            0.0,
        ),
        GateRule(
            "paper not washed out", "paper_tone_Lstar", 16.0, 12.0, 1.0, "dark stock dark", 0.0
        ),
        GateRule(
            "foil told from paper", "foil_paper_contrast_dE00", 6.0, 3.0, -1.0, "6 or more", 30.0
        ),
        GateRule(
            "foil seen all over",
            "foil_lost_share",
            0.4,
            0.3,
            1.0,
            "at most two fifths of the foil",
            0.0,
        ),
        GateRule(
            "foil seen on dark stock",
            "foil_sunk_share",
            0.15,
            0.3,
            1.0,
            "at most 15% of the foil",
            0.0,
        ),
        GateRule("paper colour in range", "paper_cast_Cab", 8.0, 8.0, 1.0, "8 or less", 0.0),
    ]
    if look.kind in _DARK_LIMIT:
        limit = _DARK_LIMIT[look.kind]
        gates.append(
            GateRule(
                "foil not black",
                "foil_dark_share",
                limit,
                0.15,
                1.0,
                f"at most {limit:.0%} of the foil",
                0.0,
            )
        )
        gates.append(
            GateRule(
                "foil colour in range", "foil_colour_error_dE00", 20.0, 15.0, 1.0, "20 or less", 0.0
            )
        )
    return tuple(gates)
