"""The chain of steps from older formats."""

import pytest

from lightplan.errors import RigError
from lightplan.rigfiles.migrations import STEPS, migrate
from lightplan.rigfiles.schema import FORMAT


def centimetres_to_mm(document):
    document["width_mm"] = 10 * document.pop("width_cm")
    return document


def adds_a_list(document):
    document["lamps"].append("key")
    return document


INVENTED = {1: centimetres_to_mm, 2: adds_a_list}


def test_every_format_up_to_the_newest_has_its_step():
    assert sorted(STEPS) == list(range(FORMAT - len(STEPS), FORMAT))


def test_steps_run_one_after_another_and_the_number_follows():
    old = {"format": 1, "width_cm": 12, "lamps": []}
    new = migrate(old, steps=INVENTED, newest=3)
    assert new == {"format": 3, "width_mm": 120, "lamps": ["key"]}
    assert old == {"format": 1, "width_cm": 12, "lamps": []}


def test_a_newer_file_needs_fewer_steps():
    assert migrate({"format": 2, "lamps": []}, steps=INVENTED, newest=3)["lamps"] == ["key"]
    assert migrate({"format": 3, "lamps": []}, steps=INVENTED, newest=3)["lamps"] == []


def test_a_step_that_fails_changes_nothing():
    old = {"format": 1, "lamps": []}
    with pytest.raises(KeyError):
        migrate(old, steps=INVENTED, newest=3)
    assert old == {"format": 1, "lamps": []}


@pytest.mark.parametrize("number", [0, -1, 4, 99, "1", 1.0, True, None, [1]])
def test_formats_that_are_none_are_refused(number):
    with pytest.raises(RigError, match="format must be"):
        migrate({"format": number}, steps=INVENTED, newest=3)
