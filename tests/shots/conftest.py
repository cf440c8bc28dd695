"""Rendered photographs whose every truth is known: corners, foil, hot spot, clipping."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

SIZES_MM = ((148, 210), (210, 148), (105, 148), (85, 55), (60, 60), (50, 160), (120, 120), (90, 90))
STOCKS = {
    "white": (0.86, 0.86, 0.84),
    "cream": (0.82, 0.77, 0.64),
    "black": (0.035, 0.035, 0.037),
    "navy": (0.04, 0.055, 0.12),
    "kraft": (0.42, 0.30, 0.19),
}
FOILS = {
    "silver foil": (0.86, 0.87, 0.88),
    "gold foil": (0.88, 0.66, 0.25),
    "rose gold foil": (0.86, 0.58, 0.47),
}
OUTLINE_PLACES = 160  # a side
TABLES = ("light", "dark", "wood", "grey", "cloth")


@dataclass(frozen=True, eq=False)
class Render:
    """A test photograph and what is true of it (pixels are row, column)."""

    picture: np.ndarray  # (rows, cols, 3) uint8 sRGB
    light: np.ndarray  # (rows, cols, 3) float32 linear, not clipped, no noise
    bare: np.ndarray  # the same had the sheet no foil; not blurred
    outline: np.ndarray  # (4, n, 2) places along the far, right, near and left side, clockwise
    corners: np.ndarray  # (4, 2) far left, far right, near right, near left
    foil: np.ndarray  # (rows, cols) float32 coverage
    artwork: np.ndarray  # (h, w) float32
    width_mm: float
    height_mm: float
    focal_px: float
    rotation: np.ndarray  # world to camera
    translation_mm: np.ndarray
    distortion: float
    hot_spot: tuple[float, float, float] | None  # x, y of its middle, radius [mm]
    story: dict


def encode(linear):
    """Linear 0..1 to sRGB 8 bit (IEC 61966-2-1)."""
    linear = np.clip(linear, 0, 1)
    high = 1.055 * np.power(np.maximum(linear, 1e-8), 1 / 2.4) - 0.055
    return np.round(255 * np.where(linear <= 0.0031308, 12.92 * linear, high)).astype(np.uint8)


def decode(picture):
    """Encode's inverse."""
    code = np.arange(256) / 255
    table = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return table.astype(np.float32)[picture]


