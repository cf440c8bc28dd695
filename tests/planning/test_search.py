"""Solvers on functions with a known minimum."""

import itertools

import numpy as np
import pytest

from lightplan.search.minimise import StopRule, minimise, simplex


# Test functions with their published minima, mapped into the unit box.
# Rosenbrock, Computer Journal 3 (1960): minimum 0 at (1, ..., 1).
def rosenbrock(point):
    x = 4 * np.asarray(point) - 2
    return float(np.sum(100 * (x[1:] - x[:-1] ** 2) ** 2 + (1 - x[:-1]) ** 2))


# Rastrigin (1974): minimum 0 at the origin, here moved off the middle of the box.
def rastrigin(point):
    x = 10.24 * np.asarray(point) - 5.12 - 0.7
    return float(10 * x.size + np.sum(x**2 - 10 * np.cos(2 * np.pi * x)))


# A bowl whose bottom lies outside the box: the minimum is the clipped bottom.
def bowl(point):
    return float(np.sum((np.asarray(point) - np.linspace(-0.3, 1.2, len(point))) ** 2))


def many(function):
    return lambda points: [function(p) for p in points]


@pytest.mark.parametrize(
    ("function", "size", "evaluations", "minimum"),
    [
        (rosenbrock, 2, 6000, 0.0),
        (rosenbrock, 4, 12000, 0.0),
        (rastrigin, 1, 3000, 0.0),
        (rastrigin, 2, 8000, 0.0),
        (rastrigin, 4, 30000, 0.0),
        (bowl, 2, 3000, 0.09 + 0.04),
        (bowl, 4, 8000, 0.09 + 0.04),
    ],
)
def test_known_minima_are_found(function, size, evaluations, minimum):
    found = minimise(
        many(function),
        [np.full(size, 0.3), np.full(size, 0.8)],
        seed=1,
        rule=StopRule(evaluations=evaluations, tolerance=1e-9),
    )
    assert found.value == pytest.approx(minimum, abs=1e-6)
    assert function(found.point) == found.value


def test_the_box_is_never_left():
    seen = []

    def spy(points):
        seen.extend(points)
        return [bowl(p) for p in points]

    minimise(spy, [np.full(3, 0.5)], seed=0, rule=StopRule(evaluations=600))
    assert len(seen) == 600
    assert min(p.min() for p in seen) >= 0
    assert max(p.max() for p in seen) <= 1


def test_an_exhaustive_grid_finds_nothing_better():
    def wavy(point):
        x, y = point
        return float((x - 0.62) ** 2 + (y - 0.18) ** 2 + 0.05 * np.sin(25 * x) * np.sin(19 * y))

    grid = np.linspace(0, 1, 301)
    best = min(wavy(p) for p in itertools.product(grid, grid))
    found = minimise(
        many(wavy), [np.full(2, 0.5)], seed=3, rule=StopRule(evaluations=3000, tolerance=1e-7)
    )
    assert found.value <= best + 1e-9


def test_same_seed_same_answer_and_another_seed_another_way():
    def go(seed):
        return minimise(
            many(rastrigin), [np.full(3, 0.9)], seed=seed, rule=StopRule(evaluations=500)
        )

    one, two, other = go(7), go(7), go(8)
    assert one.point.tobytes() == two.point.tobytes()
    assert one.history == two.history
    assert other.history != one.history


def test_more_evaluations_never_do_worse():
    values = [
        minimise(many(rastrigin), [np.full(4, 0.9)], seed=2, rule=StopRule(evaluations=n)).value
        for n in (50, 200, 1000, 4000)
    ]
    assert values == sorted(values, reverse=True)


@pytest.mark.parametrize("budget", [1, 2, 7, 50])
def test_the_budget_is_kept_and_named(budget):
    found = minimise(many(rosenbrock), [np.full(3, 0.2)], seed=0, rule=StopRule(evaluations=budget))
    assert found.evaluations == budget
    assert found.stopped_because == "evaluations used up"


def test_a_request_stops_with_the_best_so_far():
    count = itertools.count()
    rule = StopRule(evaluations=10**6, should_stop=lambda: next(count) >= 40)
    found = minimise(many(rosenbrock), [np.full(3, 0.2)], seed=0, rule=rule)
    assert found.stopped_because == "stopped on request"
    assert found.value < rosenbrock(np.full(3, 0.2))


def test_time_stops_too():
    rule = StopRule(evaluations=10**9, seconds=0.05, tolerance=0.0)
    found = minimise(many(rastrigin), [np.full(6, 0.2)], seed=0, rule=rule)
    assert found.stopped_because == "time used up"


def test_a_problem_without_variables_is_only_judged():
    found = minimise(lambda points: [3.5 for _ in points], [np.zeros(0)], seed=0, rule=StopRule())
    assert (found.value, found.stopped_because) == (3.5, "nothing to move")


def test_convergence_is_said():
    found = minimise(
        many(bowl), [np.full(2, 0.5)], seed=0, rule=StopRule(evaluations=10**5, tolerance=1e-4)
    )
    assert found.stopped_because == "converged"
    assert found.evaluations < 5000


def test_each_improvement_is_reported_in_order():
    told = []
    found = minimise(
        many(rosenbrock),
        [np.full(3, 0.2)],
        seed=0,
        rule=StopRule(evaluations=400),
        on_best=lambda point, value, used: told.append((used, value)),
    )
    assert tuple(told) == found.history
    assert [v for _, v in told] == sorted((v for _, v in told), reverse=True)


def test_the_simplex_reaches_the_bottom_of_a_bowl():
    reached = min((bowl(p), tuple(p)) for p in _visited(bowl, np.full(3, 0.4)))
    assert reached[0] == pytest.approx(0.13, abs=1e-6)
    assert reached[1] == pytest.approx([0.0, 0.45, 1.0], abs=2e-3)


def _visited(function, start):
    seen = []

    def spy(point):
        seen.append(np.array(point))
        return function(point)

    simplex(spy, start, size=0.2, tolerance=1e-12)
    return seen


def test_the_search_leaves_numpys_own_generator_alone():
    np.random.seed(3)  # noqa: NPY002 - the generator that all share is what is watched
    before = np.random.get_state()[1].tobytes()  # noqa: NPY002
    minimise(many(rastrigin), [np.full(3, 0.9)], seed=1, rule=StopRule(evaluations=300))
    assert np.random.get_state()[1].tobytes() == before  # noqa: NPY002
