"""From answers to a first rig that can be built: a board where the metal looks, a lamp for it.

Whatever was not known becomes something usual, or a range, and the rig file says so in comments.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from lightplan.errors import BadInput
from lightplan.mirror.family import family_on_plane, mirror_plane
from lightplan.rigfiles import LoadedRig, Thing, load_rig, rig_to_toml
from lightplan.safe_write import atomic_write
from lightplan.scene import (
    HOLDER_KINDS,
    Camera,
    Card,
    Foil,
    Grating,
    Held,
    HolderKind,
    Lamp,
    Look,
    Output,
    Paper,
    Placement,
    Reach,
    Relief,
    Rig,
    Room,
    Sheet,
    Side,
    Table,
    Waviness,
    usually_held,
)
from lightplan.tasks.foil_artwork import sample_artwork
from lightplan.tasks.start import UNKNOWN, option
from lightplan.tasks.start_camera import Answers, Remark, camera_of
from lightplan.tasks.start_options import USUAL_HOLDERS, Option

if TYPE_CHECKING:
    from pathlib import Path

CARD_AWAY_MM = (330.0, 290.0, 250.0, 210.0, 180.0)
"""Along the mirrored ray, tried in order."""
SPARE_MM = 20.0
SLOPE_DEG, HILLS_MM = 0.35, 9.0
"""Unevenness that stock without a coat lends to foil; usual, from memory."""
WINDOW_CD_M2 = 2500.0  # overcast sky through glass; common practice, no source


def start_rig(answers: Answers, path: Path, *, artwork: bytes | None = None) -> LoadedRig:
    """Write the first rig of a maker's answers, with its artwork, and return it.

    Parameters
    ----------
    answers : mapping
        By the id of the question; a missing one counts as "I do not know".
    path : Path
        A file that is not there yet.
    artwork : bytes or None
        PNG, white where metal is, of the sheet's shape; None: a sample motif.

    Raises
    ------
    BadInput
        When an answer cannot be.
    """
    sheet, remarks = _sheet(answers)
    picture = sample_artwork(sheet.width_mm, sheet.height_mm) if artwork is None else artwork
    name = f"artwork/{path.stem}.png"
    atomic_write(path.parent / name, picture, replace=False)
    sheet = replace(sheet, artwork_file=name)
    camera, told = camera_of(answers, sheet)
    owned = owned_things(answers)
    holders = _holders(answers)
    if "tripod" not in holders:
        camera = replace(camera, held=usually_held("books"))
    cards = _cards(sheet, camera, owned, holders)
    lamps, about_lamps = _lamps(answers, sheet, cards[0])
    rig = Rig(
        title=_title(answers),
        look=Look(kind="rainbow" if sheet.foil.grating is not None else "bright field"),
        sheet=sheet,
        camera=camera,
        lamps=tuple(lamps),
        cards=tuple(cards),
        room=_room(answers),
    )
    text = rig_to_toml(rig, notes=NOTES, owned=owned)
    remarks = [*remarks, *told, *about_lamps, *REMARKS]
    atomic_write(path, _remarked(text, remarks), replace=False)
    return load_rig(path)


NOTES = (
    "Made from answers to a few questions. What was not known is marked with a remark; "
    "correct it here or on the page as you learn more."
)
REMARKS = (Remark("[[owned]]", "What you have."),)


def _title(answers: Answers) -> str:
    given = answers.get("title")
    if isinstance(given, str) and given.strip():
        return given.strip()[:120]
    goods, foil, stock = (option(q, answers.get(q)) for q in ("goods", "foil", "stock"))
    parts = [one.words for one in (foil, stock) if one is not None]
    what = goods.words if goods is not None else "Product"
    return f"{what}, {parts[0].lower()} on {parts[-1].lower()}"


def size_of(answers: Answers) -> tuple[float, float]:
    """Return the sheet's width and height in mm."""
    given = answers.get("size")
    if isinstance(given, Mapping):
        found = given.get("width_mm"), given.get("height_mm")
        if all(isinstance(v, int | float) and 5 <= v <= 5000 for v in found):
            return float(found[0]), float(found[1])  # type: ignore[arg-type]
        raise BadInput(
            field="size",
            wanted="from 5 to 5000 mm each way",
            got=str(found),
            cure="measure the sheet with a ruler",
        )
    means = (option("size", given) if given not in (None, "", UNKNOWN) else None) or option(
        "goods", answers.get("goods")
    )
    assert means is not None
    return float(means.means["width_mm"]), float(means.means["height_mm"])


