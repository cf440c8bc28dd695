"""The questions of a beginner, once for the page and the terminal: one at a time, in plain words.

Each may be answered with "I do not know": then something usual is taken, and said so in the file.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import numpy as np

from lightplan.optics.colour import srgb_encode
from lightplan.optics.materials import foil_curve
from lightplan.optics.spectra import wavelength_weights
from lightplan.tasks.start_options import (
    CAMERAS,
    CARDS,
    FOILS,
    GOODS,
    HOLDERS,
    LAMPS,
    ROOMS,
    SIZES,
    STOCKS,
    TABLES,
    Option,
)

if TYPE_CHECKING:
    from lightplan.arrays import Doubles

Kind: TypeAlias = Literal["choice", "size", "artwork", "camera", "lamps", "counts"]
UNKNOWN = "unknown"
GREY_SHARE = 0.3
"""What a swatch of holographic foil keeps of its plain metal beside the colours; our choice."""


@dataclass(frozen=True, kw_only=True)
class Question:
    """One question.

    Parameters
    ----------
    id : str
    asks : str
    help : str
        One sentence for who hesitates.
    kind : str
        "choice", or what else is asked for.
    options : tuple of Option
    usual : str
        What is taken for "I do not know".
    """

    id: str
    asks: str
    help: str
    kind: Kind = "choice"
    options: tuple[Option, ...] = ()
    usual: str = ""


QUESTIONS: tuple[Question, ...] = (
    Question(
        id="goods",
        asks="What do you want to photograph?",
        help="Something flat with metal on it. The size can be changed at the next question.",
        options=GOODS,
        usual="card",
    ),
    Question(
        id="size",
        asks="How large is it?",
        kind="size",
        help="The whole sheet, left to right and near to far as it lies before you.",
        options=SIZES,
    ),
    Question(
        id="foil",
        asks="Which metal is on it?",
        help="The colour of the foil under one soft lamp. The nearest will do.",
        options=FOILS,
        usual="silver foil",
    ),
    Question(
        id="stock",
        asks="What is it printed on?",
        help="The paper or card beside the metal. The nearest will do.",
        options=STOCKS,
        usual="white",
    ),
    Question(
        id="artwork",
        asks="Where on it is the metal?",
        kind="artwork",
        help="Your artwork as PNG, SVG or PDF, or a photograph of the print. Without either a "
        "sample motif is used.",
    ),
    Question(
        id="camera",
        asks="What do you photograph with?",
        kind="camera",
        help="Or drop any photograph it took: it says what lens it has. Nothing else is read.",
        options=CAMERAS,
        usual="phone",
    ),
    Question(
        id="lamps",
        asks="Which lamps do you have?",
        kind="lamps",
        help="Watts as they stand on the box; leave it as it is if you do not know.",
        options=LAMPS,
    ),
    Question(
        id="cards",
        asks="What can be put beside it?",
        kind="counts",
        help="Boards and paper matter more than lamps: metal shows what stands around it.",
        options=CARDS,
    ),
    Question(
        id="holders",
        asks="What can hold it up?",
        kind="counts",
        help="Lamps come with a stand of their own, and books everybody has. A plan does without "
        "what you leave out.",
        options=HOLDERS,
    ),
    Question(
        id="room",
        asks="How dark can the room be?",
        help="Light that you cannot switch off gets into the metal too.",
        options=ROOMS,
        usual="dim",
    ),
    Question(
        id="table",
        asks="What does it lie on?",
        help="The table top, or a cloth on it.",
        options=TABLES,
        usual="wood",
    ),
)


def questions() -> list[dict[str, Any]]:
    """Return all questions as plain values, with colours to paint swatches in."""
    told = []
    for question in QUESTIONS:
        plain = asdict(question)
        for option, of in zip(plain["options"], question.options, strict=True):
            option["means"] = {k: v for k, v in of.means.items() if k != "alpha"}
            option["colours"] = _colours(of)
        told.append(plain)
    return told


def option(question: str, answer: Any) -> Option | None:
    """Return the option that an answer names; the usual one for "unknown", None for none."""
    asked = next(one for one in QUESTIONS if one.id == question)
    wanted = asked.usual if answer in (None, "", UNKNOWN) else answer
    return next((one for one in asked.options if one.id == wanted), None)


def _colours(of: Option) -> list[str]:
    """Return sRGB colours: of a foil from dark to bright as under one soft lamp."""
    if of.picture == "swatch":
        metal = foil_curve(of.means["kind"]).evaluate(1.0)
        if "is_ruled" in of.means:
            return [_hex(GREY_SHARE * metal + colour) for colour in _rainbow()]
        return [_hex(metal * light) for light in (0.04, 0.18, 0.55, 1.0, 0.5, 0.12)]
    if "reflectance" in of.means:
        return [_hex(of.means["reflectance"])]
    return []


def _rainbow() -> list[Doubles]:
    """Return the colours of a lamp's light parted by wavelength, violet to red, linear sRGB."""
    weights = np.clip(wavelength_weights(np.linspace(430.0, 650.0, 8)), 0.0, None)
    return list((1.0 - GREY_SHARE) * weights / weights.max(axis=1, keepdims=True))


def _hex(linear: Any) -> str:
    codes = [round(255 * float(srgb_encode(min(max(float(v), 0.0), 1.0)))) for v in linear]
    return "#" + "".join(f"{code:02x}" for code in codes)
