"""From a rendered photograph to corners and foil mask, against what is true of it.

The run looks at a dozen photographs. For success rates over more of them::

    LIGHTPLAN_RENDERS=200 python -m pytest tests/shots/test_rendered.py -s
"""

import os
from dataclasses import dataclass

import cv2
import numpy as np
import pytest
from decidable import finder_can, look_can

from lightplan.shots.sheet.corners import find_sheet
from lightplan.shots.sheet.orienting import orient
from lightplan.shots.sheet.segment import segment_by_look, segment_with_artwork
from lightplan.shots.sheet.squaring import project, square

COUNT = int(os.environ.get("LIGHTPLAN_RENDERS", "12"))
# Photographs of the short run are smaller, but not so small that strokes vanish.
# A dozen photographs say little of a rate: one more or less is 8 %.
FEW = 0.1 if COUNT < 50 else 0.0
SIZE = {"rows": 1000, "cols": 1500} if COUNT > 50 else {"rows": 800, "cols": 1200}


@dataclass(frozen=True)
class Outcome:
    story: dict
    found: bool
    findable: bool  # from the truth alone, see `decidable`
    tellable: bool  # the same of its foil without artwork
    corner_error: float = np.nan  # of the sheet's width
    turned_right: bool = False
    with_artwork: float = np.nan  # overlap (intersection over union)
    by_look: float = np.nan
    look_confidence: float = np.nan
    artwork_confidence: float = np.nan


FINDABLE, TELLABLE = (lambda o: o.findable), (lambda o: o.tellable)
CORNERS, LOOK = (lambda o: o.corner_error <= 0.005), (lambda o: o.by_look >= 0.85)
SURE = lambda o: o.look_confidence >= 0.7  # noqa: E731


def told(some, can, right):
    able = [o for o in some if can(o)]
    return f"decidable {len(able)}, of those right {sum(map(right, able))}"


