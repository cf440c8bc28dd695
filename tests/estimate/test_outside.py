"""Light that is not in the rig, in a picture that the light model did not make."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from lightplan.estimate.elsewhere import CLEAR_DEG, FIRST_DEG, FaceElsewhere, apart, directions
from lightplan.estimate.faint import closer, hides_little, lit_otherwise
from lightplan.reports.outside_map import BEAM, MAP_PX, outside_map
from lightplan.rigfiles import load_rig


def between_deg(one, other):
    a, b = (np.asarray(v) / np.linalg.norm(v) for v in (one, other))
    return math.degrees(math.acos(np.clip(a @ b, -1, 1)))


def test_it_is_found_with_its_direction_and_told_first(advised, builds):
    (truth,) = builds["copper_bright_outside"].slips
    advice = advised("copper_bright_outside")
    (found,) = advice.foreign
    assert between_deg(found.direction, truth.extra["position_mm"]) < 25
    assert advice.first_move.element == "not in the rig"
    assert "from behind the set, at about the height of a head" in advice.sentence
    assert not advice.as_planned


def test_under_brushed_foil_it_is_not_taken_for_a_lamp_that_is_too_bright(advised, builds):
    (truth,) = builds["brushed_split_09"].slips
    advice = advised("brushed_split_09")
    (found,) = advice.foreign
    assert between_deg(found.direction, truth.extra["position_mm"]) < 25
    assert advice.first_move.element == "not in the rig"
    assert not advice.things


@pytest.mark.parametrize("name", ["rainbow_fine_again3", "brushed_dark_again3"])
def test_where_much_is_left_unexplained_it_is_told_if_it_beats_all_else_clearly(
    advised, builds, name
):
    (truth,) = builds[name].slips  # told as a black card that is missing; as a card 120 mm off
    advice = advised(name)
    (found,) = advice.foreign
    assert between_deg(found.direction, truth.extra["position_mm"]) < 25
    assert advice.first_move.element == "not in the rig"
    assert {thing.slip.element for thing in advice.things} <= {"white balance"}


def test_under_a_window_it_is_told_where_the_model_errs_less_than_it_is_granted(advised, builds):
    (truth,) = builds["window_bright_again2"].slips  # told as a brighter day: nothing
    advice = advised("window_bright_again2")
    (found,) = advice.foreign
    assert between_deg(found.direction, truth.extra["position_mm"]) < 25
    assert not advice.things
    assert not advice.as_planned
    assert "Light that is not in the plan comes perhaps from the left" in advice.sentence


@pytest.mark.parametrize("name", ["copper_bright_right0", "silver_bright_right1"])
def test_what_a_plan_built_right_leaves_is_no_faint_light_till_there_is_some(searched, name):
    search = searched(name)
    assert hides_little(search, search.as_planned())
    sharp = closer(search)
    assert not lit_otherwise(sharp)
    seen = sharp.fitter.seen  # a twentieth of what clips, more of it to the right
    more = 0.05 * (1 + seen.x_mm / np.abs(seen.x_mm).max()) * ~seen.is_foil
    stops = np.log2(2.0**seen.stops + more[:, None])
    sharp.fitter = replace(sharp.fitter, seen=replace(seen, stops=stops))
    assert lit_otherwise(sharp)


def test_faces_that_are_lit_together_do_not_stand_before_each_other():
    faces = [FaceElsewhere(way, 1500.0, FIRST_DEG) for way in directions()]
    groups = apart(faces)
    assert sorted(f.direction for g in groups for f in g) == sorted(f.direction for f in faces)
    for group in groups:
        for i, one in enumerate(group):
            for other in group[:i]:
                assert between_deg(one.direction, other.direction) > FIRST_DEG + CLEAR_DEG


@pytest.mark.parametrize(
    ("way", "at"),
    [
        ((1.0, 0.0, 0.3), (0.5, 0.97)),  # row, column as shares: to the right
        ((0.0, 1.0, 0.3), (0.03, 0.5)),  # away from the maker is up
        ((-1.0, 0.0, 0.3), (0.5, 0.03)),
    ],
)
def test_the_plan_view_shows_where_it_comes_from(way, at):
    picture = outside_map(load_rig("silver-bookplate-bright").rig, [way])
    row, column = (round(share * (MAP_PX - 1)) for share in at)
    assert tuple(picture[row, column]) == BEAM
    assert tuple(picture[MAP_PX - 1 - row, MAP_PX - 1 - column]) != BEAM
