"""The documents say what the program does: examples are run, options and names are complete."""

from __future__ import annotations

import dataclasses
import doctest
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
import typer

import lightplan
from lightplan import measures, scene
from lightplan.cli.app import app
from lightplan.light import Detail, LampLayers, Layers
from lightplan.light.exposure import Settings
from lightplan.planning.result import PlannedMove, Robustness, Tolerance
from lightplan.rigfiles import list_rigs
from lightplan.scene.clearance import Limit
from lightplan.shots.results import PhotoScore, Placed
from lightplan.tasks.predict import predict

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
README = (ROOT / "README.md").read_text("utf-8")
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCS.glob("*.md"))]
COMMANDS = (DOCS / "commands.md").read_text("utf-8")
FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
INSTALL = "python3 -m venv .venv && .venv/bin/pip install --quiet"
LOOKS_MEASURES = ("foil_to_paper_stops", "foil_to_white_stops", "foil_evenness_stops")
DEMO = f"{INSTALL} . && .venv/bin/lightplan demo"
TESTS = (
    f"{INSTALL} -e '.[test,cluster]' "
    "&& .venv/bin/python -m pytest -n auto --dist loadfile -m 'not alone' "
    "&& .venv/bin/python -m pytest -m alone tests"
)


def leaves(group=None, names=()):
    """Every command with its words: ("rigs", "list") -> command."""
    group = typer.main.get_command(app) if group is None else group
    found = {}
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            found |= leaves(command, (*names, name))
        else:
            found[(*names, name)] = command
    return found


LEAVES = leaves()


def sections():
    """Heading of docs/commands.md -> its text."""
    parts = re.split(r"^## ", COMMANDS, flags=re.MULTILINE)[1:]
    return {part.splitlines()[0].strip("` "): part for part in parts}


def options(command):
    return {o for p in command.params for o in p.opts if o.startswith("--")} - {"--help"}


def shell_lines(text):
    """Lines that call lightplan, in blocks and between backticks."""
    without_blocks = FENCE.sub("", text)
    lines = [line for _, body in FENCE.findall(text) for line in body.splitlines()]
    lines += re.findall(r"`(lightplan [^`]+)`", without_blocks)
    return [line.strip() for line in lines if line.strip().startswith("lightplan ")]


def parse(line):
    """Parse a command line without running it; raises what the program would say."""
    words = shlex.split(line.split("  #")[0])[1:]
    if words[0].startswith("--"):
        assert words in (["--help"], ["--version"]), line
        return
    depth = 2 if tuple(words[:2]) in LEAVES else 1
    command = LEAVES[tuple(words[:depth])]
    command.make_context(" ".join(words[:depth]), words[depth:])


# -- README


def test_the_readme_begins_with_the_job_in_one_paragraph():
    title, paragraph, *_ = README.split("\n\n")
    assert title == "# lightplan"
    assert paragraph.startswith("lightplan helps a maker")


def test_the_readme_has_two_commands_and_no_other():
    assert [body.strip() for _, body in FENCE.findall(README)] == [DEMO, TESTS]


def test_one_line_of_the_readme_is_the_test_command_of_the_check_script():
    found = [x for x in README.splitlines() if re.match(r"python3 -m venv .*pytest.*$", x)]
    assert found == [TESTS]


def test_the_readme_is_short():
    assert len(README.splitlines()) < 120


def test_the_readme_names_every_command():
    table = set(re.findall(r"^\| `lightplan (\w+)` \|", README, re.MULTILINE))
    assert table == {words[0] for words in LEAVES}


# -- links and examples


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_lead_somewhere(page):
    text = page.read_text("utf-8")
    targets = [t for t in re.findall(r"\]\(([^)]+)\)", FENCE.sub("", text)) if "://" not in t]
    missing = [t for t in targets if not (page.parent / t.split("#")[0]).exists()]
    assert missing == []


def test_the_developers_guide_names_files_that_are_there():
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    named = set(re.findall(r"`(?:python )?([\w./-]+/[\w./-]*\w)[^`]*`", text))
    named -= {name for name in named if name.startswith(".venv")}
    assert len(named) > 30
    missing = [n for n in named if not ((ROOT / n).exists() or (ROOT / "lightplan" / n).exists())]
    assert missing == []


