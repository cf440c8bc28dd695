"""Foil apart from paper, and which way up, on squared renders."""

import cv2
import numpy as np
import pytest

from lightplan.arrays import read_only
from lightplan.shots.sheet.corners import SheetFound
from lightplan.shots.sheet.orienting import orient, oriented
from lightplan.shots.sheet.registering import register
from lightplan.shots.sheet.segment import segment_by_look, segment_with_artwork
from lightplan.shots.sheet.squaring import Squared, project, square


def squared_of(shot, to_linear, push=0.0):
    """The sheet squared through corners that are `push` of its width away from the truth."""
    width = np.linalg.norm(shot.corners[1] - shot.corners[0])
    wrong = np.array([[1, -1], [-1, 1], [1, 1], [-1, -0.5]]) * push * width / np.sqrt(2)
    found = SheetFound(read_only(shot.corners + wrong), shot.picture.shape[:2], 1.0, "by hand")
    squared = square(
        to_linear(shot.picture),
        shot.picture == 255,
        found,
        width_mm=shot.width_mm,
        height_mm=shot.height_mm,
    )
    rows, cols = squared.valid.shape
    v, u = (np.mgrid[0:rows, 0:cols] + 0.5) / np.array([rows, cols])[:, None, None]
    places = project(found, u, v).astype(np.float32)
    truth = cv2.remap(shot.foil, places[..., 1], places[..., 0], cv2.INTER_LINEAR)
    return squared, truth > 0.5


def overlap(mask, truth, where):
    a, b = (mask > 0.5) & where, truth & where
    return (a & b).sum() / (a | b).sum()


@pytest.fixture(scope="module")
def gold_on_navy(photograph):
    return photograph(
        40,
        size_mm=(120, 120),
        stock="navy",
        foil_kind="gold foil",
        table="light",
        tilt_deg=12.0,
        glare=False,
        fill=0.85,
        hot_spot=True,
    )


@pytest.fixture(scope="module")
def silver_on_white(photograph):
    return photograph(
        43,
        size_mm=(105, 148),
        stock="white",
        foil_kind="silver foil",
        table="dark",
        tilt_deg=15.0,
        glare=True,
        fill=0.9,
        hot_spot=False,
    )


@pytest.mark.parametrize("name", ["gold_on_navy", "silver_on_white"])
@pytest.mark.parametrize("push", [0.0, 0.005])
def test_artwork_is_laid_over_the_foil(request, to_linear, name, push):
    shot = request.getfixturevalue(name)
    squared, truth = squared_of(shot, to_linear, push)
    found = segment_with_artwork(squared, shot.artwork)
    assert overlap(found.foil, truth, squared.valid) >= 0.95
    assert found.confidence > 0.9
    assert found.how == "artwork"


def test_the_wrong_artwork_has_no_confidence(gold_on_navy, silver_on_white, to_linear):
    squared, _ = squared_of(gold_on_navy, to_linear)
    assert segment_with_artwork(squared, np.rot90(silver_on_white.artwork, 2)).confidence < 0.3


@pytest.mark.parametrize("name", ["gold_on_navy", "silver_on_white"])
def test_foil_is_seen_without_artwork(request, to_linear, name):
    shot = request.getfixturevalue(name)
    squared, truth = squared_of(shot, to_linear)
    found = segment_by_look(squared)
    assert overlap(found.foil, truth, squared.valid) >= 0.85
    assert found.confidence >= 0.5
    assert found.how == "look"


def test_plain_paper_has_no_foil():
    rng = np.random.default_rng(0)
    lit = np.linspace(0.5, 0.7, 300)[:, None, None] + 0 * np.zeros((300, 200, 3))
    noisy = (lit + rng.normal(0, 0.004, lit.shape)).astype(np.float32)
    paper = Squared(noisy, noisy >= 1, np.ones((300, 200), bool), 100.0, 150.0)
    found = segment_by_look(paper)
    assert found.foil.mean() < 0.01
    assert found.confidence < 0.3


def test_thin_strokes_are_not_taken_for_wider_ones():
    """Drawn finely: strokes of four pixels under a blur of 1.4 at places between pixels."""
    foil = np.zeros((2000, 1500), np.float32)  # five a pixel: no pixel is half covered
    for at in range(200, 1850, 151):
        foil[at : at + 20, 200:1300] = 1
    light = 0.06 + foil[..., None] * np.array((0.44, 0.34, 0.09), np.float32)
    light = cv2.resize(cv2.GaussianBlur(light, (0, 0), 7.0), (300, 400), None, 0, 0, cv2.INTER_AREA)
    truth = cv2.resize(foil, (300, 400), interpolation=cv2.INTER_AREA) > 0.5
    light += np.random.default_rng(0).normal(0, 0.001, light.shape).astype(np.float32)
    sheet = Squared(light, light >= 1, np.ones(truth.shape, bool), 90.0, 120.0)
    assert overlap(segment_by_look(sheet).foil, truth, sheet.valid) >= 0.9


