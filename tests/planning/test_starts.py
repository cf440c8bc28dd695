"""Closed-form starts: the trade's first placement, from geometry alone."""

import math
import time
from dataclasses import replace

import numpy as np
import pytest
from plain_grating import diffract
from plain_questions import covered_share

from lightplan.mirror.rays import centre_ray, hit_plane, lattice, mirrored_rays
from lightplan.planning.starts import guesses, rainbow_direction, starts
from lightplan.scene import Camera, Card, Foil, Grating, Look, Placement, Sheet, Side
from lightplan.scene.dimensions import Space


def looked(toy, kind, **changes):
    return toy.rig(look=Look(kind=kind, direction_rad=math.pi / 2), **changes)


def test_bright_field_starts_with_a_card_that_fills_the_view(toy):
    # Card rule, with margins for setting errors (common practice).
    rig = looked(toy, "bright field")
    for guess in guesses(rig):
        assert covered_share(rig.camera, rig.sheet, guess.cards[0]) == 1.0


def test_the_lamps_stay_out_of_the_family_of_angles(toy):
    # Common practice: light for the paper comes from outside the family; the lamp itself
    # must not be what the foil mirrors.
    rig = looked(toy, "bright field")
    rays = mirrored_rays(rig.camera, rig.sheet, lattice(rig.sheet))
    for guess in guesses(rig):
        for lamp in guess.lamps:
            place, distance = hit_plane(rays, lamp.placement)
            seen = (np.abs(place) < lamp.width_mm / 2).all(axis=1) & np.isfinite(distance)
            assert not seen.any()


def test_split_starts_with_the_cards_edge_through_the_middle(toy):
    rig = looked(toy, "split")
    for guess in guesses(rig):
        share = covered_share(rig.camera, rig.sheet, guess.cards[0])
        assert 0.3 < share < 0.7
        far, near = (
            covered_share(
                rig.camera,
                replace(rig.sheet, height_mm=5.0),
                replace(guess.cards[0], placement=_shifted(guess.cards[0], dy)),
            )
            for dy in (-60.0, 60.0)
        )
        assert (near, far) == (0.0, 1.0) or (near, far) == (1.0, 0.0)


def _shifted(card, dy):
    x, y, z = card.placement.position_mm
    ax, ay, az = card.placement.aim_mm
    return Placement((x, y + dy, z), (ax, ay + dy, az))


def test_dark_field_keeps_bright_things_out_of_the_mirror(toy):
    black = Side(finish="black", reflectance=(0.04,) * 3)
    cards = (
        Card(name="board", placement=Placement((0, 190, 340)), width_mm=300, height_mm=200),
        Card(
            name="black",
            placement=Placement((300, 190, 340)),
            width_mm=400,
            height_mm=400,
            front=black,
        ),
    )
    rig = looked(toy, "dark field", cards=cards)
    for guess in guesses(rig):
        assert covered_share(rig.camera, rig.sheet, guess.cards[0]) == 0.0
        assert covered_share(rig.camera, rig.sheet, guess.cards[1]) == 1.0


@pytest.mark.parametrize("lines", [800.0, 1000.0, 1200.0])
def test_the_rainbow_lamp_stands_where_the_grating_sends_green(toy, lines):
    # Second method: the optics layer's own grating equation (Palmer, Diffraction Grating
    # Handbook, 2.1).
    sheet = Sheet(width_mm=60, height_mm=60, foil=Foil(grating=Grating(lines_per_mm=lines)))
    camera = Camera(placement=Placement((0, -100, 500)))
    rig = looked(toy, "rainbow", sheet=sheet, camera=camera)
    eye = np.array([camera.placement.position_mm])
    eye = eye / np.linalg.norm(eye)
    for side, order in ((1.0, 1), (-1.0, -1)):
        expected, exists = diffract(eye, order, 550.0, lines, math.pi / 2)
        assert exists[0]
        assert rainbow_direction(rig, side) == pytest.approx(expected[0], abs=1e-9)


def test_without_a_grating_the_lamp_is_off_the_mirror_by_20_to_50_degrees(toy):
    # Common practice for holographic foil.
    rig = looked(toy, "rainbow")
    _, mirror = centre_ray(rig.camera, rig.sheet)
    off = math.degrees(math.acos(float(rainbow_direction(rig, 1.0) @ mirror)))
    assert 20 <= off <= 50


@pytest.mark.parametrize("kind", ["bright field", "gradient", "dark field", "split", "rainbow"])
def test_starts_lie_in_the_box_and_come_in_a_fifth_of_a_second(toy, kind):
    freedoms = tuple(
        toy.freedom(element, axis, low, high)
        for element in ("left", "right", "board")
        for axis, low, high in (("x_mm", -800, 800), ("y_mm", -300, 500), ("z_mm", 100, 800))
    )
    rig = looked(toy, kind, freedoms=freedoms)
    space = Space.of(rig)
    starts(rig, space)
    spent = time.process_time()
    found = starts(rig, space)
    assert time.process_time() - spent < 0.2
    assert len(found) >= 2
    assert all(p.min() >= 0 and p.max() <= 1 for p in found)
    assert found[0] == pytest.approx(space.read(rig))
