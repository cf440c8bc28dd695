"""What the questions of a beginner can be answered with: goods, metals, stocks, cameras, things."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lightplan.scene import HolderKind


@dataclass(frozen=True, kw_only=True)
class Option:
    """One answer to choose: its id, its words, what stands under them, and what it means."""

    id: str
    words: str
    note: str = ""
    picture: str = ""
    means: Mapping[str, Any] = field(default_factory=dict)


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

HOLDERS = (
    Option(
        id="clamp",
        words="Clamps with an arm",
        note="at the table's edge",
        picture="clamp",
        means={"kind": "clamp"},
    ),
    Option(
        id="boom",
        words="Arms over the table",
        note="a boom on a stand",
        picture="boom",
        means={"kind": "boom"},
    ),
    Option(
        id="string",
        words="String, with a hook above",
        note="a shelf, a ceiling",
        picture="string",
        means={"kind": "string"},
    ),
    Option(
        id="tripod",
        words="Tripods",
        note="for camera or phone",
        picture="tripod",
        means={"kind": "tripod"},
    ),
)
USUAL_HOLDERS: tuple[HolderKind, ...] = ("clamp", "tripod")
"""What is taken to be there where the maker does not know; common practice, no source."""

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
