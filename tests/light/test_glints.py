"""Light by way of a mirror, against a plain quadrature over all of the mirror and the lamp."""

from dataclasses import replace

import numpy as np
import pytest

from lightplan.geometry import points as point_sets
from lightplan.light import Detail, emission
from lightplan.light.cells import Patchwork
from lightplan.light.diffracted import diffracted
from lightplan.light.glints import Between, Receivers, glints, glints_by_need
from lightplan.light.known_ways import KnownWays
from lightplan.light.mirror_face import MirrorFace
from lightplan.light.mirror_transfer import MirrorTransfer
from lightplan.light.outlook import Outlook
from lightplan.light.surround import Surroundings
from lightplan.optics import materials, microfacet
from lightplan.scene import Camera, Card, Grating, Lamp, Output, Placement, Rig, Sheet
from lightplan.scene.surfaces import build_surfaces

GOLD = materials.conductor_curve((0.18, 0.42, 1.37), (3.4, 2.35, 1.77))
LAMP = Lamp(
    name="box",
    placement=Placement((-300, 300, 700)),
    width_mm=200,
    height_mm=300,
    output=Output(value=1, unit="cd/m2"),
)
RIG = Rig(
    title="a gift tag",
    sheet=Sheet(width_mm=200, height_mm=150),
    camera=Camera(placement=Placement((0, -500, 600))),
    lamps=(LAMP,),
)
COUNT = 200_000


def lobe(way, view, alpha):
    """GGX with Smith's masking times the cosine, without Fresnel (Walter et al. 2007)."""
    half = way + view
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    shape = ((half[:, :2] / alpha) ** 2).sum(axis=1) + half[:, 2] ** 2
    masks = microfacet.g1(*way.T, *alpha) * microfacet.g1(*view.T, *alpha)
    return half, masks / (np.pi * alpha[0] * alpha[1] * shape**2) / 4


def by_quadrature(point, frame, view, rough, foil):
    """Evenly spread places of mirror and lamp, all joined; green channel."""
    draw = np.random.default_rng(5)
    places = draw.uniform(-1, 1, (COUNT, 3)) * [100, 75, 0]
    shape = build_surfaces(RIG)[1].shape
    a, b = draw.uniform(-1, 1, (2, COUNT, 1))
    ends = np.array(shape.centre) + a * shape.half_width * np.array(shape.right)
    ends = ends + b * shape.half_height * np.array(shape.up)
    to_point, to_lamp = point - places, ends - places
    near, far = (np.linalg.norm(v, axis=1, keepdims=True) for v in (to_point, to_lamp))
    to_point, to_lamp = to_point / near, to_lamp / far
    half, found = lobe(to_lamp, to_point, np.array(foil))
    found = found * GOLD.evaluate(np.float32((to_point * half).sum(axis=1)))[:, 1]
    found *= np.maximum(-(to_lamp @ shape.normal), 0)  # cosines at the mirror cancel
    way = -to_point @ frame.T
    if view is None:
        found *= np.maximum(way[:, 2], 0) / np.pi
    else:
        half, silver = lobe(way, np.tile(view, (COUNT, 1)), np.array(rough))
        silver *= GOLD.evaluate(np.float32(half @ view))[:, 1] / view[2]
        found *= np.where(way[:, 2] > 0, silver, 0)
    area = 200 * 150 * 4 * shape.half_width * shape.half_height
    return float((found / (near * far)[:, 0] ** 2).mean() * area)


@pytest.mark.parametrize("foil", [(0.1, 0.3), (0.25, 0.25)])
@pytest.mark.parametrize("rough", [(0.0, 0.0), (0.2, 0.2)])
def test_lamp_by_way_of_the_foil(foil, rough):
    point = np.array([[100.0, -150, 200]])
    normal = -point / np.linalg.norm(point)
    tangent, other = point_sets.frames(normal)
    frame = np.stack([tangent, other, normal], axis=1)
    view = np.array([0.2, 0.1, 0.97]) / np.linalg.norm([0.2, 0.1, 0.97])
    is_matte = rough[0] == 0
    receivers = Receivers(point, frame, np.arange(1), None if is_matte else view[None], rough, GOLD)
    surfaces = build_surfaces(RIG)
    mirror = Between(
        0, is_front=True, curve=GOLD, roughness=foil, tangent=np.array([1.0, 0.0, 0.0])
    )
    found = glints(receivers, mirror, surfaces, emission.lamp_faces(RIG, surfaces), 20_000)
    wanted = by_quadrature(point[0], frame[0], None if is_matte else view, rough, foil)
    assert found[1, 0, 0] == pytest.approx(wanted, rel=0.02)  # the quadrature's own noise


