"""Writing rig files: the same rig comes back, comments stay, nothing of the maker's is lost."""

import dataclasses
import math
import shutil
from pathlib import Path

import pytest
import rig_strategies
from hypothesis import HealthCheck, given, settings

from lightplan.errors import BadInput
from lightplan.rigfiles import (
    PlanRecord,
    RecordedTolerance,
    Thing,
    load_rig,
    rig_digest,
    rig_to_toml,
    update_rig_file,
    write_rig,
)
from lightplan.rigfiles.load import form_of, loaded_from
from lightplan.rigfiles.tables import degrees
from lightplan.rigfiles.write import changed_text, rewritten
from lightplan.safe_write import FileExists
from lightplan.scene import Lamp, Output, Placement

COMMENTED = """\
# My tag, March.
format = 2
title = "Tag" # in gold

[sheet] # measured twice
width_mm = 85 # tape
height_mm = 55

[camera]
position_mm = [0, -200, 400] # tripod at 40

# The window side.
[[lamps]]
name = "key" # left
position_mm = [-500, 0, 500]
width_mm = 300
height_mm = 300
output = { value = 900, unit = "lm" } # from the box

# For the paper.
[[lamps]]
name = "fill.2"
position_mm = [500, 0, 500]
width_mm = 300
height_mm = 300
trim_stops = -1 # one down
"""
PLAN = PlanRecord(
    score=88.5,
    yield_share=0.9,
    measures={"foil_clipped_share": 0.001},
    tolerances=(RecordedTolerance(element="key", dimension="x_mm", minus=12, plus=8.5),),
    critical=(("sheet", "bow_mm"), ("key", "x_mm")),
    rig_digest="0123456789abcdef",
    made_with="0.1.0",
    stopped_because="no better plan was found",
)
THING = Thing(
    kind="lamp", width_mm=400, height_mm=300, price=12.5, output=Output(value=900, unit="lm")
)


def comments(text):
    return [line.split("#", 1)[1].strip() for line in text.splitlines() if "#" in line]


def moved(rig, name, **changes):
    lamps = tuple(
        dataclasses.replace(lamp, **changes) if lamp.name == name else lamp for lamp in rig.lamps
    )
    return dataclasses.replace(rig, lamps=lamps)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(rig_strategies.rigs())
def test_any_rig_comes_back_from_its_text_to_the_last_bit(rig):
    text = rig_to_toml(rig, notes="a\nb # c", plan=PLAN, owned=[THING], shop=[THING, THING])
    back = loaded_from(form_of(text), Path("rig.toml"))
    assert back.digest == rig_digest(rig)
    assert (back.notes, back.plan, back.owned, back.shop) == (
        "a\nb # c",
        PLAN,
        (THING,),
        (THING, THING),
    )


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(first=rig_strategies.rigs(), second=rig_strategies.rigs())
def test_any_rig_can_be_written_over_the_text_of_any_other(first, second, tmp_path_factory):
    path = tmp_path_factory.getbasetemp() / "first.toml"
    path.write_text(rig_to_toml(first), "utf-8")
    text, pictures = rewritten(load_rig(path), path, rig=second)
    assert loaded_from(form_of(text), path).digest == rig_digest(second)
    assert pictures == {}


@given(rig_strategies.st.floats(-2 * math.pi, 2 * math.pi))
def test_degrees_read_back_as_the_same_radians(angle):
    assert math.radians(degrees(angle)) == pytest.approx(angle, rel=3e-16, abs=1e-300)


def test_what_is_left_out_takes_its_own_comment_along(tmp_path):
    (tmp_path / "rig.toml").write_text(COMMENTED)
    loaded = load_rig(tmp_path / "rig.toml")
    fewer = dataclasses.replace(loaded.rig, lamps=loaded.rig.lamps[1:])
    text, _ = rewritten(loaded, tmp_path / "new.toml", rig=fewer)
    assert "The window side" not in text
    assert '# For the paper.\n[[lamps]]\nname = "fill.2"' in text
    assert "# tripod at 40" in text
    assert changed_text(COMMENTED, loaded.rig, fewer) == text  # as an edit on the page does


def test_degrees_are_as_typed():
    for typed in (0.0, 33.3, -90.0, 12.25, 179.9):
        assert degrees(math.radians(typed)) == typed


def test_changes_keep_comments_and_everything_else(rig_file):
    path = rig_file(COMMENTED)
    loaded = update_rig_file(
        path,
        {
            "title": "Tag two",
            "lamps.key.position_mm": [-450, 20, 510.5],
            "lamps.fill.2.trim_stops": -2,
            "camera.exposure.iso": 100,
            "camera.exposure.f_number": 8,
            "camera.exposure.time_s": 0.01,
        },
    )
    text = path.read_text("utf-8")
    assert comments(text) == comments(COMMENTED)
    for old, new in (
        ('"Tag"', '"Tag two"'),
        ("[-500, 0, 500]", "[-450, 20, 510.5]"),
        ("trim_stops = -1", "trim_stops = -2"),
    ):
        assert old in COMMENTED
        assert new in text
    kept = set(COMMENTED.splitlines()) & set(text.splitlines())
    assert len(kept) == len(set(COMMENTED.splitlines())) - 3
    assert loaded.rig.lamps[0].placement.position_mm == (-450, 20, 510.5)
    assert loaded.rig.camera.exposure.iso == 100


