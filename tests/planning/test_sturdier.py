"""A plan at an edge, over which builds fall, is moved to sturdier ground."""

from dataclasses import replace

import numpy as np
import pytest

from lightplan.light import Detail
from lightplan.merit.bench import Bench
from lightplan.merit.engine_model import Models
from lightplan.planning.effort import SearchJob
from lightplan.planning.helper import HelperDesk, do
from lightplan.planning.robust import built_or_right
from lightplan.planning.sturdier import FRAGILE, PAYS, sturdier
from lightplan.scene import Card, Look, Placement
from lightplan.scene.setting_errors import SettingErrors, error_dimensions

EDGE, MIDDLE = -268.0, -245.0
"""Of the places at which the board scores 100; from -279 on it scores 25, from -210 on 36."""
ERRORS = SettingErrors(position_mm=25.0, tilt_rad=0.0, camera_mm=0.0, bow_mm=0.0, power_stops=0.0)


class OneProcess:
    """Judges that share nothing out, with light of the test's own."""

    def __init__(self, rig, model):
        self.rig, self.model, self.detail = rig, model, Detail.quick()

    def use(self, rig, detail=None):
        self.rig = rig

    @property
    def bench(self):
        return Bench(self.rig, self.model)

    def shared(self, task, jobs):
        return do(HelperDesk(self.bench, Models()), task, jobs)

    def lights(self, rigs):
        return self.shared("lights", rigs)

    def scored(self, sheets):
        return self.shared("scored", sheets)


@pytest.fixture
def at(toy):
    """A rig whose board, all that its foil sees, stands so far to the side of the middle."""

    def made(x_mm):
        board = Card(
            name="board", placement=Placement((x_mm, 190, 340)), width_mm=300, height_mm=300
        )
        return toy.rig(
            cards=(board,),
            look=Look(kind="dark field"),
            freedoms=(toy.freedom("board", "x_mm", -300.0, 300.0),),
        )

    return made


def mean_of_hands(judges, rig):
    """Return the mean score of builds that were not drawn for the step."""
    judges.use(rig)
    dimensions = error_dimensions(rig, ERRORS)
    rows = np.random.default_rng(99).uniform(-25.0, 25.0, (60, len(dimensions)))
    return float(
        np.mean(judges.scored(judges.lights([built_or_right(rig, dimensions, r) for r in rows])))
    )


def test_a_board_that_just_stands_right_is_moved_so_that_hands_may_miss(toy, at):
    planned = at(EDGE)
    judges = OneProcess(planned, toy.model())
    light = judges.bench.sheet_samples(planned)
    before, score = mean_of_hands(judges, planned), judges.scored([light])[0]
    assert score - before > FRAGILE
    moved, found, lost = sturdier(judges, SearchJob.of(0, errors=ERRORS), planned, light)
    assert mean_of_hands(judges, moved) > before + PAYS
    judges.use(moved)
    np.testing.assert_array_equal(found, judges.bench.sheet_samples(moved))
    told = max(score, judges.scored([found])[0])
    assert lost == pytest.approx(told - mean_of_hands(judges, moved), abs=2.0), "by other hands"


@pytest.mark.parametrize("case", ["sturdy", "careful", "stopped", "nothing free"])
def test_a_plan_that_hands_keep_stays_as_it_is(toy, at, case):
    planned = at(MIDDLE if case == "sturdy" else EDGE)
    if case == "nothing free":
        planned = replace(planned, freedoms=())
    judges = OneProcess(planned, toy.model())
    errors = replace(ERRORS, position_mm=0.5) if case == "careful" else ERRORS
    job = SearchJob.of(0, errors=errors, should_stop=lambda: case == "stopped")
    light = judges.bench.sheet_samples(planned)
    moved, found, _ = sturdier(judges, job, planned, light)
    assert moved is planned
    assert found is light