def draw_artwork(rng, width_mm, height_mm, *, px_per_mm=8.0):
    """An invented bindery's label: ornaments, a word, maybe a frame."""
    rows, cols = round(height_mm * px_per_mm), round(width_mm * px_per_mm)
    art = np.zeros((rows, cols), np.uint8)
    short = min(rows, cols)
    if rng.random() < 0.5:
        inset, thick = int(short * rng.uniform(0.05, 0.12)), max(2, int(short * 0.012))
        cv2.rectangle(art, (inset, inset), (cols - 1 - inset, rows - 1 - inset), 255, thick)
    middle = (int(cols * rng.uniform(0.4, 0.6)), int(rows * rng.uniform(0.3, 0.45)))
    radius = int(short * rng.uniform(0.12, 0.22))
    kind = rng.integers(3)
    if kind == 0:
        cv2.circle(art, middle, radius, 255, -1, cv2.LINE_AA)
        cv2.circle(art, middle, int(radius * 0.55), 0, max(2, radius // 8), cv2.LINE_AA)
    elif kind == 1:
        turns = np.arange(10) * np.pi / 5
        reach = np.where(np.arange(10) % 2, 0.45, 1.0) * radius
        star = np.stack([middle[0] + reach * np.sin(turns), middle[1] - reach * np.cos(turns)], -1)
        cv2.fillPoly(art, [np.int32(star)], 255, cv2.LINE_AA)
    else:
        for turn in np.arange(6) * 30:
            cv2.ellipse(
                art, middle, (radius, radius // 5), float(turn), 0, 360, 255, -1, cv2.LINE_AA
            )
    word = rng.choice(["Fern", "Quill", "Plum", "Ex libris", "Basil"])
    (wide, _), _ = cv2.getTextSize(str(word), cv2.FONT_HERSHEY_TRIPLEX, 1.0, 2)
    size = 0.6 * cols / wide
    cv2.putText(
        art,
        str(word),
        (int(cols * 0.2), int(rows * 0.75)),
        cv2.FONT_HERSHEY_TRIPLEX,
        size,
        255,
        max(2, int(2.2 * size)),
        cv2.LINE_AA,
    )
    cv2.line(
        art,
        (int(cols * 0.2), int(rows * 0.82)),
        (int(cols * 0.7), int(rows * 0.82)),
        255,
        max(2, short // 60),
    )
    return art.astype(np.float32) / 255


def _pose(rng, width_mm, height_mm, rows, cols, tilt_deg, fill):
    """Camera with the sheet in frame: rotation, translation, focal length in pixels."""
    focal = rng.uniform(0.8, 2.5) * cols
    tilt, spin = np.radians(tilt_deg), rng.uniform(0, 2 * np.pi)
    roll = np.radians(rng.normal(0, 6)) + (np.pi / 2) * rng.integers(0, 2) * (rng.random() < 0.2)
    axis = np.array([np.cos(spin), np.sin(spin), 0.0])
    tip = cv2.Rodrigues(axis * tilt)[0]
    turn = cv2.Rodrigues(np.array([0, 0, roll]))[0]
    rotation = turn @ tip @ np.diag([1.0, -1.0, -1.0])  # world y up becomes picture y down
    corners = _corners_mm(width_mm, height_mm)
    distance = focal * max(width_mm / cols, height_mm / rows) / fill
    for _ in range(60):
        translation = np.array([0, 0, distance])
        seen = corners @ rotation.T + translation
        pixel = focal * seen[:, :2] / seen[:, 2:]
        spread = np.ptp(pixel, axis=0) / (cols, rows)
        if spread.max() <= fill:
            break
        distance *= 1.03
    room = np.array([cols, rows]) / 2 * 0.94
    low, high = -room - pixel.min(axis=0), room - pixel.max(axis=0)
    shift = low + (high - low) * rng.uniform(0.3, 0.7, 2)
    translation = np.array([*(shift * distance / focal), distance])
    return rotation, translation, focal


def _corners_mm(width_mm, height_mm):
    x, y = width_mm / 2, height_mm / 2
    return np.array([[-x, y, 0], [x, y, 0], [x, -y, 0], [-x, -y, 0]])


def _noise(rng, shape, scale):
    """Smooth random field, mean 0, about -1..1."""
    small = rng.normal(size=(max(2, int(shape[0] / scale[0])), max(2, int(shape[1] / scale[1]))))
    return cv2.resize(small.astype(np.float32), shape[::-1], interpolation=cv2.INTER_CUBIC)


def _table(rng, kind, shape, paper):
    """Reflectance (rows, cols, 3) of what the sheet lies on."""
    flat = {
        "light": (0.72, 0.70, 0.67),
        "dark": (0.05, 0.05, 0.055),
        "wood": (0.36, 0.22, 0.12),
        "grey": (0.20, 0.20, 0.20),
        "cloth": (0.30, 0.33, 0.38),
        "like the paper": paper,
    }[kind]
    colour = np.array(flat, np.float32) * (
        rng.uniform(0.85, 1.15) if kind != "like the paper" else rng.uniform(0.90, 0.94)
    )
    grain = np.zeros(shape, np.float32)
    if kind == "wood":
        grain = 0.22 * _noise(rng, shape, (4, 240)) + 0.25 * _noise(rng, shape, (40, 700))
    elif kind == "cloth":
        grain = 0.12 * _noise(rng, shape, (3, 3)) + 0.05 * _noise(rng, shape, (90, 90))
    else:
        grain = 0.015 * _noise(rng, shape, (6, 6))
    if rng.random() < 0.5:
        grain = np.ascontiguousarray(np.flipud(grain))
    table = _coloured(np.clip(1 + grain, 0.3, 2), colour)
    for _ in range(rng.integers(0, 4) if rng.random() < 0.5 else 0):  # a pen, a ruler, another card
        middle = (rng.uniform(0, shape[1]), rng.uniform(0, shape[0]))
        size = (rng.uniform(0.01, 0.05) * shape[1], rng.uniform(0.2, 0.9) * shape[1])
        box = cv2.boxPoints((middle, size, rng.uniform(0, 180)))
        cv2.fillPoly(table, [np.int32(box)], rng.uniform(0.03, 0.7, 3).tolist())
    return table


def _sheet_mm(rows, cols, rotation, translation, focal, distortion, step=8):
    """Sheet coordinates (rows, cols) x and y in mm seen by each pixel.

    Exact every 8 pixels, linear between (off by less than 0.001 pixels).
    """
    y, x = np.mgrid[-1 : -(-rows // step) + 1, -1 : -(-cols // step) + 1] * step + (step - 1) / 2
    small = x.shape
    x, y = x - (cols - 1) / 2, y - (rows - 1) / 2
    scale = np.hypot(rows, cols) / 2
    reach = (x * x + y * y) / scale**2
    shrink = np.ones_like(reach)
    for _ in range(8):  # distorted = true * (1 + k r^2), turned round
        shrink = 1 / (1 + distortion * reach * shrink**2)
    plane = np.column_stack([rotation[:, 0], rotation[:, 1], translation])
    points = np.stack([x * shrink / focal, y * shrink / focal, np.ones_like(x)]).reshape(3, -1)
    sheet = np.linalg.inv(plane) @ points
    both = np.stack([(sheet[i] / sheet[2]).reshape(small) for i in (0, 1)], -1).astype(np.float32)
    full = cv2.resize(both, (small[1] * step, small[0] * step), interpolation=cv2.INTER_LINEAR)
    full = full[step : step + rows, step : step + cols]
    return np.ascontiguousarray(full[..., 0]), np.ascontiguousarray(full[..., 1])


def _page_places(shape, x, y):
    """Where in a page (h, w) its shares x right and y up from the middle lie, for remap."""
    return (
        ((x + 0.5) * shape[1] - 0.5).astype(np.float32),
        ((0.5 - y) * shape[0] - 0.5).astype(np.float32),
    )


def _project(points_mm, rotation, translation, focal, distortion, rows, cols):
    seen = points_mm @ rotation.T + translation
    pixel = focal * seen[:, :2] / seen[:, 2:]
    reach = (pixel**2).sum(axis=1, keepdims=True) / (np.hypot(rows, cols) / 2) ** 2
    pixel = pixel * (1 + distortion * reach)
    return np.stack([pixel[:, 1] + (rows - 1) / 2, pixel[:, 0] + (cols - 1) / 2], axis=-1)


def _box_of(inside):
    """Rows and columns round what is inside, each an even number of samples, (slice, slice)."""
    ends = []
    for axis in (1, 0):
        there = np.flatnonzero(inside.any(axis=axis))
        low, high = (there[0], there[-1] + 1) if len(there) else (0, 2)
        ends.append(slice(int(low) // 2 * 2, -(-int(high) // 2) * 2))
    return tuple(ends)


def _thrice(values):
    """The same for three colours, (rows, cols, 3): numpy is slow along a short last axis."""
    return cv2.merge((values,) * 3)


def _coloured(values, colours):
    """Values (rows, cols) in three colours, (rows, cols, 3)."""
    return cv2.merge([values * colour for colour in colours])


def _halved(samples):
    """Means of two by two samples."""
    rows, cols = samples.shape[:2]
    return cv2.resize(samples, (cols // 2, rows // 2), interpolation=cv2.INTER_AREA)


def render(
    seed: int,
    *,
    rows: int = 800,
    cols: int = 1200,
    size_mm=None,
    stock=None,
    foil_kind=None,
    table=None,
    tilt_deg=None,
    fill=None,
    distortion=None,
    blur_px=None,
    jpeg=None,
    glare=None,
    hot_spot=None,
    exposure=None,
    shift=(0.0, 0.0),
    noise=None,
    artwork=None,
    look=None,
    under=None,
) -> Render:
    """Photograph an invented sheet; whatever is not given is drawn at random from `seed`.

    `shift` moves the camera's aim by shares of the frame (to cut the sheet off);
    `jpeg` is a quality, or 0 for a lossless file; `glare` is the clipping haze on a
    glossy stock; `look` "plain" gives evenly lit foil; `under` is a page (reflectance
    (h, w, 3), width_mm, height_mm) that lies under the sheet, its middle at the sheet's.
    """
    rng = np.random.default_rng(seed)
    pick = lambda given, drawn: drawn if given is None else given  # noqa: E731
    width_mm, height_mm = pick(size_mm, SIZES_MM[rng.integers(len(SIZES_MM))])
    stock = pick(stock, rng.choice(list(STOCKS)))
    foil_kind = pick(foil_kind, rng.choice(list(FOILS)))
    table = pick(table, rng.choice(TABLES))
    tilt_deg = pick(tilt_deg, rng.uniform(0, 32))
    fill = pick(fill, rng.uniform(0.45, 0.88))
    distortion = pick(distortion, rng.uniform(-0.02, 0.02))
    blur_px = pick(blur_px, rng.uniform(0.4, 1.4))
    jpeg = pick(jpeg, int(rng.choice([60, 75, 85, 95])))
    glare = pick(glare, rng.random() < 0.25)
    hot_spot = pick(hot_spot, rng.random() < 0.5)
    noise = pick(noise, rng.uniform(0.001, 0.006))
    art = pick(artwork, draw_artwork(rng, width_mm, height_mm))
    rotation, translation, focal = _pose(rng, width_mm, height_mm, rows, cols, tilt_deg, fill)
    translation = (
        translation + np.array([shift[0] * cols, shift[1] * rows, 0]) * translation[2] / focal
    )

    over = 2  # samples a side in each pixel
    x_mm, y_mm = _sheet_mm(
        rows * over, cols * over, rotation, translation, focal * over, distortion
    )
    x, y = x_mm / width_mm, y_mm / height_mm
    inside = ((np.abs(x) <= 0.5) & (np.abs(y) <= 0.5)).astype(np.float32)
    slope = rng.uniform(-0.25, 0.25, 2).tolist()  # numpy's own scalars would make all 64 bit
    lit = np.clip(1 + slope[0] * x + slope[1] * y - rng.uniform(0, 0.1) * (x * x + y * y), 0.2, 2)
    paper = np.array(STOCKS[stock], np.float32)
    body = _table(rng, table, inside.shape, paper)
    if under is not None:
        page, page_width, page_height = under
        at = _page_places(page.shape, x_mm / page_width, y_mm / page_height)
        body = np.where(
            ((np.abs(x_mm) < page_width / 2) & (np.abs(y_mm) < page_height / 2))[..., None],
            cv2.remap(page.astype(np.float32, copy=False), *at, cv2.INTER_LINEAR),
            body,
        )
    body *= _thrice(lit)
    quarter = cv2.resize(inside, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    moved = np.roll(quarter, rng.integers(-6, 7, 2) * over // 2, (0, 1))
    shade = cv2.resize(cv2.GaussianBlur(moved, (0, 0), 1.4 * over), inside.shape[::-1])
    body *= _thrice(1 - rng.uniform(0.1, 0.45) * shade)

    box = _box_of(inside)  # foil and paper are worked out where the sheet is
    x_mm, y_mm, x, y, inside, lit = (one[box] for one in (x_mm, y_mm, x, y, inside, lit))
    at = _page_places(art.shape, x, y)
    stamped = cv2.remap(art, *at, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT) * inside
    seen = (
        rng.uniform(0.5, 0.9)
        + float(rng.uniform(-0.35, 0.35, 2)[0]) * x
        + rng.uniform(-0.5, 0.5) * y
    )
    if look == "plain":
        seen = np.full_like(seen, 0.5)
    elif rng.random() < 0.4:  # a dark strip of room in the foil
        seen = seen * (
            1 - 0.8 / (1 + np.exp(-(x * rng.uniform(-1, 1) + y + rng.uniform(-0.2, 0.3)) * 12))
        )
    spot = None
    if hot_spot:
        spot = (
            width_mm * rng.uniform(-0.3, 0.3),
            height_mm * rng.uniform(-0.3, 0.3),
            0.09 * min(width_mm, height_mm),
        )
        away = np.hypot(x_mm - spot[0], y_mm - spot[1]) / spot[2]
        seen = seen + 3.0 / (1 + np.exp(np.clip((away - 1) * 25, -60, 60)))
    metal = _coloured(np.clip(seen, 0.02, 9), np.array(FOILS[foil_kind], np.float32))
    page = _coloured(lit, paper)
    if glare:
        middle, reach = rng.uniform(-0.5, 0.5, 2).tolist(), rng.uniform(0.1, 0.3)
        haze = np.exp(-((x - middle[0]) ** 2 + (y - middle[1]) ** 2) / (2 * reach**2))
        page = page + _thrice(0.9 * haze)
    gain = pick(exposure, rng.uniform(0.55, 1.0)) * rng.uniform(0.9, 1.1, 3).astype(np.float32)
    for picture in (body, page, metal):
        for colour in range(3):
            picture[..., colour] *= gain[colour]
    inside, stamped_3 = _thrice(inside), _thrice(stamped)
    about = body[box] * (1 - inside)
    bare, foil = _halved(body), np.zeros((rows, cols), np.float32)
    half = tuple(slice(one.start // over, one.stop // over) for one in box)
    bare[half] = _halved(page * inside + about)
    foil[half] = _halved(stamped)
    body[box] = (page + (metal - page) * stamped_3) * inside + about
    light = _halved(cv2.GaussianBlur(body, (0, 0), blur_px * over))
    grain = (
        rng.normal(size=light.shape).astype(np.float32)
        * noise
        * np.sqrt(np.maximum(light, 0) + 0.02)
    )
    picture = encode(light + grain)
    if jpeg:
        data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(jpeg)])[1]
        picture = np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])
    place = (rotation, translation, focal, distortion, rows, cols)
    ends = _corners_mm(width_mm, height_mm)
    corners = _project(ends, *place)
    share = (np.arange(OUTLINE_PLACES)[:, None] + 0.5) / OUTLINE_PLACES
    sides = ends[:, None] + share * (np.roll(ends, -1, axis=0) - ends)[:, None]
    outline = _project(sides.reshape(-1, 3), *place).reshape(4, OUTLINE_PLACES, 2)
    story = {
        "seed": seed,
        "stock": str(stock),
        "foil": str(foil_kind),
        "table": str(table),
        "tilt": round(float(tilt_deg), 1),
        "glare": bool(glare),
        "jpeg": jpeg,
        "distortion": round(float(distortion), 4),
        "size": (width_mm, height_mm),
    }
    return Render(
        picture,
        light,
        bare,
        outline,
        corners,
        foil,
        art,
        float(width_mm),
        float(height_mm),
        focal,
        rotation,
        translation,
        distortion,
        spot,
        story,
    )


@pytest.fixture(scope="session")
def photograph() -> Callable[..., Render]:
    return render


@pytest.fixture(scope="session")
def to_linear():
    return decode


@pytest.fixture(scope="session")
def to_coded():
    return encode


@pytest.fixture(scope="session")
def printed(to_linear):
    """Reflectance of a printed A4 card, (h, w, 3), at 8 pixels to a millimetre."""
    import pypdfium2

    from lightplan.reports.print.card_page import card_page
    from lightplan.reports.print.page import pdf_bytes
    from lightplan.shots.sheet.card import CardLayout

    with pypdfium2.PdfDocument(pdf_bytes([card_page(CardLayout("A4"))], title="card")) as pages:
        shown = pages[0].render(scale=8 * 25.4 / 72).to_pil().convert("RGB")
    return 0.9 * to_linear(np.asarray(shown))
