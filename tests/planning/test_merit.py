"""The bench on light with a known answer: powers, symmetry, feasible first, exhaustive grid."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from lightplan.light import Detail
from lightplan.measures import SheetMaps, judge, measure
from lightplan.merit.bench import Bench
from lightplan.merit.judged import FORGIVEN_MM, WORST
from lightplan.scene import Camera, Exposure, Lamp, Look, Output, Placement, Rig, Sheet
from lightplan.scene.dimensions import set_values
from lightplan.search.minimise import StopRule, minimise
from lightplan.search.multistart import explore
from lightplan.search.trust_region import step
from lightplan.tasks.predict import predict


def trims(toy, low=-6, high=0):
    return tuple(toy.freedom(n, "trim_stops", low, high) for n in ("left", "right"))


@pytest.mark.parametrize("curve", ["plain", "phone"])
def test_the_score_is_that_of_the_measures(toy, curve):
    # The same judgement as for a photograph: build the picture by hand and compare.
    rig = toy.rig()
    rig = replace(rig, camera=replace(rig.camera, tone_curve=curve))
    model = toy.model()
    found = Bench(rig, model).judge(rig)
    light = model.lamp_light(rig)
    paper, foil = light.paper.sum(axis=0), light.foil.sum(axis=0)
    share = model.foil_share(rig)[..., None]
    shown = paper[share[..., 0] < 0.5], foil[share[..., 0] >= 0.5]
    light = (share * foil + (1 - share) * paper) / model.clip_luminance(rig, *shown)
    linear = rig.camera.shown(light)
    maps = SheetMaps.from_linear(linear, share[..., 0], width_mm=120, height_mm=90)
    stock = rig.sheet.paper.reflectance
    expected = measure(maps, rig.look, rig.sheet.foil.judged_kind, stock_reflectance=stock)
    for name in ("foil_evenness_stops", "paper_lightness_range_Lstar", "foil_to_paper_stops"):
        assert found.measures[name].value == pytest.approx(expected[name].value, abs=1e-4)
    assert found.score == pytest.approx(judge(expected, rig.look).score, abs=1e-3)


def test_doubling_every_lamp_changes_nothing_where_the_exposure_follows(toy):
    rig = toy.rig()
    brighter = replace(rig, lamps=tuple(replace(x, trim_stops=1.0) for x in rig.lamps))
    bench = Bench(rig, toy.model())
    assert bench.judge(brighter).score == pytest.approx(bench.judge(rig).score, abs=0.05)


def test_solved_powers_are_the_best_of_an_exhaustive_grid(toy):
    rig = toy.rig(freedoms=trims(toy))
    bench = Bench(rig, toy.model())
    solved = bench.judge_solved(rig)
    stops = np.linspace(-6, 0, 25)
    one_at_full = [(t, 0.0) for t in stops] + [(0.0, t) for t in stops]
    best = max(
        bench.judge(set_values(rig, {("left", "trim_stops"): a, ("right", "trim_stops"): b})).merit
        for a, b in one_at_full
    )
    assert solved.merit >= best - 0.01
    assert max(x.trim_stops for x in solved.rig.lamps) == pytest.approx(0.0)


def test_fixed_exposures_need_the_powers_themselves(toy):
    wanted = Exposure(f_number=8, time_s=1 / 60, iso=100)
    camera = Camera(placement=Placement((0, -250, 450)), exposure=wanted)
    rig = toy.rig(camera=camera, freedoms=trims(toy, -8, 4))
    bench = Bench(rig, toy.model())
    solved = bench.judge_solved(rig)
    stops = np.linspace(-8, 4, 13)
    best = max(
        bench.judge(set_values(rig, {("left", "trim_stops"): a, ("right", "trim_stops"): b})).merit
        for a, b in itertools.product(stops, stops)
    )
    assert solved.merit >= best - 0.02


@pytest.mark.parametrize("aperture", [None, 8])
def test_a_list_of_lights_is_worth_what_each_is_alone(toy, aperture):
    # To the last digit, past the 32 that are measured together: a plan must not hang on how
    # many processes share the work.
    wanted = Exposure() if aperture is None else Exposure(f_number=8, time_s=1 / 60, iso=100)
    camera = Camera(placement=Placement((0, -250, 450)), exposure=wanted)
    place = toy.freedom("board", "y_mm", 150, 230)
    bench = Bench(toy.rig(camera=camera, freedoms=(place, *trims(toy, -8, 4))), toy.model())
    points = list(np.random.default_rng(2).random((40, bench.size)))
    parts = bench.smooth(points)
    found = bench.values_under(parts, points)
    assert found == [bench.values_under([v], [p])[0] for v, p in zip(parts, points, strict=True)]
    assert found == [bench.value(point) for point in points]
    assert len(set(found)) == len(points)  # else rows could be mixed up unseen
    assert bench.values_under([], []) == []


def test_scores_of_a_list_each_have_the_exposure_of_their_rig(toy):
    cameras = [
        Camera(
            placement=Placement((0, -250, 450)),
            exposure=Exposure(f_number=f_number, time_s=1 / 60, iso=100),
        )
        for f_number in (5.6, 8, 11)
    ]
    rigs = [toy.rig(camera=camera) for camera in cameras]
    bench = Bench(rigs[0], toy.model())
    samples = [bench.sheet_samples(rig) for rig in rigs]
    found = bench.scores(rigs, samples)
    assert len(set(found)) == 3
    for rig, one, score in zip(rigs, samples, found, strict=True):
        alone = Bench(rig, toy.model())
        assert score == alone.scores([rig], [one])[0]
        assert score == pytest.approx(alone.judge(rig).score, abs=1.0)


def test_equal_lamps_in_mirrored_places_get_equal_powers(toy):
    # Symmetry: rig, artwork and light are mirrored at x = 0, so the best powers are.
    lamps = tuple(
        Lamp(
            name=name,
            shape="bulb",
            width_mm=40,
            height_mm=40,
            placement=Placement((x, -100, 450), (0.2 * x, 100, 150)),
            output=Output(value=1000, unit="cd"),
        )
        for name, x in (("left", -450), ("right", 450))
    )
    rig = toy.rig(lamps=lamps, freedoms=trims(toy))
    model = toy.model()
    share = np.zeros((toy.rows, toy.cols))
    share[:, toy.cols // 4 : 3 * toy.cols // 4] = 1.0
    model.foil_share = lambda _: share
    model.clip_luminance = lambda _, paper, foil: max(paper.max() / 0.7, foil.max() / 0.9)
    solved = Bench(rig, model).judge_solved(rig)
    left, right = (lamp.trim_stops for lamp in solved.rig.lamps)
    assert left == pytest.approx(right, abs=0.15)  # the merit is flat round its top


def test_what_cannot_be_built_loses_against_anything_that_can(toy):
    # The line of sight passes z = 340 at y = -189 (a quarter of the way to the sheet).
    rig = toy.rig(freedoms=(toy.freedom("board", "y_mm", -189, 300),))
    model = toy.model()
    bench = Bench(rig, model)
    inside = bench.value(np.array([0.0]))
    assert model.asked == 0  # no light is traced for what cannot be built
    assert bench.value(np.array([0.8])) <= WORST < inside
    nearly = bench.value(np.array([0.1]))
    assert WORST < nearly < inside  # the way out is seen
    judged = bench.judge(bench.space.apply(rig, np.array([0.0])))
    assert judged.excess_mm > FORGIVEN_MM
    assert judged.value == pytest.approx(inside)


@pytest.mark.parametrize("kind", ["bright field", "gradient", "split", "dark field"])
def test_the_search_matches_an_exhaustive_grid_in_two_dimensions(toy, kind):
    rig = toy.rig(
        look=Look(kind=kind, direction_rad=np.pi / 2),
        freedoms=(toy.freedom("left", "z_mm", 200, 900), toy.freedom("board", "y_mm", 120, 420)),
    )
    bench = Bench(rig, toy.model())
    grid = np.linspace(0, 1, 11)
    best = min(bench.value(np.array(p)) for p in itertools.product(grid, grid))
    start, rule = bench.point_of(rig), StopRule(evaluations=120, tolerance=1e-4)
    found = explore(Steps(bench), [start], dimensions=2, seed=1, rule=rule).found
    # Within 1 % of the score of the grid's best: merit is the log of the share.
    assert found.value <= best + 0.01
    assert bench.value(found.point) == pytest.approx(found.value, abs=1e-6)
    # The plain solver has one start and no model; of three seeds one finds it.
    others = [
        minimise(lambda points: [bench.value(p) for p in points], [start], seed=seed, rule=rule)
        for seed in range(3)
    ]
    assert min(other.value for other in others) <= best + 0.01


class Steps:
    """One bench as the search asks for it."""

    def __init__(self, bench):
        self.bench = bench

    def begin(self, points, radius):
        return [self.bench.begin(p, radius) for p in points]

    def step(self, stands):
        return [step(self.bench, s, len(self.bench.space.geometry)) for s in stands]


def test_a_point_of_the_search_stands_for_its_rig(toy):
    rig = toy.rig(freedoms=(toy.freedom("left", "z_mm", 200, 900), *trims(toy)))
    bench = Bench(rig, toy.model())
    point = np.array([0.3, 0.6])
    assert bench.size == 2  # the second power follows from the first: only ratios count
    built = bench.rig_at(point)
    assert built.lamps[0].placement.position_mm[2] == pytest.approx(410)
    assert bench.judge(built).value == pytest.approx(bench.value(point), abs=1e-6)


def test_a_ribbon_can_be_judged():
    # A thousand times as long as wide: two rows of pixels were too few to be measured.
    ribbon = Rig(
        title="ribbon",
        sheet=Sheet(width_mm=5000, height_mm=5),
        camera=Camera(placement=Placement((0, -2000, 6000)), focal_length_mm=50),
        lamps=(Lamp(name="key", placement=Placement((-500, 0, 900))),),
    )
    found = predict(ribbon, detail=Detail.quick(camera_rows=8, camera_cols=8), explain=False)
    assert found.measures.values_by_name()["foil_evenness_stops"] > 0
