"""The set as plain triangles, lines and labels, for whatever draws it in three dimensions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.ball import Ball
from lightplan.geometry.cone import Cone
from lightplan.geometry.mesh import Mesh
from lightplan.geometry.shapes import Flat
from lightplan.light.exposure import sheet_picture
from lightplan.optics.colour import srgb_encode
from lightplan.reports.palette import Colour, colours_by_name
from lightplan.reports.picture import picture_codes
from lightplan.scene import Rig, relief
from lightplan.scene.mirroring import mirrored_ways
from lightplan.scene.supports import supports_of
from lightplan.scene.surfaces import Face, Surface, build_surfaces

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from lightplan.arrays import Doubles, Floats, Integers
    from lightplan.light import Layers
    from lightplan.scene.supports import Support

ROUND = 48  # corners of a circle
SHEET_STEPS = 16  # facets of a bowed sheet along each side
SIDE_GAP_MM = 1.0  # between the two faces of a card, so that each is seen from its own side
CAMERA_DEPTH_MM = 45.0
FREE_RAY_MM = 700.0  # how far a ray is drawn that meets nothing
TEXTURE_PX = 512
YOUR_SIDE_MM = 60.0  # between the sheet and the words for the maker's side
LAMP_FRONT: Colour = (255, 244, 214)
LAMP_BACK: Colour = (58, 60, 68)
CAMERA_COLOUR: Colour = (46, 48, 56)
BOOKS: Colour = (196, 170, 132)
HOLDER: Colour = (112, 116, 128)


@dataclass(frozen=True, eq=False)
class ModelPart:
    """One coloured mesh.

    Parameters
    ----------
    name : str
    vertices : (n, 3) float
        mm.
    triangles : (m, 3) int
    colour : (3,) int
        sRGB.
    opacity : float
    emits : bool
        Drawn at its own colour, without shading.
    texture : (rows, cols, 3) uint8 or None
        Laid over a part with `coordinates` (n, 2), 0..1 from the lower left.
    """

    name: str
    vertices: Doubles
    triangles: Integers
    colour: Colour
    opacity: float = 1.0
    emits: bool = False
    texture: NDArray[np.uint8] | None = None
    coordinates: Doubles | None = None


@dataclass(frozen=True, eq=False)
class Line:
    """A line through points (n, 3), in mm."""

    name: str
    points: Doubles
    colour: Colour
    width: float = 2.0
    opacity: float = 1.0


@dataclass(frozen=True)
class Label:
    """A name at a place, mm."""

    text: str
    at: tuple[float, float, float]
    colour: Colour


@dataclass(frozen=True, eq=False)
class SetModel:
    """Everything there is to draw."""

    title: str
    parts: tuple[ModelPart, ...]
    lines: tuple[Line, ...]
    labels: tuple[Label, ...]

    @property
    def points(self) -> Doubles:
        """Corners (n, 3) of all that must be in view: not those of the table and the walls."""
        return np.concatenate([part.vertices for part in self.parts if part.name != "table"])


def set_model(rig: Rig, layers: Layers) -> SetModel:
    """Return the set with its mirrored rays.

    Parameters
    ----------
    rig : Rig
    layers : Layers
        Its prediction: the sheet shows it, and the rays end where it says.
    """
    surfaces = [s for s in build_surfaces(rig) if s.role not in ("sheet", "camera")]
    colours = dict(
        zip(
            (s.name for s in surfaces),
            colours_by_name(rig, [s.name for s in surfaces]),
            strict=True,
        )
    )
    parts = [_sheet(rig, layers), *_camera(rig)]
    lines = [*_frustum(rig), *mirrored_lines(rig, layers)]
    labels = [
        Label("camera", rig.camera.placement.position_mm, (150, 12, 60)),
        Label("your side", (0.0, -rig.sheet.height_mm / 2 - YOUR_SIDE_MM, 0.0), (255, 255, 255)),
    ]
    for surface in surfaces:
        if surface.role == "room":
            lines.append(Line(surface.name, _rim(surface.shape), (150, 150, 160), 1.0, 0.6))
            continue
        parts += _parts(surface)
        lines.append(Line(surface.name, _rim(surface.shape), colours[surface.name]))
        if surface.role != "table":
            labels.append(Label(surface.name, _top(surface), colours[surface.name]))
    for support in supports_of(rig):
        parts += _books(support)
        held = (*support.lines, *support.legs)
        lines += [Line(f"holds {support.thing}", line, HOLDER, 3.0) for line in held]
    unique = tuple({label.text: label for label in labels}.values())
    return SetModel(rig.title, tuple(parts), tuple(lines), unique)


def _books(support: Support) -> Iterator[ModelPart]:
    """Yield the stacks that carry a thing, or on which it leans."""
    sides = [[i, (i + 1) % 4, (i + 1) % 4 + 4, i + 4] for i in range(4)]
    quads = np.array([[0, 1, 2, 3], [4, 5, 6, 7], *sides])
    for stack in support.stacks:
        yield ModelPart(f"holds {support.thing}", stack, _halved(quads), BOOKS)


def _sheet(rig: Rig, layers: Layers) -> ModelPart:
    wide, high = rig.sheet.width_mm, rig.sheet.height_mm
    u, v = (a.ravel() for a in np.meshgrid(*[np.linspace(0, 1, SHEET_STEPS + 1)] * 2))
    x, y = (u - 0.5) * wide, (v - 0.5) * high
    vertices = np.stack([x, y, relief.height(rig.sheet, x, y)], axis=1)
    first = np.add.outer(np.arange(SHEET_STEPS) * (SHEET_STEPS + 1), np.arange(SHEET_STEPS)).ravel()
    across = first + 1, first + SHEET_STEPS + 1, first + SHEET_STEPS + 2
    triangles = np.concatenate(
        [np.stack([first, across[0], across[2]], 1), np.stack([first, across[2], across[1]], 1)]
    )
    return ModelPart(
        "sheet",
        vertices,
        triangles,
        (255, 255, 255),
        emits=True,
        texture=sheet_texture(rig, layers),
        coordinates=np.stack([u, v], axis=1),
    )


def sheet_texture(rig: Rig, layers: Layers) -> NDArray[np.uint8]:
    """Return the predicted sheet as sRGB codes, its longer side `TEXTURE_PX` pixels."""
    import cv2

    linear = np.minimum(sheet_picture(rig, layers), 1.0)
    scale = TEXTURE_PX / max(linear.shape[:2])
    size = (max(2, round(linear.shape[1] * scale)), max(2, round(linear.shape[0] * scale)))
    resized = cv2.resize(linear, size, interpolation=cv2.INTER_LINEAR)
    return picture_codes(np.asarray(resized, np.float32))


def _camera(rig: Rig) -> list[ModelPart]:
    """Return the body as a box behind its front, and the lens as a short tube."""
    right, up, forward = rig.camera.axes()
    lens = np.asarray(rig.camera.placement.position_mm)
    parts = [_tube("lens", lens, forward, 16.0, 10.0)]
    body = rig.camera.body
    if body is None:
        return parts
    offset = np.asarray(body.lens_offset_mm)
    front = lens - body.setback_mm * forward - offset[0] * right - offset[1] * up
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2
    ring = front + signs @ np.stack([body.width_mm * right, body.height_mm * up])
    vertices = np.concatenate([ring, ring - CAMERA_DEPTH_MM * forward])
    quads = np.array([[0, 1, 2, 3], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6],
                      [3, 0, 4, 7]])  # fmt: skip
    return [*parts, ModelPart("camera", vertices, _halved(quads), CAMERA_COLOUR)]


def _tube(name: str, end: Doubles, axis: Doubles, radius: float, length: float) -> ModelPart:
    side = np.cross(axis, [1.0, 0, 0] if abs(axis[0]) < 0.9 else [0, 1.0, 0])
    side /= np.linalg.norm(side)
    other = np.cross(axis, side)
    turn = 2 * np.pi * np.arange(ROUND) / ROUND
    ring = radius * (np.outer(np.cos(turn), side) + np.outer(np.sin(turn), other))
    vertices = np.concatenate([end + ring, end - length * axis + ring])
    i = np.arange(ROUND)
    j = (i + 1) % ROUND
    return ModelPart(
        name, vertices, _halved(np.stack([i, j, j + ROUND, i + ROUND], 1)), (24, 24, 28)
    )


def _halved(quads: Integers) -> Integers:
    return np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


def _frustum(rig: Rig) -> Iterator[Line]:
    """Yield the edges of what the camera sees, down to the table."""
    lens: Doubles = np.asarray(rig.camera.placement.position_mm, float)
    tan_x, tan_y = rig.camera.half_angles_tan()
    right, up, forward = rig.camera.axes()
    ends = []
    for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        ray: Doubles = forward + x * tan_x * right + y * tan_y * up
        reach = -lens[2] / ray[2] if ray[2] < -1e-3 else 2 * lens[2]
        ends.append(lens + min(reach, 4 * lens[2]) * ray)
        yield Line("view", np.stack([lens, ends[-1]]), (96, 100, 116), 1.0, 0.55)
    yield Line("view", np.array([*ends, ends[0]]), (96, 100, 116), 1.5, 0.7)


def _parts(surface: Surface) -> list[ModelPart]:
    shape = surface.shape
    if isinstance(shape, Flat):
        return _two_sides(surface, shape)
    if isinstance(shape, Ball):
        vertices, triangles = _ball(shape)
        return [ModelPart(surface.name, vertices, triangles, LAMP_FRONT, emits=True)]
    if isinstance(shape, Mesh):
        return [ModelPart(surface.name, shape.vertices, shape.faces, _paint(surface.front))]
    vertices, triangles = _cone(shape)
    if surface.role == "prop":
        return [ModelPart(surface.name, vertices, triangles, _paint(surface.back))]
    return [ModelPart(surface.name, vertices, triangles, _paint(surface.front), 0.32)]


def _two_sides(surface: Surface, shape: Flat) -> list[ModelPart]:
    vertices, triangles = _flat(shape)
    gap = 0.5 * SIDE_GAP_MM * shape.normal
    if surface.role in ("lamp", "window"):
        return [
            ModelPart(surface.name, vertices + gap, triangles, LAMP_FRONT, emits=True),
            ModelPart(surface.name, vertices - gap, triangles, LAMP_BACK),
        ]
    opacity = {"diffuser": 0.55, "shell": 0.3}.get(surface.role, 1.0)
    front = ModelPart(surface.name, vertices + gap, triangles, _paint(surface.front), opacity)
    if surface.role == "table":
        return [front]
    back = ModelPart(surface.name, vertices - gap, triangles, _paint(surface.back), opacity)
    return [front, back]


def _paint(face: Face) -> Colour:
    share = np.asarray(face.metal if face.is_metal else np.add(face.diffuse, face.passes))
    red, green, blue = np.round(255 * srgb_encode(np.clip(share, 0.0, 1.0))).astype(int)
    return int(red), int(green), int(blue)


def _flat(shape: Flat) -> tuple[Doubles, Integers]:
    """Return a flat shape as a strip between its rim and its opening (or its middle)."""
    outer = _rim_2d(shape)
    count = len(outer)
    if shape.openings:
        hole = shape.openings[0]
        away = outer - [hole.x, hole.y]
        inner = [hole.x, hole.y] + hole.radius * away / np.linalg.norm(away, axis=1)[:, None]
    else:
        inner = np.zeros((1, 2))
    flat = np.concatenate([outer, inner])
    i = np.arange(count)
    j = (i + 1) % count
    if shape.openings:
        triangles = _halved(np.stack([i, j, j + count, i + count], 1))
    else:
        triangles = np.stack([i, j, np.full(count, count)], 1)
    return _in_space(shape, flat), triangles


def _rim_2d(shape: Flat) -> Doubles:
    turn = 2 * np.pi * (np.arange(ROUND) + 0.5) / ROUND
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    if not shape.is_round:
        ring = ring / np.abs(ring).max(axis=1, keepdims=True)  # on the square's edge
        corner = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]], float)
        ring = np.concatenate([ring, corner])
        ring = ring[np.argsort(np.arctan2(ring[:, 1], ring[:, 0]), kind="stable")]
    return ring * [shape.half_width, shape.half_height]


def _in_space(shape: Flat, flat: Floats) -> Doubles:
    axes = np.stack([np.asarray(shape.right), np.asarray(shape.up)])
    return np.asarray(np.asarray(shape.centre) + flat @ axes, float)


def _ball(shape: Ball) -> tuple[Doubles, Integers]:
    rows, cols = 12, 24
    tilt, turn = np.meshgrid(
        np.linspace(0, np.pi, rows + 1), 2 * np.pi * np.arange(cols) / cols, indexing="ij"
    )
    unit = np.stack([np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt)], -1)
    first = np.add.outer(np.arange(rows) * cols, np.arange(cols)).ravel()
    right = np.add.outer(np.arange(rows) * cols, (np.arange(cols) + 1) % cols).ravel()
    quads = np.stack([first, right, right + cols, first + cols], 1)
    return np.asarray(shape.centre) + shape.radius * unit.reshape(-1, 3), _halved(quads)


def _cone(shape: Cone) -> tuple[Doubles, Integers]:
    turn = 2 * np.pi * np.arange(ROUND) / ROUND
    ring = np.stack([np.cos(turn), np.sin(turn), np.zeros(ROUND)], axis=1)
    foot = np.asarray(shape.centre) + shape.foot_radius * ring
    top = np.asarray(shape.centre) + shape.top_radius * ring + [0, 0, shape.height]
    i = np.arange(ROUND)
    j = (i + 1) % ROUND
    return np.concatenate([foot, top]), _halved(np.stack([i, j, j + ROUND, i + ROUND], 1))


def _rim(shape: object) -> Doubles:
    if isinstance(shape, Flat):
        points = _in_space(shape, _rim_2d(shape))
    elif isinstance(shape, Cone):
        points = _cone(shape)[0][ROUND:]
    elif isinstance(shape, Mesh):
        points = shape.vertices
    else:
        assert isinstance(shape, Ball)
        points = _ball(shape)[0][6 * 24 : 7 * 24]
    return np.concatenate([points, points[:1]])


def _top(surface: Surface) -> tuple[float, float, float]:
    """Return the place for a label: the highest point of a thing's rim, above its middle."""
    points = _rim(surface.shape)
    middle = points[:-1].mean(axis=0)
    return float(middle[0]), float(middle[1]), float(points[:, 2].max())


