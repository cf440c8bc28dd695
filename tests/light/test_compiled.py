"""Compiled loops against plain references of the same laws."""

import dataclasses
import math
import subprocess
import sys

import numpy as np
import pytest
from plain_grating import diffract

from lightplan import compiled as compiling
from lightplan.geometry import points as point_sets
from lightplan.geometry.ball import Ball
from lightplan.geometry.cone import Cone
from lightplan.geometry.mesh import Mesh
from lightplan.geometry.shapes import Flat, Opening
from lightplan.light import bounce, grating_lamps, grating_lobes, grating_orders, kernels
from lightplan.light.cells import Patchwork
from lightplan.light.compiled import grating_spots, gratings, seen_points, tracing, weighted_sums
from lightplan.light.lattice import Lattice, Readings
from lightplan.light.lobe_area import MOST_HALVINGS, lobe_edge
from lightplan.light.lobes import Lobes
from lightplan.light.mirrors import Mirrors
from lightplan.light.packed import Packed
from lightplan.light.polarise import UNPOLARISED_SHARE, across_views
from lightplan.light.ray_bundle import Rays
from lightplan.light.surround import Surroundings
from lightplan.light.targets import Target
from lightplan.light.visibility import Visibility
from lightplan.optics import materials, microfacet, view_factors
from lightplan.scene import Camera, Grating, Placement, Probe, Room
from lightplan.scene.surfaces import Face, Surface

WEDGE = Mesh(
    np.add([[0, 0, 0], [90, 0, 0], [0, 90, 0], [0, 0, 90]], [-30.0, 20, 40]),
    np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]),
)


def turned(random, **more):
    axes, _ = np.linalg.qr(random.standard_normal((3, 3)))
    right, up = (tuple(float(v) for v in axis) for axis in axes.T[:2])
    centre = tuple(float(v) for v in random.uniform(-150, 150, 3))
    return Flat(centre, right, up, *random.uniform(20, 120, 2), **more)


def scene(random, flats=12):
    shapes = [turned(random) for _ in range(flats - 3)]
    shapes += [turned(random, is_round=True), turned(random, openings=(Opening(5, -3, 12),))]
    shapes += [turned(random, is_round=True, openings=(Opening(0, 0, 10),))]
    shapes += [Ball((30.0, -40, 60), 45.0), Cone((0.0, 30, -50), 90.0, 40.0, 120.0), WEDGE]
    return [Surface(str(i), "card", shape) for i, shape in enumerate(shapes)]


def plainly(surfaces, starts, ends):
    """Each line against each shape, by the shapes' own numpy."""
    blocked = np.zeros((len(starts), len(ends)), bool)
    for surface in surfaces:
        cut = surface.shape.blocks(starts, ends)
        if cut is not None:
            blocked |= cut
    return ~blocked


def looked(sight, surfaces, changed, starts, ends, owners=None):
    nobody = np.full(len(starts), -1) if owners is None else owners
    return sight.update(surfaces, frozenset(changed), starts, nobody, ends, np.full(len(ends), -1))


@pytest.mark.parametrize("flats", [12, 70])  # 70 need more flags than one word has
def test_lines_of_sight_agree_with_the_shapes_own_answer(flats):
    random = np.random.default_rng(flats)
    surfaces = scene(random, flats)
    starts, ends = random.uniform(-300, 300, (90, 3)), random.uniform(-300, 300, (80, 3))
    sight = Visibility()
    free = looked(sight, surfaces, range(len(surfaces)), starts, ends)
    expected = plainly(surfaces, starts, ends)
    assert 0.02 < expected.mean() < 0.98
    assert np.array_equal(free, expected)
    for index in (3, flats - 1, flats, flats + 1):  # one after the other moves, of each kind
        shape = surfaces[index].shape
        moved = Ball((-60.0, 10, 20), 70.0) if not isinstance(shape, Flat) else turned(random)
        surfaces[index] = dataclasses.replace(surfaces[index], shape=moved)
        free = looked(sight, surfaces, {index}, starts, ends)
        assert np.array_equal(free, plainly(surfaces, starts, ends))


