"""What is seen of things behind things, against closed forms and against many rays."""

import json
from pathlib import Path

import numpy as np
import pytest
from plain_laws import coaxial_disk

from lightplan.geometry.ball import Ball
from lightplan.geometry.points import frames, unit_square
from lightplan.geometry.shapes import Flat, Opening
from lightplan.light.silhouettes import Outlines, SeenParts
from lightplan.scene.surfaces import Surface

UP = np.array([[0.0, 0.0, 1.0]])
AT = np.zeros((1, 3))
NOWHERE = np.array([-1])
RANDOM = Path(__file__).parents[1] / "reference" / "random" / "open"


def level(z, half_width, half_height, x=0.0, **more):
    """A rectangle that faces down, z over the point."""
    shape = Flat((x, 0.0, z), (1, 0, 0), (0, -1, 0), half_width, half_height, **more)
    return Surface("thing", "card", shape)


def frame(normals):
    return np.stack([*frames(normals), normals], axis=1)


def matte(*things):
    """View factor of the first thing behind the others."""
    before = np.arange(1, len(things))
    return Outlines.of(things).matte(np.array([0]), before, AT, frame(UP), NOWHERE)[0, 0]


def test_a_disk_and_a_ball_have_their_closed_forms():
    disk = level(300, 100, 100, is_round=True)
    assert matte(disk) == pytest.approx(coaxial_disk(radius=100, distance=300), rel=1e-3)
    ball = Surface("ball", "lamp", Ball((0, 0, 300), 60))
    assert matte(ball) == pytest.approx((60 / 300) ** 2, rel=1e-3)  # r2 / d2 straight above


def test_a_rod_before_a_lamp_takes_what_its_shadow_on_the_lamp_would_give():
    lamp, rod = level(800, 150, 150), level(400, 1.5, 400)
    # seen from the point the rod covers a strip of the lamp twice as wide, all along
    assert matte(lamp, rod) == pytest.approx(matte(lamp) - matte(level(800, 3, 150)), rel=1e-9)


def test_a_slit_between_boards_shows_a_strip_of_the_lamp():
    lamp = level(800, 150, 150)
    boards = [level(400, 200, 400, x=side * 203) for side in (-1, 1)]
    assert matte(lamp, *boards) == pytest.approx(matte(level(800, 6, 150)), rel=1e-9)


def test_a_hole_shows_what_lies_behind():
    card = Flat((0, 0, 400), (1, 0, 0), (0, -1, 0), 300, 300, openings=(Opening(0, 0, 50),))
    behind = level(800, 400, 400)
    seen = matte(behind, Surface("card", "card", card))
    assert seen == pytest.approx(coaxial_disk(radius=50, distance=400), rel=1e-3)


