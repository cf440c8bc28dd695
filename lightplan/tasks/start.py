"""The questions of a beginner, once for the page and the terminal: one at a time, in plain words.

Each may be answered with "I do not know": then something usual is taken, and said so in the file.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import numpy as np

from lightplan.optics.colour import srgb_encode
from lightplan.optics.materials import foil_curve
from lightplan.optics.spectra import wavelength_weights

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lightplan.arrays import Doubles

Kind: TypeAlias = Literal["choice", "size", "artwork", "camera", "lamps", "counts"]
UNKNOWN = "unknown"
GREY_SHARE = 0.3
"""What a swatch of holographic foil keeps of its plain metal beside the colours; our choice."""


@dataclass(frozen=True, kw_only=True)
class Option:
    """One answer to choose: its id, its words, what stands under them, and what it means."""

    id: str
    words: str
    note: str = ""
    picture: str = ""
    means: Mapping[str, Any] = field(default_factory=dict)


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


def _size(id_: str, words: str, note: str, width: float, height: float) -> Option:
    return Option(
        id=id_, words=words, note=note, picture=id_, means={"width_mm": width, "height_mm": height}
    )


GOODS = (
    _size("bookplate", "Bookplate", "in a book", 90, 120),
    _size("tag", "Gift tag", "on a string", 50, 90),
    _size("seed", "Seed-packet label", "on a packet", 90, 120),
    _size("plant", "Plant tag", "of metal", 40, 120),
    _size("card", "Card", "greeting or business", 148, 105),
    _size("certificate", "Certificate", "large sheet", 210, 297),
)

SIZES = (
    _size("a4", "A4", "210 x 297 mm", 210, 297),
    _size("a5", "A5", "148 x 210 mm", 148, 210),
    _size("a6", "A6", "105 x 148 mm", 105, 148),
    _size("dl", "Slim card", "99 x 210 mm", 99, 210),
    _size("business", "Business card", "85 x 55 mm", 85, 55),
    _size("letter", "Letter", "8.5 x 11 inches", 215.9, 279.4),
)

STAMPED = {"is_pressed": True, "is_on_stock": True}
LAID = {"is_on_stock": True}
RULED = {"is_ruled": True}
"""How the metal lies: foil is pressed into the stock and follows its hills, leaf follows them;
holographic foil is ruled with lines that part the colours besides."""

FOILS = tuple(
    Option(
        id=kind,
        words=words,
        note=note,
        picture="swatch",
        means={"kind": kind, "alpha": alpha} | lies,
    )
    for kind, words, note, alpha, lies in (
        ("gold foil", "Gold foil", "yellow, like a ring", 0.05, STAMPED),
        ("silver foil", "Silver foil", "like a mirror", 0.05, STAMPED),
        ("rose gold foil", "Rose gold foil", "pink", 0.05, STAMPED),
        ("copper foil", "Copper foil", "red-brown", 0.05, STAMPED),
        ("holographic foil", "Holographic foil", "shows rainbows", 0.05, STAMPED | RULED),
        ("gold leaf", "Gold leaf", "laid by hand", 0.12, LAID),
        ("aluminium", "Bare aluminium", "a metal tag", 0.12, {}),
        ("copper", "Bare copper", "a metal tag", 0.12, {}),
    )
)

STOCKS = tuple(
    Option(id=id_, words=words, note=note, picture="stock", means={"reflectance": colour} | more)
    for id_, words, note, colour, more in (
        ("white", "White, uncoated", "like copy paper", (0.85, 0.85, 0.85), {}),
        (
            "coated",
            "White, glossy",
            "you see a lamp in it",
            (0.85, 0.85, 0.85),
            {"coat": 1.5, "slope_deg": 0.12},
        ),
        ("cream", "Cream", "a little yellow", (0.80, 0.74, 0.60), {}),
        ("kraft", "Kraft", "brown paper", (0.42, 0.30, 0.19), {}),
        ("green", "Forest green", "dark", (0.04, 0.09, 0.05), {}),
        ("blue", "Midnight blue", "dark", (0.035, 0.045, 0.085), {}),
        ("red", "Wine red", "dark", (0.16, 0.03, 0.035), {}),
        ("black", "Black", "dark", (0.03, 0.03, 0.03), {}),
    )
)
"""Reflectance of usual stocks, linear sRGB; from memory (a photograph is better)."""

CAMERAS = (
    Option(
        id="phone",
        words="Phone, main lens",
        note="its 1x",
        picture="phone",
        means={
            "equivalent_mm": 26.0,
            "sensor_mm": (9.6, 7.2),
            "pixels": (4032, 3024),
            "body_mm": (155.0, 75.0),
            "lens_offset_mm": (55.0, 20.0),
        },
    ),
    Option(
        id="phone tele",
        words="Phone, 2x lens",
        note="better: stand farther away",
        picture="phone",
        means={
            "equivalent_mm": 52.0,
            "sensor_mm": (9.6, 7.2),
            "pixels": (4032, 3024),
            "body_mm": (155.0, 75.0),
            "lens_offset_mm": (55.0, 20.0),
        },
    ),
    Option(
        id="camera",
        words="Camera, usual lens",
        note="about 50 mm",
        picture="camera",
        means={
            "equivalent_mm": 75.0,
            "sensor_mm": (23.5, 15.6),
            "pixels": (6000, 4000),
            "body_mm": (140.0, 100.0),
            "lens_offset_mm": (0.0, 0.0),
        },
    ),
)

LAMPS = (
    Option(
        id="softbox",
        words="Softbox",
        note="cloth in front",
        picture="softbox",
        means={"width_mm": 500, "height_mm": 700, "watts": 85.0},
    ),
    Option(
        id="panel",
        words="LED panel",
        note="flat, many small lights",
        picture="panel",
        means={"width_mm": 300, "height_mm": 200, "watts": 30.0},
    ),
    Option(
        id="desk",
        words="Desk lamp",
        note="a small head",
        picture="desk",
        means={"width_mm": 120, "height_mm": 120, "watts": 9.0},
    ),
    Option(
        id="window",
        words="Window",
        note="by day, no sun",
        picture="window",
        means={"width_mm": 900, "height_mm": 1200},
    ),
)

CARDS = (
    Option(
        id="white A4",
        words="White sheets, A4",
        picture="white",
        means={"kind": "white board", "width_mm": 297, "height_mm": 210},
    ),
    Option(
        id="white A3",
        words="White boards, A3",
        picture="white",
        means={"kind": "white board", "width_mm": 420, "height_mm": 297},
    ),
    Option(
        id="white A2",
        words="White boards, A2",
        picture="white",
        means={"kind": "white board", "width_mm": 594, "height_mm": 420},
    ),
    Option(
        id="black A3",
        words="Black boards, A3",
        picture="black",
        means={"kind": "black board", "width_mm": 420, "height_mm": 297},
    ),
    Option(
        id="tissue",
        words="Tissue or tracing paper",
        picture="tissue",
        means={"kind": "diffuser", "width_mm": 600, "height_mm": 600},
    ),
)

ROOMS = (
    Option(
        id="dark",
        words="I can make it dark",
        note="curtains, evening",
        picture="night",
        means={"ambient": 0.5},
    ),
    Option(
        id="dim",
        words="Some light stays",
        note="a lamp next door",
        picture="dusk",
        means={"ambient": 3.0},
    ),
    Option(
        id="light",
        words="It is a light room",
        note="daylight all round",
        picture="day",
        means={"ambient": 12.0},
    ),
)

TABLES = (
    Option(id="white", words="White", picture="table white", means={"reflectance": (0.8,) * 3}),
    Option(
        id="wood", words="Wood", picture="table wood", means={"reflectance": (0.45, 0.36, 0.26)}
    ),
    Option(id="grey", words="Grey", picture="table grey", means={"reflectance": (0.2,) * 3}),
    Option(
        id="dark", words="Black cloth", picture="table dark", means={"reflectance": (0.05,) * 3}
    ),
)

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