def _sheet(answers: Answers) -> tuple[Sheet, list[Remark]]:
    width, height = size_of(answers)
    foil, stock = option("foil", answers.get("foil")), option("stock", answers.get("stock"))
    if foil is None or stock is None:
        raise BadInput(
            field="foil or stock",
            wanted="one of the swatches",
            got="another",
            cure="choose the nearest",
        )
    measured = answers.get("stock_reflectance")
    reflectance = tuple(measured or ()) if _is_colour(measured) else stock.means["reflectance"]
    alpha = foil.means["alpha"]
    is_rainbow = "is_ruled" in foil.means
    sheet = Sheet(
        width_mm=width,
        height_mm=height,
        foil=Foil(
            kind=foil.means["kind"],
            roughness=(alpha, alpha),
            grating=Grating() if is_rainbow else None,
            relief=Relief() if "is_pressed" in foil.means else None,
        ),
        paper=Paper(
            reflectance=reflectance,
            coat_index=stock.means.get("coat"),
            waviness=_hills(stock.means) if "is_on_stock" in foil.means else None,
        ),
    )
    paper = (
        "Measured in a photograph, beside white paper."
        if _is_colour(measured)
        else f"As the swatch '{stock.words}'; a photograph beside white paper tells it better."
    )
    remarks = [
        Remark("[sheet.paper]", paper),
        Remark("[sheet.foil]", f"As the swatch '{foil.words}'; roughness is a usual one."),
    ]
    if sheet.foil.relief is not None:
        remarks.append(Remark("[sheet.foil.relief]", "A usual stamp; 0 deep if you feel no edge."))
    if sheet.paper.waviness is not None:
        remarks.append(Remark("[sheet.paper.waviness]", "Usual for such stock, not measured."))
    if answers.get("size") in (None, "", UNKNOWN):
        remarks.append(Remark("[sheet]", "Size: a usual one, not measured."))
    return sheet, remarks


def _hills(stock: Mapping[str, Any]) -> Waviness:
    slope = math.radians(stock.get("slope_deg", SLOPE_DEG))
    return Waviness(slope_rad=slope, wavelength_mm=HILLS_MM)


def _is_colour(value: Any) -> bool:
    return (
        isinstance(value, Sequence)
        and len(value) == 3
        and all(isinstance(v, int | float) and 0 <= v <= 1 for v in value)
    )


def owned_things(answers: Answers) -> list[Thing]:
    """Return what the maker has, for the kit and for adding by hand."""
    things: list[Thing] = []
    for of, count in (*_counted(answers, "cards"), *_counted(answers, "holders")):
        name = "" if of.means["kind"] in HOLDER_KINDS else of.words.rstrip("s")
        things.append(Thing(**of.means, count=count, name=name))
    for lamp in _lamps_told(answers):
        if lamp["kind"] != "window":
            output = Output(value=lamp["watts"], unit="W")
            things.append(
                Thing(
                    kind="lamp",
                    width_mm=lamp["width_mm"],
                    height_mm=lamp["height_mm"],
                    name=lamp["words"],
                    output=output,
                )
            )
    return things


def _counted(answers: Answers, question: str) -> list[tuple[Option, int]]:
    """Return what there is of a question's things, and how many of each."""
    counts = answers.get(question)
    named = (
        (option(question, id_), count)
        for id_, count in (counts if isinstance(counts, Mapping) else {}).items()
    )
    return [(of, n) for of, n in named if of is not None and isinstance(n, int) and 0 < n <= 20]


def _holders(answers: Answers) -> set[HolderKind]:
    """Return what can hold things besides books and the table; usual ones where nobody said."""
    if not isinstance(answers.get("holders"), Mapping):
        return set(USUAL_HOLDERS)
    return {of.means["kind"] for of, _ in _counted(answers, "holders")}


def _holds(height_mm: float, holders: Collection[HolderKind]) -> Held:
    """Return what holds a thing at a height: the first that reaches it, or else books."""
    for kind in ("clamp", "boom", "string"):
        held = usually_held(kind)
        if kind in holders and held.lowest_mm <= height_mm <= held.highest_mm:
            return held
    return usually_held("books")


def _cards(
    sheet: Sheet, camera: Camera, owned: Sequence[Thing], holders: Collection[HolderKind]
) -> list[Card]:
    """Return a board where the metal looks."""
    white = [t for t in owned if t.kind == "white board" for _ in range(t.count)]
    white.sort(key=lambda t: -t.width_mm * t.height_mm)
    wide, high = (white[0].width_mm, white[0].height_mm) if white else (420.0, 297.0)
    place = _where_it_covers(sheet, camera, wide, high)
    x, y, z = (float(round(v)) for v in place.position_mm)
    held = _holds(z, holders)
    # whatever leans over the sheet falls off books; a level board lies across two stacks
    aim = (x, y, 0.0) if held.by == "books" else (0.0, 0.0, 0.0)
    return [_board("board", Placement((x, y, z), aim), wide, high, held)]


def _where_it_covers(sheet: Sheet, camera: Camera, wide: float, high: float) -> Placement:
    """Return where a board fills what the foil sees, as far away as it does; else at its best.

    Farther away it leaves more room for hands and light, nearer it fills more.
    """
    place = mirror_plane(camera, sheet, CARD_AWAY_MM[-1])
    for away in CARD_AWAY_MM:
        found = family_on_plane(camera, sheet, mirror_plane(camera, sheet, away))
        if found is None:
            continue
        place = found.card
        if found.bare_width_mm <= wide - SPARE_MM and found.bare_height_mm <= high - SPARE_MM:
            return place
    return place