def test_lines_to_ends_that_move_are_looked_at_anew():
    """Several runs of them, before things that stay and one that moves; some starts move too."""
    random = np.random.default_rng(4)
    surfaces = scene(random, 40)
    starts, ends = random.uniform(-300, 300, (30, 3)), random.uniform(-300, 300, (90, 3))
    on, at = np.repeat([0, 1, 2], 10), np.repeat([3, 4, 5, 6, 7], [1, 24, 30, 25, 10])
    sight = Visibility()
    sight.update(surfaces, frozenset(range(len(surfaces))), starts, on, ends, at)
    for moving in ((3, 5, 7), (4, 1), (5,)):
        for index in moving:
            surfaces[index] = dataclasses.replace(surfaces[index], shape=turned(random))
            starts[on == index] += 40.0
            ends[at == index] += 40.0
        free = sight.update(surfaces, frozenset(moving), starts, on, ends, at)
        assert np.array_equal(free, plainly(surfaces, starts, ends))


def test_only_those_named_stand_in_the_way():
    random = np.random.default_rng(1)
    surfaces = scene(random)
    starts, ends = random.uniform(-300, 300, (30, 3)), random.uniform(-300, 300, (30, 3))
    nobody = np.full(30, -1)
    everything = frozenset(range(len(surfaces)))
    free = Visibility().update(
        surfaces, everything, starts, nobody, ends, nobody, frozenset((2, 5))
    )
    assert np.array_equal(free, plainly([surfaces[2], surfaces[5]], starts, ends))


def test_a_loop_may_call_another_and_is_plain_before_it_is_called():
    assert compiling.compiled(doubled)(4.0) == 9.0


@compiling.compiled
def plus_one(x: float) -> float:
    return x + 1.0


def doubled(x: float) -> float:
    return plus_one(x) + x


@compiling.compiled_in_place
def first_tripled(values: np.ndarray) -> None:
    part = values[:1]
    part[0] *= 3.0


@compiling.compiled_in_place
def with_an_array_of_its_own(x: float) -> float:
    return np.full(2, x).sum()


@compiling.compiled_in_place
def all_but_the_first(values: np.ndarray) -> np.ndarray:
    return values[1:]


def test_a_loop_in_place_writes_to_what_it_is_given_and_makes_no_arrays():
    """Nobody counts who holds an array in it: numba refuses what would need that."""
    from numba.core.errors import TypingError

    values = np.array([2.0, 5.0])
    first_tripled(values)
    assert values.tolist() == [6.0, 5.0]
    with pytest.raises(TypingError, match="No implementation of function"):
        with_an_array_of_its_own(1.0)
    with pytest.raises(TypingError, match="Only accept returning of array passed"):
        all_but_the_first(values)


@pytest.mark.parametrize(
    "words", ["--help", "rigs list", "rigs show silver-bookplate-bright", "score --help"]
)
def test_numba_waits_until_light_is_worked_out(words):
    code = (
        "import sys\nfrom lightplan.cli import main\n"
        f"sys.argv = ['lightplan', *{words.split()}]\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        "assert 'numba' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)


def test_light_is_worked_out_where_nothing_can_be_kept(tmp_path):
    """A cache folder that cannot be made: compiled in this process alone, and said so."""
    (tmp_path / "file").write_text("in the way")
    code = (
        "from lightplan import compiled as c\n"
        "@c.compiled\ndef f(x):\n    return x + 1\n"
        "assert f(2) == 3\n"
        "print(c.first_use_words())"
    )
    (tmp_path / "code.py").write_text(code)
    ran = subprocess.run(
        [sys.executable, str(tmp_path / "code.py")],
        check=True,
        capture_output=True,
        text=True,
        env={"NUMBA_CACHE_DIR": str(tmp_path / "file" / "below"), "PATH": "/usr/bin:/bin"},
    )
    assert "in every run, as the cache folder cannot be written" in ran.stdout


def test_the_first_use_is_announced_once(tmp_path):
    (tmp_path / "code.py").write_text(
        "from lightplan import compiled as c\nprint(c.first_use_words())\n"
        "c.remember_use()\nprint(c.first_use_words())"
    )
    ran = subprocess.run(
        [sys.executable, str(tmp_path / "code.py")],
        check=True,
        capture_output=True,
        text=True,
        env={"NUMBA_CACHE_DIR": str(tmp_path / "kept"), "PATH": "/usr/bin:/bin"},
    )
    first, then = ran.stdout.splitlines()
    assert "compiling the light's loops for this computer (once" in first
    assert then == "None"


def random_facets(rng, count=40):
    def up():
        v = rng.standard_normal((count, 3)).astype(np.float32)
        v[:, 2] = np.abs(v[:, 2]) + np.float32(0.05)
        return v / np.linalg.norm(v, axis=1, keepdims=True)

    return up(), up()