def test_boards_whose_edges_lie_on_each_other_hide_what_both_cover():
    lamp = level(800, 150, 150)
    half = matte(lamp) / 2
    left, lower = level(400, 200, 400, x=-200), level(300, 180, 400, x=-180)
    right = level(350, 200, 400, x=200)
    # edges in the plane x = 0, which the point lies in: they meet there, or end there both
    assert matte(lamp, left, right) == pytest.approx(0, abs=1e-12)
    assert matte(lamp, left, lower) == pytest.approx(half, rel=1e-9)
    assert matte(lamp, lower, left) == pytest.approx(half, rel=1e-9)
    # a board that covers just what the lamp fills, and one that begins where the lamp ends
    assert matte(lamp, level(400, 75, 75)) == pytest.approx(0, abs=1e-12)
    assert matte(lamp, level(400, 75, 75, x=150)) == pytest.approx(2 * half, rel=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_many_things_before_one_hide_what_rays_do_not_reach(seed):
    random = np.random.default_rng(seed)

    def thing(low, high, size):
        turn, _ = np.linalg.qr(random.normal(size=(3, 3)))
        right, up = (tuple(map(float, axis)) for axis in turn.T[:2])
        centre = (*random.uniform(-120, 120, 2), random.uniform(low, high))
        half = random.uniform(size / 3, size, 2)
        holes = (Opening(*random.uniform(-0.3, 0.3, 2) * half, 0.4 * half.min()),)
        is_round = bool(random.random() < 0.4)
        more = {"is_round": is_round, "openings": holes if random.random() < 0.5 else ()}
        return Surface("thing", "card", Flat(centre, right, up, *half, **more))

    things = [thing(350, 500, 300), *(thing(150, 420, 120) for _ in range(5))]
    square = unit_square(75_025)
    radius, turn = np.sqrt(square[:, 0]), 2 * np.pi * square[:, 1]  # as a matte point weighs them
    way = np.stack([radius * np.cos(turn), radius * np.sin(turn), np.sqrt(1 - square[:, 0])], 1)
    ways = [t.shape.trace(AT[:, None], way[None]).distance[0] for t in things]
    first = np.isfinite(ways[0]) & (ways[0] <= np.min(ways[1:], axis=0))
    assert matte(*things) == pytest.approx(first.mean(), abs=1.5e-3)


@pytest.mark.parametrize("roughness", [(0.02, 0.02), (0.1, 0.3), (0.3, 0.05)])
def test_the_share_of_facets_is_that_of_many_drawn_normals(roughness):
    view = np.array([0.3, -0.4, np.sqrt(0.75)])
    things = (level(500, 60, 40, x=-150), level(300, 40, 400, x=-130))
    found = Outlines.of(things).glossy(
        np.array([0, 1]), np.array([1]), AT, np.eye(3)[None], NOWHERE, view[None], roughness
    )[0]
    square = unit_square(832_040)
    # facets as they lie: slopes of GGX have the distribution of tan of a uniform disk's angle
    radius, turn = np.sqrt(square[:, 0] / (1 - square[:, 0])), 2 * np.pi * square[:, 1]
    slopes = radius[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1) * roughness
    half = np.concatenate([-slopes, np.ones((len(slopes), 1))], axis=1)
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    way = 2 * (half @ view)[:, None] * half - view
    way = way[(way[:, 2] > 0) & (half @ view > 0)]
    near = np.abs(way[:, 0] * 300 / way[:, 2] + 130) < 40
    near &= np.abs(way[:, 1] * 300 / way[:, 2]) < 400
    far = np.abs(way[:, 0] * 500 / way[:, 2] + 150) < 60
    far &= (np.abs(way[:, 1] * 500 / way[:, 2]) < 40) & ~near
    expected = np.array([far.sum(), near.sum()]) / len(square)
    assert found == pytest.approx(expected, abs=3e-4)


def test_scenes_drawn_at_random_are_kept_with_their_pictures():
    pictures = np.load(RANDOM / "pictures.npz")
    for path in (RANDOM / "scenes").glob("*.json"):
        assert json.loads(path.read_text("utf-8"))["name"] == path.stem
        assert np.isfinite(pictures[f"{path.stem}_foil"]).all()


def a_thing(random):
    """A board, a disk, a board with a hole or a ball somewhere above the points."""
    centre = tuple(float(v) for v in random.uniform([-300, -300, 80], [300, 300, 500]))
    kind = random.integers(4)
    if kind == 3:
        return Surface("ball", "lamp", Ball(centre, float(random.uniform(10, 60))))
    turn = random.uniform(0, np.pi)
    right = (float(np.cos(turn)), float(np.sin(turn)), 0.0)
    up = (-right[1] * 0.8, right[0] * 0.8, 0.6)
    wide, high = (float(v) for v in random.uniform(40, 250, 2))
    holes = (Opening(0, 0, 20),) if kind == 2 else ()
    shape = Flat(centre, right, up, wide, high, is_round=bool(kind == 1), openings=holes)
    return Surface("thing", "card", shape)


@pytest.mark.parametrize("roughness", [(0.0, 0.0), (0.1, 0.2)])
def test_what_is_known_of_before_is_to_the_last_digit_what_is_looked_at_anew(roughness):
    random = np.random.default_rng(5)
    known, others = SeenParts(roughness), 0
    things = [a_thing(random) for _ in range(7)]
    targets, blockers = np.arange(4), np.arange(1, 7)
    points = np.concatenate([random.uniform(-60, 60, (30, 2)), np.zeros((30, 1))], axis=1)
    owners, views = np.full(30, -1), np.tile([0.3, -0.4, np.sqrt(0.75)], (30, 1))
    owners[:3] = 2
    for step in range(40):
        things = list(things)
        if step % 4 != 3:
            things[random.integers(7)] = a_thing(random)
        points = points.copy()
        points[random.integers(30)] += [1, 0, 0]
        at = (points, frame(np.tile(UP, (30, 1))), owners, views)
        wanted = random.random(30) < 0.7 if step % 2 else np.ones(30, bool)
        before = known.fork()
        found = known.update(tuple(things), targets, blockers, at, wanted)
        fresh = Outlines.of(things).glossy(targets, blockers, *at, roughness)
        assert np.array_equal(found[wanted], fresh[wanted])
        again = before.update(tuple(things), targets, blockers, at)  # the fork altered nothing
        assert np.array_equal(again, fresh)
        others += int((fresh > 0).sum())
    assert others > 1000
