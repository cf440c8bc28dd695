"""Small copies of photographs for a contact sheet, with the parts that clip as a mask."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from PIL import Image

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Booleans

LONG_SIDE_PX = 480
QUALITY = 82
SEEN_SHARE = 0.15  # of a small pixel: less of it clipped is not shown as clipped
CLIPPED_COLOUR = (214, 30, 92, 185)  # lets the picture shine through


@dataclass(frozen=True)
class Thumbnail:
    """A small picture and its overlay of the same size.

    Parameters
    ----------
    picture : bytes
        JPEG file without any metadata.
    clipped : bytes or None
        PNG file, clear but where the photograph clips; None where nothing does.
    """

    picture: bytes
    clipped: bytes | None


def thumbnail(
    codes: NDArray[np.uint8], clipped: Booleans, *, long_side_px: int = LONG_SIDE_PX
) -> Thumbnail:
    """Return a photograph's thumbnail.

    Parameters
    ----------
    codes : (rows, cols, 3) uint8
        sRGB, upright.
    clipped : (rows, cols) or (rows, cols, 3) bool
        Pixels (or channels) at the clip level, from the photograph itself: a JPEG copy
        cannot tell.
    """
    rows, cols = codes.shape[:2]
    scale = min(1.0, long_side_px / max(rows, cols))
    size = (max(1, round(cols * scale)), max(1, round(rows * scale)))
    small = cv2.resize(codes, size, interpolation=cv2.INTER_AREA)
    file = io.BytesIO()
    Image.fromarray(np.asarray(small, np.uint8)).save(file, "JPEG", quality=QUALITY)
    return Thumbnail(file.getvalue(), _mask_png(clipped, size))


def _mask_png(clipped: Booleans, size: tuple[int, int]) -> bytes | None:
    flat = clipped.any(axis=2) if clipped.ndim == 3 else clipped
    share = cv2.resize(np.asarray(flat, np.float32), size, interpolation=cv2.INTER_AREA)
    seen = share >= SEEN_SHARE
    if not seen.any():
        return None
    picture = Image.fromarray(seen.astype(np.uint8), "P")
    picture.putpalette([0, 0, 0, *CLIPPED_COLOUR[:3]])
    file = io.BytesIO()
    picture.save(file, "PNG", transparency=bytes([0, CLIPPED_COLOUR[3]]), optimize=True)
    return file.getvalue()
