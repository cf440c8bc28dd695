"""A camera's way from light to a file: exposure, colour, lens, noise, tone curve, JPEG.

Written apart from lightplan, whose reading of photographs it tests.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

if TYPE_CHECKING:
    from pathlib import Path

Picture = NDArray[np.float32]
LONG_SIDE = 6000
"""Pixels of a photograph that is enlarged."""


@dataclass(frozen=True)
class Chain:
    """One camera and one shot.

    Parameters
    ----------
    clip_cd_m2 : float
        Luminance that clips as the plan sets the camera.
    f_number, time_s, iso : float
        As planned; `stops` more are taken by a longer time.
    stops : float
        Exposure off the plan, in the light and in the file's settings.
    balance_stops : float
        White balance: red up and blue down by half of this each.
    vignette_stops : float
        Loss of light at the picture's corners.
    bending : float
        Lens distortion: a place at the corner moves by this share of its radius.
    phone : bool
        A phone's tone curve instead of plain sRGB.
    noise : float
        Photon noise at the clip level, a share of it.
    quality : int
        Of the JPEG.
    focal_35mm : float
        As the file tells it.
    blur_px : float
        Standard deviation of defocus.
    """

    clip_cd_m2: float
    f_number: float
    time_s: float
    iso: float
    stops: float = 0.0
    balance_stops: float = 0.0
    vignette_stops: float = 0.0
    bending: float = 0.0
    phone: bool = False
    noise: float = 0.01
    quality: int = 92
    focal_35mm: float = 50.0
    blur_px: float = 0.0


def thirds(time_s: float) -> float:
    """Return the nearest time in thirds of a stop from one second."""
    return float(2 ** (round(3 * math.log2(time_s)) / 3))


def draw_chain(
    draw: np.random.Generator,
    *,
    clip_cd_m2: float,
    f_number: float,
    time_s: float,
    iso: float,
    focal_35mm: float,
    stops: float = 0.0,
    balance_stops: float = 0.0,
    blur_px: float = 0.0,
) -> Chain:
    """Draw a camera at random; the time is set in thirds of a stop."""
    set_s = thirds(time_s * 2**stops)
    return Chain(
        clip_cd_m2=clip_cd_m2, f_number=f_number, time_s=time_s, iso=iso,
        stops=math.log2(set_s / time_s), balance_stops=balance_stops + draw.uniform(-0.04, 0.04),
        vignette_stops=draw.uniform(0.0, 0.4), bending=draw.uniform(-0.012, 0.012),
        phone=bool(draw.random() < 0.5), noise=float(np.exp(draw.uniform(-5.5, -3.9))),
        quality=int(draw.integers(85, 96)), focal_35mm=focal_35mm * draw.uniform(0.97, 1.03),
        blur_px=blur_px,
    )  # fmt: skip


def take(light: Picture, chain: Chain, draw: np.random.Generator) -> NDArray[np.uint8]:
    """Return the 8-bit picture of light (rows, cols, 3) in cd/m2."""
    gains = 2.0 ** (np.array([0.5, 0.0, -0.5]) * chain.balance_stops + chain.stops)
    level = light * (gains / chain.clip_cd_m2).astype(np.float32)
    level = _through_lens(level, chain)
    level = level + np.sqrt(np.maximum(level, 0) + 1e-4) * np.float32(chain.noise) * (
        draw.standard_normal(level.shape).astype(np.float32)
    )
    level = np.clip(level, 0, 1)
    if chain.phone:
        level = phone_curve(level)
    return np.asarray(np.rint(255 * srgb(level)), np.uint8)


def _through_lens(level: Picture, chain: Chain) -> Picture:
    rows, cols = level.shape[:2]
    y, x = np.mgrid[:rows, :cols].astype(np.float32)
    middle = np.array([(cols - 1) / 2, (rows - 1) / 2], np.float32)
    radius2 = ((x - middle[0]) ** 2 + (y - middle[1]) ** 2) / float(middle @ middle)
    stretch = 1 + np.float32(chain.bending) * radius2
    bent = cv2.remap(
        level,
        middle[0] + (x - middle[0]) * stretch,
        middle[1] + (y - middle[1]) * stretch,
        cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    )
    bent = np.maximum(bent, 0)
    if chain.blur_px > 0:
        bent = cv2.GaussianBlur(bent, (0, 0), chain.blur_px)
    return bent * (2.0 ** (-chain.vignette_stops * radius2))[..., None].astype(np.float32)


def enlarged(photo: Path, folder: Path) -> Path:
    """Return a file of 24 megapixels that shows the same as one of the photographs, with noise."""
    with Image.open(photo) as small:
        scale = LONG_SIDE / max(small.size)
        size = (round(scale * small.width), round(scale * small.height))
        tags = small.getexif()
        tags.get_ifd(0x8769)
        codes = np.asarray(small.resize(size, Image.Resampling.BICUBIC), np.int16)
    noise = np.random.default_rng(1).integers(-3, 4, (*codes.shape[:2], 1), np.int16)
    path = folder / photo.name
    Image.fromarray(np.uint8(np.clip(codes + noise, 0, 255))).save(path, quality=93, exif=tags)
    return path


def phone_curve(level: Picture) -> Picture:
    """Return linear levels as a phone shows them: lifted middles, a shoulder, deeper shadows."""
    steep = level ** np.float32(1.08)
    return np.asarray(1.7 * steep / (1 + 0.7 * steep), np.float32)


def srgb(level: Picture) -> Picture:
    """Encode by IEC 61966-2-1."""
    return np.where(
        level <= 0.0031308, 12.92 * level, 1.055 * np.maximum(level, 1e-9) ** (1 / 2.4) - 0.055
    )


def jpeg(codes: NDArray[np.uint8], chain: Chain) -> bytes:
    """Return a JPEG with the settings in its EXIF."""
    tags: Any = Image.Exif()
    shot = tags.get_ifd(0x8769)
    shot[0x829D] = chain.f_number
    shot[0x829A] = chain.time_s * 2**chain.stops
    shot[0x8827] = round(chain.iso)
    shot[0xA405] = round(chain.focal_35mm)
    file = io.BytesIO()
    Image.fromarray(codes).save(file, "JPEG", quality=chain.quality, exif=tags, subsampling=0)
    return file.getvalue()
