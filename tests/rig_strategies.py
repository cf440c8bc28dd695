"""Hypothesis strategies for rigs: valid ones, ones with one fault, and mangled text.

``rig_documents()`` gives the content of a rig file, ``rigs()`` the rig built from it.
Geometry is drawn so that rigs are valid by the way they are made, not by filtering.
A strategy is made once and kept: to make and look through it anew for each number that is
drawn took more time than all else.
"""

import copy
import functools
import math
from pathlib import Path

import tomlkit
from hypothesis import strategies as st

from lightplan.errors import RigError
from lightplan.optics.materials import FOIL_KINDS
from lightplan.rigfiles.build import build_rig
from lightplan.rigfiles.schema import FORMAT, RigForm
from lightplan.scene import HOLDER_KINDS
from lightplan.scene.sanity import refuse_impossible


@functools.cache
def numbers(low, high):
    """Round figures, as a maker types them; few bits keep failing examples readable."""
    return st.integers(round(low * 8), round(high * 8)).map(lambda n: n / 8)


@functools.lru_cache(maxsize=None, typed=True)
def among(*values):
    """One of some values."""
    return st.sampled_from(values)


SHARES = numbers(0, 1)
AIMS = st.sampled_from([[0, 0, 0], [100, 50, 300], [0, 0, 2000.5]])
CHANNELS = st.one_of(SHARES, st.lists(SHARES, min_size=3, max_size=3))


def on_dome(radius, elevation_deg, azimuth_deg):
    """A point over the sheet, rounded to 0.1 mm."""
    e, a = math.radians(elevation_deg), math.radians(azimuth_deg)
    x, y = radius * math.cos(e) * math.cos(a), radius * math.cos(e) * math.sin(a)
    return [round(x, 1), round(y, 1), round(radius * math.sin(e), 1)]


@functools.cache
@st.composite
def foils(draw):
    """A foil: glossy, brushed, by constants or holographic."""
    table = {"kind": draw(among(*FOIL_KINDS))}
    sort = draw(among("glossy", "brushed", "bare", "holographic"))
    if sort == "glossy":
        table["roughness"] = draw(among(0.01, 0.05, 0.2))
    elif sort == "brushed":
        table["roughness"] = [0.05, draw(among(0.1, 0.3))]
        table["brush_deg"] = draw(numbers(-180, 180))
    elif sort == "bare":
        table["eta"] = draw(st.lists(numbers(0.125, 3), min_size=3, max_size=3))
        table["k"] = draw(st.lists(numbers(1, 8), min_size=3, max_size=3))
    else:
        table["grating"] = {
            "lines_per_mm": draw(numbers(600, 1300)),
            "direction_deg": draw(numbers(-180, 180)),
            "strength": draw(SHARES),
        }
    if draw(st.booleans()):
        table["relief"] = {
            "depth_mm": draw(numbers(-0.5, 0.5)),
            "flank_mm": draw(numbers(0.125, 1)),
        }
    return table


@functools.cache
@st.composite
def sheets(draw):
    """A sheet from a gift tag to A3."""
    width, height = draw(numbers(20, 420)), draw(numbers(20, 420))
    limit = 0.02 * min(width, height)
    sheet = {"width_mm": width, "height_mm": height, "foil": draw(foils())}
    if draw(st.booleans()):
        sheet["bow_mm"] = round(draw(st.floats(-limit, limit)), 2)
        sheet["bow_deg"] = draw(numbers(-90, 90))
        sheet["wave_mm"] = round(draw(st.floats(0, limit / 4)), 2)
    sheet["paper"] = draw(papers())
    return sheet


@functools.cache
@st.composite
def papers(draw):
    """Matte, coated, wavy or clear stock."""
    paper = {}
    sort = draw(among("matte", "coated", "film"))
    if sort == "film":
        paper["film"] = {"index": draw(numbers(1.25, 1.75))}
        if draw(st.booleans()):
            paper["film"]["under_reflectance"] = draw(CHANNELS)
    else:
        paper["reflectance"] = draw(CHANNELS)
    if sort == "coated":
        paper["coat_index"] = draw(numbers(1.25, 1.75))
    if draw(st.booleans()):
        paper["waviness"] = {
            "slope_deg": draw(numbers(0, 2)),
            "wavelength_mm": draw(numbers(1, 30)),
            "seed": draw(st.integers(0, 9)),
        }
    return paper