# Hazes cut by the rim and crossed by a frame; the last has softly lit foil that the layer
# must not climb together with a haze.
@pytest.mark.parametrize("seed", [10118, 10145, 10160])
def test_a_haze_is_paper_and_foil_beside_it_foil(photograph, to_linear, seed):
    squared, truth = squared_of(photograph(seed, rows=1000, cols=1500), to_linear)
    found = segment_by_look(squared)
    assert overlap(found.foil, truth, squared.valid) >= 0.9
    assert found.confidence >= 0.7


def test_registration_finds_a_shift_to_a_fraction_of_a_pixel():
    """Drawn exactly: a picture whose foil flips from brighter to darker than its stock."""
    art = np.zeros((400, 300), np.float32)
    cv2.circle(art, (150, 140), 70, 1.0, -1, cv2.LINE_AA)
    cv2.rectangle(art, (60, 260), (240, 330), 1.0, -1)
    move = np.float32([[1.004, 0.003, 2.3], [-0.002, 0.997, -1.7]])
    shown = cv2.warpAffine(art, move, (300, 400), flags=cv2.INTER_LINEAR)
    foil = np.linspace(0.1, 0.9, 400)[:, None]
    light = 0.45 * (1 - shown) + foil * shown
    light = cv2.GaussianBlur(light, (0, 0), 1.0)
    picture = np.repeat(light[..., None], 3, axis=2).astype(np.float32)
    found = register(picture, art, np.ones((400, 300), bool))
    edge = np.abs(shown - 0.5) < 0.45
    # Where coverage is c, an error of e pixels changes it by about e.
    assert np.sqrt(((found.foil - shown)[edge] ** 2).mean()) < 0.2
    assert found.agreement > 0.6


def test_a_side_taken_too_far_out_shows_no_table_as_paper():
    """The artwork's place tells where the sheet ends: beyond is the table, not uneven paper."""
    art = np.zeros((400, 300), np.float32)
    cv2.circle(art, (150, 140), 70, 1.0, -1, cv2.LINE_AA)
    cv2.rectangle(art, (12, 12), (287, 387), 1.0, 3)
    cv2.rectangle(art, (60, 260), (240, 330), 1.0, -1)
    table = 3  # columns of it at the right
    place = np.float32([[(300 - table) / 300, 0, 0], [0, 1, 0]])
    shown = cv2.warpAffine(art, place, (300, 400), flags=cv2.INTER_LINEAR)
    light = 0.6 * (1 - shown) + 0.2 * shown
    light[:, -table:] = 0.05
    light = cv2.GaussianBlur(light, (0, 0), 1.0)
    picture = np.repeat(light[..., None], 3, axis=2).astype(np.float32)
    valid = np.ones((400, 300), bool)
    page = register(picture, art, valid).page
    assert not page[20:-20, -table:].any()
    assert page[20:-20, 10:-20].all()
    as_it_is = np.repeat((0.6 * (1 - art) + 0.2 * art)[..., None], 3, axis=2).astype(np.float32)
    assert register(as_it_is, art, valid).page[6:-6, 6:-6].all()


@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
@pytest.mark.parametrize("mirrored", [False, True])
def test_any_way_up_is_told(gold_on_navy, to_linear, quarters, mirrored):
    squared, _ = squared_of(gold_on_navy, to_linear)
    lying = np.rot90(squared.linear[:, ::-1] if mirrored else squared.linear, -quarters)
    turned = Squared(np.ascontiguousarray(lying), squared.clipped, squared.valid, 120.0, 120.0)
    way = orient(turned, gold_on_navy.artwork)
    assert (way.quarters, way.mirrored) == (quarters, mirrored)
    assert way.clear
    np.testing.assert_array_equal(oriented(turned, way).linear, squared.linear)


def test_artwork_alike_both_ways_settles_nothing(gold_on_navy, to_linear):
    ring = np.zeros((200, 200), np.float32)
    cv2.circle(ring, (100, 100), 60, 1.0, 12)
    light = np.repeat((0.3 + 0.4 * ring)[..., None], 3, axis=2)
    even = Squared(light, light >= 1, np.ones((200, 200), bool), 50.0, 50.0)
    way = orient(even, ring)
    assert (way.quarters, way.mirrored, way.clear) == (0, False, False)
