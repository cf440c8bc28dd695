"""What is too large, too long or too many is refused with its reason, everything at once."""

import json
import time

import jsonschema
import pytest

from lightplan.errors import BadInput, ManyFaults
from lightplan.light.cost import MOST_BYTES, memory_needed
from lightplan.rigfiles import load_rig
from lightplan.rigfiles.bounds import beyond, bound_of
from lightplan.rigfiles.load import parse
from lightplan.rigfiles.schema import RigForm, json_schema

GOOD = """format = 2
title = "Plant tag"

[sheet]
width_mm = 90
height_mm = 50

[camera]
position_mm = [0, -300, 400]

[[lamps]]
name = "key"
position_mm = [300, 0, 500]
"""


@pytest.fixture
def check(tmp_path):
    """Load a rig file of the given text."""

    def load(text):
        path = tmp_path / "rig.toml"
        path.write_text(text, "utf-8")
        return load_rig(path)

    return load


def cards(count):
    return "".join(
        f'[[cards]]\nname = "c{i}"\nposition_mm = [{300 + i}, 300, {300 + i}]\n'
        "width_mm = 100\nheight_mm = 100\n"
        for i in range(count)
    )


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("width_mm = 90", "width_mm = 1e9", 5, "from 5 to 5000"),
        ('title = "Plant tag"', f'title = "{"x" * 400_000}"', 2, "at most 200 characters"),
        (
            "position_mm = [0, -300, 400]",
            "position_mm = [0, -300, 400]\nfocal_length_mm = 1e-9",
            10,
            "from 1 to 3000",
        ),
        ("[camera]", "[room.walls]\nwidth_mm = 1e9\n[camera]", 9, "100 m"),
        (
            "[[lamps]]\n",
            "".join(f'[[lamps]]\nname = "{i}"\nposition_mm = [0, 0, 9]\n' for i in range(8000))
            + "[[lamps]]\n",
            11,
            "at most 24",
        ),
    ],
    ids=["sheet", "title", "focal length", "walls", "lamps"],
)
def test_one_thing_beyond_its_bound(check, old, new, line, says):
    assert old in GOOD
    with pytest.raises(BadInput, match=says) as caught:
        check(GOOD.replace(old, new, 1))
    assert caught.value.line == line
    assert str(caught.value).count("\n") == 0
    assert " as " in str(caught.value)  # the reason


def test_all_faults_are_told_in_the_order_of_the_file(check):
    text = GOOD.replace("width_mm = 90", "widht_mm = 90").replace(
        "height_mm = 50", "height_mm = -1"
    )
    text += 'trim_stops = 40\nwidth_mm = "wide"\n[lamps.output]\nvalue = 9\nunit = "candles"\n'
    with pytest.raises(ManyFaults) as caught:
        check(text)
    faults = caught.value.faults
    assert [fault.line for fault in faults] == [5, 6, 14, 15, 18]
    assert [fault.field.rpartition(".")[2] for fault in faults] == [
        "widht_mm",
        "height_mm",
        "trim_stops",
        "width_mm",
        "unit",
    ]
    for sentence, fault in zip(str(caught.value).split("\n"), faults, strict=True):
        assert sentence.startswith(f"{caught.value.file}: line {fault.line}: ")
        assert sentence.endswith(".")


def test_so_are_those_that_only_the_scene_sees(check):
    text = GOOD + 'ies = "none.ies"\n' + cards(1).replace("300, 300, 300", "300, 0, -40")
    text += '[[cards]]\nname = "d"\nposition_mm = [0, 9, 9]\nwidth_mm = 9\nheight_mm = 9\n'
    text = text.replace("height_mm = 50", 'height_mm = 50\nartwork = "none.png"')
    with pytest.raises(ManyFaults) as caught:
        check(text)
    assert [fault.line for fault in caught.value.faults] == [7, 15]
    with pytest.raises(BadInput, match="above the table") as caught:
        check(text.replace('artwork = "none.png"', "").replace('ies = "none.ies"', ""))
    assert caught.value.faults[0].line is not None