@functools.cache
@st.composite
def holders(draw):
    """Fields that say how a thing is held, or none."""
    if draw(st.booleans()):
        return {}
    table = {"held": draw(among(*HOLDER_KINDS))}
    if draw(st.booleans()):
        table |= {"lowest_mm": draw(numbers(0, 100)), "highest_mm": draw(numbers(120, 900))}
    return table


@functools.cache
@st.composite
def cameras(draw):
    """A camera or phone that has the sheet's middle in its picture."""
    camera = {
        "position_mm": on_dome(
            draw(numbers(150, 1500)), draw(numbers(25, 90)), draw(numbers(-180, 180))
        ),
        draw(among("focal_length_mm", "equivalent_focal_length_mm")): draw(among(24.0, 50.0, 85.0)),
        **draw(holders()),
        "locked": draw(st.booleans()),
        "roll_deg": draw(among(0.0, 90.0, -7.0)),
        "has_body": draw(st.booleans()),
    }
    if camera["has_body"] and draw(st.booleans()):
        camera["body"] = {"width_mm": draw(numbers(60, 200)), "lens_offset_mm": [20, -10]}
    if draw(st.booleans()):
        camera["polariser_deg"] = draw(numbers(0, 180))
    if draw(st.booleans()):
        camera["exposure"] = {
            "f_number": draw(numbers(1.5, 22)),
            "time_s": draw(among(0.001, 0.0125, 0.5)),
            "iso": draw(among(100, 400)),
        }
    else:
        camera["exposure"] = {"paper_level": draw(among(0.05, 0.5, 0.9))}
    return camera


@functools.cache
@st.composite
def outputs(draw):
    """A lamp's output by its light or by the power that it draws."""
    if draw(st.booleans()):
        return {"watts": draw(numbers(1, 500)), "lumens_per_watt": [40, draw(numbers(41, 130))]}
    unit = draw(among("lm", "cd/m2", "cd", "lx at 1 m"))
    return {"output": {"value": draw(numbers(1, 5000)), "unit": unit}}


@functools.cache
@st.composite
def lamps(draw, name):
    """A lamp high enough that no corner is below the table."""
    shape = draw(among("rectangle", "disk", "bulb"))
    width, height = draw(numbers(20, 500)), draw(numbers(20, 500))
    place = on_dome(draw(numbers(500, 1600)), draw(numbers(5, 88)), draw(numbers(-180, 180)))
    place[2] = max(place[2], math.ceil(math.hypot(width, max(height, width)) / 2))
    table = {
        "name": name,
        "shape": shape,
        "position_mm": place,
        "width_mm": width,
        "height_mm": height,
        "aim_mm": draw(AIMS),
        **draw(outputs()),
        **draw(holders()),
        "trim_stops": draw(numbers(-6, 1)),
        "on": draw(st.booleans()),
    }
    if draw(st.booleans()):
        table["colour_k"] = draw(among(2700, 5500, 9000))
    return table


@functools.cache
@st.composite
def cards(draw, name):
    """A board or diffuser high enough that no corner is below the table."""
    width, height = draw(numbers(40, 800)), draw(numbers(40, 600))
    place = on_dome(draw(numbers(200, 900)), draw(numbers(10, 88)), draw(numbers(-180, 180)))
    place[2] = max(place[2], math.ceil(math.hypot(width, height) / 2))
    table = {
        "name": name,
        "position_mm": place,
        "width_mm": width,
        "height_mm": height,
        "finish": draw(among("white", "grey", "black", "silver")),
        "roll_deg": draw(numbers(-45, 45)),
    }
    if draw(st.booleans()):
        table["transmittance"] = draw(numbers(0.125, 0.75))
    elif draw(st.booleans()):
        table["reflectance"] = draw(CHANNELS)
        table["back_finish"] = draw(among("black", "white"))
    if draw(st.booleans()):
        table["hole_mm"] = round(min(width, height) * 0.4, 1)
    return table