def test_every_page_is_linked_from_the_readme():
    linked = set(re.findall(r"\]\(docs/([\w-]+\.md)\)", README))
    assert linked == {page.name for page in DOCS.glob("*.md")}


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_python_examples_give_what_they_say(page):
    blocks = [body for kind, body in FENCE.findall(page.read_text("utf-8")) if kind == "python"]
    names: dict[str, object] = {}
    for number, body in enumerate(blocks):
        if ">>>" not in body:
            exec(compile(body, f"{page.name}, block {number}", "exec"), names)
            continue
        test = doctest.DocTestParser().get_doctest(body, names, f"{page.name}:{number}", None, 0)
        told: list[str] = []
        runner = doctest.DocTestRunner(verbose=False)
        runner.run(test, out=told.append, clear_globs=False)
        names = test.globs
        assert runner.failures == 0, "".join(told)


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_command_lines_are_understood(page):
    for line in shell_lines(page.read_text("utf-8")):
        words = tuple(line.split()[1:])
        if words not in LEAVES and words not in {leaf[:1] for leaf in LEAVES}:  # a mere mention
            parse(line)


def test_a_wrong_command_line_would_be_noticed():
    for line in ("lightplan predict x --bogus y", "lightplan predict", "lightplan rigs list me"):
        with pytest.raises(Exception, match=r"No such option|Missing|unexpected extra"):
            parse(line)
    with pytest.raises(KeyError):
        parse("lightplan paint x")


# -- commands.md


def test_every_command_has_a_section_and_no_section_is_left_over():
    assert set(sections()) == {"lightplan " + " ".join(words) for words in LEAVES}


@pytest.mark.parametrize("words", LEAVES, ids=" ".join)
def test_every_option_is_documented_and_no_other(words):
    text = sections()["lightplan " + " ".join(words)]
    rows = set(re.findall(r"^\| `(--[\w-]+)", text, re.MULTILINE))
    common = {"--json"}  # explained once for all
    assert rows | common == options(LEAVES[words]) | common


@pytest.mark.parametrize("words", LEAVES, ids=" ".join)
def test_every_argument_is_documented(words):
    text = sections()["lightplan " + " ".join(words)]
    usage = re.search(r"^    lightplan .*$", text, re.MULTILINE)
    assert usage is not None
    for parameter in LEAVES[words].params:
        if parameter.param_type_name == "argument":
            name = parameter.metavar or parameter.name.upper()
            assert name in usage.group()


@pytest.mark.parametrize("words", LEAVES, ids=" ".join)
def test_every_option_is_explained_by_the_program_with_an_example(words):
    command = LEAVES[words]
    assert "Example: lightplan " + " ".join(words) in (command.help or "")
    for parameter in command.params:
        assert getattr(parameter, "help", None), parameter.name