def test_none_takes_a_field_out(rig_file):
    path = rig_file(COMMENTED)
    update_rig_file(path, {"lamps.fill.2.trim_stops": None})
    assert "trim_stops" not in path.read_text("utf-8")


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"sheet.width_mm": -3}, r"sheet\.width_mm must be from 5 to 5000 \(got -3"),
        ({"sheet.widht_mm": 3}, r"did you mean width_mm"),
        ({"lamps.kye.on": False}, r"change must be of a field in the file .* did you mean key"),
        ({"title.text": 3}, r"change must be of a field in the file \(got title\.text\)"),
        ({"lamps.key.position_mm": [0, 0, 1]}, r"must be clear of the sheet"),
    ],
)
def test_a_change_that_would_spoil_the_file_is_refused(
    rig_file, assert_one_sentence, changes, match
):
    path = rig_file(COMMENTED)
    with pytest.raises(BadInput, match=match) as caught:
        update_rig_file(path, changes)
    assert_one_sentence(caught.value, path)
    assert path.read_text("utf-8") == COMMENTED


def test_a_planned_rig_keeps_the_makers_comments(rig_file, tmp_path):
    loaded = load_rig(rig_file(COMMENTED))
    rig = moved(loaded.rig, "key", trim_stops=-1.5, placement=Placement((-480.0, 10.0, 520.0)))
    new = write_rig(loaded, tmp_path / "out" / "planned.toml", rig=rig, plan=PLAN)
    text = new.path.read_text("utf-8")
    assert comments(text) == comments(COMMENTED)
    assert new.digest == rig_digest(rig)
    assert new.plan == PLAN
    assert loaded.path.read_text("utf-8") == COMMENTED
    again = write_rig(new, new.path, plan=dataclasses.replace(PLAN, score=90.0), replace=True)
    assert again.plan.score == 90.0
    assert again.path.read_text("utf-8").count("[plan]") == 1


def test_added_and_removed_lamps(rig_file, tmp_path):
    loaded = load_rig(rig_file(COMMENTED))
    third = Lamp(name="third", placement=Placement((0, 600, 700)), colour_k=3200)
    rig = dataclasses.replace(loaded.rig, lamps=(loaded.rig.lamps[0], third))
    new = write_rig(loaded, tmp_path / "out.toml", rig=rig)
    assert [lamp.name for lamp in new.rig.lamps] == ["key", "third"]
    assert new.digest == rig_digest(rig)
    assert "left" in comments(new.path.read_text("utf-8"))


@pytest.mark.parametrize("name", ["gold-card-above", "cone-and-phone", "rainbow-bookmark"])
def test_a_copied_preset_is_the_same_rig_with_its_own_pictures(name, tmp_path):
    loaded = load_rig(name)
    copy = write_rig(loaded, tmp_path / "a" / "copy.toml")
    assert copy.digest == loaded.digest
    assert list(copy.assets) == ["artwork/copy.png"]
    assert (
        copy.assets["artwork/copy.png"].read_bytes()
        == next(iter(loaded.assets.values())).read_bytes()
    )
    far = shutil.copytree(tmp_path / "a", tmp_path / "b")
    shutil.rmtree(tmp_path / "a")
    assert load_rig(far / "copy.toml").digest == loaded.digest


def test_a_file_in_the_way_is_kept_unless_asked(tmp_path, assert_one_sentence):
    loaded = load_rig("gold-card-above")
    target = tmp_path / "mine.toml"
    target.write_text("precious", "utf-8")
    with pytest.raises(FileExists, match="must be a new one") as caught:
        write_rig(loaded, target)
    assert_one_sentence(caught.value, target)
    assert target.read_text("utf-8") == "precious"
    assert [p.name for p in tmp_path.iterdir()] == ["mine.toml"]
    assert write_rig(loaded, target, replace=True).digest == loaded.digest


def test_a_picture_in_the_way_is_kept_unless_asked(tmp_path):
    loaded = load_rig("gold-card-above")
    picture = tmp_path / "artwork" / "mine.png"
    picture.parent.mkdir()
    picture.write_bytes(b"precious")
    with pytest.raises(FileExists, match="must be a new one"):
        write_rig(loaded, tmp_path / "mine.toml")
    assert picture.read_bytes() == b"precious"
    assert not (tmp_path / "mine.toml").exists()


def test_a_rig_that_cannot_be_written_over_itself_stays(rig_file, minimal):
    path = rig_file(minimal + "[room]\nambient_cd_m2 = [1, 1, 2] # dusk\n")
    loaded = load_rig(path)
    room = dataclasses.replace(loaded.rig.room, ambient_cd_m2=(3.0, 3.0, 3.0))
    new = write_rig(loaded, path, rig=dataclasses.replace(loaded.rig, room=room), replace=True)
    assert "ambient_cd_m2 = 3 # dusk" in path.read_text("utf-8")
    assert new.rig.room.ambient_cd_m2 == (3.0, 3.0, 3.0)
