"""How checks are run: the linters, the types and the layers are tests like any other."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # no package

import code_size

ROOT = Path(__file__).parents[2]
BESIDE_PYTHON = Path(sys.executable).parent

MOST_LINES = 400
# Loops over rays and lines of sight whose state is handed from line to line.
LOOPS = {
    "light/compiled/glint_loops.py facets",
    "light/compiled/glint_loops.py glints",
    "light/compiled/half_seen.py _look_at_cells",
    "light/compiled/outlines.py _see",
}

# mypy as a program of one run: to look for garbage took a fifth of its time (1.3 GB without).
KEEPING_GARBAGE = """
import gc
gc.set_threshold(0)
gc.set_threshold = lambda *_: None
from mypy.__main__ import console_entry
console_entry()
"""

HELP_S = 0.4
HELP_RUNS = 25  # as many at most: a machine at work is slow now and then
HELP_TO_TYPER = 3.0  # --help may take this many times what importing typer alone takes
HEAVY = (
    "numpy",
    "scipy",
    "cv2",
    "pyvista",
    "vtk",
    "trimesh",
    "matplotlib",
    "PIL",
    "pydantic",
    "rawpy",
    "colour",
    "starlette",
    "rich.console",
)

# What must not be written anywhere: places on one machine, papers that are not in the
# repository, addresses of package registries. Put together here so that this file is clean.
NEIGHBOUR = "a folder outside the repository"  # tests may name it, if they skip without it
FORBIDDEN = {
    "a place on one machine": r"(?<![\w.~-])/(?:wo" + r"rk|ho" + r"me|ro" + r"ot|Us" + r"ers)/\w",
    "another place on one machine": r"(?<![\w.])/op" + r"t/\w",
    "a paper outside the repository": r"\b(?:DES" + r"IGN|TRA" + r"DE|STY" + r"LE)\.md\b",
    "a package registry": r"\b(?:pypi\.org|files\.pythonhosted|registry\.npmjs|crates\.io)\b",
    NEIGHBOUR: r"\.\./sha" + r"red",
}
TEXTS = {"", ".py", ".md", ".toml", ".json", ".txt", ".svg", ".html", ".js", ".css"}


def run(*command: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(part) for part in command],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=570,
        check=False,
    )


def assert_passes(*command: str | Path) -> None:
    done = run(*command)
    assert done.returncode == 0, f"{done.stdout}\n{done.stderr}"


def texts() -> list[Path]:
    """Every text file of the repository itself."""
    folders = ("lightplan", "tests", "docs", "rigs", ".ci")
    found = [p for p in ROOT.iterdir() if p.is_file() and p.suffix in TEXTS]
    for folder in folders:
        found += [p for p in (ROOT / folder).rglob("*") if p.is_file() and p.suffix in TEXTS]
    return [p for p in found if "__pycache__" not in p.parts and not p.name.startswith(".git")]


def test_ruff_finds_no_fault():
    assert_passes(sys.executable, "-m", "ruff", "check", ".")


def test_the_code_is_formatted():
    assert_passes(sys.executable, "-m", "ruff", "format", "--check", ".")


@pytest.mark.slow
def test_the_types_hold_strictly():
    # A cache of its own: one that another run writes to at the same time gives false alarms.
    assert_passes(sys.executable, "-c", KEEPING_GARBAGE, "--cache-dir", ".mypy_cache/tests")


def test_each_layer_imports_only_from_below():
    assert_passes(BESIDE_PYTHON / "lint-imports")


def test_modules_are_short():
    assert [name for name, lines in code_size.modules().items() if lines > MOST_LINES] == []


def test_most_modules_are_much_shorter():
    lines = sorted(code_size.modules().values())
    assert lines[len(lines) // 2] <= 130
    assert lines[9 * len(lines) // 10] <= 300


def test_bodies_of_functions_are_short():
    found = [body for body in code_size.bodies() if body.lines > body.most]
    assert {f"{body.module} {body.name}" for body in found} == LOOPS


def test_nothing_belongs_to_one_machine():
    found = []
    for path in texts():
        text = path.read_text("utf-8")
        for what, pattern in FORBIDDEN.items():
            if what == NEIGHBOUR and "tests" in path.parts:
                continue
            found += [
                f"{path.relative_to(ROOT)}: {what}: {match.group()}"
                for match in re.finditer(pattern, text)
            ]
    assert found == []


def test_the_forbidden_words_would_be_found():
    examples = {
        "a place on one machine": "see " + "/ho" + "me/ann/x.py",
        "another place on one machine": "run " + "/op" + "t/x/bin/python",
        "a paper outside the repository": "as in DES" + "IGN.md",
        "a package registry": "https://pyp" + "i.org/simple",
        NEIGHBOUR: "open ../sha" + "red/x",
    }
    assert set(examples) == set(FORBIDDEN)
    for what, text in examples.items():
        assert re.search(FORBIDDEN[what], text), what
    assert not any(re.search(p, "rigs/artwork/home.png") for p in FORBIDDEN.values())


def seconds(*arguments: str) -> float:
    began = time.perf_counter()
    done = run(sys.executable, *arguments)
    taken = time.perf_counter() - began
    assert done.returncode == 0, done.stderr
    return taken


@pytest.mark.alone
def test_help_answers_at_once():
    # The least of several runs is what the program itself takes; other work only adds to it.
    best = float("inf")
    for turn in range(HELP_RUNS):
        best = min(best, seconds("-m", "lightplan", "--help"))
        if turn >= 4 and best < HELP_S:
            break
    assert best < HELP_S


@pytest.mark.alone
def test_help_takes_little_more_than_the_library_it_is_made_with():
    pairs = [
        (seconds("-m", "lightplan", "--help"), seconds("-c", "import typer")) for _ in range(5)
    ]
    ours, theirs = (min(values) for values in zip(*pairs, strict=True))
    assert ours < HELP_TO_TYPER * theirs


def test_help_loads_nothing_heavy():
    code = (
        "import sys\n"
        "from lightplan.cli.app import app\n"
        "try:\n    app(['--help'])\nexcept SystemExit as left:\n    assert left.code in (0, None)\n"
        f"print('LOADED', sorted(set(sys.modules) & set({HEAVY!r})))\n"
    )
    done = run(sys.executable, "-c", code)
    assert done.returncode == 0, done.stderr
    assert done.stdout.rstrip().endswith("LOADED []"), done.stdout.splitlines()[-1]


def test_what_many_processes_begin_with_loads_no_scipy():
    # Each process of a batch, of a search and of the page would first work at that for 0.3 s.
    code = (
        "import sys, lightplan.tasks.score, lightplan.tasks.advise, lightplan.planning.helper\n"
        "print(sorted(name for name in sys.modules if name.partition('.')[0] == 'scipy'))"
    )
    done = run(sys.executable, "-c", code)
    assert (done.returncode, done.stdout.strip()) == (0, "[]"), done.stderr + done.stdout


@pytest.mark.skipif(os.name != "posix", reason="looks at the bits of a POSIX file system")
def test_the_check_script_can_be_run():
    assert os.access(ROOT / ".ci" / "run", os.X_OK)


def test_no_two_rooms_hold_a_file_or_a_class_of_one_name():
    # A name that stands twice says nothing of either: a stranger opens the wrong one.
    files: dict[str, list[str]] = {}
    classes: dict[str, list[str]] = {}
    for path in sorted((ROOT / "lightplan").rglob("*.py")):
        if path.name not in {"__init__.py", "__main__.py"}:
            files.setdefault(path.name, []).append(str(path))
        for name in re.findall(r"^class (\w+)", path.read_text("utf-8"), re.MULTILINE):
            classes.setdefault(name, []).append(str(path))
    assert {name: at for name, at in (files | classes).items() if len(at) > 1} == {}