@st.composite
def props(draw, name, sheet):
    """A post or box on the table beside the sheet."""
    width, depth = draw(numbers(5, 120)), draw(numbers(5, 120))
    shape, has_depth = draw(among("post", "box")), draw(st.booleans())
    if shape == "post" or not has_depth:
        depth = width  # as the file's reader takes it
    reach = math.hypot(sheet["width_mm"], sheet["height_mm"]) / 2 + math.hypot(width, depth) / 2
    x, y, _ = on_dome(reach + draw(numbers(1, 300)), 0, draw(numbers(-180, 180)))
    table = {
        "name": name,
        "shape": shape,
        "position_mm": [x, y, draw(among(0, 0, 35.5))],
        "width_mm": width,
        "height_mm": draw(numbers(5, 900)),
        "turn_deg": draw(numbers(-180, 180)),
    }
    if shape == "box" and has_depth:
        table["depth_mm"] = depth
    if draw(st.booleans()):
        table["reflectance"] = draw(CHANNELS)
    return table


@functools.cache
@st.composite
def rooms(draw):
    """A room, dark or not."""
    room = {"ambient_cd_m2": draw(CHANNELS), "has_table": draw(st.booleans())}
    if draw(st.booleans()):
        room["table"] = {"reflectance": draw(CHANNELS)}
    if draw(st.booleans()):
        room["walls"] = {"ceiling_mm": 2500, "wall_reflectance": draw(CHANNELS)}
    return room


def rig_documents(most_lamps=3, most_cards=3, most_props=2):
    """The content of a valid rig file, the few left out that nobody could build."""
    return _documents(most_lamps, most_cards, most_props).filter(_can_be_built)


def _can_be_built(document):
    try:
        refuse_impossible(rig_of(document))
    except RigError:
        return False
    return True


@st.composite
def _documents(draw, most_lamps, most_cards, most_props):
    sheet = draw(sheets())
    look = draw(among("bright field", "gradient", "dark field", "split"))
    document = {
        "format": FORMAT,
        "title": draw(among("Tag", "Étiquette dorée", "a # b = \"c\" \\ 'd'")),
        "look": {"kind": "rainbow" if "grating" in sheet["foil"] else look},
        "sheet": sheet,
        "camera": draw(cameras()),
        "lamps": [draw(lamps(f"lamp {i}")) for i in range(draw(st.integers(0, most_lamps)))],
        "cards": [draw(cards(f"card.{i}")) for i in range(draw(st.integers(0, most_cards)))],
        "props": [draw(props(f"prop {i}", sheet)) for i in range(draw(st.integers(0, most_props)))],
        "room": draw(rooms()),
    }
    if draw(st.integers(0, 4)) == 0:
        foot = math.ceil(1.1 * math.hypot(sheet["width_mm"], sheet["height_mm"]))
        document["shells"] = [
            {
                "name": "shell",
                "shape": draw(among("cone", "tent")),
                "foot_width_mm": foot,
                "foot_depth_mm": foot,
                "height_mm": draw(numbers(100, 500)),
            }
        ]
    if document["lamps"]:
        document["freedoms"] = [
            {"element": "lamp 0", "dimension": d, "low": -500.0, "high": 500.0}
            for d in draw(st.sets(among("x_mm", "aim_y_mm", "width_mm")))
        ]
    return document


def rig_of(document):
    """The rig of a document without pictures."""
    return build_rig(RigForm.model_validate(document), Path())


def rigs(most_lamps=3, most_cards=3, most_props=2):
    """Valid rigs."""
    return rig_documents(most_lamps=most_lamps, most_cards=most_cards, most_props=most_props).map(
        rig_of
    )


def text_of(document):
    """A document as TOML."""
    return tomlkit.dumps(document)


def leaves(value, path=()):
    """Every place in a document that holds a plain value."""
    if isinstance(value, dict):
        return [leaf for name, v in value.items() for leaf in leaves(v, (*path, name))]
    if isinstance(value, list):
        return [leaf for i, v in enumerate(value) for leaf in leaves(v, (*path, i))]
    return [path]