def test_json_tells_them_apart(lightplan, tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(GOOD.replace("90", "9000").replace("= 50", "= 0"), "utf-8")
    said = lightplan("rigs", "check", path, "--json")
    assert said.code == 2
    assert [fault["line"] for fault in said.document()["faults"]] == [5, 6]
    assert said.err.count("\n") == 2


@pytest.mark.parametrize(
    ("line", "field", "says"),
    [
        ("width_mm = 50cm", "width_mm", r"write 500\."),
        ("width_mm = 2.5 in", "width_mm", r"write 63\.5\."),
        ("width_mm = 4,13", "width_mm", r"write 4\.13\."),
        ("position_mm = [4, 13, 8", "position_mm", r"close it with \]"),
        ("position_mm = 4, 13]", "position_mm", r"open it with \["),
        ("finish = black", "finish", r'write "black"'),
        ('finish = "black', "finish", "close the quotes"),
        ("width_mm =", "width_mm", "write a value"),
        ("width_mm = = 3", "content", "TOML text"),
    ],
)
def test_slips_of_the_pen_are_told_with_their_line(check, line, field, says):
    with pytest.raises(BadInput, match=says) as caught:
        check(f"format = 2\ntitle = 'x'\n{line}\nlast = 1\n")
    assert (caught.value.line, caught.value.field) == (3, field)


def test_names_nested_without_end_take_no_time(check):
    begun = time.process_time()
    for text in (
        "[" + "a." * 100_000 + "a]",
        "a." * 100_000 + "a = 1",
        "x = {" + "a." * 9999 + "a=1}",
    ):
        with pytest.raises(BadInput, match=r"line 2: .*more than 16 deep") as caught:
            check("# 'mine\n" + text)
        assert caught.value.line == 2
    assert time.process_time() - begun < 20


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("[" * 5000 + "]" * 5000, "brackets nested too deep"),
        ("{a=" * 5000 + "1" + "}" * 5000, "brackets nested too deep"),
        ("9" * 5000, "4300 digits"),
    ],
)
def test_what_cannot_be_read_is_told_with_its_line(check, value, says):
    with pytest.raises(BadInput, match=says) as caught:
        check(f"format = 2\nnotes = '''\n[[[\n'''\na = [[1]]\nx = {value}\nlast = [[1]]\n")
    assert caught.value.line == 6


def test_a_mark_before_the_text_does_no_harm(check):
    assert check("\ufeff" + GOOD).rig.title == "Plant tag"


def test_what_would_not_fit_into_memory_is_told_by_check_and_predict(lightplan, tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(GOOD + cards(30), "utf-8")
    for words in (("rigs", "check", path), ("predict", path, "--out", tmp_path / "p")):
        said = lightplan(*words)
        assert said.code == 2
        assert "30 of them, which take about" in said.err
    assert not (tmp_path / "p").exists()


def test_memory_grows_with_the_square_of_the_cells(check):
    few, many = (memory_needed(check(GOOD + cards(n)).rig) for n in (5, 10))
    assert few < many < MOST_BYTES
    assert memory_needed(load_rig("silver-bookplate-bright").rig) < MOST_BYTES // 2


def fields_of(form, seen=()):
    """Every field of every table of the file, with its part of the JSON Schema."""
    tables = {**json_schema()["$defs"], "RigForm": json_schema()}
    return [
        (name, field, about)
        for name, table in tables.items()
        for field, about in table["properties"].items()
    ]


@pytest.mark.parametrize(("table", "field", "about"), fields_of(RigForm))
def test_every_number_text_and_list_has_a_bound(table, field, about):
    text = json.dumps(about)
    if '"$ref"' in text and '"array"' not in text:
        return  # a table
    for kind, limit in (("number", "maximum"), ("integer", "maximum"), ("array", "maxItems")):
        if f'"type": "{kind}"' in text:
            assert limit in text
    if '"type": "string"' in text and "enum" not in text and "const" not in text:
        assert "maxLength" in text


def test_the_schema_refuses_what_is_beyond_and_takes_the_rest():
    validator = jsonschema.Draft202012Validator(json_schema())
    document = parse(GOOD)
    validator.validate(document)
    for path, value in (
        ("title", "x" * 201),
        ("lamps", [document["lamps"][0]] * 25),
        ("sheet", {"width_mm": 4, "height_mm": 50}),
    ):
        assert not validator.is_valid(document | {path: value})
        assert beyond(document | {path: value}, RigForm)
    assert bound_of(RigForm, "sheet") is None