def card_points(count=60):
    """Points of a card beside the sheet, and as many on its back."""
    draw = np.random.default_rng(2)
    points = np.column_stack([draw.uniform(-90, 90, count), np.full(count, 120.0),
                              draw.uniform(20, 900, count)])  # fmt: skip
    points = np.concatenate([points, points])
    normals = np.repeat([[0.0, -1.0, 0.0], [0.0, 1.0, 0.0]], count, axis=0)
    frames = np.stack([*point_sets.frames(normals), normals], axis=1)
    return Receivers(points, frames, np.arange(2 * count))


def test_points_to_which_a_lamp_brings_much_are_told_closer():
    """Of narrow foil eight places in each way leave grain on a card, which foil shows sharply."""
    surfaces = build_surfaces(RIG)
    lamps = emission.lamp_faces(RIG, surfaces)
    mirror = Between(0, is_front=True, curve=GOLD, roughness=(0.08, 0.08))
    card = card_points()
    far_off = card.points + np.array([0.0, 6000.0, 0.0])
    both = Receivers(
        np.concatenate([card.points, far_off]),
        np.concatenate([card.frames, card.frames]),
        np.arange(2 * len(far_off)),
    )
    given = (both, mirror, surfaces, lamps)
    exact, plain, finer = (
        glints(*given, drawn, more)[1, :, 0] for drawn, more in ((3000, 0), (8, 0), (8, 32))
    )
    much = plain > 0.05 * plain.max()
    assert 5 < np.count_nonzero(much) < 60
    assert not exact[60:120].any()  # the back sees nothing of it
    off = [np.sqrt(np.mean((found - exact)[much] ** 2)) for found in (plain, finer)]
    assert off[1] < 0.6 * off[0]
    # those close to such a one may have missed the lamp by chance
    close, apart = np.zeros((2, len(much)), bool)
    close[:60], apart[120:180] = ~much[:60], True
    assert (finer[close] != plain[close]).any()
    assert plain[apart].any()
    np.testing.assert_array_equal(finer[apart], plain[apart])


def test_each_point_may_be_told_as_closely_as_it_needs():
    surfaces = build_surfaces(RIG)
    mirror = Between(0, is_front=True, curve=GOLD, roughness=(0.08, 0.08))
    given = (card_points(), mirror, surfaces, emission.lamp_faces(RIG, surfaces), 8)
    needs = np.where(np.arange(120) % 2 == 0, 64, 32)
    found, closer, usual = (glints(*given, count) for count in (needs, 64, 32))
    assert (closer != usual).any()
    np.testing.assert_array_equal(found, np.where((needs == 64)[:, None], closer, usual))


def test_some_of_the_points_draw_what_they_draw_among_all():
    surfaces = build_surfaces(RIG)
    rest = (Between(0, is_front=True, curve=GOLD, roughness=(0.2, 0.2)), surfaces)
    points, rows = card_points(), np.array([3, 20, 41])
    some, every = (
        glints(p, *rest, emission.lamp_faces(RIG, surfaces), 8) for p in (points.some(rows), points)
    )
    assert every[:, rows].any()
    np.testing.assert_array_equal(some, every[:, rows])


def test_places_are_drawn_where_a_lamp_brings_much():
    """As many in all; points in the light get more of them than those that see none of it."""
    draw = np.random.default_rng(8)
    count = 4000
    points = np.column_stack([draw.uniform(-900, 900, count), np.full(count, 120.0),
                              draw.uniform(20, 1800, count)])  # fmt: skip
    normals = np.tile([0.0, -1.0, 0.0], (count, 1))
    frames = np.stack([*point_sets.frames(normals), normals], axis=1)
    receivers = Receivers(points, frames, np.arange(count))
    surfaces = build_surfaces(RIG)
    mirror = Between(0, is_front=True, curve=GOLD, roughness=(0.04, 0.04))
    given = (receivers, mirror, surfaces, emission.lamp_faces(RIG, surfaces))
    exact, even = (glints(*given, drawn)[1, :, 0] for drawn in (500, 2))
    needed = glints_by_need(*given, 2, 32)[1, :, 0]
    off = [np.sqrt(np.mean((found - exact) ** 2)) for found in (even, needed)]
    assert off[1] < 0.6 * off[0]
    # none counts for having had luck at first: their sum is right as that of the others is
    assert needed.sum() == pytest.approx(exact.sum(), rel=0.02)