def replaced(document, path, value):
    """A copy of a document with another value at a place."""
    changed = copy.deepcopy(document)
    holder = changed
    for step in path[:-1]:
        holder = holder[step]
    holder[path[-1]] = value
    return changed


def _is_number(document, path):
    value = document
    for step in path:
        value = value[step]
    return isinstance(value, int | float) and not isinstance(value, bool)


_SMALL = rig_documents(most_lamps=1, most_cards=1, most_props=1)


@st.composite
def faulty_documents(draw):
    """A valid document with one fault put in, and what the fault is."""
    document = draw(_SMALL)  # a fault shows with one thing of each kind
    fault = draw(among(*sorted(_FAULTS)))
    return _FAULTS[fault](draw, document), fault


def _number_becomes(value):
    def fault(draw, document):
        places = [p for p in leaves(document) if p != ("format",) and _is_number(document, p)]
        return replaced(document, draw(st.sampled_from(places)), value)

    return fault


def _becomes(path, value):
    return lambda draw, document: replaced(document, path, value)


def _without(path):
    def fault(draw, document):
        changed = copy.deepcopy(document)
        holder = changed
        for step in path[:-1]:
            holder = holder[step]
        del holder[path[-1]]
        return changed

    return fault


def _unknown(draw, document):
    table = draw(among((), ("sheet",), ("camera",), ("room",), ("look",)))
    name = draw(st.text(min_size=1, max_size=30).map(lambda t: f"x{t}"))
    return replaced(document, (*table, name), draw(st.sampled_from([1, "a", [1], {"b": 2}])))


def _added_prop(**fields):
    def fault(draw, document):
        prop = {"name": "added", "position_mm": [900, 0, 0], **fields}
        return replaced(document, ("props",), [*document["props"], prop])

    return fault


def _added_lamp(**fields):
    def fault(draw, document):
        lamp = {"name": "added", "position_mm": [500, 0, 500], "width_mm": 100, **fields}
        return replaced(document, ("lamps",), [*document["lamps"], lamp])

    return fault


_FAULTS = {
    "not a number": _number_becomes(math.nan),
    "without end": _number_becomes(math.inf),
    "text for a number": _number_becomes("12 cm"),
    "true for a number": _number_becomes(True),
    "huge": _number_becomes(1e300),
    "list for a number": _number_becomes([[1]]),
    "negative width": _becomes(("sheet", "width_mm"), -148),
    "no height": _becomes(("sheet", "height_mm"), 0),
    "format 99": _becomes(("format",), 99),
    "format text": _becomes(("format",), "1"),
    "no format": _without(("format",)),
    "no title": _without(("title",)),
    "no sheet": _without(("sheet",)),
    "no camera": _without(("camera",)),
    "camera under the table": _becomes(("camera", "position_mm"), [0, -200, -300]),
    "camera looks away": _becomes(("camera", "aim_mm"), [0, 0, 9000]),
    "missing artwork": _becomes(("sheet", "artwork"), "no-such-file.png"),
    "unknown field": _unknown,
    "unknown look": _becomes(("look", "kind"), "bright feild"),
    "unknown foil": _becomes(("sheet", "foil", "kind"), "unobtainium foil"),
    "lamp in the sheet": _added_lamp(position_mm=[0, 0, 1], aim_mm=[0, 0, 9]),
    "lamp through the sheet": _added_lamp(position_mm=[0, 3, 20], aim_mm=[0, -900, 20]),
    "nameless lamp": _added_lamp(name=""),
    "lamp called camera": _added_lamp(name="camera"),
    "lamp aimed at itself": _added_lamp(aim_mm=[500, 0, 500]),
    "post on the sheet": _added_prop(position_mm=[0, 0, 0]),
    "box through the table": _added_prop(shape="box", position_mm=[0, 0, -300]),
    "post that is not round": _added_prop(depth_mm=31),
    "prop called camera": _added_prop(name="camera"),
    "mesh without a file": _added_prop(shape="mesh"),
    "missing mesh": _added_prop(shape="mesh", file="no-such-file.stl"),
    "missing ies": _added_lamp(ies="no-such-file.ies"),
}
