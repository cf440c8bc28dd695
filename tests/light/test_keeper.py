import dataclasses
import threading

import numpy as np
import pytest

from lightplan.light import Detail, Engine, keeper
from lightplan.light.kept import held_bytes
from lightplan.progress import Stopped

SMALL = dataclasses.replace(
    Detail.quick(camera_rows=12, camera_cols=16), cells=3, sheet_long_side=13, foil_rays=1500
)


@pytest.fixture
def rig(scene_rig):
    return scene_rig("s03_bounce_card")


def dimmed(rig):
    lamp, *rest = rig.lamps
    return dataclasses.replace(rig, lamps=(dataclasses.replace(lamp, trim_stops=-1.0), *rest))


def test_the_same_engine_answers_about_rigs_that_are_alike(rig):
    kept = keeper.Keeper()
    one = kept.engine_for(rig, SMALL)
    assert kept.engine_for(dimmed(rig), SMALL) is one
    assert one.rig.lamps[0].trim_stops == -1.0
    assert kept.engine_for(rig, Detail.quick(camera_rows=8, camera_cols=8)) is not one
    assert kept.engine_for(rig, SMALL) is one


def test_what_was_not_asked_for_longest_goes_first(rig):
    size = held_bytes(Engine(rig, SMALL))
    kept = keeper.Keeper(most_bytes=int(2.5 * size))
    titled = [dataclasses.replace(rig, title=str(number)) for number in range(3)]
    engines = [kept.engine_for(r, SMALL) for r in titled[:2]]
    assert kept.engine_for(titled[0], SMALL) is engines[0]
    kept.engine_for(titled[2], SMALL)
    assert len(kept) == 2
    assert kept.engine_for(titled[0], SMALL) is engines[0]


def test_one_too_large_for_the_bound_is_still_kept_while_it_is_asked(rig):
    kept = keeper.Keeper(most_bytes=1)
    assert kept.engine_for(rig, SMALL) is kept.engine_for(rig, SMALL)


def test_bytes_are_those_of_the_arrays_each_counted_once():
    array = np.zeros(1000)
    assert held_bytes([array, array[:10], {"again": (array,)}]) == 8000


def test_each_thread_has_engines_of_its_own(rig):
    found = []
    other = threading.Thread(target=lambda: found.append(keeper.engine_for(rig, SMALL)))
    other.start()
    other.join()
    assert keeper.engine_for(rig, SMALL) is not found[0]
    assert keeper.engine_for(rig, SMALL) is keeper.engine_for(rig, SMALL)


def test_a_kept_engine_survives_being_stopped(rig):
    """Broken off on its way to another rig, it is neither lost nor wrong."""
    engine = keeper.engine_for(rig, SMALL)
    before = engine.layers(rig).sheet_foil
    card, *rest = rig.cards
    other = dataclasses.replace(
        rig, cards=(dataclasses.replace(card, width_mm=1.5 * card.width_mm), *rest)
    )

    def stop():
        raise Stopped

    with pytest.raises(Stopped):
        keeper.layers_of(other, SMALL, check=stop)
    assert keeper.engine_for(rig, SMALL) is engine
    assert np.array_equal(keeper.layers_of(rig, SMALL).sheet_foil, before)
    fresh = Engine(other, SMALL).layers(other).sheet_foil
    assert keeper.layers_of(other, SMALL).sheet_foil == pytest.approx(fresh, rel=1e-5)
