"""Draw rigs at random, as makers of small printed goods might set them up, for a path tracer.

    python tests/reference/random/draw.py SEED COUNT FOLDER [--silver] [--sound]

writes FOLDER/NAME.json, one scene a rig (../pathtraced/README.md tells the fields). Boards and
softboxes have sizes that are sold; nothing is left out for being hard. A thing is drawn again
only when it hides the sheet from the camera. With --silver the first board of every rig is
silvered and stands where the sheet's middle mirrors to the camera, facing it. With --sound a
rig is drawn again in which things pass through each other; the sets kept here were drawn without.
"""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "planned"))

from rig_scene import scene_of

from lightplan.errors import RigError
from lightplan.scene import (
    Body,
    Camera,
    Card,
    Conductor,
    Flatness,
    Foil,
    Grating,
    Lamp,
    Output,
    Paper,
    Placement,
    Rig,
    Room,
    Sheet,
    Shell,
    Side,
    Table,
)
from lightplan.scene.clearance import broken
from lightplan.scene.surfaces import build_surfaces

Random = np.random.Generator
ROWS, COLS = 54, 72
BOXES = ((400, 400), (600, 600), (600, 900), (800, 1200), (200, 900), (300, 1200))
BOARDS = ((210, 297), (297, 420), (500, 700), (700, 1000), (100, 600), (150, 300))
METALS = {  # complex index at 630, 532 and 467 nm, rounded (Johnson and Christy 1972, Rakic 1995)
    "silver": ((0.159, 0.145, 0.135), (3.93, 3.19, 2.38)),
    "gold": ((0.183, 0.421, 1.373), (3.42, 2.35, 1.77)),
    "copper": ((0.238, 1.010, 1.180), (3.44, 2.58, 2.48)),
    "aluminium": ((1.373, 0.918, 0.665), (7.62, 6.50, 5.55)),
}
GREYS = (0.85, 0.85, 0.85, 0.04, 0.04, 0.18)
TINTS = ((0.9, 0.9, 0.9), (0.92, 0.86, 0.74), (0.80, 0.84, 0.90))


def on_sphere(rng: Random, low: float, high: float, near: float, far: float) -> np.ndarray:
    """Place at an elevation [degrees] and distance [mm] in a range."""
    turn, rise = rng.uniform(0, 2 * math.pi), math.radians(rng.uniform(low, high))
    level = math.cos(rise)
    return rng.uniform(near, far) * np.array(
        [level * math.cos(turn), level * math.sin(turn), math.sin(rise)]
    )


def facing(rng: Random, at: np.ndarray, spread: float, roll: float = 0.0) -> Placement:
    aim = rng.uniform(-spread, spread, 3) * [1, 1, 0.2]
    return Placement(tuple(map(float, at)), tuple(map(float, aim)), roll)


def lamp(rng: Random, name: str) -> Lamp:
    kind = rng.choice(["box", "box", "box", "disk", "bulb"])
    at = on_sphere(rng, 20, 80, 450, 1500)
    light = Output(value=float(rng.uniform(300, 3000)), unit="cd/m2")
    if kind == "box":
        width, height = BOXES[rng.integers(len(BOXES))]
        place = facing(rng, at, 120, float(rng.uniform(-0.6, 0.6)))
        return Lamp(
            name=name,
            shape="rectangle",
            placement=place,
            width_mm=width,
            height_mm=height,
            output=light,
        )
    size = float(rng.uniform(60, 300) if kind == "disk" else rng.uniform(40, 90))
    bright = Output(value=light.value * (600 / size) ** 2, unit="cd/m2")
    shape = "disk" if kind == "disk" else "bulb"
    return Lamp(
        name=name,
        shape=shape,
        placement=facing(rng, at, 100),
        width_mm=size,
        height_mm=size,
        output=bright,
    )


