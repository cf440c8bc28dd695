"""Whole evenings: a product drawn at random is planned, built, photographed, advised until right.

    PYTHONPATH=. python tests/reference/slipped/render.py --serve QUEUE &     (path tracer)
    PYTHONPATH=. python tests/advice/evenings.py run QUEUE OUT [--processes 15] [--count 40]

    PYTHONPATH=. python tests/advice/evenings.py begin QUEUE OUT        (a renderer elsewhere:)
    PYTHONPATH=. python tests/advice/evenings.py gather QUEUE JOBS.json.gz
    python tests/reference/slipped/render.py JOBS.json.gz RENDERED
    PYTHONPATH=. python tests/advice/evenings.py spread RENDERED QUEUE
    PYTHONPATH=. python tests/advice/evenings.py round QUEUE OUT        (and gather again)

    PYTHONPATH=. python tests/advice/evenings.py tell OUT/evenings.json
    PYTHONPATH=. python tests/advice/evenings.py draw OUT NAME... --to FOLDER

Each product's size, foil, stock, look and cupboard are drawn by its number, and planned quickly.
A hand builds the plan with its usual errors, the path tracer of `../reference/pathtraced` and the
camera of `../reference/slipped/camera_chain.py` photograph it, the advice is asked, and its one
move is made, by the same hand with its errors, until the frame earns the promised score less 3
points and reads as metal; a black frame names the lamps that are to be on, and these are seen to.
Each is done twice: built right, and with one slip that costs 3 points or more. The maker turns the
camera so that the sheet is in the picture, and where no sheet is found (light stock on a light
table) gives its corners by hand, as the program then says; where it is told to be cut off by the
frame the camera goes back until it is not. Sharpness is left out of the scores:
pictures this small all fail its gate.
"""

from __future__ import annotations

import argparse
import contextlib
import gzip
import io
import json
import math
import multiprocessing
import pickle
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "slipped"))
sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "planned"))
sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "pathtraced"))

from bases import framed, picture_size
from camera_chain import jpeg, take
from photographs import chain_of_plan, exposure_of_plan, job_of, rig_level, unpack, write_jobs
from report import CameraAsTaken
from scenes import METALS
from slips import IN_CAMERA, KINDS, Slip, can_be, draw_slip, hand_built
from slips import slipped as with_slip

from lightplan.advice.memory import Memory
from lightplan.advice.worth import Worth
from lightplan.errors import BlackFrame, LightplanError
from lightplan.measures import Measures, judge
from lightplan.measures.gates import LEAST_METAL
from lightplan.planning.all_looks import QUICK, wanted_looks, with_look
from lightplan.scene import Conductor, Placement, Rig
from lightplan.scene.setting_errors import SettingErrors, error_dimensions
from lightplan.scene.slips import slipped
from lightplan.shots.pipeline import Looked, look_at
from lightplan.tasks.advise import Advice, advise_on
from lightplan.tasks.photographed import context_of, look_at_set
from lightplan.tasks.plan import plan
from lightplan.tasks.predict import predict
from lightplan.tasks.remembering import with_frame
from lightplan.tasks.start_options import CAMERAS, CARDS, FOILS, GOODS, LAMPS, ROOMS, STOCKS, TABLES
from lightplan.tasks.start_rig import start_rig

if TYPE_CHECKING:
    from camera_chain import Chain

    from lightplan.arrays import Doubles

MOST_SHOTS = 6
FORGIVEN = 3.0  # points below the promised score at which the maker stops
MATTERS = 3.0
SLIP_TRIES = 12
SPP, SPP_GRATING = 256, 1024
PATIENCE_S = 240.0  # for one picture
LONG_SIDE = 900
SMOOTHED_PX = {"paper": 2.5, "foil": 1.5}
"""Against the grain of the path tracer: no foil here mirrors an edge sharper than that."""
STEP_BACK_MM, MOST_STEPS_BACK, ROOM_PX = 10.0, 60, 10.0
"""How a maker goes back from a sheet that is told to be cut off, until it is whole in the picture
with so many pixels of room."""
BY_HAND_PX = 1.0  # standard deviation of corners that are given by hand