def _board(name: str, place: Placement, wide: float, high: float, held: Held) -> Card:
    side = Side(finish="white", reflectance=(0.85,) * 3)
    return Card(
        name=name, placement=place, width_mm=wide, height_mm=high, front=side, back=side, held=held
    )


def _lamps_told(answers: Answers) -> list[dict[str, Any]]:
    """Return the lamps that were named, each with kind, size and watts."""
    given = answers.get("lamps")
    told = []
    for one in (
        list(given)[:6] if isinstance(given, Sequence) and not isinstance(given, str) else []
    ):
        of = option("lamps", one.get("kind") if isinstance(one, Mapping) else one)
        if of is None:
            continue
        lamp = {"kind": of.id, "words": of.words, "watts": 30.0, "known": False, **of.means}
        if isinstance(one, Mapping):
            for name, most in (("watts", 2000), ("width_mm", 3000), ("height_mm", 3000)):
                value = one.get(name)
                if isinstance(value, int | float) and 1 <= value <= most:
                    lamp[name] = float(value)
                    lamp["known"] = lamp["known"] or name == "watts"
        told.append(lamp)
    if not told:
        told.append(
            {
                "kind": "softbox",
                "words": "Softbox",
                "known": False,
                "width_mm": 500.0,
                "height_mm": 700.0,
                "watts": 85.0,
            }
        )
    return told


def _name(words: str) -> str:
    """Return a thing's name from the words of its answer: small, but for what is spelt large.

    >>> _name("Desk lamp"), _name("LED panel")
    ('desk lamp', 'LED panel')
    """
    return words if words[:2].isupper() else words[:1].lower() + words[1:]


def _lamps(answers: Answers, sheet: Sheet, board: Card) -> tuple[list[Lamp], list[Remark]]:
    """Return the first lamp shining on the board, the next ones on the paper from the sides."""
    reach = max(sheet.width_mm, sheet.height_mm) / 2
    centre = board.placement.position_mm
    lamps: list[Lamp] = []
    remarks: list[Remark] = []
    names: set[str] = set()
    on_board = True
    for told in _lamps_told(answers):
        plain = name = _name(told["words"])
        while name in names:
            name = f"{plain} {len(names) + 1}"
        names.add(name)
        if told["kind"] == "window":
            lamps.append(_window(name, told))
            continue
        side = -1.0 if len(lamps) % 2 == 0 else 1.0
        at = side * round(reach + 330.0 + told["width_mm"] / 2)
        at_board = (centre[0], round(0.8 * centre[1]), round(0.8 * centre[2]))
        aim = at_board if on_board else (0.0, 0.0, 0.0)
        height = max(told["height_mm"] / 2 + 40.0, 260.0 if on_board else 420.0)
        place = Placement((at, -40.0 if not on_board else 20.0, height), aim)
        lamps.append(
            Lamp(
                name=name,
                placement=place,
                width_mm=told["width_mm"],
                height_mm=told["height_mm"],
                output=Output(value=told["watts"], unit="W"),
                held=usually_held("stand"),
            )
        )
        known = "from the box" if told["known"] else "not known: a usual figure"
        remarks.append(
            Remark(
                f'name = "{name}"',
                f"Watts {known}. What they give is a range; one photograph of white paper "
                "narrows it.",
            )
        )
        on_board = False
    return lamps, remarks


def _window(name: str, told: Mapping[str, Any]) -> Lamp:
    high = told["height_mm"]
    return Lamp(
        name=name,
        placement=Placement((-900.0, 0.0, high / 2 + 20), (0.0, 0.0, high / 2 + 20)),
        width_mm=told["width_mm"],
        height_mm=high,
        is_window=True,
        output=Output(value=WINDOW_CD_M2, unit="cd/m2"),
    )


def _room(answers: Answers) -> Room:
    room, table = option("room", answers.get("room")), option("table", answers.get("table"))
    assert room is not None
    assert table is not None
    ambient = float(room.means["ambient"])
    return Room(
        ambient_cd_m2=(ambient,) * 3,
        table=Table(width_mm=1400.0, depth_mm=800.0, reflectance=table.means["reflectance"]),
        reach=Reach(highest_mm=1200.0, farthest_mm=1100.0),
    )


def _remarked(text: str, remarks: Sequence[Remark]) -> str:
    """Return the text with each remark above the first line that begins as it says."""
    lines = text.split("\n")
    for remark in remarks:
        at = next((i for i, line in enumerate(lines) if line.startswith(remark.before)), None)
        if remark.text and at is not None:
            lines.insert(at, f"# {remark.text}")
    return "\n".join(lines)
