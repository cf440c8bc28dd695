"""Ranking, near ties, frames that left the set, brackets, and two sets side by side."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lightplan.measures import Finding, Gate, Part
from lightplan.shots.results import PhotoScore, Placed
from lightplan.shots.sets.changes import changes_between
from lightplan.shots.sets.consistency import exposure_stops, find_flags
from lightplan.shots.sets.ranking import likeness_to_set, near_tie, rank_set
from lightplan.shots.sets.two_sets import compare_sets
from lightplan.shots.shot import ShotSettings

CORNERS = ((100.0, 150.0), (100.0, 850.0), (590.0, 850.0), (590.0, 150.0))


def photo(i: int, **changes: object) -> PhotoScore:
    rng = np.random.default_rng(i)
    level = np.array([0.62, 0.6, 0.58]) * 2 ** rng.normal(0, 0.02)
    base = PhotoScore(
        file=f"IMG_{i:02d}.jpg",
        path=f"set/IMG_{i:02d}.jpg",
        score=70.0,
        uncertainty=1.0,
        verdict="adjust",
        paper_level=tuple(level.tolist()),
        measures={"foil_to_paper_stops": (1.0, 0.05), "foil_evenness_stops": (0.4, 0.03)},
        placed=Placed(corners=CORNERS, rows=700, cols=1000, confidence=0.9, how="sides"),
        settings=ShotSettings(f_number=8.0, time_s=1 / 60, iso=100.0),
    )
    return replace(base, **changes)


def scaled(one: PhotoScore, stops: float, colour: tuple[float, float, float] = (1, 1, 1)):
    level = tuple(v * c * 2**stops for v, c in zip(one.paper_level, colour, strict=True))
    return replace(one, paper_level=level)


def test_a_steady_set_has_no_flags():
    assert find_flags([photo(i) for i in range(12)]) == [()] * 12


@pytest.mark.parametrize(("stops", "word"), [(-0.5, "darker"), (0.4, "brighter")])
def test_a_frame_that_left_the_exposure_of_the_set(stops, word):
    photos = [photo(i) for i in range(9)]
    photos[4] = scaled(photos[4], stops)
    flags = find_flags(photos)
    assert [i for i, f in enumerate(flags) if f] == [4]
    (flag,) = flags[4]
    assert flag.kind == "exposure"
    assert flag.amount == pytest.approx(stops, abs=0.08)
    assert word in flag.sentence


@pytest.mark.parametrize(
    ("colour", "word"),
    [((1.15, 1, 0.85), "yellower"), ((0.9, 1, 1.15), "bluer"), ((0.95, 1.05, 0.95), "greener")],
)
def test_a_frame_that_left_the_white_balance_of_the_set(colour, word):
    photos = [photo(i) for i in range(9)]
    photos[2] = scaled(photos[2], 0.0, colour)
    flags = find_flags(photos)
    kinds = {i: [f.kind for f in found] for i, found in enumerate(flags) if found}
    assert kinds == {2: ["white balance"]}
    assert word in flags[2][0].sentence


def test_a_warm_set_is_no_fault_of_its_frames():
    photos = [scaled(photo(i), 0.0, (1.2, 1.0, 0.7)) for i in range(9)]
    assert find_flags(photos) == [()] * 9


def bracket(tone: float = 1.0) -> list[PhotoScore]:
    """Return five frames a stop apart; `tone` stretches them as a camera's curve does."""
    photos = []
    for i, stop in enumerate((-2, -1, 0, 1, 2)):
        settings = ShotSettings(f_number=8.0, time_s=2.0**stop / 60, iso=100.0)
        level = (0.15 * 2 ** (tone * stop),) * 3
        photos.append(photo(i, settings=settings, paper_level=level))
    return photos


@pytest.mark.parametrize("tone", [0.85, 1.0, 1.25])
def test_a_bracket_is_meant_to_vary(tone):
    assert find_flags(bracket(tone)) == [()] * 5


def test_a_bracket_whose_times_do_not_fit_its_pixels():
    photos = bracket()
    photos[2] = scaled(photos[2], 0.9)  # a lamp came on
    flags = find_flags(photos)
    assert [f.kind for found in flags for f in found] == ["bracket"]
    assert flags[2][0].amount == pytest.approx(0.9, abs=0.01)


def test_a_clipped_frame_of_a_bracket_is_not_blamed():
    photos = bracket()
    photos[4] = replace(photos[4], paper_level=(1.0, 1.0, 1.0))
    assert find_flags(photos)[4] == ()


def test_exposure_as_set():
    # f/8, 1/125 s, ISO 100 is EV 12.97 (ISO 2720): log2(t S / N^2) = log2(100) - EV
    one = photo(0, settings=ShotSettings(f_number=8.0, time_s=1 / 125, iso=100.0))
    assert exposure_stops(one) == pytest.approx(np.log2(100) - np.log2(64 * 125))


def test_ranking_by_score_then_likeness_and_ties_within_uncertainty():
    photos = [
        photo(0, score=60.0),
        photo(1, score=82.0),
        photo(2, score=81.2, uncertainty=0.2),
        photo(3, score=None, verdict="cannot tell"),
        photo(4, score=75.0),
    ]
    ranked = rank_set(photos)
    assert [r.photo.file[4:6] for r in ranked] == ["01", "02", "04", "00", "03"]
    assert [r.rank for r in ranked] == [1, 2, 3, 4, 5]
    assert ranked[0].ties == ("IMG_02.jpg",)
    assert ranked[2].ties == ()
    assert ranked[-1].ties == ()


