"""What every decoder hands back, the limits they keep, and their common refusals."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

import cv2
import numpy as np

from lightplan.errors import PhotoError
from lightplan.shots.shot import ShotSettings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Booleans
    from lightplan.shots.formats.transfer import Transfer

# What decoders raise on hostile bytes.
BROKEN: Final = (
    cv2.error,
    struct.error,
    zlib.error,
    OSError,
    EOFError,
    ValueError,
    IndexError,
    SyntaxError,
    ArithmeticError,
    RuntimeError,
)
# Pillow's own parsers, written in Python, raise these as well.
BROKEN_PARSER: Final = (*BROKEN, TypeError, KeyError, AttributeError)


@dataclass(frozen=True, kw_only=True)
class Limits:
    """How much a photograph may ask of the machine.

    Parameters
    ----------
    pixels : int
        Most pixels of a picture, as its header announces them.
    file_bytes : int
        Largest file.
    long_side_px : int or None
        Decoders that can halve cheaply do so while the longer side stays at least this.
    """

    pixels: int = 250_000_000
    file_bytes: int = 1 << 30
    long_side_px: int | None = None

    def reduction(self, rows: int, cols: int, most: int) -> int:
        """Return the largest power of two, up to `most`, that keeps `long_side_px`.

        >>> Limits(long_side_px=3000).reduction(4000, 6000, 8)
        2
        """
        factor = 1
        if self.long_side_px is not None:
            while factor < most and max(rows, cols) // (2 * factor) >= self.long_side_px:
                factor *= 2
        return factor

    def check(self, rows: int, cols: int) -> None:
        """Refuse a picture whose header announces too many pixels, or none."""
        if rows < 1 or cols < 1:
            raise broken(f"{cols} x {rows} pixels")
        if rows * cols > self.pixels:
            raise PhotoError(
                field="picture size",
                wanted=f"at most {self.pixels // 1_000_000} megapixels",
                got=f"{cols} x {rows} pixels",
                cure="export it smaller",
            )


@dataclass(frozen=True, eq=False, kw_only=True)
class Decoded:
    """A picture as stored: not yet turned upright, not yet checked for content.

    The fields are those of `Shot`; `file_rows` and `file_cols` are as stored.
    """

    format: str
    encoded: NDArray[Any]
    transfer: Transfer
    clip_at: float
    file_rows: int
    file_cols: int
    clip_mask: Booleans | None = None
    opaque: Booleans | None = None
    reduction: int = 1
    bits: int = 8
    lossy: bool = False
    settings: ShotSettings = field(default_factory=ShotSettings)


def decode_with_opencv(data: bytes, flags: int) -> NDArray[Any] | None:
    """Return a picture as stored, in OpenCV's channel order, or None.

    OpenCV's own complaints on stderr are held back: the refusal says it in one sentence.
    """
    level = cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    try:
        pixels = cv2.imdecode(np.frombuffer(data, np.uint8), flags | cv2.IMREAD_IGNORE_ORIENTATION)
    except cv2.error as error:
        if error.code == cv2.Error.StsNoMem:
            raise MemoryError from None
        return None
    finally:
        cv2.utils.logging.setLogLevel(level)
    return None if pixels is None else np.asarray(pixels)


def broken(got: str) -> PhotoError:
    """Return the refusal of a file that cannot be decoded."""
    return PhotoError(
        field="the file",
        wanted="a picture that can be decoded",
        got=got,
        cure="copy it from the camera again, or export it again",
    )


def cut_short(got: str) -> PhotoError:
    """Return the refusal of a file whose end is missing."""
    return PhotoError(
        field="the file", wanted="complete", got=got, cure="copy it from the camera again"
    )


def unsupported(got: str, cure: str) -> PhotoError:
    """Return the refusal of a kind of file that is not read."""
    return PhotoError(
        field="the kind of file", wanted="JPEG, PNG, TIFF, HEIC or camera raw", got=got, cure=cure
    )


def split_alpha(pixels: NDArray[Any], *, blue_first: bool) -> tuple[NDArray[Any], Booleans | None]:
    """Return three colour channels, red first, and the opaque mask of an alpha channel.

    Transparent pixels become black, because their stored colour means nothing.

    Parameters
    ----------
    pixels : (rows, cols) or (rows, cols, 1..4) uint8, uint16 or float32
        Grey, grey and alpha, colour, or colour and alpha.
    blue_first : bool
        True for OpenCV's order.
    """
    if pixels.ndim == 2:
        return cv2.merge([pixels] * 3), None
    channels = pixels.shape[2]
    if channels == 1:
        return cv2.merge([pixels[..., 0]] * 3), None
    if channels == 2:
        grey = np.ascontiguousarray(pixels[..., 0])
        return _without_transparent(cv2.merge([grey] * 3), pixels[..., 1])
    if channels == 3:
        return (cv2.cvtColor(pixels, cv2.COLOR_BGR2RGB) if blue_first else pixels), None
    code = cv2.COLOR_BGRA2RGB if blue_first else cv2.COLOR_RGBA2RGB
    return _without_transparent(cv2.cvtColor(pixels, code), pixels[..., 3])


def _without_transparent(
    colour: NDArray[Any], alpha: NDArray[Any]
) -> tuple[NDArray[Any], Booleans | None]:
    opaque: Booleans = np.ascontiguousarray(alpha) > 0
    if opaque.all():
        return colour, None
    colour[~opaque] = 0
    return colour, opaque