def mirrored_lines(rig: Rig, layers: Layers) -> Iterator[Line]:
    """Yield rays from the lens by the sheet's corners and middle to what they meet.

    Each has the colour that its target has in the glare map.
    """
    lens = np.asarray(rig.camera.placement.position_mm)
    across, down = rig.sheet.width_mm / 2, rig.sheet.height_mm / 2
    spots = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [0, 0]]) * [across, down]
    x, y = spots.T
    points = np.stack([x, y, relief.height(rig.sheet, x, y)], axis=1)
    normals = relief.normals(rig.sheet, x, y)
    directions = mirrored_ways(rig.camera, points, normals)
    surfaces = [s for s in build_surfaces(rig) if s.role != "sheet"]
    ways = np.stack([_way(s, points, directions) for s in surfaces])
    nearest = np.argmin(ways, axis=0)
    for k, at in enumerate(nearest):
        way = float(ways[at, k])
        name = surfaces[at].name if np.isfinite(way) else _nothing(layers)
        colour = colours_by_name(rig, [name])[0]
        end = points[k] + min(way, FREE_RAY_MM if not np.isfinite(way) else way) * directions[k]
        yield Line(f"mirrors {name}", np.stack([lens, points[k], end]), colour, 2.0)


def _way(surface: Surface, points: Doubles, directions: Doubles) -> Doubles:
    found = surface.shape.trace(points[:, None], directions[:, None]).distance
    return np.asarray(found, float)[:, 0]


def _nothing(layers: Layers) -> str:
    return "surroundings" if "surroundings" in layers.sees_names else "dark room"
