"""A lamp just beside what the foil mirrors, and last steps judged where a score is stated."""

from dataclasses import dataclass, replace
from types import SimpleNamespace

import numpy as np
import pytest

from lightplan.merit.engine_model import final_detail, long_side_for, search_detail
from lightplan.mirror.rays import hit_plane
from lightplan.planning import finishing
from lightplan.planning.arrangements import Stage, lamp_beside
from lightplan.planning.cupboard import Item, cupboard_of
from lightplan.planning.effort import QUICK, Effort, SearchJob
from lightplan.planning.helper import predicted
from lightplan.planning.planner import plan
from lightplan.scene import (
    Camera,
    Foil,
    Freedom,
    Grating,
    Lamp,
    Output,
    Placement,
    Rig,
    Sheet,
    usually_held,
)

LABEL = Rig(
    title="label",
    sheet=Sheet(width_mm=90, height_mm=60, foil=Foil(kind="rose gold foil")),
    camera=Camera(placement=Placement((0, -75, 164)), focal_length_mm=26, sensor_width_mm=36),
)
PANEL = Item(name="panel", kind="lamp", width_mm=200, height_mm=140)
BLACK = Item(name="black", kind="black board", width_mm=420, height_mm=297)
CLAMP = Item(name="clamp", kind="clamp", held=usually_held("clamp"))


@pytest.mark.parametrize("owned", [(PANEL,), (PANEL, BLACK, CLAMP)])
def test_no_place_of_the_sheet_mirrors_the_lamp_beside(owned):
    stage = Stage(*_staged(LABEL, owned))
    drafts = list(lamp_beside.lamp_beside(stage))
    assert len(drafts) == 3 * (len(owned) > 1) + 3
    across = np.linspace(-0.5, 0.5, 5)
    spots = np.stack(np.meshgrid(90 * across, 60 * across), -1).reshape(-1, 2)
    for draft in drafts:
        (lamp,) = draft.done().rig.lamps
        hits, _ = hit_plane(stage.looks(spots), lamp.placement)
        inside = np.abs(hits) < [lamp.width_mm / 2, lamp.height_mm / 2]
        assert not inside.all(axis=1).any()
        # and no farther from what is mirrored than that is wide
        seen = stage.seen(stage.square(lamp_beside.BESIDE_RAY_MM))
        assert np.linalg.norm(hits, axis=1).min() < seen.width_mm


def test_over_a_grating_none_stands_beside():
    foil = replace(LABEL.sheet.foil, grating=Grating())
    shiny = replace(LABEL, sheet=replace(LABEL.sheet, foil=foil))
    assert not list(lamp_beside.lamp_beside(Stage(*_staged(shiny, (PANEL,)))))


@pytest.mark.parametrize(("stated", "is_stated"), [(89.7, True), (91.4, False)])
def test_the_last_steps_are_taken_where_the_score_is_stated_if_it_is_less(
    monkeypatch, stated, is_stated
):
    detail = search_detail(LABEL, long_side_for(LABEL))
    judges = _Judges(detail, stated)
    seen = []

    def stepped(judges, _job, best, left):
        seen.append((judges.detail.sheet_long_side, best.score, left))
        return best

    monkeypatch.setattr(finishing, "_stepped", stepped)
    job = SearchJob.of(0, Effort(polish=20))
    _, grid = finishing.polished(judges, job, _Judged(LABEL, 91.6))
    told = (final_detail().sheet_long_side, stated, 34) if is_stated else (120, 91.6, 20)
    assert seen == [told]
    assert grid == detail.sheet_long_side, "tolerances are told on the grid of the search"


@pytest.mark.parametrize("quick", [False, True])
def test_a_plan_states_what_a_prediction_says_unless_it_is_for_the_eye(quick):
    lamp = Lamp(
        name="key",
        placement=Placement((-350, 120, 320)),
        width_mm=200,
        height_mm=200,
        output=Output(value=2000),
    )
    free = Freedom(element="key", dimension="trim_stops", low=-2, high=0)
    effort = Effort(evaluations=4, polish=0, builds=8, is_quick=quick)
    found = plan(replace(LABEL, lamps=(lamp,), freedoms=(free,)), effort=effort)
    assert found.score == pytest.approx(predicted(found.rig, final_detail()).judged.score)
    assert QUICK.is_by_eye
    assert not effort.is_by_eye


def _staged(rig, owned):
    had = cupboard_of(rig, owned)
    return had, had.base


@dataclass
class _Judged:
    rig: Rig
    score: float


class _Judges:
    """Judges that know one score on the stated grid, and count nothing."""

    def __init__(self, detail, stated):
        self.detail, self._stated = detail, stated
        self.bench = SimpleNamespace(
            space=SimpleNamespace(geometry=range(14)),
            sheet_samples=lambda _: self.detail.sheet_long_side,
        )

    def use(self, _rig, detail=None):
        self.detail = self.detail if detail is None else detail

    def refined(self, rigs):
        return [_Judged(rig, self._stated) for rig in rigs]