def facets_plainly(view, out, roughness, across, kick):
    """Share per solid angle (n, wavelengths) that the facets the viewer sees send on.

    For each wavelength that is one facet h. With g the direction across the lines and g' the
    same laid into the facet, view + out - kick g' lies along h; from the derivatives of that
    along and across g', facets per light are
    dh / dout = (out h) / ((view h + out h) (view h + out h - kick (g h) / (g g'))).
    """
    gx, gy = across
    sx, sy, sz = ((view[:, i] + out[:, i])[:, None] for i in range(3))
    hx, hy, hz = sx - kick * gx, sy - kick * gy, np.broadcast_to(sz, (len(sz), len(kick)))
    size = np.sqrt(hx * hx + hy * hy + hz * hz)
    tilt = (hx * gx + hy * gy) / size
    level = np.sqrt(np.maximum(1.0 - tilt * tilt, 1e-6))
    tilt = tilt * kick / level
    stay, more = 1.0 + tilt / size, kick * (1.0 - 1.0 / level)
    hx, hy, hz = hx * stay + more * gx, hy * stay + more * gy, hz * stay
    size = np.sqrt(hx * hx + hy * hy + hz * hz)
    hx, hy, hz = hx / size, hy / size, hz / size
    before = np.maximum(view[:, :1] * hx + view[:, 1:2] * hy + view[:, 2:] * hz, 0)
    both = np.maximum(sx * hx + sy * hy + sz * hz, 1e-3)
    light = np.maximum(both - before, 0) / (both * np.maximum(both - tilt, 1e-3))
    masking = microfacet.g1(view[:, 0], view[:, 1], view[:, 2], *roughness)
    masking = masking / np.maximum(view[:, 2], 1e-3)
    return microfacet.d(hx, hy, hz, *roughness) * before * light * masking[:, None]


def test_gratings_send_on_what_the_facets_say():
    rng = np.random.default_rng(3)
    view, out = random_facets(rng)
    kicks = np.outer([1, -1, 2, -2], np.linspace(0.39, 0.73, 50)).astype(np.float32)
    shares = np.array([0.42, 0.42, 0.08, 0.08], np.float32)
    colour = rng.random((3, 50)).astype(np.float32)
    roughness, turn = np.array([0.1, 0.25], np.float32), 0.7
    across = np.array([np.cos(turn), np.sin(turn)], np.float32)
    total = np.zeros((len(view), 3), np.float32)
    gratings.diffracted(view, out, roughness, across, kicks, shares, colour, total)
    exact = [v.astype(float) for v in (view, out, roughness, across)]
    parts = [facets_plainly(*exact, kick.astype(float)) @ colour.T for kick in kicks]
    expected = np.einsum("o,onc->nc", shares, parts)
    assert rms(total - expected) < 1e-6 * expected.max()


def grating_looks(mirrors, grating, square, kicks):
    """Where facets that the viewers see look by a grating, and their masking: (n, k, 3), (n, k)."""
    frame = np.stack([mirrors.tangents, mirrors.others, mirrors.normals], axis=1)
    n, count = square.shape[:2]
    view = np.repeat(np.einsum("nac,nc->na", frame, mirrors.views), count, axis=0)
    half = microfacet.sample_visible_normals(view, *mirrors.roughness, square.reshape(-1, 2))
    across = np.array([math.cos(grating.direction_rad), math.sin(grating.direction_rad), 0.0])
    first = across - (half @ across)[:, None] * half
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    facet = np.stack([first, np.cross(half, first), half], axis=1)
    leaves = np.einsum("nac,nc->na", facet, view)
    come, exists = diffract(leaves, 1, np.tile(kicks, n) * 1e6, 1.0, 0.0)
    local = np.einsum("na,nac->nc", come, facet)
    masks = microfacet.g1(*local.T, *mirrors.roughness) * exists
    world = np.einsum("nka,nac->nkc", local.reshape(n, count, 3), frame)
    return world, masks.reshape(n, count), leaves[:, 2].reshape(n, count)