def over_a_large_mirror(alpha):
    """What points over a mirror get of a small lamp by way of it: by its transfer, and wholly."""
    lamp = replace(LAMP, width_mm=60, height_mm=60)
    rig = replace(RIG, sheet=Sheet(width_mm=700, height_mm=1000), lamps=(lamp,))
    surfaces = build_surfaces(rig)
    lamps = emission.lamp_faces(rig, surfaces)
    patchwork = Patchwork(surfaces, 1, 2, 4)
    points = np.column_stack(
        [*np.random.default_rng(4).uniform(-200, 200, (2, 60)), np.full(60, 560)]
    )
    normals = np.tile([0.0, 0.0, -1.0], (60, 1))
    face = MirrorFace(0, is_front=True, curve=GOLD, roughness=(alpha, alpha))
    transfer = MirrorTransfer(face, Detail().mirror_spots)
    at = (points, normals, np.full(60, -1))
    transfer.update(surfaces, patchwork, lamps, frozenset(), *at)
    texels = np.zeros((patchwork.texel_count, 1, 3), np.float32)
    texels[1] = 1.0  # the lamp alone
    found = transfer.evaluate(Outlook(texels, Surroundings(rig.room), np.zeros(1, np.float32)))
    frames = np.stack([*point_sets.frames(normals), normals], axis=1)
    receivers = Receivers(points, frames, np.arange(60))
    return found[:, 0, 1], glints(receivers, face.between, surfaces, lamps, 3000)[1, :, 0]


@pytest.mark.parametrize("alpha", [0.04, 0.17, 0.3, 0.5])
def test_matte_points_see_a_lamp_by_way_of_a_mirror_of_any_roughness(alpha):
    """Through a few fixed spots of it, points between its lobes saw half or twice of the lamp."""
    found, exact = over_a_large_mirror(alpha)
    assert np.sqrt(np.mean((found - exact) ** 2)) < 0.1 * exact.mean()
    assert found.mean() == pytest.approx(exact.mean(), rel=0.02)


def test_ways_that_are_known_are_those_that_would_be_found():
    surfaces, draw = build_surfaces(RIG), np.random.default_rng(2)
    lamps = emission.lamp_faces(RIG, surfaces)
    mirror = Between(0, is_front=True, curve=GOLD, roughness=(0.1, 0.2))
    points = draw.uniform([-200, -200, 50], [200, 200, 300], (40, 3))
    known = KnownWays()
    for step in range(6):
        points = points.copy()
        points[draw.integers(40, size=5)] += draw.uniform(-40, 40, (5, 3))
        if step == 3:  # another lamp stands where the first did
            rig = replace(RIG, lamps=(replace(LAMP, placement=Placement((300, 300, 700))),))
            surfaces = build_surfaces(rig)
            lamps = emission.lamp_faces(rig, surfaces)
        facing = -points / np.linalg.norm(points, axis=1, keepdims=True)
        frames = np.stack([*point_sets.frames(facing), facing], axis=1)
        receivers = Receivers(points, frames, np.arange(40))
        before = known.fork()
        found = glints(receivers, mirror, surfaces, lamps, 8, 32, known)
        fresh = glints(receivers, mirror, surfaces, lamps, 8, 32)
        assert np.array_equal(found, fresh)
        assert np.array_equal(glints(receivers, mirror, surfaces, lamps, 8, 32, before), fresh)
        assert (fresh > 0).mean() > 0.5


@pytest.mark.parametrize("grating", [None, Grating(lines_per_mm=700, strength=0.6)])
def test_what_moves_before_ways_that_are_known_hides_what_it_would(grating):
    """Now one card moves, now the other, then both, and some points as well."""
    draw = np.random.default_rng(4)
    cards = tuple(
        Card(name=name, placement=Placement((x, 150, 330)), width_mm=220, height_mm=160)
        for name, x in (("a", -140), ("b", 160))
    )
    rig = replace(RIG, cards=cards)
    surfaces = build_surfaces(rig)
    lamps = emission.lamp_faces(rig, surfaces)
    both = [i for i, s in enumerate(surfaces) if s.role == "card"]
    face = MirrorFace(0, is_front=True, curve=GOLD, roughness=(0.2, 0.2), grating=grating)
    points = draw.uniform([-200, -200, 50], [200, 200, 300], (60, 3))
    known, seen = KnownWays(), []
    for movers in (both, both[:1], both[:1], both[1:], [], both, both[1:]):
        moved = list(surfaces)
        for index in movers:
            centre = np.add(moved[index].shape.centre, draw.uniform(-90, 90, 3))
            shape = replace(moved[index].shape, centre=tuple(map(float, centre)))
            moved[index] = replace(moved[index], shape=shape)
        surfaces, points = tuple(moved), points.copy()
        points[: len(movers)] += 20.0
        facing = -points / np.linalg.norm(points, axis=1, keepdims=True)
        frames = np.stack([*point_sets.frames(facing), facing], axis=1)
        receivers = Receivers(points, frames, np.arange(60))

        def brought(known=None, receivers=receivers, surfaces=surfaces):
            if grating is not None:
                return diffracted(receivers, face, grating, surfaces, lamps, 8, known)
            return glints(receivers, face.between, surfaces, lamps, 8, 32, known)

        before, fresh = known.fork(), brought()
        assert np.array_equal(brought(known), fresh)
        assert np.array_equal(brought(before), fresh)
        seen.append(fresh.sum())
    assert np.ptp(seen) > 0.1 * max(seen)  # they do stand in the way