@dataclass(frozen=True, eq=False)
class Product:
    """What is to be photographed, as planned, its frame cut to the sheet and some table."""

    number: int
    tries: int
    title: str
    look: str
    rig: Rig
    promised: float
    metal: float


@dataclass(frozen=True, eq=False)
class Standing:
    """The set as it stands, and the camera as it is set."""

    rig: Rig
    chain: Chain


# --- products ---------------------------------------------------------------------------------


def answers_of(draw: np.random.Generator) -> dict[str, Any]:
    """Draw what a maker has: goods, foil, stock, camera, cupboard, room, table."""

    def one(options: tuple[Any, ...], *weights: float) -> str:
        shares = np.array(weights if weights else (1.0,) * len(options))
        return str(options[draw.choice(len(options), p=shares / shares.sum())].id)

    lamps = [{"kind": one(LAMPS[:3], 3, 2, 1)} for _ in range(1 + int(draw.random() < 0.5))]
    if draw.random() < 0.15:
        lamps.append({"kind": "window"})
    cards = {c.id: int(draw.integers(0, 3)) for c in CARDS}
    cards["white A3"] = max(1, cards["white A3"])
    return {
        "goods": one(GOODS),
        "foil": one(FOILS),
        "stock": one(STOCKS),
        "camera": one(CAMERAS),
        "lamps": lamps,
        "cards": cards,
        "room": one(ROOMS, 3, 2, 1),
        "table": one(TABLES),
    }