def test_a_grating_looks_where_the_grating_equation_says():
    rng, n, count = np.random.default_rng(8), 30, 40
    frame, _ = np.linalg.qr(rng.standard_normal((n, 3, 3)))
    frame[:, 2] *= np.linalg.det(frame)[:, None]
    views = frame[:, 2] + 0.5 * frame[:, 0] * rng.uniform(-1, 1, (n, 1))
    views /= np.linalg.norm(views, axis=1, keepdims=True)
    places = rng.uniform(-50, 50, (n, 3))
    mirrors = Mirrors(places, views, *frame.transpose(1, 0, 2), (0.1, 0.25), np.zeros(n, int))
    curve = materials.foil_curve("gold leaf")
    grating = Grating(lines_per_mm=1100.0, direction_rad=0.7, strength=0.6)
    angle = grating_lamps.turn(mirrors)
    ways, carry = grating_lobes._drawn(mirrors, curve, grating, count)
    square = point_sets.shifts(count)[None] + point_sets.shifts(n)[:, None, ::-1]
    own = dataclasses.replace(grating, direction_rad=0.7 - angle)
    nanometres, colour = grating_orders.colours(count)
    gone = 0
    for place, (order, share) in enumerate(grating_orders.ORDERS.items()):
        some = slice(place * count, (place + 1) * count)
        kicks = order * nanometres * 1e-6 * grating.lines_per_mm
        looks, masks, cosine = grating_looks(mirrors, own, square % 1.0, kicks)
        assert rms(ways[:, some] - looks) < 1e-6
        expected = curve.evaluate(cosine) * colour * (0.6 * share * masks)[..., None]
        assert rms(carry[:, :, some] - expected.transpose(2, 0, 1)) < 1e-6 * expected.max()
        gone += int((masks == 0).sum())
    assert 0 < gone < ways.shape[0] * ways.shape[1]


def rms(values):
    return float(np.sqrt(np.mean(np.square(values))))


