"""Numbers of the reference scenes; run it to write one JSON file per scene.

Lengths are metres and radiances any linear unit; see README.md beside this file for the
fields. All numbers are made up for the test, except the refractive indices of the metals,
which are the usual three-channel values of a general-purpose renderer's material tables.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

Scene = dict[str, Any]
Triple = Sequence[float]

FOLDER = Path(__file__).parent
SCHEMA = "lightplan-pathtraced-1"
METALS = {
    "Ag": ([0.15943, 0.14512, 0.13547], [3.9291, 3.19, 2.3808]),
    "Al": ([1.3456, 0.96521, 0.61722], [7.4746, 6.3995, 5.3031]),
    "Au": ([0.18299, 0.42108, 1.3734], [3.4242, 2.3459, 1.7704]),
    "Cu": ([0.27105, 0.67693, 1.3164], [3.6092, 2.6248, 2.2921]),
}
RECIPES: dict[str, Callable[[], Scene]] = {}


def recipe(function: Callable[[], Scene]) -> Callable[[], Scene]:
    RECIPES[function.__name__] = function
    return function


def rounded(values: Triple) -> list[float]:
    return [round(float(value), 9) + 0.0 for value in values]


def rect(name: str, at: Triple, facing: Triple, width: float, height: float, **more: Any) -> Scene:
    """Return a rectangle at `at` that faces the point `facing`; `up` leans to z, else to y."""
    normal = np.subtract(facing, at)
    normal = normal / np.linalg.norm(normal)
    lean = np.array([0.0, 0.0, 1.0]) if abs(normal[2]) < 1 - 1e-9 else np.array([0.0, 1.0, 0.0])
    up = lean - (lean @ normal) * normal
    return {
        "name": name,
        "shape": "rect",
        "center": rounded(at),
        "normal": rounded(normal),
        "up": rounded(up / np.linalg.norm(up)),
        "width": width,
        "height": height,
        **more,
    }


def triple(value: float | Triple) -> list[float]:
    return [float(value)] * 3 if isinstance(value, float | int) else [float(v) for v in value]


def lamp(
    name: str, at: Triple, facing: Triple, width: float, height: float, radiance: float | Triple
) -> Scene:
    emits = {"radiance": triple(radiance), "one_sided": True, "body_reflectance": 0.0}
    return rect(name, at, facing, width, height, **emits)


def card(
    name: str,
    at: Triple,
    facing: Triple,
    width: float,
    height: float,
    reflectance: float | Triple,
    **more: Any,
) -> Scene:
    look = {"reflectance": triple(reflectance), "two_sided": True, **more}
    return rect(name, at, facing, width, height, **look)


def table(reflectance: float = 0.5) -> Scene:
    top = rect("table", (0, 0, -0.001), (0, 0, 1), 1.2, 0.8, two_sided=True)
    del top["name"]
    return {**top, "reflectance": triple(reflectance)}


def foil(metal: str, alpha_x: float, alpha_y: float | None = None) -> Scene:
    eta, k = METALS[metal]
    return {
        "model": "ggx_conductor",
        "metal": metal,
        "eta": eta,
        "k": k,
        "alpha_x": alpha_x,
        "alpha_y": alpha_x if alpha_y is None else alpha_y,
        "masking": "smith_separable_G1G1",
        "multiple_scattering_compensation": False,
    }


def camera(at: Triple, vfov_deg: float, size: tuple[int, int] = (64, 48)) -> Scene:
    overhead = abs(at[0]) + abs(at[1]) < 1e-9
    return {
        "position": triple(at),
        "look_at": [0.0, 0.0, 0.0],
        "up": [0.0, 1.0, 0.0] if overhead else [0.0, 0.0, 1.0],
        "vfov_deg": vfov_deg,
        "width": size[0],
        "height": size[1],
    }


def turned(profile: Sequence[tuple[float, float]], at: Triple, sides: int) -> Scene:
    """Return the triangles of a closed body turned on a lathe, front outside.

    `profile` is (radius, height) from foot to top; it begins and ends on the axis.
    """
    angles = 2 * np.pi * np.arange(sides) / sides
    rings = [
        np.stack([r * np.cos(angles), r * np.sin(angles), 0 * angles + z], axis=1)
        for r, z in profile[1:-1]
    ]
    foot, top = ([[0.0, 0.0, profile[end][1]]] for end in (0, -1))
    vertices = np.concatenate([foot, *rings, top]) + at
    i, j, last = np.arange(sides), (np.arange(sides) + 1) % sides, len(vertices) - 1
    faces = [np.stack([0 * i, 1 + j, 1 + i], axis=1)]
    for start in range(1, last - sides, sides):
        a, b, c, d = start + i, start + j, start + sides + j, start + sides + i
        faces += [np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]
    ring = last - sides
    faces.append(np.stack([ring + i, ring + j, 0 * i + last], axis=1))
    return {
        "vertices": [rounded(vertex) for vertex in vertices],
        "faces": np.concatenate(faces).tolist(),
    }


def scene(
    description: str,
    seen_from: Scene,
    metal: Scene,
    lights: list[Scene],
    *,
    size: tuple[float, float] = (0.2, 0.15),
    paper: Scene | None = None,
    cards: Sequence[Scene] = (),
    with_table: Scene | None = None,
    ambient: float | Triple = 0.0,
    **more: Any,
) -> Scene:
    """Return a whole scene; `more` overrides or adds fields of the top level."""
    return {
        "schema": SCHEMA,
        "description": description,
        "units": "metres; radiance in any linear unit, three independent linear channels",
        "frame": "right-handed; x right, y away from the camera side, z up; "
        "rect: right = up x normal, width along right, height along up",
        "camera": seen_from,
        "sheet": {
            "shape": "flat",
            "center": [0.0, 0.0, 0.0],
            "normal": [0.0, 0.0, 1.0],
            "up": [0.0, 1.0, 0.0],
            "width": size[0],
            "height": size[1],
        },
        "lights": lights,
        "cards": list(cards),
        "diffuser_panels": [],
        "diffuser_shells": [],
        "table": with_table,
        "ambient_radiance": triple(ambient),
        "probe": None,
        "materials": {
            "paper": {"model": "lambert", "reflectance": triple(0.8)} if paper is None else paper,
            "foil": metal,
        },
        "transport": "all bounces (unbounded depth, Russian roulette after depth 12); "
        "dark outside unless ambient_radiance > 0 or a probe is given",
        **more,
    }


@recipe
def flag() -> Scene:
    return scene(
        "a black card between a softbox and the left half of the sheet: shadow, penumbra, and "
        "its edge before the lamp in the foil",
        camera((0.45, 0, 0.6), 14.5),
        foil("Ag", 0.15),
        [lamp("key", (-0.6, 0, 0.6), (0, 0, 0), 0.4, 0.4, 10)],
        cards=[card("flag", (-0.3, 0, 0.1), (-0.3, 0, 0), 0.4, 0.5, 0.03)],
        with_table=table(),
    )


@recipe
def stand() -> Scene:
    profile = [(0, 0), (0.03, 0), (0.03, 0.012), (0.011, 0.02), (0.011, 0.17), (0.042, 0.19),
               (0.042, 0.235), (0, 0.25)]  # fmt: skip
    body = turned(profile, (-0.142, 0.03, 0.0), 16)
    return scene(
        "a turned stand of triangles beside the sheet: its shadow falls on the sheet, the foil "
        "mirrors its edge before a card, and it throws back light of its own colour",
        camera((0.4, -0.1, 0.6), 15.0),
        foil("Ag", 0.12),
        [lamp("key", (-0.55, 0.12, 0.5), (0, 0, 0.05), 0.3, 0.3, 20)],
        cards=[card("fill", (0.2, 0.32, 0.25), (0, 0, 0.1), 0.4, 0.4, 0.85)],
        meshes=[{"name": "stand", **body, "reflectance": triple((0.5, 0.35, 0.2))}],
        with_table=table(),
    )


@recipe
def diffuser_panel() -> Scene:
    panel = rect("panel", (0, 0.32, 0.5), (0, 0, 0), 0.5, 0.5)
    panel |= {"rho": [0.45, 0.45, 0.4], "tau": [0.5, 0.5, 0.45]}
    return scene(
        "a small lamp behind a thin diffusing panel that the foil sees: a hot spot that fades",
        camera((0, -0.4, 0.6), 15.0),
        foil("Au", 0.1),
        [lamp("spot", (0.08, 0.55, 0.85), (0, 0.32, 0.5), 0.15, 0.15, 300)],
        with_table=table(),
        diffuser_panels=[panel],
    )


@recipe
def cone() -> Scene:
    shell = {
        "name": "cone",
        "shape": "frustum",
        "centre": [0.0, 0.0, 0.0],
        "r_bottom": 0.16,
        "r_top": 0.06,
        "height": 0.26,
        "rho": triple(0.4),
        "tau": triple(0.5),
    }
    return scene(
        "a truncated diffusing cone round the sheet, lit from outside by two unequal softboxes; "
        "the camera looks down through its opening",
        camera((0, 0, 0.6), 11.5, (48, 36)),
        foil("Ag", 0.08),
        [
            lamp("left", (-0.5, 0.1, 0.3), (0, 0, 0.12), 0.3, 0.3, 20),
            lamp("right", (0.5, -0.2, 0.35), (0, 0, 0.12), 0.3, 0.3, 8),
        ],
        size=(0.12, 0.09),
        with_table=table(0.4),
        diffuser_shells=[shell],
    )


@recipe
def ambient_cards() -> Scene:
    return scene(
        "even surroundings, no lamp: a black and a white card stand by the sheet",
        camera((0, -0.35, 0.6), 15.5),
        foil("Cu", 0.12),
        [],
        cards=[
            card("black", (-0.2, 0.05, 0.16), (0.1, 0, 0.1), 0.3, 0.3, 0.04),
            card("white", (0.22, 0.1, 0.2), (0, 0, 0), 0.3, 0.25, 0.85),
        ],
        with_table=table(0.4),
        ambient=(1.0, 0.9, 0.75),
    )


@recipe
def probe() -> Scene:
    window = np.array([0.35, 0.6, 0.6])
    return scene(
        "a light probe: a room that is brighter above, with one bright soft window",
        camera((0, -0.45, 0.6), 14.5),
        foil("Al", 0.12),
        [],
        cards=[card("black", (-0.3, 0.1, 0.2), (0, 0, 0), 0.3, 0.4, 0.05)],
        with_table=table(0.4),
        probe={
            "formula": "radiance(d) = base * (1 + slope * d_z) "
            "+ sum over windows of radiance * exp(sharpness * (d . direction - 1)), "
            "d a unit vector from the sheet towards the surroundings",
            "base": [0.5, 0.55, 0.65],
            "slope": 0.6,
            "windows": [
                {
                    "direction": rounded(window / np.linalg.norm(window)),
                    "sharpness": 40.0,
                    "radiance": [9.0, 8.5, 7.5],
                }
            ],
        },
    )


def bowed(height: float, alpha: float) -> Scene:
    made = scene(
        f"the sheet is bowed along x: its middle stands {1000 * height:g} mm above its left and "
        "right edges; a softbox is mirrored",
        camera((0, -0.4, 0.6), 15.5),
        foil("Ag", alpha),
        [lamp("key", (0.1, 0.5, 0.8), (0, 0, 0), 0.4, 0.4, 6)],
        cards=[card("fill", (-0.25, 0, 0.2), (0, 0, 0.05), 0.3, 0.3, 0.8)],
        with_table=table(0.4),
    )
    made["sheet"] |= {"shape": "bowed", "bow": height}
    made["sheet"]["formula"] = "z(x) = bow * (1 - (2 x / width)^2)"
    return made


@recipe
def bow_3mm() -> Scene:
    return bowed(0.003, 0.08)


@recipe
def bow_10mm() -> Scene:
    return bowed(0.010, 0.1)


@recipe
def brushed() -> Scene:
    return scene(
        "brushed metal: alpha 0.05 along x and 0.3 along y, a strip light and a softbox",
        camera((0.1, -0.4, 0.6), 15.0),
        foil("Al", 0.05, 0.3),
        [
            lamp("strip", (-0.1, 0.5, 0.7), (0, 0, 0), 0.12, 0.7, 12),
            lamp("side", (0.7, 0.1, 0.5), (0, 0, 0), 0.4, 0.4, 4),
        ],
        with_table=table(),
    )


@recipe
def hole() -> Scene:
    return scene(
        "the camera looks through a round hole in a white card above the sheet; the foil sees "
        "the card and the hole",
        camera((0, 0, 0.6), 13.0),
        foil("Au", 0.05),
        [
            lamp("left", (-0.4, 0, 0.1), (0, 0, 0.2), 0.2, 0.2, 25),
            lamp("right", (0.3, 0.1, 0.05), (0.1, 0, 0.25), 0.2, 0.1, 20),
        ],
        size=(0.13, 0.1),
        cards=[card("holed", (0, 0, 0.25), (0, 0, 0), 0.5, 0.4, 0.85, hole_radius=0.05)],
        with_table=table(),
    )


@recipe
def white_box() -> Scene:
    return scene(
        "an almost closed box of white cards with a small lamp inside: many bounces",
        camera((0, -0.5, 0.62), 14.0),
        foil("Ag", 0.2),
        [lamp("inside", (0.1, 0.12, 0.4), (0.05, 0, 0), 0.12, 0.12, 30)],
        cards=[
            card("left", (-0.3, 0, 0.225), (0, 0, 0.225), 0.6, 0.45, 0.9),
            card("right", (0.3, 0, 0.225), (0, 0, 0.225), 0.6, 0.45, 0.9),
            card("back", (0, 0.3, 0.225), (0, 0, 0.225), 0.6, 0.45, 0.9),
            card("front", (0, -0.3, 0.1), (0, 0, 0.1), 0.6, 0.2, 0.9),
            card("roof", (0, 0.07, 0.45), (0, 0.07, 0), 0.6, 0.46, 0.9),
        ],
        with_table=table(0.9),
    )


@recipe
def full_rig() -> Scene:
    return scene(
        "two softboxes, a white card that the foil sees, a fill card and a black card, table",
        camera((0, -0.5, 0.7), 13.0),
        foil("Au", 0.1),
        [
            lamp("key", (-0.6, 0.5, 0.3), (0, 0.42, 0.55), 0.3, 0.3, 15),
            lamp("fill", (0.7, -0.1, 0.6), (0, 0, 0), 0.35, 0.35, 5),
        ],
        cards=[
            card("bounce", (0, 0.42, 0.6), (0, 0, 0), 0.6, 0.5, 0.85),
            card("kicker", (-0.25, -0.05, 0.15), (0, 0, 0), 0.3, 0.2, 0.8),
            card("black", (0.12, 0.25, 0.15), (0, 0, 0), 0.15, 0.2, 0.04),
        ],
        with_table=table(),
    )


@recipe
def bulb_room() -> Scene:
    return scene(
        "a bare bulb in a room of four walls, ceiling and floor (3.0 x 3.6 m, floor 0.75 m below "
        "and ceiling 1.75 m above the sheet)",
        camera((0, -0.5, 0.7), 13.0),
        foil("Ag", 0.15),
        [
            {
                "name": "bulb",
                "shape": "sphere",
                "center": [-0.3, 0.5, 1.0],
                "radius": 0.06,
                "radiance": triple(100),
                "body_reflectance": 0.0,
            }
        ],
        cards=[
            card("wall_left", (-1.5, 0, 0.5), (0, 0, 0.5), 3.6, 2.5, 0.7),
            card("wall_right", (1.5, 0, 0.5), (0, 0, 0.5), 3.6, 2.5, (0.7, 0.6, 0.5)),
            card("wall_far", (0, 1.8, 0.5), (0, 0, 0.5), 3.0, 2.5, 0.7),
            card("wall_near", (0, -1.8, 0.5), (0, 0, 0.5), 3.0, 2.5, 0.7),
            card("ceiling", (0, 0, 1.75), (0, 0, 0), 3.0, 3.6, 0.85),
            card("floor", (0, 0, -0.75), (0, 0, 0), 3.0, 3.6, 0.25),
        ],
        with_table=table(),
    )


@recipe
def dark_edges() -> Scene:
    return scene(
        "a bright surface overhead, black cards left and right that the foil's edges see",
        camera((0, -0.45, 0.7), 13.0),
        foil("Ag", 0.06),
        [lamp("above", (0, 0.45, 0.75), (0, 0, 0), 0.7, 0.7, 5)],
        cards=[
            card("black_left", (-0.12, 0.2, 0.25), (0, 0.2, 0.25), 0.5, 0.4, 0.03),
            card("black_right", (0.12, 0.2, 0.25), (0, 0.2, 0.25), 0.5, 0.4, 0.03),
        ],
        with_table=table(),
    )


@recipe
def coloured_cards() -> Scene:
    return scene(
        "a red and a green card on either side of the sheet under a warm softbox: colour bleeds",
        camera((0, -0.6, 0.5), 13.0),
        foil("Cu", 0.3),
        [lamp("top", (0, 0.2, 1.0), (0, 0, 0), 0.5, 0.5, (10, 8, 5))],
        cards=[
            card("red", (-0.18, 0, 0.15), (0, 0, 0.1), 0.4, 0.3, (0.75, 0.1, 0.08)),
            card("green", (0.18, 0, 0.15), (0, 0, 0.1), 0.4, 0.3, (0.1, 0.6, 0.15)),
        ],
        with_table=table(),
    )


def silver(specular: Scene, description: str) -> Scene:
    board = card("silver", (-0.35, 0.25, 0.4), (0.0, 0.1, 0.15), 0.4, 0.4, 0.0)
    return scene(
        description,
        camera((0.25, -0.3, 0.6), 15.0),
        foil("Ag", 0.1),
        [lamp("key", (0.15, 0.35, 0.12), (-0.35, 0.25, 0.4), 0.2, 0.2, 20)],
        cards=[{**board, "specular": specular}],
        with_table=table(0.4),
    )


@recipe
def silver_card() -> Scene:
    eta, k = METALS["Al"]
    return silver(
        {"eta": eta, "k": k, "alpha": 0.35},
        "a lamp turned from the sheet to a silvered card (aluminium, alpha 0.35)",
    )


@recipe
def silver_card_even() -> Scene:
    return silver(
        {"reflectance": [0.8, 0.8, 0.75], "alpha": 0.35},
        "as silver_card, but the card's mirror reflectance is the same at every angle",
    )


def internal_reflectance(index: float) -> float:
    """Return the reflectance of a smooth coat for diffuse light from inside.

    1 - (1 - R) / n^2, with R the reflectance for diffuse light from outside, Fresnel's mean
    over the hemisphere.
    """
    cosine = (np.arange(100_000) + 0.5) / 100_000
    inside = np.sqrt(1 - (1 - cosine**2) / index**2)
    s = ((cosine - index * inside) / (cosine + index * inside)) ** 2
    p = ((index * cosine - inside) / (index * cosine + inside)) ** 2
    return float(1 - (1 - np.mean((s + p) * cosine)) / index**2)


@recipe
def coated_paper() -> Scene:
    return scene(
        "gloss-coated paper by a softbox whose mirror image is on the sheet",
        camera((0, -0.45, 0.6), 14.5),
        foil("Cu", 0.25),
        [
            lamp("glare", (0, 0.45, 0.6), (0, 0, 0), 0.2, 0.2, 10),
            lamp("side", (-0.7, -0.1, 0.6), (0, 0, 0), 0.4, 0.4, 8),
        ],
        paper={
            "model": "coated",
            "reflectance": [0.8, 0.78, 0.7],
            "coat_index": 1.5,
            "alpha": 0.1,
            "internal_reflectance": round(internal_reflectance(1.5), 6),
            "body": "T(i) T(o) rho / (pi coat_index^2 (1 - rho internal_reflectance))",
        },
        with_table=table(),
    )


def older_camera(at: Triple, vfov_deg: float) -> Scene:
    return camera(at, vfov_deg, (72, 54))


PORTRAIT = (0.18, 0.24)


@recipe
def s01_softbox45() -> Scene:
    return scene(
        "one 0.6 x 0.6 softbox at 45 deg from the left, 1.2 m away; camera overhead",
        older_camera((0, 0, 0.9), 18.0),
        foil("Au", 0.2),
        [lamp("key", (-0.848528137, 0, 0.848528137), (0, 0, 0), 0.6, 0.6, 10)],
        size=PORTRAIT,
    )


@recipe
def s02_softbox_mirror() -> Scene:
    return scene(
        "the same softbox in the mirror direction: glare",
        older_camera((0, -0.64, 0.64), 16.0),
        foil("Au", 0.1),
        [lamp("key", (0, 0.848528137, 0.848528137), (0, 0, 0), 0.6, 0.6, 10)],
        size=PORTRAIT,
    )


@recipe
def s03_bounce_card() -> Scene:
    key = lamp("key", (0, 0.3, 0.06), (0, 0.3 + 0.216930458, 0.06 + 0.97618706), 0.5, 0.2, 20)
    return scene(
        "softbox below the card, its back to the sheet, lights a white card the foil sees",
        older_camera((0, -0.55, 0.75), 17.0),
        foil("Ag", 0.05),
        [key],
        size=PORTRAIT,
        cards=[card("bounce", (0, 0.42, 0.6), (0, 0, 0), 0.6, 0.5, 0.85)],
    )


@recipe
def s05_bare_disk() -> Scene:
    bulb = lamp("bulb", (0.03, 0.5, 0.8), (0, 0, 0), 0.05, 0.05, 400)
    del bulb["width"], bulb["height"]
    return scene(
        "bare 5 cm disk source near the mirror direction",
        older_camera((0, -0.5, 0.8), 17.0),
        foil("Cu", 0.05),
        [{**bulb, "shape": "disk", "radius": 0.025}],
        size=PORTRAIT,
    )


@recipe
def s06_strip() -> Scene:
    strip = lamp("strip", (0.38, 0.45, 0.75), (0, 0, 0), 0.15, 1.2, 12)
    return scene(
        "a turned strip box beside the mirror direction: gradient across the sheet",
        older_camera((0, -0.5, 0.8), 17.0),
        foil("Ag", 0.1),
        [{**strip, "up": [-0.21327485, 0.881660768, -0.420937203]}],
        size=PORTRAIT,
    )


@recipe
def s09_white_v() -> Scene:
    side, lean = 0.178404029, 0.342020143 / 0.939692621
    return scene(
        "sheet at the bottom of a V of two white cards, softbox above, table: many bounces",
        older_camera((0, -0.75, 0.55), 15.0),
        foil("Au", 0.3),
        [lamp("top", (0, 0.15, 1.1), (0, 0, 0), 0.5, 0.5, 8)],
        size=PORTRAIT,
        cards=[
            card("v_left", (-side, 0, 0.188938524), (0, 0, 0.188938524 + lean * side),
                 0.5, 0.4, 0.85),
            card("v_right", (side, 0, 0.188938524), (0, 0, 0.188938524 + lean * side),
                 0.5, 0.4, 0.85),
        ],
        with_table=table(),
    )  # fmt: skip


@recipe
def s12_camera_body() -> Scene:
    return scene(
        "overhead softbox; the camera body, a dark card 2 mm behind the pinhole, shows in the foil",
        older_camera((0, 0, 0.8), 20.0),
        foil("Ag", 0.05),
        [lamp("top", (0, 0, 1.3), (0, 0, 0), 0.9, 0.9, 4)],
        size=PORTRAIT,
        cards=[card("camera_body", (0, 0, 0.802), (0, 0, 0), 0.12, 0.1, 0.04)],
        with_table=table(),
    )


def main() -> None:
    for name, make in RECIPES.items():
        made = make()
        text = json.dumps({"schema": made["schema"], "name": name, **made}, indent=1)
        (FOLDER / f"{name}.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
