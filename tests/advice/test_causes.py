"""Causes and moves against plain geometry, and gains against the full prediction.

The rigs are worked out on paper. The lens at (0, -600, 600) has its mirror image at
(0, -600, -600): a point (x, y) of the sheet looks along (x, y + 600, 600).
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from lightplan.advice import explain_findings
from lightplan.advice.case import Case
from lightplan.advice.causes import NO_MOVE, cause_of
from lightplan.advice.moves import AdvisedMove, camera_aside, exposure_move, moved_by, with_thing
from lightplan.advice.moves_to_try import moves_for
from lightplan.advice.tryout import Tryout, best_of
from lightplan.light import Detail, Engine
from lightplan.light.exposure import sheet_picture, sheet_share
from lightplan.measures import Finding, SheetMaps, find_faults, judge, measure
from lightplan.scene import (
    Body,
    Camera,
    Card,
    Exposure,
    Foil,
    Lamp,
    Output,
    Placement,
    Rig,
    Room,
    Sheet,
)

DETAIL = Detail.quick(camera_rows=12, camera_cols=18)
KEY = Lamp(
    name="key",
    placement=Placement((200, 50, 500), (200, 300, 300)),
    width_mm=150,
    height_mm=150,
    output=Output(value=2000, unit="cd/m2"),
)
BOARD = Card(
    name="right board",
    placement=Placement((200, 300, 300), (200, -300, 300)),
    width_mm=400,
    height_mm=600,
)


def foil_sheet() -> Sheet:
    artwork = np.zeros((60, 80))
    artwork[10:50, 10:70] = 1.0  # x from -45 to 45, y from -30 to 30
    return Sheet(
        width_mm=120,
        height_mm=90,
        artwork=artwork,
        foil=Foil(kind="silver foil", roughness=(0.02, 0.02)),
    )


def rig_of(**more) -> Rig:
    given = {
        "title": "geometry",
        "sheet": foil_sheet(),
        "lamps": (KEY,),
        "cards": (BOARD,),
        "camera": Camera(placement=Placement((0, -600, 600))),
        "room": Room(table=None),
    }
    return Rig(**{**given, **more})


def layers_of(rig):
    return Engine(rig, DETAIL).layers(rig)


def mirrored_by_foil(rig):
    layers = layers_of(rig)
    seen = np.unique(layers.sees[sheet_share(rig, layers) > 0.5])
    return {layers.sees_names[i] for i in seen}


def judged(rig):
    layers = layers_of(rig)
    maps = SheetMaps.from_linear(
        sheet_picture(rig, layers),
        sheet_share(rig, layers),
        width_mm=rig.sheet.width_mm,
        height_mm=rig.sheet.height_mm,
    )
    found = measure(
        maps, rig.look, rig.sheet.foil.kind, stock_reflectance=rig.sheet.paper.reflectance
    )
    return layers, judge(found, rig.look), find_faults(maps, found, rig.look)


def fault(code, where_mm, measure_name):
    return Finding(code, code, where_mm, 5.0, (measure_name,))


def moves_by_text(case, finding):
    return {move.text: move for move in moves_for(case, finding)}


def test_a_card_that_ends_too_early_is_named_with_edge_and_millimetres():
    rig = rig_of()
    finding = fault("foil black", (-40.0, 0.0), "foil_dark_share")
    cause = cause_of(Case(rig, layers_of(rig)), finding)
    found = re.fullmatch(
        r"the dark room is mirrored here, past the left edge of the right board, "
        r"which ends (\d+) mm too early there",
        cause,
    )
    assert found, cause
    # x = -45, y = -30 meets the card's plane y = 300 at x = -45 (300 + 600) / (-30 + 600);
    # the card begins at x = 0. The grid samples the foil every mm.
    assert float(found[1]) == pytest.approx(45 * 900 / 570, abs=2.0)


def test_the_shift_that_is_proposed_covers_the_foil():
    rig = rig_of()
    finding = fault("foil black", (-40.0, 0.0), "foil_dark_share")
    moves = moves_by_text(Case(rig, layers_of(rig)), finding)
    shifts = [t for t in moves if re.fullmatch(r"move the right board \d+ mm to the left", t)]
    larger = [t for t in moves if t.startswith("take a card that reaches")]
    assert len(shifts) == 1
    assert any("left edge" in text for text in larger)
    assert int(re.search(r"(\d+) mm", shifts[0])[1]) >= 45 * 900 / 570
    for text in (*shifts, *[t for t in larger if "left edge" in t]):
        assert mirrored_by_foil(moves[text].build()) == {"right board"}


def test_the_best_move_fills_the_gap_and_its_gain_is_the_full_predictions():
    rig = rig_of()
    layers, before, findings = judged(rig)
    assert findings
    explained = explain_findings(rig, layers, findings)
    assert [e.code for e in explained] == [f.code for f in findings]
    assert all(e.cause and e.move for e in explained)
    dark = next(e for e in explained if e.code == "foil black")
    case = Case(rig, layers)
    best = best_of(
        case.bench,
        moves_for(case, next(f for f in findings if f.code == "foil black")),
        dark.measures[0],
    )
    assert best is not None
    assert best.move.text == dark.move
    _, after, _ = judged(best.move.build())
    assert dark.gain == pytest.approx(after.score - before.score, abs=3.0)
    assert dark.gain > 10.0


def test_the_camera_in_its_own_mirror_is_named_and_moved_out():
    body = Body(width_mm=140, height_mm=100)
    camera = Camera(placement=Placement((0, 0, 600)), body=body)
    rig = rig_of(camera=camera, sheet=Sheet(width_mm=120, height_mm=90))
    case = Case(rig, layers_of(rig))
    finding = fault("foil black", (0.0, 0.0), "foil_dark_share")
    assert cause_of(case, finding) == "the camera sees itself here"
    first = next(camera_aside(rig))
    # Half the sheet's side and a quarter of the body (the reflection is half as large),
    # 45 + 25 = 70 mm, and 5 mm for setting; atan(75 / 600) = 7.1 degrees.
    assert (
        first.text == "move the camera 75 mm towards you and turn it back to the sheet (7 degrees)"
    )
    assert "camera" in case.layers.sees_names
    after = layers_of(first.build())
    assert "camera" not in after.sees_names
    assert first.text in moves_by_text(case, finding)


def test_a_mirrored_lamp_is_moved_just_out_of_view():
    lamp = replace(KEY, placement=Placement((0, 600, 600), (0, 0, 0)), width_mm=200, height_mm=200)
    rig = rig_of(lamps=(lamp,), cards=())
    case = Case(rig, layers_of(rig))
    finding = fault("foil clipped", (0.0, 0.0), "foil_clipped_share")
    assert cause_of(case, finding).startswith("the lamp 'key' itself is mirrored here")
    shifts = [
        m for t, m in moves_by_text(case, finding).items() if re.match(r"move .* \d+ mm to ", t)
    ]
    assert shifts
    for move in shifts:
        assert "key" not in mirrored_by_foil(move.build()), move.text


def test_exposure_moves_change_the_light_by_their_words():
    rig = rig_of(
        camera=Camera(
            placement=Placement((0, -600, 600)), exposure=Exposure(f_number=8, time_s=0.5, iso=100)
        )
    )
    move = exposure_move(rig, -4 / 3)
    assert move.text == "expose 1 1/3 stops less"
    assert move.build().camera.exposure.time_s == pytest.approx(0.5 * 2 ** (-4 / 3))


def test_an_overexposed_foil_is_cured_by_exposing_less():
    covered = replace(BOARD, placement=Placement((0, 300, 300), (0, -300, 300)), width_mm=700)
    camera = Camera(
        placement=Placement((0, -600, 600)), exposure=Exposure(paper_level=1.5, foil_level=100)
    )
    rig = rig_of(cards=(covered,), camera=camera)
    layers, before, findings = judged(rig)
    one = next(f for f in explain_findings(rig, layers, findings) if f.code == "foil clipped")
    assert re.fullmatch(r"expose [\d /]+ stops? less", one.move), one.move
    assert "brighter than the picture can hold" in one.cause
    # A gain is what the move alone brings: the foil is even, and reads as print before and after.
    assert one.gain > 10
    assert before.score < 30


def test_the_lamp_that_lights_one_side_is_blamed_for_uneven_paper():
    side = replace(KEY, placement=Placement((-250, 0, 120), (0, 0, 0)))
    rig = rig_of(lamps=(side,))
    cause = cause_of(
        Case(rig, layers_of(rig)), fault("paper uneven", (-55, 0), "paper_lightness_range_Lstar")
    )
    assert "the lamp 'key' gives " in cause
    assert "(left side), which gets" in cause
    assert "darkest (right side)" in cause


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("under the table", lambda rig: with_thing(rig, moved_by(KEY, np.array([0, 0, -900.0])))),
        ("beyond reach", lambda rig: with_thing(rig, moved_by(KEY, np.array([5000.0, 0, 0])))),
        (
            "before the lens",
            lambda rig: with_thing(
                rig, replace(BOARD, placement=Placement((0, -300, 300), (0, -600, 600)))
            ),
        ),
        (
            "through the lamp",
            lambda rig: with_thing(
                rig, replace(BOARD, placement=Placement((200, 50, 500), (200, -300, 500)))
            ),
        ),
    ],
)
def test_moves_that_nobody_can_make_are_refused(name, change):
    rig = rig_of()
    bench = Tryout(rig)
    assert bench.tried(AdvisedMove("the rig as it is", lambda: rig)) is not None
    assert bench.tried(AdvisedMove(name, lambda: change(rig))) is None


def test_where_nothing_helps_it_says_so():
    rig = rig_of(lamps=(), cards=())
    layers = layers_of(rig)
    (one,) = explain_findings(rig, layers, [fault("too dark", (0, 0), "brightest_level_stops")])
    assert one.move == NO_MOVE
    assert one.gain == 5.0


def test_the_same_rig_gets_the_same_advice():
    rig = rig_of()
    layers, _, findings = judged(rig)
    assert explain_findings(rig, layers, findings) == explain_findings(rig, layers, findings)
