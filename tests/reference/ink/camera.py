"""From layers of light to a photograph's squared sheet: foil, and ink of the same mean colour."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from lightplan.optics.colour import srgb_decode, srgb_encode

if TYPE_CHECKING:
    from lightplan.scene import Rig

Array = Any
MOST_REFLECTANCE = 0.9
MAP_SIDE = 120


@dataclass(frozen=True)
class Chain:
    """A camera: falling light to its corners, blur, noise, tone curve, JPEG."""

    vignette: float
    blur_px: float
    noise: float
    contrast: float
    quality: int

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Chain:
        return cls(
            rng.uniform(0.1, 0.35),
            rng.uniform(0.5, 1.0),
            rng.uniform(0.003, 0.012),
            rng.uniform(0.0, 0.4),
            int(rng.integers(84, 96)),
        )

    def develop(self, linear: Array, box: Array, frame: tuple[int, int], seed: int) -> Array:
        """Return the 8-bit picture of a part of the frame, as a decoder gives it back."""
        rows, cols = frame
        y = (np.arange(box[0], box[1]) + 0.5 - rows / 2) / (cols / 2)
        x = (np.arange(box[2], box[3]) + 0.5 - cols / 2) / (cols / 2)
        off = (x[None, :] ** 2 + y[:, None] ** 2) / 1.44
        seen = linear * (1.0 - self.vignette * off)[..., None]
        seen = cv2.GaussianBlur(seen.astype(np.float32), (0, 0), self.blur_px)
        rng = np.random.default_rng(seed)
        grain = self.noise * np.sqrt(np.maximum(seen, 0.0) + 0.002)
        seen = seen + grain * rng.standard_normal(seen.shape)
        code = srgb_encode(np.clip(seen, 0.0, 1.0))
        code = code - self.contrast * code * (1 - code) * (1 - 2 * code)
        bgr = np.rint(255 * np.clip(code, 0, 1)).astype(np.uint8)[..., ::-1]
        done = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, self.quality])[1]
        return cv2.imdecode(done, cv2.IMREAD_COLOR)[..., ::-1]


def homography(rig: Rig, frame: tuple[int, int]) -> Array:
    """Return the map (3, 3) from the sheet's u, v (0 to 1, v down) to column, row of the frame."""
    right, up, forward = rig.camera.axes()
    tan_x, tan_y = rig.camera.half_angles_tan()
    corners = []
    for u, v in ((0, 0), (1, 0), (1, 1), (0, 1)):
        point = np.array([(u - 0.5) * rig.sheet.width_mm, (0.5 - v) * rig.sheet.height_mm, 0.0])
        way = point - rig.camera.placement.position_mm
        deep = way @ forward
        corners.append(
            [
                (0.5 + 0.5 * (way @ right) / deep / tan_x) * frame[1],
                (0.5 - 0.5 * (way @ up) / deep / tan_y) * frame[0],
            ]
        )
    flat = np.float32([[0, 0], [1, 0], [1, 1], [0, 1]])
    return cv2.getPerspectiveTransform(flat, np.float32(corners)).astype(float)


def art_in_frame(art: Array, matrix: Array, box: Array) -> Array:
    """Return the artwork's share of foil in the pixels of a part of the frame."""
    fine = 4
    shape = (fine * (box[1] - box[0]), fine * (box[3] - box[2]))
    place = np.array([[fine, 0, -fine * box[2]], [0, fine, -fine * box[0]], [0, 0, 1]])
    unit = np.diag([1 / art.shape[1], 1 / art.shape[0], 1])
    big = cv2.warpPerspective(art, place @ matrix @ unit, shape[::-1], flags=cv2.INTER_LINEAR)
    return cv2.resize(big, (shape[1] // fine, shape[0] // fine), interpolation=cv2.INTER_AREA)


def squared(picture: Array, matrix: Array, box: Array, rig: Rig, side: int) -> Array:
    """Return the sheet squared (rows, cols, 3), in each cell the linear mean of what lies there."""
    scale = side / max(rig.sheet.width_mm, rig.sheet.height_mm)
    rows, cols = (round(s * scale) for s in (rig.sheet.height_mm, rig.sheet.width_mm))
    fine = max(1, math.ceil(420 / side))
    place = np.array([[1, 0, -box[2]], [0, 1, -box[0]], [0, 0, 1.0]])
    to_grid = np.diag([fine * cols, fine * rows, 1.0]) @ np.linalg.inv(place @ matrix)
    linear = srgb_decode(picture.astype(np.float64) / 255).astype(np.float32)
    big = cv2.warpPerspective(
        linear,
        to_grid,
        (fine * cols, fine * rows),
        flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return cv2.resize(big, (cols, rows), interpolation=cv2.INTER_AREA)


def ink_for(paper: Array, foil: Array, art: Array, stock: Array) -> tuple[Array, bool]:
    """Return the light of ink of the foil's mean colour in the picture, and whether it exists."""
    weight = art[..., None] * (art[..., None] > 0.5)
    mean = [(np.minimum(x, 1.0) * weight).sum((0, 1)) / weight.sum() for x in (foil, paper)]
    share = mean[0] / mean[1]
    most = MOST_REFLECTANCE / stock
    return paper * np.minimum(share, most), bool((share <= most).all())