@pytest.mark.parametrize(
    "line", [x for _, body in FENCE.findall(COMMANDS) for x in body.splitlines() if " rigs " in x]
)
def test_quick_examples_run(line, tmp_path):
    words = shlex.split(line)[1:]
    start = [sys.executable, "-m", "lightplan"]
    here = {"PYTHONPATH": str(ROOT), "LIGHTPLAN_HOME": str(tmp_path / "home")}
    env_path = os.environ | here
    if "mine.toml" in words and "copy" not in words:
        copy = [*start, "rigs", "copy", "silver-bookplate-bright", "mine.toml"]
        subprocess.run(copy, cwd=tmp_path, env=env_path, check=True, capture_output=True)
    done = subprocess.run(
        [*start, *words], cwd=tmp_path, env=env_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip()


# -- from Python


def test_every_public_name_of_the_package_is_explained():
    text = (DOCS / "python.md").read_text("utf-8")
    missing = [name for name in lightplan.__all__ if not re.search(rf"`{name}[(`]", text)]
    assert missing == []


# -- the glossary


def public_names():
    """Fields of everything that a maker's program may hold in hand."""
    classes = [vars(scene)[name] for name in scene.__all__]
    classes += [vars(measures)[name] for name in measures.__all__]
    classes += [getattr(lightplan, name) for name in lightplan.__all__]
    classes += [Layers, LampLayers, Settings, Limit, PhotoScore, Placed]
    classes += [PlannedMove, Robustness, Tolerance]
    kept = [c for c in classes if isinstance(c, type) and dataclasses.is_dataclass(c)]
    return {field.name for c in kept for field in dataclasses.fields(c)}


def glossary_rows():
    text = (DOCS / "glossary.md").read_text("utf-8")
    return [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in text.splitlines()
        if line.startswith("| ")
    ]


def test_every_public_name_is_in_the_glossary():
    # Words that need no explanation beyond the table of words, or are explained there.
    plain = {
        "artwork",
        "camera",
        "cards",
        "clipped",
        "f_number",
        "foil",
        "grating",
        "hole",
        "lamps",
        "look",
        "paper",
        "reflectance",
        "rig",
        "room",
        "roughness",
        "exposure",
        "sheet",
        "transmittance",
        "uncertainty",
        "verdict",
    }
    named = {n for row in glossary_rows() for n in re.findall(r"`(\w+)`", row[0])}
    assert public_names() - plain - named == set()
    assert not plain & named


def test_no_name_is_explained_twice():
    names = [
        name
        for row in glossary_rows()
        for name in (re.findall(r"`(\w+)`", row[0]) or [row[0]])
        if name not in ("word", "quantity", "name")
    ]
    assert sorted(set(names)) == sorted(names)


# -- the light model's page


def test_the_counts_in_the_light_model_are_those_in_use():
    text = (DOCS / "light-model.md").read_text("utf-8")
    rows = dict(re.findall(r"^\| `(\w+)` \| ([^|]+) \|", text, re.MULTILINE))
    fine, quick = Detail(), Detail.quick()
    for name, value in rows.items():
        figures = [float(n) for n in re.findall(r"\d+(?:\.\d+)?", value)]
        assert figures == [float(getattr(fine, name)), float(getattr(quick, name))], name
    assert {"cells", "texels", "lamp_spots", "penumbra_spots", "foil_rays"} <= set(rows)


def rows_after(page, heading):
    """Cells of the table whose heading begins so."""
    lines = (DOCS / page).read_text("utf-8").splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith(heading))
    found = []
    for line in lines[start + 2 :]:
        if not line.startswith("|"):
            break
        found.append([cell.strip() for cell in line.strip("|").split("|")])
    return found


def test_the_table_of_agreement_is_about_stored_scenes_and_keeps_the_bound():
    # The bound itself is checked by tests/light/test_pathtraced.py.
    rows = rows_after("light-model.md", "| scene |")
    stored = {p.stem for p in (ROOT / "tests" / "reference" / "pathtraced").glob("*.npz")}
    assert {row[0] for row in rows} <= stored
    assert len(rows) >= 24
    assert all(float(error) < 1.0 for row in rows for error in row[1:3])


# -- the looks


def test_every_preset_is_in_the_table_of_looks_and_every_look_has_its_section():
    rows = rows_after("looks.md", "| rig | look")
    shipped = [(f"`{r.name}`", r.look, r.foil) for r in list_rigs() if r.shipped]
    assert [tuple(row[:3]) for row in rows] == shipped
    assert {row[1] for row in rows} <= set(scene.LOOK_KINDS)
    text = (DOCS / "looks.md").read_text("utf-8")
    headings = [line[3:].lower() for line in text.splitlines() if line.startswith("## ")]
    assert all(any(line.startswith(kind) for line in headings) for kind in scene.LOOK_KINDS)


@pytest.mark.parametrize("name", ["gold-card-above", "rose-gold-tag-dark"])
def test_the_table_of_looks_says_what_a_prediction_gives(name):
    row = next(r for r in rows_after("looks.md", "| rig | look") if r[0] == f"`{name}`")
    found = predict(name, explain=False)
    assert found.judgement.verdict == row[4]
    assert found.judgement.score == pytest.approx(float(row[3]), abs=1.0)
    for cell, measure in zip(row[5:], LOOKS_MEASURES, strict=True):
        assert found.measures[measure].value == pytest.approx(float(cell), abs=0.11)
