"""How hard is searched, and what is told when a sheet is larger than its table."""

from dataclasses import replace

from lightplan.planning.effort import Effort, effort_for
from lightplan.scene import Camera, Foil, Grating, Placement, Rig, Room, Sheet, Table
from lightplan.scene.clearance import broken

PLAIN = Rig(
    title="plain",
    sheet=Sheet(width_mm=100, height_mm=70),
    camera=Camera(placement=Placement((0, -260, 400))),
)


def test_a_grating_is_searched_with_fewer_lights_as_each_is_dear():
    shiny = replace(PLAIN, sheet=replace(PLAIN.sheet, foil=Foil(grating=Grating())))
    assert effort_for(PLAIN) == Effort()
    assert effort_for(shiny).evaluations < 0.5 * Effort().evaluations
    assert effort_for(shiny, evaluations=500).evaluations == 500, "what is asked for is done"


def test_a_sheet_larger_than_its_table_is_told():
    small = replace(PLAIN, room=Room(table=Table(width_mm=80, depth_mm=300)))
    (found,) = [x for x in broken(small) if "sheet" in x.elements]
    assert found.excess_mm == 10.0
    assert "reaches 10 mm over the table's edge" in found.sentence
    assert not broken(PLAIN)