def few(count):
    """Wrong answers that a count of undecidable photographs may have: one in twenty, or one."""
    return max(1, count // 20)


def overlap(mask, truth, where):
    a, b = (mask > 0.5) & where, (truth > 0.5) & where
    return (a & b).sum() / max((a | b).sum(), 1)


def true_turn(found, shot):
    """Quarter turns after which the corners are nearest to the true ones, and their error."""
    away = [np.linalg.norm(found.turned(k).corners - shot.corners, axis=1).max() for k in range(4)]
    return int(np.argmin(away)), min(away) / np.linalg.norm(shot.corners[1] - shot.corners[0])


def judge(shot, to_linear, to_coded):
    light, bare = to_coded(shot.light), to_coded(shot.bare)
    can = finder_can(light, shot.outline), look_can(light, bare, shot.foil)
    size = {"width_mm": shot.width_mm, "height_mm": shot.height_mm}
    found = find_sheet(shot.picture, **size)
    if not found:
        return Outcome(shot.story, False, *can)
    turn, error = true_turn(found, shot)
    if error > 0.02:
        return Outcome(shot.story, True, *can, error)
    squared = square(to_linear(shot.picture), shot.picture == 255, found, **size)
    way = orient(squared, shot.artwork)
    right = square(to_linear(shot.picture), shot.picture == 255, found.turned(turn), **size)
    rows, cols = right.valid.shape
    v, u = (np.mgrid[0:rows, 0:cols] + 0.5) / np.array([rows, cols])[:, None, None]
    places = project(found.turned(turn), u, v).astype(np.float32)
    truth = cv2.remap(shot.foil, places[..., 1], places[..., 0], cv2.INTER_LINEAR)
    artwork, look = segment_with_artwork(right, shot.artwork), segment_by_look(right)
    return Outcome(
        shot.story,
        True,
        *can,
        error,
        (way.quarters, way.mirrored) == (turn, False),
        overlap(artwork.foil, truth, right.valid),
        overlap(look.foil, truth, right.valid),
        look.confidence,
        artwork.confidence,
    )


@pytest.fixture(scope="module")
def outcomes(photograph, to_linear, to_coded):
    seen = [judge(photograph(seed, **SIZE), to_linear, to_coded) for seed in range(COUNT)]
    right = [o for o in seen if o.corner_error <= 0.005]
    near = [o for o in seen if o.corner_error <= 0.02]
    for o in seen:
        if not o.corner_error <= 0.005 or o.with_artwork < 0.95 or o.by_look < 0.85:
            print(
                f"\n{'not found' if not o.found else f'corners {100 * o.corner_error:.2f} %'}, "
                f"artwork {o.with_artwork:.3f}, look {o.by_look:.3f} "
                f"({o.look_confidence:.2f}), decidable: sheet {o.findable}, foil {o.tellable}: "
                f"{o.story}",
                end="",
            )
    print(
        f"\n{len(seen)} photographs: found {sum(o.found for o in seen)}, corners within 0.5 % "
        f"{len(right)}, median {100 * np.nanmedian([o.corner_error for o in seen]):.3f} %; "
        f"{told(seen, FINDABLE, CORNERS)}\nof {len(near)} found within 2 %: right way up "
        f"{sum(o.turned_right for o in near)}, overlap with artwork >= 0.95 "
        f"{sum(o.with_artwork >= 0.95 for o in near)}, without >= 0.85 "
        f"{sum(map(LOOK, near))}, of those sure of it {sum(LOOK(o) for o in near if SURE(o))} in "
        f"{sum(map(SURE, near))}; {told(near, TELLABLE, LOOK)}"
    )
    return seen


def test_most_sheets_are_found(outcomes):
    assert np.mean([o.found for o in outcomes]) >= 0.9 - FEW


def test_corners_of_found_sheets_lie_within_half_a_percent(outcomes):
    found = np.array([o.corner_error for o in outcomes if o.found])
    assert np.mean(found <= 0.005) >= 0.95
    assert np.median(found) < 0.001


def test_artwork_tells_which_way_up(outcomes):
    near = [o for o in outcomes if o.corner_error <= 0.02]
    assert np.mean([o.turned_right for o in near]) >= 0.97


def test_foil_mask_with_artwork(outcomes):
    masks = np.array([o.with_artwork for o in outcomes if o.corner_error <= 0.02])
    assert np.mean(masks >= 0.95) >= 0.93
    assert np.median(masks) > 0.97


def test_foil_mask_by_look_and_its_confidence(outcomes):
    near = [o for o in outcomes if o.corner_error <= 0.02]
    sure = [o.by_look >= 0.85 for o in near if o.look_confidence >= 0.7]
    unsure = [o.by_look >= 0.85 for o in near if o.look_confidence < 0.7]
    assert np.median([o.by_look for o in near]) >= 0.95
    assert np.mean([*sure, *unsure]) >= 0.87 - FEW
    assert len(sure) >= (0.85 - FEW) * len(near)
    assert np.mean(sure) >= 0.95 - FEW
    assert not unsure or np.mean(unsure) == 1 or np.mean(sure) > np.mean(unsure)


def test_sheets_that_can_be_seen_are_found_within_half_a_percent(outcomes):
    able = [CORNERS(o) for o in outcomes if o.findable]
    assert len(able) >= 0.85 * len(outcomes)  # or it would say little
    assert np.mean(able) >= 0.95 - FEW


def test_sheets_that_cannot_be_seen_are_refused_or_right(outcomes):
    unable = [o for o in outcomes if not o.findable]
    assert sum(o.found and not CORNERS(o) for o in unable) <= few(len(unable))


def test_foil_that_can_be_seen_is_told_without_artwork(outcomes):
    able = [LOOK(o) for o in outcomes if o.tellable and o.corner_error <= 0.02]
    assert len(able) >= (0.7 - FEW) * len(outcomes)
    assert np.mean(able) >= 0.95 - FEW


def test_foil_that_cannot_be_seen_is_not_told_surely_and_wrongly(outcomes):
    unable = [o for o in outcomes if not o.tellable and o.corner_error <= 0.02]
    assert sum(SURE(o) and not LOOK(o) for o in unable) <= few(len(unable))