@pytest.mark.parametrize(
    "more",
    [
        {},
        {"is_round": True},
        {"openings": (Opening(5, -3, 12), Opening(-20, 10, 5))},
        {"lines": ((-1.0, -0.5, 0.1, 1.0), (-1.0, 0.3, 1.0))},
    ],
)
@pytest.mark.parametrize("each", [4, 30])
def test_rays_meet_flat_things_where_the_shape_says(more, each):
    rng = np.random.default_rng(5)
    surface = Surface("card", "card", turned(rng, **more), Face((0.5,) * 3), Face((0.2,) * 3))
    patchwork = Patchwork((Surface("sheet", "sheet", turned(rng)), surface), 0, 4, 8)
    origins = rng.uniform(-200, 200, (1800 // each, 3))
    directions = rng.standard_normal((1800 // each, each, 3))
    directions /= np.linalg.norm(directions, axis=2, keepdims=True)
    rays = Rays(origins, directions)
    surfaces = (Surface("sheet", "sheet", surface.shape), surface)
    rays.update(surfaces, patchwork, frozenset(), frozenset((0,)))
    crossing = surface.shape.trace(rays.origins, rays.directions)
    hit = np.isfinite(crossing.distance)
    assert 0.02 < hit.mean() < 0.9
    same = hit == (rays.surface == 1)
    assert same.mean() > 0.999  # rims apart, where single precision may say either
    both = hit & same
    assert rays.distance[both] == pytest.approx(crossing.distance[both], rel=1e-4)
    seen = patchwork.texels(surfaces, 1, *crossing[1:])
    assert (rays.texel[both] == seen[both]).mean() > 0.999
    assert not rays.texel[rays.surface < 0].any()


def test_bundles_bring_what_their_rays_see():
    rng = np.random.default_rng(6)
    texel = rng.integers(-1, 20, (30, 12)).astype(np.int32)
    carry, table = (rng.random(s).astype(np.float32) for s in ((3, 30, 12), (20, 4, 3)))
    table[0] = 0.0
    total = np.zeros((30, 4, 3), np.float32)
    tracing.brought(texel, carry, table, total)
    expected = np.einsum("nrkc,cnr->nkc", table[np.maximum(texel, 0)].astype(float), carry)
    assert rms(total - expected) < 1e-6 * expected.max()


@pytest.mark.parametrize("with_probe", [False, True])
def test_rays_that_meet_nothing_bring_the_surroundings(with_probe):
    random = np.random.default_rng(8)
    pixels = random.uniform(0, 9, (4, 8, 3)).astype(np.float32)
    probe = Probe(pixels=pixels, scale=2.0, turn_rad=0.3) if with_probe else None
    around = Surroundings(Room(ambient_cd_m2=(3.0, 2.0, 0.5), probe=probe))
    directions = random.standard_normal((7, 30, 3))
    directions /= np.linalg.norm(directions, axis=2, keepdims=True)
    rays = Rays(np.zeros((7, 3)), directions)
    rays.surface = random.integers(-1, 2, (7, 30)).astype(np.int16)
    carry = random.uniform(0, 1, (3, 7, 30)).astype(np.float32)
    free = (rays.surface == -1)[..., None]
    seen = free * around.towards(rays.directions.reshape(-1, 3)).reshape(7, 30, 3)
    expected = np.einsum("nrc,cnr->nc", seen.astype(float), carry.astype(float))
    assert around.brought(rays, carry) == pytest.approx(expected, rel=1e-6)


def test_pixels_read_layers_between_the_points_of_the_grid():
    """Layers that are straight along x and y are read exactly; a share mixes them."""
    lattice = Lattice(np.linspace(-50, 50, 21), np.linspace(30, -30, 13))
    x, y = np.meshgrid(lattice.x_mm, lattice.y_mm)
    paper, foil = (np.stack([100 + x, 100 + y, 100 + a * x * y], axis=-1) for a in (0.0, 0.01))
    rng = np.random.default_rng(7)
    spots = rng.uniform(-1, 1, (50, 2)) * [50, 30]
    reading = Readings.of(lattice, spots)
    px, py = spots.T
    assert reading.read(paper) == pytest.approx(np.stack([100 + px, 100 + py, 100 + 0 * px], 1))
    share = rng.permutation(np.repeat([0.0, 1.0, 0.3, 0.7, 0.5], 20)).astype(np.float32)
    pixels = rng.permutation(100)[:50]
    picture = np.full((100, 3), np.nan, np.float32)
    reading.mix(paper, foil, share, pixels, picture)
    s = share[pixels][:, None]
    expected = (1 - s) * reading.read(paper) + s * reading.read(foil)
    assert picture[pixels] == pytest.approx(expected, rel=1e-6)
    assert np.isnan(np.delete(picture, pixels, axis=0)).all()


def white_box(cells):
    """A closed box that gives back 99 % of its light: view factors of a sphere's patches."""
    rng = np.random.default_rng(cells)
    areas = rng.uniform(0.5, 1.5, cells)
    return np.tile((areas / areas.sum()).astype(np.float32), (cells, 1))


def test_stiff_systems_are_solved_whatever_their_size(monkeypatch):
    """Against numpy's solution of the same linear system; a sphere's is known beside that."""
    cells = 400
    monkeypatch.setattr(bounce, "MOST_FACTORISED", 0)
    factors = white_box(cells)
    diffuse = np.full((cells, 3), 0.99, np.float32) * np.array([1.0, 0.98, 0.9], np.float32)
    system = bounce.System(factors, diffuse, np.zeros_like(diffuse), np.arange(cells))
    source = np.zeros((cells, 2, 3))
    source[3, 0], source[100:200, 1] = 50.0, [1.0, 2.0, 3.0]
    found = system.settle(source)
    for c in range(3):
        matrix = np.eye(cells) - diffuse[:, c, None].astype(float) * factors
        exact = np.linalg.solve(matrix, diffuse[:, c, None] * source[:, :, c])
        assert np.abs(found[:, :, c] - exact).max() < 2e-4 * exact.max()
    # in a sphere all cells get the same: the mean of what is given over what is lost, given back
    share = factors[0].astype(float) @ source[:, 0]
    assert found[7, 0] == pytest.approx(diffuse[7] ** 2 * share / (1 - diffuse[7]), rel=1e-3)


def test_a_stiff_system_takes_tens_of_products(monkeypatch):
    monkeypatch.setattr(bounce, "MOST_FACTORISED", 0)
    cells, asked = 300, []
    rng = np.random.default_rng(8)
    blocks = np.kron(np.eye(6), np.ones((50, 50))) * 0.9 + rng.random((300, 300)) * 0.05
    factors = (blocks / blocks.sum(axis=1, keepdims=True)).astype(np.float32)
    diffuse = np.full((cells, 3), 0.995, np.float32)
    system = bounce.System(factors, diffuse, np.zeros_like(diffuse), np.arange(cells))
    plain = bounce.times
    monkeypatch.setattr(bounce, "times", lambda f, v: asked.append(1) or plain(f, v))
    source = rng.random((cells, 1, 3))
    found = system.settle(source)
    exact = np.linalg.solve(np.eye(cells) - 0.995 * factors.astype(float), 0.995 * source[:, 0])
    assert np.abs(found[:, 0] - exact).max() < 2e-4 * exact.max()
    assert len(asked) < 40  # substitution takes over 1500


def test_patches_fill_what_their_formulas_say():
    """Far: cos cos A / pi r2; near: Lambert's polygon as `optics.view_factors` has it."""
    rng = np.random.default_rng(9)
    near = 9.0
    cells = turned(rng).grid(6, 7)
    points = rng.uniform(-150, 150, (80, 3))
    normals = rng.standard_normal((80, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    found = kernels.transfer(points, normals, cells, near=near)
    step = cells.centres[None] - points[:, None]
    squared = np.sum(step**2, axis=2)
    arrive = -np.einsum("nmc,mc->nm", step, cells.normals)
    leave = np.einsum("nmc,nc->nm", step, normals)
    far = np.maximum(leave, 0) * np.maximum(arrive, 0) * cells.areas / (np.pi * squared**2)
    longest = np.sum((cells.corners[:, 2] - cells.corners[:, 0]) ** 2, axis=1)
    close = squared < near * np.maximum(cells.areas, longest / 2)
    assert 0.001 < close.mean() < 0.5
    exact = np.stack([view_factors.polygon(points, normals, c) for c in cells.corners], axis=1)
    before = arrive > kernels.LEVEL_MM
    expected = np.where(close, exact, far) * before
    assert rms(found - expected) < 1e-6 * expected.max()


def test_near_patches_are_averaged_over_points_of_the_receiver():
    rng = np.random.default_rng(10)
    cells = turned(rng).grid(3, 3)
    spots = cells.centres + 30 * cells.normals
    spread = spots[:, None] + rng.uniform(-8, 8, (9, 4, 3))
    found = kernels.transfer(spots, -cells.normals, cells, near=1e9, spread=spread)
    parts = [
        [view_factors.polygon(spread[:, k], -cells.normals, c) for c in cells.corners]
        for k in range(4)
    ]
    assert found == pytest.approx(np.mean(parts, axis=0).T, rel=1e-5, abs=1e-8)


def test_a_picture_of_faces_is_smooth_between_their_texels():
    """Against the patchwork's own interpolation at the places where the shape is met."""
    rng = np.random.default_rng(11)
    lines = ((-1.0, -0.5, 0.1, 1.0), (-1.0, 0.3, 1.0))
    card = Surface("card", "card", turned(rng, lines=lines), Face((0.5,) * 3), Face((0.2,) * 3))
    surfaces = (Surface("sheet", "sheet", turned(rng)), card)
    patchwork = Patchwork(surfaces, 0, 4, 8)
    table = rng.random((patchwork.texel_count, 3)).astype(np.float32)
    target = np.asarray(card.shape.centre) + rng.uniform(-80, 80, (2000, 3))
    origin = np.array([[400.0, 50.0, -30.0]])
    directions = target - origin
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    rays = Rays(origin, directions[None])
    rays.update(surfaces, patchwork, frozenset(), frozenset((0,)))
    faces = np.stack([patchwork.seen_faces(surfaces, i) for i in range(2)])
    seen = np.full((2000, 3), np.nan, np.float32)
    rays.smooth(Packed.of(surfaces), faces, table, seen)
    met = rays.surface[0] == 1
    assert met.sum() > 100
    crossing = card.shape.trace(rays.origins, rays.directions[:, met])
    expected = patchwork.between_texels(1, crossing, table)
    assert seen[met] == pytest.approx(expected, abs=2e-4)  # places are single precision
    assert np.isnan(seen[~met]).all()


def test_pixels_look_where_the_camera_says():
    camera = Camera(placement=Placement((30, -200, 400), (10, 5, 0), 0.2), focal_length_mm=35.0)
    directions = np.empty((6 * 9, 3))
    tracing.pixel_rays(*camera.axes(), *camera.half_angles_tan(), 6, 9, directions)
    assert directions.reshape(6, 9, 3) == pytest.approx(camera.pixel_rays(6, 9), abs=1e-14)


def test_a_loop_is_compiled_anew_when_one_that_it_calls_has_changed(tmp_path):
    """In another file, which numba's own cache does not look at."""
    head = "from lightplan.compiled import compiled\n"
    (tmp_path / "outer.py").write_text(
        head + "from inner import inner\n@compiled\ndef outer(x):\n    return inner(x) + 1\n"
    )
    environment = {
        "NUMBA_CACHE_DIR": str(tmp_path / "kept"),
        "PATH": "/usr/bin:/bin",
        "PYTHONPATH": str(tmp_path),
        "PYTHONDONTWRITEBYTECODE": "1",
    }
    found = []
    for factor in (2, 2, 30):
        (tmp_path / "inner.py").write_text(
            head + f"@compiled\ndef inner(x):\n    return {factor} * x\n"
        )
        code = "import outer; print(outer.outer(3.0))"
        ran = subprocess.run(
            [sys.executable, "-c", code],
            check=True,
            capture_output=True,
            text=True,
            env=environment,
            cwd=tmp_path,
        )
        found.append(float(ran.stdout))
    assert found == [7.0, 7.0, 91.0]


def polarised_reflectance(curve, cosine, half, views, axis):
    """Reflectance (n, k, 3) through a filter: facets (n, k, 3), views (n, 3), Fresnel's s and p."""
    s, p = curve.evaluate_sp(np.asarray(cosine, np.float32))
    across = across_views(axis, views)
    s_axis = np.cross(views[:, None], half)
    size = np.linalg.norm(s_axis, axis=-1)
    along = np.einsum("nkc,nc->nk", s_axis, across) / np.maximum(size, 1e-9)
    share = np.where(size > 1e-6, along**2, 0.5)[..., None]
    return UNPOLARISED_SHARE * (share * s + (1 - share) * p)


@pytest.mark.parametrize("polariser", [None, (0.6, 0.0, 0.8)])
def test_points_count_what_the_lobe_gives(polariser):
    """Against the law written out: D G1 G1 F / (4 view.n) cos dA / r2."""
    rng = np.random.default_rng(12)
    spots, views = rng.uniform(-50, 50, (30, 3)) * [1, 1, 0], rng.standard_normal((30, 3))
    views[:, 2] = np.abs(views[:, 2]) + 0.3
    views /= np.linalg.norm(views, axis=1, keepdims=True)
    x, y, z = (np.tile(axis, (30, 1)) for axis in np.eye(3))
    ax, ay = roughness = (0.1, 0.3)
    mirrors = Mirrors(spots, views, x, y, z, roughness, np.zeros(30, int))
    curve = materials.foil_curve("gold foil")
    axis = None if polariser is None else np.array(polariser)
    flat = Flat((80.0, 60.0, 300.0), (1, 0, 0), (0, -1, 0), 90.0, 60.0)  # faces down
    points, areas = flat.sample(40).points, flat.sample(40).areas
    normals = np.tile(flat.normal, (len(points), 1))
    none = np.zeros((len(points), 4))
    target = Target((1, True), points, normals, areas, 20.0, none.astype(int), none)
    weight, facets, _ = Lobes(mirrors, curve, axis).over((target,), ())[0]
    step = points[None] - spots[:, None]
    r2 = np.sum(step**2, axis=2)
    out = step / np.sqrt(r2)[..., None]
    half = out + views[:, None]
    half /= np.linalg.norm(half, axis=2, keepdims=True)
    cosine = np.sum(half * views[:, None], axis=2)
    d = microfacet.d(*np.moveaxis(half, 2, 0), ax, ay)
    g = microfacet.g1(*np.moveaxis(out, 2, 0), ax, ay) * microfacet.g1(*views.T, ax, ay)[:, None]
    arrives = -np.sum(out * normals[None], axis=2) * areas / r2
    if axis is None:
        fresnel = curve.evaluate(cosine)
    else:
        fresnel = polarised_reflectance(curve, cosine, half, views, axis)
    expected = fresnel * (d * g * arrives / (4 * views[:, 2:]))[..., None]
    assert rms(weight - np.moveaxis(expected, 2, 0)) < 1e-6 * expected.max()
    seen = d * half[..., 2] * arrives / (4 * cosine)
    assert rms(facets - seen) < 1e-6 * seen.max()


@pytest.mark.parametrize("roughness", [(0.03, 0.03), (0.1, 0.3)])
def test_the_share_of_a_lobe_in_a_polygon_is_the_sum_over_its_facets(roughness):
    """Against a fine grid of facet slopes, each asked whether it mirrors the polygon (GGX)."""
    corners = np.array([[-80.0, -60, 300], [140, -90, 240], [110, 150, 180], [-60, 120, 330]])
    view = np.array([0.1, -0.5, 0.8]) / np.linalg.norm([0.1, -0.5, 0.8])
    step = (np.arange(1500) + 0.5) / 1500
    radius, turn = np.meshgrid(np.sqrt(step / (1 - step)), 2 * np.pi * step)  # even in facets
    half = np.stack(
        [
            -roughness[0] * radius * np.cos(turn),
            -roughness[1] * radius * np.sin(turn),
            np.ones_like(turn),
        ],
        axis=-1,
    )
    half /= np.linalg.norm(half, axis=-1, keepdims=True)
    out = 2 * (half @ view)[..., None] * half - view
    edges = np.cross(corners, np.roll(corners, -1, axis=0))
    edges *= np.sign(edges @ corners.mean(axis=0))[:, None]
    expected = np.all(out @ edges.T > 0, axis=-1).mean()
    work = np.zeros((MOST_HALVINGS + 2, 5))
    ends = [tuple(map(float, corner)) for corner in corners]
    around = zip(ends, ends[1:] + ends[:1], strict=True)
    found = sum(lobe_edge(a, b, 0.0, 1.0, view, *roughness, work, False) for a, b in around)
    assert abs(found) == pytest.approx(expected, abs=3e-4)


def test_a_lamp_on_a_grating_is_the_sum_over_its_spots():
    rng = np.random.default_rng(8)
    n, m = 12, 5
    points, spots = rng.uniform(-60, 60, (n, 3)) * [1, 1, 0], rng.uniform(-90, 90, (m, 3))
    spots[:, 2] += 400.0
    normals = np.tile([0.0, 0.0, -1.0], (m, 1)) + 0.3 * rng.standard_normal((m, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    areas, free = rng.uniform(50, 90, m), rng.random((n, m)) < 0.7
    frames = np.tile(np.eye(3, dtype=np.float32), (n, 1, 1))
    view, _ = random_facets(rng, n)
    gains = rng.random((n, m)).astype(np.float32)
    roughness, across = np.array([0.2, 0.3], np.float32), np.array([0.6, 0.8], np.float32)
    kicks = np.outer([1, -1], np.linspace(0.39, 0.73, 20)).astype(np.float32)
    shares, colour = np.array([0.4, 0.6], np.float32), rng.random((3, 20)).astype(np.float32)
    total = np.zeros((n, 3), np.float32)
    law = (roughness, across, kicks, shares, colour)
    grating_spots.from_spots(points, frames, view, spots, normals, areas, free, gains, *law, total)
    expected = np.zeros((n, 3))
    for j in range(m):
        way = spots[j] - points
        far = np.linalg.norm(way, axis=1)
        way /= far[:, None]
        sent = np.zeros((n, 3), np.float32)
        gratings.diffracted(view, way.astype(np.float32), *law, sent)
        light = np.maximum(-way @ normals[j], 0) * areas[j] / far**2 * free[:, j] * gains[:, j]
        light *= microfacet.g1(way[:, 0], way[:, 1], way[:, 2], *roughness)
        expected += sent * light[:, None]
    assert 0 < free.sum() < free.size
    assert rms(total - expected) < 1e-6 * expected.max()


def test_points_that_are_hidden_count_hardly():
    rng = np.random.default_rng(9)
    facets, free = rng.random((7, 4)).astype(np.float32), rng.random((7, 9)) < 0.5
    weight, counts = rng.random((3, 7, 4)).astype(np.float32), rng.random(7).astype(np.float32)
    shown, total = rng.random((2, 3, 9)).astype(np.float32), np.ones((7, 2, 3), np.float32)
    sums = np.zeros(7, np.float32)
    seen_points.tally_points(facets, free, 3, 1e-4, sums)
    seen_points.shown_by_points(weight, free, 3, 1e-4, counts, shown, total)
    seen = np.where(free[:, 3:7], 1.0, 1e-4)
    assert rms(sums - (facets * seen).sum(axis=1)) < 1e-6
    weight = weight * seen * counts[:, None]
    expected = np.einsum("cnm,kcm->nkc", weight, shown[:, :, 3:7])  # other things' points stay out
    assert rms(total - 1 - expected) < 1e-6


def test_products_with_few_columns_are_what_sums_say():
    rng = np.random.default_rng(10)
    factors, values = (rng.random(s).astype(np.float32) for s in ((9, 31), (31, 2, 3)))
    assert rms(bounce.times(factors, values) - np.einsum("nc,ckx->nkx", factors, values)) < 1e-5
    weight, shown = (rng.random(s).astype(np.float32) for s in ((3, 9, 31), (2, 3, 31)))
    total = np.ones((9, 2, 3), np.float32)
    weighted_sums.of_points(weight, shown, total)
    assert rms(total - 1 - np.einsum("xnm,kxm->nkx", weight, shown)) < 1e-5
