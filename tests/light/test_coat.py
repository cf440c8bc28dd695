"""What a gloss coat lets in, by the angle and the part of a lamp that is seen."""

import numpy as np
import pytest

from lightplan.light import Detail, Engine, coat
from lightplan.optics import fresnel
from lightplan.scene import Camera, Card, Lamp, Output, Paper, Placement, Rig, Room, Sheet, Side

SMOOTH = Paper(coat_index=1.5, coat_roughness=0.001)


def test_a_smooth_coat_passes_what_fresnel_leaves():
    cosine = np.linspace(0.15, 1.0, 40)  # at grazing it is read from a table with 65 rows
    s, p = fresnel.dielectric(cosine, 1.5)
    assert coat.passes(SMOOTH, cosine) == pytest.approx(1 - (s + p) / 2, abs=0.004)


def test_a_rough_coat_passes_more_at_grazing_than_a_smooth_one():
    """Its facets are seen less aslant than it is; straight on both pass 96 %."""
    rough = Paper(coat_index=1.5, coat_roughness=0.25)
    low, straight = np.array(0.15), np.array(1.0)
    assert coat.passes(rough, low) > 1.3 * coat.passes(SMOOTH, low)
    assert coat.passes(rough, straight) == pytest.approx(0.96, abs=0.005)


def _paper(rig):
    return Engine(rig, Detail.quick()).sheet(rig)[0][..., 1].mean()


def _rig(stock, **parts):
    sheet = Sheet(width_mm=60, height_mm=60, paper=stock)
    eye = Camera(placement=Placement((0, -100, 900)))
    return Rig(title="coat", sheet=sheet, camera=eye, **parts)


def _coat_over_body(stock, **parts):
    """Return what a black coated stock shows less than this one, over what a matte one shows."""
    black = Paper(
        coat_index=stock.coat_index, coat_roughness=stock.coat_roughness, reflectance=(0.0,) * 3
    )
    matte = Paper(reflectance=stock.reflectance)
    shown = _paper(_rig(stock, **parts)) - _paper(_rig(black, **parts))
    return shown / _paper(_rig(matte, **parts))


def _wanted(stock, share):
    view = 900 / np.hypot(900, 100)
    leaves = float(coat.passes(stock, np.array(view)))
    return share * leaves * coat.body(stock)[1] / stock.reflectance[1]


def test_even_surroundings_come_in_as_the_mean_over_all_directions():
    """Egan and Hilgeman's mean over all round is what is left of them."""
    lit = {"room": Room(ambient_cd_m2=(100.0,) * 3)}
    wanted = _wanted(SMOOTH, coat.lets_in(SMOOTH))
    assert _coat_over_body(SMOOTH, **lit) == pytest.approx(wanted, rel=0.01)


def test_of_a_half_hidden_lamp_the_seen_part_tells_how_much_comes_in():
    """A tall lamp beside the sheet, its upper half behind a board: only low light is left."""
    place = Placement((1000, 0, 500), (0, 0, 500))
    light = Output(value=1000, unit="cd/m2")
    lamp = Lamp(
        name="tall", shape="rectangle", placement=place, width_mm=100, height_mm=1000, output=light
    )
    dark = Side(reflectance=(0.0,) * 3)
    board = Card(
        name="board",
        placement=Placement((500, 0, 425), (0, 0, 425)),
        width_mm=300,
        height_mm=600,
        front=dark,
        back=dark,
    )
    height = np.linspace(0, 250, 2001)  # what is seen below it, from the sheet's middle
    cosine = height / np.hypot(1000, height)
    # lamp and sheet stand square: cos of both ends over the squared distance
    weight = cosine * (1000 / np.hypot(1000, height)) / (1000**2 + height**2)
    share = np.sum(coat.passes(SMOOTH, cosine) * weight) / weight.sum()
    found = _coat_over_body(SMOOTH, lamps=(lamp,), cards=(board,))
    assert found == pytest.approx(_wanted(SMOOTH, share), rel=0.03)
    assert found < 0.8 * _wanted(SMOOTH, 0.9)  # what the lamp's middle would tell