def board(
    rng: Random, name: str, sheet: Sheet, camera: np.ndarray, *, silver: bool = False
) -> Card:
    width, height = BOARDS[rng.integers(len(BOARDS))]
    if rng.random() < 0.5:
        width, height = height, width
    where = "mirrored" if silver else rng.choice(["mirrored", "standing", "aside"])
    if where == "mirrored":  # about where the sheet's middle mirrors to the camera
        away = camera * [-1, -1, 1] / np.linalg.norm(camera)
        at = rng.uniform(150, 600) * away + rng.uniform(-120, 120, 3) * [1, 1, 0.3]
        place = facing(rng, at, 60, float(rng.uniform(-0.8, 0.8)))
    elif where == "standing":  # upright beside the sheet
        turn, gap = rng.uniform(0, 2 * math.pi), rng.uniform(5, 150)
        reach = gap + math.hypot(sheet.width_mm, sheet.height_mm) / 2
        at = np.array([reach * math.cos(turn), reach * math.sin(turn), height / 2 + 1])
        place = Placement(tuple(map(float, at)), (0.0, 0.0, float(at[2])))
    else:
        place = facing(rng, on_sphere(rng, 10, 75, 250, 900), 150, float(rng.uniform(-1, 1)))
    if silver or rng.random() < 0.15:
        tint = TINTS[rng.integers(len(TINTS))]
        face = Side(finish="silver", reflectance=tint, roughness=float(rng.uniform(0.15, 0.45)))
    else:
        face = Side(reflectance=(float(GREYS[rng.integers(len(GREYS))]),) * 3)
    return Card(name=name, placement=place, width_mm=width, height_mm=height, front=face, back=face)


def foil(rng: Random) -> Foil:
    eta, k = METALS[str(rng.choice(list(METALS)))]
    along = float(np.exp(rng.uniform(math.log(0.02), math.log(0.3))))
    across, grating = along, None
    if rng.random() < 0.15:
        along = across = max(along, 0.05)
        grating = Grating(
            lines_per_mm=float(rng.uniform(300, 1200)),
            direction_rad=float(rng.uniform(0, math.pi)),
            strength=0.6,
        )
    elif rng.random() < 0.3:
        across = float(np.clip(along * np.exp(rng.uniform(-1.2, 1.2)), 0.02, 0.4))
    return Foil(conductor=Conductor(eta=eta, k=k), roughness=(along, across), grating=grating)


def stock(rng: Random) -> Paper:
    white = (float(rng.uniform(0.6, 0.9)),) * 3
    if rng.random() < 0.2:
        return Paper(reflectance=white, coat_index=1.5, coat_roughness=float(rng.uniform(0.1, 0.3)))
    return Paper(reflectance=white)


def panel(rng: Random, before: Lamp) -> Card:
    """A diffuser between a lamp and the sheet."""
    share, size = rng.uniform(0.3, 0.7), (700, 1000) if rng.random() < 0.5 else (1000, 1000)
    at = share * np.asarray(before.placement.position_mm) + rng.uniform(-40, 40, 3)
    face = Side(reflectance=(0.4,) * 3)
    return Card(
        name="diffuser",
        placement=facing(rng, at, 80),
        width_mm=size[0],
        height_mm=size[1],
        front=face,
        back=face,
        transmittance=(0.5,) * 3,
    )


def camera(rng: Random, sheet: Sheet) -> Camera:
    tilt, turn = math.radians(rng.uniform(0, 50)), rng.uniform(-0.3, 0.3)
    far = rng.uniform(500, 1300)
    at = far * np.array(
        [math.sin(tilt) * math.sin(turn), -math.sin(tilt) * math.cos(turn), math.cos(tilt)]
    )
    place = Placement(tuple(map(float, at)), (0.0, 0.0, 0.0))
    size = 1.1 * math.hypot(sheet.width_mm, sheet.height_mm) / 2
    body = Body(width_mm=140, height_mm=100, reflectance=0.05) if rng.random() < 0.4 else None
    height = 24.0
    return Camera(
        placement=place,
        focal_length_mm=float(height / 2 * far / size),
        body=body,
        sensor_height_mm=height,
        sensor_width_mm=height * COLS / ROWS,
    )