def test_ranking_does_not_depend_on_the_order_given():
    rng = np.random.default_rng(5)
    photos = [photo(i, score=float(rng.uniform(20, 90))) for i in range(15)]
    turned = [photos[i] for i in rng.permutation(15)]
    assert [r.photo.file for r in rank_set(photos)] == [r.photo.file for r in rank_set(turned)]


def test_likeness_falls_for_the_frame_that_differs():
    photos = [photo(i) for i in range(8)]
    shifted = np.array(CORNERS) + np.array([0, 120])
    photos[3] = replace(
        photos[3], placed=replace(photos[3].placed, corners=tuple(map(tuple, shifted.tolist())))
    )
    photos[5] = scaled(photos[5], -1.0)
    likeness = likeness_to_set(photos)
    assert min(v for i, v in enumerate(likeness) if i not in (3, 5)) > 95
    assert likeness[3] < 70
    assert likeness[5] < 85


def test_likeness_is_not_told_of_a_frame_without_figures():
    photos = [photo(i) for i in range(4)] + [PhotoScore.refused(Path("set/broken.jpg"), "no")]
    assert likeness_to_set(photos)[-1] is None


def test_half_a_point_is_a_tie():
    assert near_tie(photo(0, uncertainty=0.0), photo(1, score=70.4, uncertainty=0.0))
    assert not near_tie(photo(0, uncertainty=0.0), photo(1, score=70.6, uncertainty=0.0))


def parts(even: float, exposure: float) -> tuple[Part, ...]:
    return (
        Part("even foil", "foil_evenness_stops", even, 40.0, 0.5, ""),
        Part("exposure", "brightest_level_stops", exposure, 60.0, 0.5, ""),
    )


def folder(even: float, exposure: float, count: int, seed: int) -> list[PhotoScore]:
    rng = np.random.default_rng(seed)
    found = []
    for i in range(count):
        noise = rng.normal(0, 1.0, 2)
        made = parts(even + noise[0], exposure + noise[1])
        found.append(
            photo(
                i,
                parts=made,
                score=sum(p.points for p in made),
                measures={"foil_evenness_stops": (2 - even / 25, 0.02)},
            )
        )
    return found


def test_lamps_against_window_light_with_reasons():
    answer = compare_sets(folder(35, 50, 10, 1), folder(20, 52, 8, 2), names=("lamps", "window"))
    assert answer.better == "lamps"
    assert answer.difference == pytest.approx(13, abs=2)
    assert answer.reasons[0].part == "even foil"
    assert answer.reasons[0].points == pytest.approx(15, abs=2)
    assert "foil evenness stops 0.6 in lamps, 1.2 in window" in answer.reasons[0].sentence
    back = compare_sets(folder(20, 52, 8, 2), folder(35, 50, 10, 1), names=("window", "lamps"))
    assert back.better == "lamps"
    assert back.difference == pytest.approx(-answer.difference)


def test_sets_that_cannot_be_told_apart():
    answer = compare_sets(folder(30, 50, 5, 1), folder(30.2, 50, 5, 2), names=("a", "b"))
    assert answer.better is None
    assert "cannot be told apart" in answer.sentence


def test_an_empty_set_is_said_so():
    answer = compare_sets([], folder(30, 50, 5, 2), names=("lamps", "window"))
    assert answer.sentence == "No frame of lamps could be judged, so the two cannot be compared."
    assert (answer.better, answer.counts) == (None, (0, 5))


def finding(code: str) -> Finding:
    return Finding(code, f"{code} here", (1.0, 2.0), 5.0, ("foil_clipped_share",))


def test_changes_from_one_frame_to_the_next():
    before = photo(0, score=60.0, parts=parts(20, 40), findings=(finding("glare"),))
    after = photo(
        1,
        score=72.0,
        verdict="keep",
        parts=parts(32, 40),
        findings=(finding("cast"),),
        measures={"foil_to_paper_stops": (1.01, 0.05), "foil_evenness_stops": (0.1, 0.03)},
        settings=replace(before.settings, time_s=1 / 30),
    )
    step = changes_between(before, after)
    assert (step.score, step.clear) == (12.0, True)
    assert step.verdict == ("adjust", "keep")
    assert [m.measure for m in step.measures] == ["foil_evenness_stops"]  # the other is noise
    assert (step.measures[0].unit, step.measures[0].points) == ("stops", 12.0)
    assert (step.cured, step.new) == (("glare here",), ("cast here",))
    assert step.settings == ("time_s 0.01667 to 0.03333",)


def test_nothing_changed():
    step = changes_between(photo(0), photo(0, score=70.8))
    assert not step.clear
    assert (step.measures, step.cured, step.new, step.settings) == ((), (), (), ())


def test_a_result_survives_json():
    one = photo(
        3,
        parts=parts(1, 2),
        gates=(Gate("sharp", "foil_clipped_share", True, 1.0, "fine"),),
        findings=(finding("glare"),),
        details={"crops": [{"name": "1:1"}]},
        foil_level=(1, 1, 1),
    )
    plain = json.loads(json.dumps(one.to_dict(), allow_nan=False))
    assert PhotoScore.from_dict(plain) == one
    assert plain["measures"]["foil_to_paper_stops"] == 1.0
