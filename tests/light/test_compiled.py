"""Compiled loops against plain references of the same laws."""

import dataclasses
import subprocess
import sys

import numpy as np
import pytest

from lightplan import compiled as compiling
from lightplan.geometry.mesh import Mesh
from lightplan.geometry.shapes import Ball, Cone, Flat, Opening
from lightplan.light.visibility import Visibility
from lightplan.scene.surfaces import Surface

WEDGE = Mesh(
    np.add([[0, 0, 0], [90, 0, 0], [0, 90, 0], [0, 0, 90]], [-30.0, 20, 40]),
    np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]),
)


def turned(random, **more):
    axes, _ = np.linalg.qr(random.standard_normal((3, 3)))
    right, up = (tuple(float(v) for v in axis) for axis in axes.T[:2])
    centre = tuple(float(v) for v in random.uniform(-150, 150, 3))
    return Flat(centre, right, up, *random.uniform(20, 120, 2), **more)


def scene(random, flats=12):
    shapes = [turned(random) for _ in range(flats - 3)]
    shapes += [turned(random, is_round=True), turned(random, openings=(Opening(5, -3, 12),))]
    shapes += [turned(random, is_round=True, openings=(Opening(0, 0, 10),))]
    shapes += [Ball((30.0, -40, 60), 45.0), Cone((0.0, 30, -50), 90.0, 40.0, 120.0), WEDGE]
    return [Surface(str(i), "card", shape) for i, shape in enumerate(shapes)]


def plainly(surfaces, starts, ends):
    """Each line against each shape, by the shapes' own numpy."""
    blocked = np.zeros((len(starts), len(ends)), bool)
    for surface in surfaces:
        cut = surface.shape.blocks(starts, ends)
        if cut is not None:
            blocked |= cut
    return ~blocked


def looked(sight, surfaces, changed, starts, ends, owners=None):
    nobody = np.full(len(starts), -1) if owners is None else owners
    return sight.update(surfaces, frozenset(changed), starts, nobody, ends, np.full(len(ends), -1))


@pytest.mark.parametrize("flats", [12, 70])  # 70 need more flags than one word has
def test_lines_of_sight_agree_with_the_shapes_own_answer(flats):
    random = np.random.default_rng(flats)
    surfaces = scene(random, flats)
    starts, ends = random.uniform(-300, 300, (90, 3)), random.uniform(-300, 300, (80, 3))
    sight = Visibility()
    free = looked(sight, surfaces, range(len(surfaces)), starts, ends)
    expected = plainly(surfaces, starts, ends)
    assert 0.02 < expected.mean() < 0.98
    assert np.array_equal(free, expected)
    for index in (3, flats - 1, flats, flats + 1):  # one after the other moves, of each kind
        shape = surfaces[index].shape
        moved = Ball((-60.0, 10, 20), 70.0) if not isinstance(shape, Flat) else turned(random)
        surfaces[index] = dataclasses.replace(surfaces[index], shape=moved)
        free = looked(sight, surfaces, {index}, starts, ends)
        assert np.array_equal(free, plainly(surfaces, starts, ends))


def test_only_those_named_stand_in_the_way():
    random = np.random.default_rng(1)
    surfaces = scene(random)
    starts, ends = random.uniform(-300, 300, (30, 3)), random.uniform(-300, 300, (30, 3))
    nobody = np.full(30, -1)
    everything = frozenset(range(len(surfaces)))
    free = Visibility().update(
        surfaces, everything, starts, nobody, ends, nobody, frozenset((2, 5))
    )
    assert np.array_equal(free, plainly([surfaces[2], surfaces[5]], starts, ends))


def test_a_loop_may_call_another_and_is_plain_before_it_is_called():
    assert compiling.compiled(doubled)(4.0) == 9.0


@compiling.compiled
def plus_one(x: float) -> float:
    return x + 1.0


def doubled(x: float) -> float:
    return plus_one(x) + x


@pytest.mark.parametrize(
    "words", ["--help", "rigs list", "rigs show silver-bookplate-bright", "score --help"]
)
def test_numba_waits_until_light_is_worked_out(words):
    code = (
        "import sys\nfrom lightplan.cli import main\n"
        f"sys.argv = ['lightplan', *{words.split()}]\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "assert 'numba' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)


def test_light_is_worked_out_where_nothing_can_be_kept(tmp_path):
    """A cache folder that cannot be made: compiled in this process alone, and said so."""
    (tmp_path / "file").write_text("in the way")
    code = (
        "from lightplan import compiled as c\n"
        "@c.compiled\ndef f(x):\n    return x + 1\n"
        "assert f(2) == 3\n"
        "print(c.first_use_words())"
    )
    (tmp_path / "code.py").write_text(code)
    ran = subprocess.run(
        [sys.executable, str(tmp_path / "code.py")], check=True, capture_output=True, text=True,
        env={"NUMBA_CACHE_DIR": str(tmp_path / "file" / "below"), "PATH": "/usr/bin:/bin"},
    )  # fmt: skip
    assert "in every run, as the cache folder cannot be written" in ran.stdout


def test_the_first_use_is_announced_once(tmp_path):
    (tmp_path / "code.py").write_text(
        "from lightplan import compiled as c\nprint(c.first_use_words())\n"
        "c.remember_use()\nprint(c.first_use_words())"
    )
    ran = subprocess.run(
        [sys.executable, str(tmp_path / "code.py")], check=True, capture_output=True, text=True,
        env={"NUMBA_CACHE_DIR": str(tmp_path / "kept"), "PATH": "/usr/bin:/bin"},
    )  # fmt: skip
    first, then = ran.stdout.splitlines()
    assert "compiling the light's loops for this computer (once" in first
    assert then == "None"