def artwork_of(width_mm: float, height_mm: float, draw: np.random.Generator) -> bytes:
    """Draw where the foil is: a frame and a large shape, leaves, or bars; a PNG."""
    scale = LONG_SIDE / max(width_mm, height_mm)
    size = round(height_mm * scale), round(width_mm * scale)
    art, unit = np.zeros(size, np.uint8), min(size)
    middle = (size[1] // 2, size[0] // 2)
    kind = int(draw.integers(3))
    if kind == 0:
        edge = round(0.07 * unit)
        far = (size[1] - edge, size[0] - edge)
        cv2.rectangle(art, (edge, edge), far, 255, round(0.03 * unit))
        cv2.circle(art, middle, round(0.27 * unit), 255, -1)
    elif kind == 1:
        for _ in range(14):
            place = draw.uniform(0.15, 0.85, 2) * [size[1], size[0]]
            axes = (round(0.16 * unit), round(0.07 * unit))
            turn = float(draw.uniform(0, 180))
            at = (round(float(place[0])), round(float(place[1])))
            cv2.ellipse(art, at, axes, turn, 0, 360, 255, -1)
    else:
        for share in np.linspace(0.12, 0.88, 7):
            row, half = round(share * size[0]), round(draw.uniform(0.15, 0.4) * size[1])
            thick = round(0.05 * size[0])
            ends = (middle[0] - half, row), (middle[0] + half, row + thick)
            cv2.rectangle(art, *ends, 255, -1)
    art = cv2.GaussianBlur(art, (0, 0), 1.0)
    file = io.BytesIO()
    Image.fromarray(art).save(file, "PNG")
    return file.getvalue()


def product_of(number: int) -> Product | None:
    """Draw a product and plan it; drawn again where no plan promises foil that reads as metal."""
    for tries in range(6):
        draw = np.random.default_rng([71, number, tries])
        answers = answers_of(draw)
        with tempfile.TemporaryDirectory() as place:
            goods = next(g for g in GOODS if g.id == answers["goods"])
            size = goods.means["width_mm"], goods.means["height_mm"]
            loaded = start_rig(answers, Path(place) / "r.toml", artwork=artwork_of(*size, draw))
        looks, _ = wanted_looks(loaded.rig)
        look = str(draw.choice(looks))
        rig = with_look(loaded.rig, look)  # type: ignore[arg-type]
        if rig.sheet.foil.grating is not None:  # the path tracer's grating is of a bare metal
            eta, k = METALS["Al"]
            metal = Conductor(eta=tuple(eta), k=tuple(k))
            foil = replace(rig.sheet.foil, conductor=metal)
            rig = replace(rig, sheet=replace(rig.sheet, foil=foil))
        found = plan(replace(loaded, rig=rig), effort=QUICK, seed=number)
        if not found:
            continue
        metal_share = float(found.measures.get("reads_as_metal_share", 1.0))
        if metal_share < LEAST_METAL:
            continue
        planned = framed(replace(found.rig, freedoms=()))
        title = f"{loaded.rig.title}, {look}"
        promised = predict(planned).judgement.score
        if promised is None:
            continue
        return Product(number, tries, title, look, planned, promised, metal_share)
    return None


# --- one evening ------------------------------------------------------------------------------


def name_of(product: Product, *, slip: bool) -> str:
    """Return the name of an evening."""
    return f"e{product.number:02d}_{'slip' if slip else 'right'}"


@dataclass(eq=False)
class Evening:
    """An evening as far as it has gone.

    Attributes
    ----------
    told : dict
        What is kept of it.
    stood : list of Standing
        The set at each shot.
    """

    product: Product
    draw: np.random.Generator
    standing: Standing
    told: dict[str, Any]
    stood: list[Standing]
    memory: Memory

    @property
    def shot(self) -> str:
        """Name of the photograph that is to be taken."""
        return f"{self.told['name']}_{len(self.told['shots']) + 1}"


def begun(product: Product, *, with_slip_too: bool) -> Evening:
    """Return an evening whose set is built."""
    draw = np.random.default_rng([72, product.number, with_slip_too])
    standing, slip = first_build(product, draw, with_slip_too=with_slip_too)
    told: dict[str, Any] = {
        "name": name_of(product, slip=with_slip_too),
        "title": product.title,
        "promised": product.promised,
        "metal_promised": product.metal,
        "drawn_again": product.tries,
        "slip": None if slip is None else [slip.kind, slip.element, slip.dimension, slip.size],
        "shots": [],
        "end": "not in six shots",
    }
    return Evening(product, draw, standing, told, [], Memory())


def gone_on(one: Evening, light: Doubles, out: Path) -> bool:
    """Photograph an evening's set, ask and make the one move; say whether it goes on."""
    product, told, draw = one.product, one.told, one.draw
    photo = out / f"{one.shot}.jpg"
    chain = one.standing.chain
    photo.write_bytes(jpeg(take(light, chain, draw), chain))
    one.stood.append(one.standing)
    shot, advice = looked_at(photo, product, one.standing, draw, one.memory)
    told["shots"].append(shot)
    left = len(told["shots"]) < MOST_SHOTS
    if shot["score"] is not None and is_good(shot, product):
        told["end"] = "good"
        return False
    slip = told["slip"]
    if shot.get("black") and slip is not None and slip[2] == "missing":
        anew = hand_built(product.rig, int(draw.integers(1 << 31)))
        one.standing = replace(one.standing, rig=put_back(one.standing.rig, anew, slip[1]))
        return left
    idle = advice is None or advice.first_move is None
    if idle and shot.get("cut"):
        one.standing = stepped_back(product, one.standing)
        return left
    if advice is None or advice.first_move is None:
        told["end"] = "no sheet" if shot["score"] is None else "no move"
        return False
    one.memory = with_frame(one.memory, advice)
    try:
        one.standing = after_move(product, one.standing, advice, draw)
    except (LightplanError, KeyError) as error:
        shot["error"] = str(error)
        told["end"] = "move cannot be made"
        return False
    return left


def evening(product: Product, queue: Path, out: Path, *, with_slip_too: bool) -> dict[str, Any]:
    """Return how an evening went, each picture awaited from whoever serves the queue."""
    one = begun(product, with_slip_too=with_slip_too)
    while True:
        ask(one, queue)
        light = awaited(queue / f"{one.shot}.npz")
        if not gone_on(one, light, out):
            keep_evening(one, out)
            return one.told


def keep_evening(one: Evening, out: Path) -> None:
    """Keep the sets of an evening for a closer look at it."""
    with gzip.open(out / f"{one.told['name']}.pickle.gz", "wb", compresslevel=3) as file:
        pickle.dump((one.product, one.stood), file)


def is_good(shot: dict[str, Any], product: Product) -> bool:
    """Whether a frame earns what was promised, less 3 points, and reads as metal."""
    metal = shot["metal"]
    return shot["score"] >= product.promised - FORGIVEN and (metal is None or metal >= LEAST_METAL)


def first_build(
    product: Product, draw: np.random.Generator, *, with_slip_too: bool
) -> tuple[Standing, Slip | None]:
    """Return the set as a hand builds it first, and what slipped."""
    rig, settings = product.rig, exposure_of_plan(product.rig)
    right = hand_built(rig, int(draw.integers(1 << 31)))
    chain = chain_of_plan(rig, settings, draw)
    if rig.camera.lifts_tones:  # its own camera is a phone
        chain = replace(chain, phone=True)
    if not with_slip_too:
        return Standing(right, chain), None
    light = settings.clip_cd_m2 * rig_level(rig)
    worth = Worth(rig)
    camera = CameraAsTaken(clip_cd_m2=settings.clip_cd_m2, phone=chain.phone)
    whole = worth.score(right, camera)
    dearest: tuple[float, Slip] | None = None
    for _ in range(SLIP_TRIES):
        slip = draw_slip(rig, str(draw.choice(KINDS)), light, draw)
        if slip is None:
            continue
        there = with_slip(right, (slip,))
        if not can_be(there, rig):
            continue
        cost = whole - worth.score(there, as_set(camera, slip))
        if dearest is None or cost > dearest[0]:
            dearest = cost, slip
        if cost >= MATTERS:
            break
    if dearest is None:
        return Standing(right, chain), None
    slip = dearest[1]
    if slip.kind == "exposure":
        chain = replace(chain, stops=chain.stops + round(3 * slip.size) / 3)
    if slip.kind == "white balance":
        chain = replace(chain, balance_stops=chain.balance_stops + slip.size)
    return Standing(with_slip(right, (slip,)), chain), slip


def as_set(camera: CameraAsTaken, slip: Slip) -> CameraAsTaken:
    """Return a camera with a slip of its settings."""
    if slip.kind not in IN_CAMERA:
        return camera
    if slip.kind == "exposure":
        return replace(camera, stops=slip.size)
    return replace(camera, red_stops=slip.size / 2, blue_stops=-slip.size / 2)


def ask(one: Evening, queue: Path) -> None:
    """Put an evening's set into the queue, to be rendered by whoever serves it."""
    product, name = one.product, one.shot
    rig = replace(one.standing.rig, freedoms=())
    spp = SPP if rig.sheet.foil.grating is None else SPP_GRATING
    camera = replace(rig.camera, placement=aimed(product.rig, rig))
    rig = replace(rig, camera=camera)
    job = job_of(name, name, rig, spp, picture_size(product.rig))
    job["smoothed_px"] = SMOOTHED_PX
    waiting = queue / f"{name}.writing"
    write_jobs([job], waiting, {name: product.rig.sheet.artwork})
    waiting.rename(queue / f"{name}.json.gz")


def awaited(found: Path) -> Doubles:
    """Return light once it is rendered; its file is taken away."""
    began = time.monotonic()
    while not found.exists():
        if time.monotonic() - began > PATIENCE_S:
            raise TimeoutError(f"{found.stem} was not rendered")
        time.sleep(0.1)
    with np.load(found) as file:
        light = unpack(file, found.stem)
    found.unlink()
    return light


def aimed(planned: Rig, rig: Rig) -> Placement:
    """Return where the lens is, turned so that the sheet lies in the picture where it should."""
    return replace(planned.camera.placement, position_mm=rig.camera.placement.position_mm)


def corners_seen(product: Product, standing: Standing) -> Doubles:
    """Return where the sheet's corners are in the picture, row and column, (4, 2)."""
    camera = replace(standing.rig.camera, placement=aimed(product.rig, standing.rig))
    sheet, shape = product.rig.sheet, picture_size(product.rig)
    half = np.array([sheet.width_mm, sheet.height_mm]) / 2
    corners = np.column_stack([np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * half, np.zeros(4)])
    return np.asarray(camera.project(corners, *shape))


def is_whole(product: Product, standing: Standing, *, room_px: float = 0.0) -> bool:
    """Whether the whole sheet is in the picture, with some room round it."""
    places = corners_seen(product, standing) - room_px
    last = np.array(picture_size(product.rig)) - 1 - 2 * room_px
    return bool((places >= 0).all() and (places <= last).all())


def by_hand(product: Product, standing: Standing, draw: np.random.Generator) -> Doubles | None:
    """Return the sheet's corners as a maker marks them; None where one is cut off."""
    if not is_whole(product, standing):
        return None
    places = corners_seen(product, standing)
    middle = (np.array(picture_size(product.rig)) - 1) / 2
    away = places - middle
    bent = 1 - standing.chain.bending * (away**2).sum(axis=1, keepdims=True) / (middle**2).sum()
    return np.asarray(middle + bent * away + draw.normal(0, BY_HAND_PX, (4, 2)))


def stepped_back(product: Product, standing: Standing) -> Standing:
    """Return the set with the camera so far back that the whole sheet is in the picture."""
    place = standing.rig.camera.placement
    lens = np.array(place.position_mm)
    way = lens - np.array(aimed(product.rig, standing.rig).aim_mm)
    way /= np.linalg.norm(way)
    for _ in range(MOST_STEPS_BACK):
        lens = lens + STEP_BACK_MM * way
        x, y, z = lens.tolist()
        camera = replace(standing.rig.camera, placement=replace(place, position_mm=(x, y, z)))
        standing = replace(standing, rig=replace(standing.rig, camera=camera))
        if is_whole(product, standing, room_px=ROOM_PX):
            break
    return standing


def looked_at(
    photo: Path, product: Product, standing: Standing, draw: np.random.Generator, memory: Memory
) -> tuple[dict[str, Any], Advice | None]:
    """Return what the advice says of a photograph."""
    began = time.process_time()
    context, hand = context_of(product.rig), by_hand(product, standing, draw)
    try:
        looked = look_at_set(photo, product.rig)
        unseen = looked.score.score is None
        if unseen and hand is not None:
            looked = look_at(photo, replace(context, corners={photo.name: hand}))
        looked = without_sharpness(looked, product.rig)
        advice = advise_on(looked, product.rig, memory=memory)
    except LightplanError as error:
        # the maker sees to what it names: lamps, and the rest of the light
        black = isinstance(error, BlackFrame)
        return {"score": None, "metal": None, "error": str(error), "black": black}, None
    pairs = advice.photo.measures
    shot: dict[str, Any] = {
        "score": advice.photo.score,
        "metal": pairs["reads_as_metal_share"][0] if "reads_as_metal_share" in pairs else None,
        "gates": [[g.measure, round(g.factor, 2)] for g in advice.photo.gates if g.factor < 0.97],
        "told": [
            [f.slip.element, f.slip.dimension, round(f.slip.value, 2), round(f.cost, 1)]
            for f in advice.things
        ],
        "outside": len(advice.foreign),
        "by_hand": unseen,
        "misfit": None if advice.estimate is None else advice.estimate.misfit,
        "sentence": advice.sentence,
        "cut": unseen and hand is None and "all four corners" in advice.sentence,
        "seconds": time.process_time() - began,
    }
    move = advice.first_move
    if move is not None:
        shot |= {
            "move": move.text,
            "moved": [move.element, move.dimension, round(move.value, 2)],
            "score_after": move.score_after,
            "uncertainty": move.uncertainty,
            "gain": move.gain,
        }
    return shot, advice


def without_sharpness(looked: Looked, rig: Rig) -> Looked:
    """Return a photograph as if it were as sharp as a larger one."""
    score = looked.score
    if score.score is None:
        return looked
    pairs = {n: v for n, v in score.measures.items() if not n.startswith("sharpness")}
    judged = judge(Measures(pairs), rig.look)
    whole = replace(
        score, score=judged.score, verdict=judged.verdict, measures=pairs, gates=judged.gates
    )
    return replace(looked, score=whole)


def after_move(
    product: Product, standing: Standing, advice: Advice, draw: np.random.Generator
) -> Standing:
    """Return the set after the one move was made as it is told, with a hand's error again."""
    move, rig, chain = advice.first_move, standing.rig, standing.chain
    assert move is not None
    if move.element == "exposure":
        return Standing(rig, replace(chain, stops=chain.stops + round(3 * move.value) / 3))
    if move.element == "white balance":
        return Standing(rig, replace(chain, balance_stops=float(draw.uniform(-0.04, 0.04))))
    if move.element == "tone curve":
        return Standing(rig, replace(chain, phone=False))
    if move.element == "not in the rig":
        return Standing(
            replace(rig, lamps=tuple(x for x in rig.lamps if x.name != "foreign")), chain
        )
    if move.element == "room":
        return Standing(replace(rig, room=product.rig.room), chain)
    anew = hand_built(product.rig, int(draw.integers(1 << 31)))
    if move.dimension == "missing":
        return Standing(put_back(rig, anew, move.element), chain)
    if move.dimension == "bow_mm":  # told as a gap to be measured, not as a change
        return Standing(replace(rig, sheet=anew.sheet), chain)
    sizes = {
        (d.element, d.dimension): d.size for d in error_dimensions(product.rig, SettingErrors())
    }
    changes = {}
    for dimension, value in move.parts:
        name = (move.element, dimension)
        changes[name] = value + float(draw.uniform(-1, 1)) * sizes.get(name, 0.0)
    return Standing(slipped(rig, changes), chain)


def put_back(rig: Rig, anew: Rig, name: str) -> Rig:
    """Return the set with a lamp or card where the plan has it."""

    def other(now: Any, planned: Any) -> Any:
        there = {x.name: x for x in now}
        kept = [there.get(x.name) if x.name != name else x for x in planned]
        more = [x for x in now if x.name not in {p.name for p in planned}]
        return (*(x for x in kept if x is not None), *more)

    return replace(
        rig,
        lamps=other(rig.lamps, anew.lamps),
        cards=other(rig.cards, anew.cards),
        shells=other(rig.shells, anew.shells),
    )


# --- all of them ------------------------------------------------------------------------------


def task(job: tuple[Product, Path, Path, bool]) -> dict[str, Any]:
    """Return one evening; what breaks in it is told, not thrown."""
    product, queue, out, with_slip_too = job
    try:
        return evening(product, queue, out, with_slip_too=with_slip_too)
    except Exception as wrong:  # noqa: BLE001 - one evening must not cost the others
        name = name_of(product, slip=with_slip_too)
        return {"name": name, "title": product.title, "shots": [], "end": repr(wrong)[-300:]}


def planned_task(number: int, out: Path) -> tuple[int, Product | None, str]:
    """Return a product, planned anew unless OUT has its plan, or why there is none."""
    try:
        for kept in sorted(out.glob(f"e{number:02d}_*.pickle.gz")):
            with gzip.open(kept) as file:
                return number, pickle.load(file)[0], ""
        return number, product_of(number), ""
    except Exception as wrong:  # noqa: BLE001 - one product must not cost the others
        return number, None, repr(wrong)[-300:]


def run(
    queue: Path,
    out: Path,
    numbers: list[int],
    processes: int,
    until_s: float,
    only: list[str] | None = None,
) -> None:
    """Have all evenings, or those of some names, and keep each as it ends."""
    for folder in (queue, out):
        folder.mkdir(parents=True, exist_ok=True)
    began, ended = time.monotonic(), []
    product_of(numbers[0])  # loops are compiled once, before helpers share them
    print(f"ready after {time.monotonic() - began:.0f} s", flush=True)
    with multiprocessing.get_context("fork").Pool(processes) as pool:
        going = []
        plans = [pool.apply_async(planned_task, (n, out)) for n in numbers]
        while (plans or going) and time.monotonic() - began < until_s:
            for ready in [p for p in plans if p.ready()]:
                plans.remove(ready)
                number, product, why = ready.get()
                print(number, "no plan" if product is None else product.title, why, flush=True)
                if product is not None:
                    jobs = [(product, queue, out, slip) for slip in (False, True)]
                    jobs = [j for j in jobs if only is None or name_of(product, slip=j[3]) in only]
                    going += [pool.apply_async(task, (job,)) for job in jobs]
            for ready in [g for g in going if g.ready()]:
                going.remove(ready)
                ended.append(ready.get())
                print(f"{time.monotonic() - began:.0f} s: {line_of(ended[-1])}", flush=True)
                keep(ended, out / "evenings.json")
            time.sleep(0.2)
        pool.terminate()
    print("\n".join(summary(ended)))


# --- in rounds, where the renderer stands elsewhere -------------------------------------------


def begin_task(job: tuple[int, Path, Path]) -> str:
    """Plan a product, begin its two evenings, and ask for their first pictures."""
    number, queue, out = job
    _, product, why = planned_task(number, out)
    if product is None:
        return f"{number} no plan {why}"
    for slip in (False, True):
        one = begun(product, with_slip_too=slip)
        ask(one, queue)
        _put_aside(one, out)
    return f"{number} {product.title}"


def round_task(job: tuple[Path, Path, Path]) -> dict[str, Any] | None:
    """Take an evening one shot further; what is kept of it where it has ended."""
    aside, queue, out = job
    with gzip.open(aside) as file:
        one: Evening = pickle.load(file)
    asked = queue / f"{one.shot}.json.gz"
    try:
        goes_on = gone_on(one, awaited(queue / f"{one.shot}.npz"), out)
    except Exception as wrong:  # noqa: BLE001 - one evening must not cost the others
        goes_on, one.told["end"] = False, repr(wrong)[-300:]
    asked.unlink(missing_ok=True)
    if goes_on:
        ask(one, queue)
        _put_aside(one, out)
        return None
    aside.unlink()
    keep_evening(one, out)
    return one.told


def _put_aside(one: Evening, out: Path) -> None:
    with gzip.open(out / f"{one.told['name']}.evening.gz", "wb", compresslevel=3) as file:
        pickle.dump(one, file)


def begin(queue: Path, out: Path, numbers: list[int], processes: int) -> None:
    """Plan products and ask for the first pictures of all their evenings."""
    for folder in (queue, out):
        folder.mkdir(parents=True, exist_ok=True)
    print(begin_task((numbers[0], queue, out)), flush=True)  # loops are compiled once
    jobs = [(n, queue, out) for n in numbers[1:]]
    with multiprocessing.get_context("fork").Pool(processes, maxtasksperchild=4) as pool:
        for line in pool.imap_unordered(begin_task, jobs):
            print(line, flush=True)


def take_round(queue: Path, out: Path, processes: int) -> None:
    """Take all evenings whose pictures are there one shot further, and ask for the next ones."""
    going = sorted(out.glob("*.evening.gz"))
    rendered = {path.stem.rpartition("_")[0] for path in queue.glob("*.npz")}
    jobs = [(p, queue, out) for p in going if p.name.partition(".")[0] in rendered]
    kept = out / "evenings.json"
    ended = json.loads(kept.read_text("utf-8")) if kept.exists() else []
    with multiprocessing.get_context("fork").Pool(processes, maxtasksperchild=4) as pool:
        for told in pool.imap_unordered(round_task, jobs):
            if told is not None:
                ended = [e for e in ended if e["name"] != told["name"]] + [told]
                print(line_of(told), flush=True)
                keep(ended, kept)
    print("\n".join(summary(ended)), f"{len(list(out.glob('*.evening.gz')))} go on", sep="\n")


def gather(queue: Path, to: Path) -> None:
    """Write all that a queue asks for into one file for render.py."""
    jobs, art = [], {}
    for path in sorted(queue.glob("*.json.gz")):
        with gzip.open(path, "rt") as file:
            told = json.load(file)
        jobs += told["jobs"]
        art |= told["artwork"]
    with gzip.open(to, "wt") as file:
        json.dump({"jobs": jobs, "artwork": art}, file)
    print(f"{len(jobs)} pictures")


def spread(rendered: Path, queue: Path) -> None:
    """Put pictures of render.py's parts where the queue's askers look for them."""
    for part in sorted(rendered.glob("part*.npz")):
        with np.load(part) as file:
            for name in [key[: -len("_low")] for key in file.files if key.endswith("_low")]:
                one = {f"{name}_{end}": file[f"{name}_{end}"] for end in ("low", "high", "scale")}
                np.savez(queue / f"{name}.npz", **one)


def keep(ended: list[dict[str, Any]], path: Path) -> None:
    """Write evenings in their order, figures rounded."""
    plain = json.loads(
        json.dumps(sorted(ended, key=lambda e: e["name"]), default=float),
        parse_float=lambda text: round(float(text), 3),
    )
    path.write_text(json.dumps(plain, indent=0), "utf-8")


def line_of(one: dict[str, Any]) -> str:
    """Return an evening in a line."""
    scores = ", ".join("-" if s["score"] is None else f"{s['score']:.0f}" for s in one["shots"])
    slip = one.get("slip")
    why = "" if not slip else f" ({slip[1]} {slip[2]} {slip[3]:.1f})"
    moves = "; ".join(s["move"] for s in one["shots"] if "move" in s)
    promised = one.get("promised", math.nan)
    return f"{one['name']}{why}: promised {promised:.0f}: {scores}: {one['end']}: {moves}"


def summary(ended: list[dict[str, Any]]) -> list[str]:
    """Return the figures as lines: shots taken until it was right, those that were not apart."""
    lines = []
    for words, end in (("built right", "_right"), ("with a slip", "_slip")):
        mine = [e for e in ended if e["name"].endswith(end)]
        if not mine:
            continue
        good = [len(e["shots"]) for e in mine if e["end"] == "good"]
        shots = np.array(good + [math.inf] * (len(mine) - len(good)))
        middle, late = (float(np.quantile(shots, q, method="higher")) for q in (0.5, 0.95))
        ends: dict[str, int] = {}
        for one in mine:
            ends[one["end"]] = ends.get(one["end"], 0) + 1
        lines.append(
            f"{words}: {len(mine)} evenings, test shots {middle:.0f} in the median, {late:.0f} at "
            f"the 95th percentile; {', '.join(f'{n} {e}' for e, n in ends.items())}"
        )
    return lines


# --- pictures ---------------------------------------------------------------------------------


def draw_evening(one: dict[str, Any], folder: Path, to: Path) -> None:
    """Draw an evening's frames side by side, with the move between them."""
    import matplotlib as mpl

    mpl.use("Agg")
    from textwrap import fill

    from matplotlib import pyplot as plt

    shots = one["shots"]
    frames = [Image.open(folder / f"{one['name']}_{i + 1}.jpg") for i in range(len(shots))]
    wide = max(2.9, 3.1 * frames[0].width / frames[0].height)
    figure, axes = plt.subplots(
        1, len(shots), figsize=(0.2 + wide * len(shots), 4.4), squeeze=False, layout="constrained"
    )
    for i, (axis, shot) in enumerate(zip(axes[0], shots, strict=True)):
        axis.imshow(frames[i])
        axis.set_xticks([])
        axis.set_yticks([])
        axis.set_title(f"Shot {i + 1}: {shot['score']:.0f} of 100", fontsize=11)
        move = shot.get("move", "")
        words = "As promised." if i + 1 == len(shots) else f"{move[:1].upper()}{move[1:]}."
        axis.set_xlabel(fill(words, 38) + ("\n" if len(words) <= 38 else ""), fontsize=9.5)
    title = f"{one['title']}; {one['promised']:.0f} points promised"
    figure.suptitle(fill(title, 31 * len(shots)), fontsize=10)
    figure.savefig(to / f"evening-{one['name']}.jpg", dpi=90, pil_kwargs={"quality": 88})


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "what", choices=["run", "begin", "gather", "spread", "round", "tell", "draw"]
    )
    parser.add_argument("places", nargs="+", metavar="PLACE")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--only", nargs="*", help="names of evenings, as in evenings.json")
    parser.add_argument("--until", type=float, default=1e9, help="seconds after which to stop")
    parser.add_argument("--to", type=Path, default=Path())
    options = parser.parse_args()
    if options.what == "run":
        numbers = list(range(options.first, options.first + options.count))
        queue, out = map(Path, options.places)
        if options.only is not None:
            numbers = sorted({int(name[1:3]) for name in options.only})
        run(queue, out, numbers, options.processes, options.until, options.only)
        with contextlib.suppress(FileExistsError):
            (queue / "STOP").touch()
    elif options.what == "begin":
        numbers = list(range(options.first, options.first + options.count))
        begin(*map(Path, options.places), numbers, options.processes)
    elif options.what == "round":
        take_round(*map(Path, options.places), options.processes)
    elif options.what in ("gather", "spread"):
        {"gather": gather, "spread": spread}[options.what](*map(Path, options.places))
    elif options.what == "tell":
        ended = json.loads(Path(options.places[0]).read_text("utf-8"))
        print("\n".join([line_of(e) for e in ended] + summary(ended)))
    else:
        folder, *names = options.places
        for one in json.loads((Path(folder) / "evenings.json").read_text("utf-8")):
            if one["name"] in names:
                draw_evening(one, Path(folder), options.to)


if __name__ == "__main__":
    main()
