"""Pictures of artwork as shares of foil, in little memory however large they are."""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.artwork.drawing import Unfit, svg_as_png
from lightplan.errors import ArtworkError

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

LONGEST_SIDE = 12000
LONGEST_KEPT = 4096
"""Finer pictures are averaged down: of A4, 14 pixels to the millimetre are left."""
_STRIP_PIXELS = 1 << 20


def decoded(path: Path) -> NDArray[np.float64]:
    """Return the share of foil in each pixel, (rows, cols), before it is held to a sheet.

    Raises
    ------
    ArtworkError
        No picture, or one that is too large.
    """
    if path.suffix.lower() not in {".svg", ".svgz"}:
        return _opened(path.read_bytes(), path)
    try:
        content = svg_as_png(path.read_bytes())
    except Unfit as why:
        raise refused(
            path,
            "an SVG drawing without scripts, outside files and endless filters",
            str(why),
            "save it as plain SVG or as PNG",
        ) from None
    return _opened(content, path)


def refused(path: Path, wanted: str, got: str, cure: str) -> ArtworkError:
    """Return the refusal of a picture."""
    return ArtworkError(field=f"artwork {path.name}", wanted=wanted, got=got, cure=cure)


def _opened(content: bytes, path: Path) -> NDArray[np.float64]:
    from PIL import Image

    cure = "open it in a picture program and save it as a grey PNG"
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # sizes are checked below, metadata does not matter
            Image.MAX_IMAGE_PIXELS = LONGEST_SIDE**2
            picture = Image.open(io.BytesIO(content))
            if max(picture.size) > LONGEST_SIDE:
                raise _too_long(path, f"{picture.size}")
            return _shares(picture)
    except (ArtworkError, MemoryError):
        raise
    except Image.DecompressionBombError:
        raise _too_long(path, "far more") from None
    except Exception as error:  # noqa: BLE001 - decoders fail in every way there is
        raise refused(path, "a picture that can be read", type(error).__name__, cure) from None


def _too_long(path: Path, got: str) -> ArtworkError:
    return refused(path, f"at most {LONGEST_SIDE} pixels long", got, "save it smaller")


def _shares(picture: Any) -> NDArray[np.float64]:
    """Return the coverage of a picture strip by strip, averaged down where it is very fine."""
    cols, rows = picture.size
    factor = -(-max(rows, cols) // LONGEST_KEPT)
    picture.load()
    step = factor * max(1, _STRIP_PIXELS // (cols * factor))
    strips = []
    for top in range(0, rows, step):
        strip = _coverage(picture.crop((0, top, cols, min(rows, top + step))))
        strips.append(strip if factor == 1 else _averaged(strip, factor))
    return np.concatenate(strips)


def _averaged(values: NDArray[np.float64], factor: int) -> NDArray[np.float64]:
    """Return means of squares; those at the right and lower rim of what is left there."""
    rows, cols = values.shape
    down, across = np.arange(0, rows, factor), np.arange(0, cols, factor)
    sums = np.add.reduceat(np.add.reduceat(values, down, axis=0), across, axis=1)
    high = np.diff(np.append(down, rows))
    wide = np.diff(np.append(across, cols))
    return np.asarray(sums / np.outer(high, wide))


def _coverage(picture: Any) -> NDArray[np.float64]:
    if picture.mode.startswith("I") or picture.mode == "F":
        values = np.asarray(picture, float)
        full = 1.0 if picture.mode == "F" else 65535.0
        return np.clip(values / full, 0.0, 1.0)
    if picture.mode in ("1", "L") and "transparency" not in picture.info:
        return np.asarray(picture.convert("L"), float) / 255.0
    pixels = np.asarray(picture.convert("RGBA"), float) / 255.0
    red, green, blue, cover = np.moveaxis(pixels, -1, 0)
    grey = red + 0.587 * (green - red) + 0.114 * (blue - red)  # exact where all are alike
    return np.asarray(np.clip(grey * cover, 0.0, 1.0))
