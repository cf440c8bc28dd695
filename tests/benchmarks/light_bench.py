"""What the light engine's speed tests and report share: scenes, moves, clocks, Embree's bundle."""

from __future__ import annotations

import dataclasses
import importlib.util
import json
import pickle
import time
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import trimesh
from trimesh.ray.ray_pyembree import RayMeshIntersector

from lightplan.geometry.shapes import Flat
from lightplan.light import Detail, Engine
from lightplan.light.cells import Patchwork
from lightplan.light.ray_bundle import Rays
from lightplan.scene import Camera, Lamp, Placement, Rig, Sheet, Shell
from lightplan.scene.surfaces import build_surfaces

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from types import ModuleType

TESTS = Path(__file__).parents[1]
SCENES = ("s03_bounce_card", "s09_white_v", "full_rig")


def _module(name: str, path: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


_scenes = _module("light_scenes", TESTS / "light" / "conftest.py")


def scene_rig(name: str) -> Rig:
    """Return the rig of a stored scene."""
    path = TESTS / "reference" / "pathtraced" / f"{name}.json"
    rig: Rig = _scenes.build_rig(json.loads(path.read_text()))
    return rig


def foil_pattern(rows: int = 240, cols: int = 320) -> np.ndarray[Any, Any]:
    """Return an artwork's share of foil per pixel: rings."""
    y, x = np.mgrid[0:rows, 0:cols]
    return (np.hypot(x - cols / 2, y - rows / 2) % 40 < 20).astype(np.float32)


def with_moved_card(rig: Rig, step: int) -> Rig:
    """Return the rig with its first card shifted along a small circle and turned."""
    card, *rest = rig.cards
    off = 12 * np.array([np.cos(0.7 * step), np.sin(0.7 * step), 0.0])
    place = dataclasses.replace(
        card.placement, position_mm=tuple(float(v) for v in np.add(card.placement.position_mm, off))
    )
    return dataclasses.replace(rig, cards=(dataclasses.replace(card, placement=place), *rest))


def seconds(action: Callable[[], object], clock: Callable[[], float] = time.perf_counter) -> float:
    """Return the time of one call."""
    began = clock()
    action()
    return clock() - began


def changed_card_times(
    name: str,
    rounds: int,
    detail: Detail | None = None,
    clock: Callable[[], float] = time.perf_counter,
) -> np.ndarray[Any, Any]:
    """Return the seconds from a changed card to the picture, after a first few."""
    rig, detail = scene_rig(name), Detail.quick() if detail is None else detail
    share = foil_pattern(detail.camera_rows, detail.camera_cols)
    engine = Engine(rig, detail)
    times = []
    for step in range(rounds + 3):
        moved = with_moved_card(rig, step)
        times.append(seconds(partial(engine.picture, moved, share), clock))
    return np.array(times[3:])


def with_power(rig: Rig, step: int) -> Rig:
    """Return the rig with its first lamp at another power."""
    lamp, *rest = rig.lamps
    return dataclasses.replace(
        rig, lamps=(dataclasses.replace(lamp, trim_stops=-0.1 * (step % 7)), *rest)
    )


def read_again(rig: Rig, step: int) -> Rig:
    """Return the rig as reading its file again gives it: no object is the same."""
    again: Rig = pickle.loads(pickle.dumps(rig))
    return again


def with_moved_camera(rig: Rig, step: int) -> Rig:
    """Return the rig with its camera a little to the side."""
    place = rig.camera.placement
    x, y, z = place.position_mm
    moved = dataclasses.replace(place, position_mm=(x + 5 * (step % 7), y, z))
    return dataclasses.replace(rig, camera=dataclasses.replace(rig.camera, placement=moved))


def with_card_more_or_less(rig: Rig, step: int) -> Rig:
    """Return the rig with one card more at every other step."""
    more = dataclasses.replace(
        rig.cards[0],
        name="one more",
        placement=Placement((300.0 + step, 300.0, 200.0)),
        width_mm=200.0,
        height_mm=200.0,
    )
    return dataclasses.replace(rig, cards=(*rig.cards, more)) if step % 2 else rig


EDITS: dict[str, Callable[[Rig, int], Rig]] = {
    "power": with_power,
    "same file read again": read_again,
    "card moved": with_moved_card,
    "camera moved": with_moved_camera,
    "card comes or goes": with_card_more_or_less,
}


def edit_times(
    name: str, rounds: int, clock: Callable[[], float] = time.perf_counter
) -> dict[str, float]:
    """Return the median seconds from each kind of edit to the picture, all in turns."""
    rig, share = scene_rig(name), foil_pattern()
    engines = {edit: Engine(rig, Detail.quick()) for edit in EDITS}
    times: dict[str, list[float]] = {edit: [] for edit in EDITS}
    for step in range(rounds + 2):
        for edit, change in EDITS.items():
            edited = change(rig, step)
            times[edit].append(seconds(partial(engines[edit].picture, edited, share), clock))
    return {edit: float(np.median(found[2:])) for edit, found in times.items()}


def white_tent() -> Rig:
    """Return a closed white tent, in which light goes to and fro some fifty times."""
    white = dict.fromkeys(("reflectance", "transmittance"), (0.49, 0.49, 0.49))
    tent = Shell(
        name="tent",
        shape="tent",
        foot_width_mm=700.0,
        foot_depth_mm=700.0,
        height_mm=500.0,
        top_width_mm=0.0,
        **white,
    )
    lamp = Lamp(name="lamp", placement=Placement((-150, 100, 200)), width_mm=100, height_mm=100)
    camera = Camera(placement=Placement((0, -200, 250)), body=None)
    sheet = Sheet(width_mm=148, height_mm=105)
    return Rig(title="a tent", sheet=sheet, camera=camera, lamps=(lamp,), shells=(tent,))


def tent_times(cells: int, clock: Callable[[], float]) -> tuple[int, float]:
    """Return how many cells a white tent has, and the seconds from nothing to its light."""
    detail = dataclasses.replace(
        Detail.quick(camera_rows=8, camera_cols=12), cells=cells, thin_cells=cells
    )
    rig = white_tent()
    return cell_count(rig, detail), seconds(lambda: Engine(rig, detail).sheet(rig), clock)


def fresh_times(
    name: str, rounds: int, clock: Callable[[], float] = time.perf_counter
) -> np.ndarray[Any, Any]:
    """Return the seconds from a rig to the picture with a fresh engine."""
    rig, share = scene_rig(name), foil_pattern()

    def begin(step: int) -> None:
        moved = with_moved_card(rig, step)
        Engine(moved, Detail.quick()).picture(moved, share)

    return np.array([seconds(partial(begin, step), clock) for step in range(rounds)])


class Bundle:
    """A bundle of foil rays against a scene of flat things: our tracing and Embree's."""

    def __init__(self, name: str, count: int = 40_000) -> None:
        rig = scene_rig(name)
        self.surfaces = [s for s in build_surfaces(rig) if isinstance(s.shape, Flat)]
        self.patchwork = Patchwork(self.surfaces, len(rig.lamps), 7, 32)
        random = np.random.default_rng(1)
        spots = random.uniform(-70, 70, (count // 40, 3)) * [1, 1, 0] + [0, 0, 0.05]
        directions = random.standard_normal((count // 40, 40, 3)) * 0.5
        directions += spots[:, None] / 700 + [0, 0, 0.7]
        directions[..., 2] = np.abs(directions[..., 2])
        directions /= np.linalg.norm(directions, axis=-1, keepdims=True)
        self._spots, self._directions = spots, directions
        self.mesh = _mesh(self.surfaces[1:])
        self.embree = RayMeshIntersector(self.mesh)
        self._origins = np.repeat(spots, 40, axis=0)
        self._flat = directions.reshape(-1, 3)

    def ours(self) -> Rays:
        """Return the bundle traced from nothing by our shapes."""
        rays = Rays(self._spots, self._directions)
        rays.update(self.surfaces, self.patchwork, frozenset(), frozenset((0,)))
        return rays

    def theirs(self) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
        """Return (distance, triangle) by Embree, rebuilding nothing."""
        triangles = self.embree.intersects_first(self._origins, self._flat)
        corner = self.mesh.triangles[triangles, 0]
        normal = self.mesh.face_normals[triangles]
        with np.errstate(divide="ignore", invalid="ignore"):
            way = np.sum((corner - self._origins) * normal, axis=1)
            way /= np.sum(self._flat * normal, axis=1)
        return np.where(triangles >= 0, way, np.inf), triangles


def _mesh(surfaces: list[Any]) -> trimesh.Trimesh:
    """Return two triangles for every flat thing (round ones as many-sided polygons)."""
    parts = []
    for surface in surfaces:
        rim = surface.shape.outline(48)
        fan = [[0, i, i + 1] for i in range(1, len(rim) - 1)]
        parts.append(trimesh.Trimesh(rim, fan, process=False))
    return trimesh.util.concatenate(parts)


def lines(table: list[list[str]]) -> Iterator[str]:
    """Yield a Markdown table, its first row as the head."""
    head, *rows = table
    yield "| " + " | ".join(head) + " |"
    yield "|" + "---|" * len(head)
    for row in rows:
        yield "| " + " | ".join(row) + " |"


def cell_count(rig: Rig, detail: Detail) -> int:
    """Return how many cells a rig's faces are cut into."""
    return Patchwork(build_surfaces(rig), len(rig.lamps), detail.cells, detail.texels).count