def rig(rng: Random, name: str, *, silver: bool = False) -> Rig:
    width, height = (float(v) for v in np.exp(rng.uniform(math.log(60), math.log(400), 2)))
    bow = float(rng.uniform(-1, 1) * 0.02 * width) if rng.random() < 0.2 else 0.0
    sheet = Sheet(
        width_mm=width,
        height_mm=height,
        foil=foil(rng),
        paper=stock(rng),
        flatness=Flatness(bow_mm=max(bow, 0.0)),
    )
    view = camera(rng, sheet)
    at = np.asarray(view.placement.position_mm)
    lamps = tuple(lamp(rng, f"lamp {i}") for i in range(rng.integers(1, 4)))
    count = rng.integers(1 if silver else 0, 5)
    cards = [board(rng, f"card {i}", sheet, at, silver=silver and i == 0) for i in range(count)]
    if rng.random() < 0.15:
        cards.append(panel(rng, lamps[0]))
    shells = ()
    if rng.random() < 0.08:
        foot = 2.2 * math.hypot(width, height) / 2
        shells = (
            Shell(
                name="cone",
                shape="cone",
                centre_mm=(0.0, 0.0, 1.0),
                foot_width_mm=foot,
                top_width_mm=min(120.0, foot / 2),
                height_mm=float(rng.uniform(250, 400)),
                reflectance=(0.35,) * 3,
                transmittance=(0.5,) * 3,
            ),
        )
    table = None
    if rng.random() < 0.6:
        width, depth = (float(rng.uniform(*size)) for size in ((900, 1500), (800, 1200)))
        table = Table(
            width_mm=width,
            depth_mm=depth,
            reflectance=(float(rng.uniform(0.05, 0.7)),) * 3,
            drop_mm=1.0,
        )
    glow = (float(rng.uniform(5, 60)),) * 3 if rng.random() < 0.35 else (0.0, 0.0, 0.0)
    return Rig(
        title=name,
        sheet=sheet,
        camera=view,
        lamps=lamps,
        cards=tuple(cards),
        shells=shells,
        room=Room(table=table, ambient_cd_m2=glow),
    )


def is_seen(drawn: Rig) -> bool:
    """Whether nothing hides part of the sheet from the camera."""
    x, y = (v.ravel() for v in np.meshgrid(*[np.linspace(-0.5, 0.5, 7)] * 2))
    points = np.stack([x * drawn.sheet.width_mm, y * drawn.sheet.height_mm, 0 * x + 0.5], axis=1)
    eye = np.asarray(drawn.camera.placement.position_mm)[None]
    before = [s.shape for s in build_surfaces(drawn) if s.role not in ("sheet", "camera", "table")]
    cut = [shape.blocks(points, eye) for shape in before]
    return all(lines is None or not lines.any() for lines in cut)


def is_sound(drawn: Rig) -> bool:
    """Tell whether nothing passes through another thing: such a rig can be built."""
    return not any(limit.rule == "through each other" for limit in broken(drawn))


def main() -> None:
    silver, sound = ("--silver" in sys.argv), ("--sound" in sys.argv)
    said = [word for word in sys.argv[1:] if not word.startswith("--")]
    seed, count, folder = int(said[0]), int(said[1]), Path(said[2])
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True, exist_ok=True)
    found = 0
    while found < count:
        name = f"{'s' if silver else 'r'}{seed % 1000:03d}_{found:02d}"
        try:
            drawn = rig(rng, name, silver=silver)
        except RigError:
            continue
        if is_seen(drawn) and (not sound or is_sound(drawn)):
            scene = scene_of(drawn, (ROWS, COLS))
            (folder / f"{name}.json").write_text(json.dumps(scene), encoding="utf-8")
            found += 1


if __name__ == "__main__":
    main()
