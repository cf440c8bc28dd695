"""Read a photograph of any usual kind into linear light, or refuse it by name."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from lightplan.errors import BlackFrame, PhotoError
from lightplan.process import natives_hushed
from lightplan.shots.formats import heif, jpeg, png, raw, tags, tiff
from lightplan.shots.formats.decoded import BROKEN, Decoded, Limits, broken, unsupported
from lightplan.shots.shot import Shot

if TYPE_CHECKING:
    from os import PathLike

    from numpy.typing import NDArray

SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif", *raw.SUFFIXES})
# Photographs too, though not read: in a folder they are refused by name, not passed over.
REFUSED_SUFFIXES = frozenset({".webp", ".jxl"})
SMALLEST_SIDE = 64
# An all-black frame still carries noise: the brightest of it stays below this sRGB code / 255.
_BLACK = 8 / 255
_HEIF_BRANDS = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1", b"avif")


def read_shot(
    path: str | PathLike[str],
    *,
    long_side_px: int | None = None,
    max_pixels: int = 250_000_000,
    max_bytes: int = 1 << 30,
) -> Shot:
    """Return a photograph, upright, in its stored bits, with the way to linear light.

    Parameters
    ----------
    path : path
        JPEG, PNG, TIFF, HEIC/HEIF or camera raw; the content decides, not the name.
    long_side_px : int or None
        Pixels that are enough for the longer side. JPEG is then decoded at 1/2, 1/4 or
        1/8 and raw at 1/2, as long as that many remain; the other kinds stay whole.
    max_pixels, max_bytes : int
        Larger pictures and files are refused before they are decoded.

    Returns
    -------
    Shot

    Raises
    ------
    PhotoError
        One sentence that names the file: missing, empty, broken, cut short, a kind not
        read, too large, too small, black, or of one flat colour.
    """
    where = Path(path)
    limits = Limits(pixels=max_pixels, file_bytes=max_bytes, long_side_px=long_side_px)
    try:
        with natives_hushed():  # the libraries' own complaints; the refusal says it in a sentence
            decoded = _decode(where, limits)
        _check_content(decoded)
        return _upright(decoded, where.name)
    except PhotoError as error:
        raise error.within(file=where.name) from None
    except MemoryError:
        raise PhotoError(
            field="picture size",
            wanted="small enough for the memory that is free",
            got="a picture that does not fit",
            cure="export it smaller",
            file=where.name,
        ) from None
    except BROKEN as error:
        raise broken(type(error).__name__).within(file=where.name) from None


def is_photograph(path: str | PathLike[str]) -> bool:
    """Tell by its name whether a file may be a photograph; hidden files are not.

    >>> is_photograph("IMG_1.JPG"), is_photograph("notes.txt"), is_photograph("._IMG_1.JPG")
    (True, False, False)
    """
    where = Path(path)
    known = SUFFIXES | REFUSED_SUFFIXES
    return where.suffix.lower() in known and not where.name.startswith(".")


def _decode(where: Path, limits: Limits) -> Decoded:
    """Choose the decoder by the first bytes."""
    data = _load(where, limits)
    head, suffix = data[:12], where.suffix.lower()
    if head[:2] == b"\xff\xd8":
        return jpeg.decode(data, limits)
    if head[:8] == png.SIGNATURE:
        return png.decode(data, limits)
    if head[4:8] == b"ftyp" and head[8:12] in _HEIF_BRANDS:
        return heif.decode(data, limits)
    if head[:4] == b"RIFF" and data[8:12] == b"WEBP":
        raise unsupported("a WebP file", "export the photograph as JPEG or TIFF")
    if suffix in raw.SUFFIXES or tags.read_directory(data, None, {tiff.DNG_VERSION}):
        return raw.decode(data, limits)
    if head[:4] in (b"II*\0", b"MM\0*"):
        return tiff.decode(data, limits)
    if suffix in SUFFIXES:
        raise unsupported(
            f"another kind under a name with {suffix}", "export the photograph as JPEG or TIFF"
        )
    raise unsupported(f"a {suffix or 'nameless'} file", "export the photograph as JPEG or TIFF")


def _load(where: Path, limits: Limits) -> bytes:
    try:
        if not where.is_file():
            raise PhotoError(
                field="the file",
                wanted="a photograph",
                got=_instead(where),
                cure="check the name and the folder",
            )
        size = where.stat().st_size
        if size > limits.file_bytes:
            raise PhotoError(
                field="file size",
                wanted=f"at most {limits.file_bytes >> 20} MB",
                got=f"{size >> 20} MB",
                cure="export it smaller",
            )
        data = where.read_bytes()
    except OSError as error:
        raise PhotoError(
            field="the file", wanted="readable", got=error.strerror, cure="check who may read it"
        ) from None
    if not data:
        raise broken("an empty file")
    return data


def _instead(where: Path) -> str:
    """Return what is there in a photograph's place."""
    if where.is_dir():
        return "a folder"
    if where.exists():
        return "no ordinary file"
    return "a link that leads nowhere" if where.is_symlink() else "no such file"


def _check_content(decoded: Decoded) -> None:
    """Refuse stubs, black frames and pictures of one flat colour."""
    if min(decoded.file_rows, decoded.file_cols) < SMALLEST_SIDE:
        raise PhotoError(
            field="picture size",
            wanted=f"at least {SMALLEST_SIDE} pixels each way",
            got=f"{decoded.file_cols} x {decoded.file_rows}, perhaps only a preview",
            cure="use the full photograph",
        )
    rows, cols = decoded.encoded.shape[:2]
    step = max(1, min(rows, cols) // 500)
    size = (cols // step, rows // step)
    sample: NDArray[Any] = cv2.resize(decoded.encoded, size, interpolation=cv2.INTER_NEAREST)
    top = float(sample.max())
    scale = 1.0 if sample.dtype == np.float32 else float(np.iinfo(sample.dtype).max)
    linear_black = _BLACK / 12.92 if decoded.format == "raw" else _BLACK
    if top <= scale * linear_black:
        raise BlackFrame(
            field="the picture",
            wanted="lit",
            got="an all-black frame",
            cure="check the lens cap, the flash and the exposure",
        )
    if max(np.ptp(plane) for plane in cv2.split(sample)) <= scale / 255:
        raise PhotoError(
            field="the picture",
            wanted="a photograph",
            got="one flat colour",
            cure="copy it from the camera again",
        )


def _upright(decoded: Decoded, name: str) -> Shot:
    """Return the picture as a `Shot`, turned by its EXIF orientation."""
    way = decoded.settings.orientation
    swap = way >= 5
    return Shot(
        file=name,
        format=decoded.format,
        encoded=turn(decoded.encoded, way),
        transfer=decoded.transfer,
        clip_at=decoded.clip_at,
        clip_mask=_turn_flags(decoded.clip_mask, way),
        opaque=_turn_flags(decoded.opaque, way),
        reduction=decoded.reduction,
        bits=decoded.bits,
        lossy=decoded.lossy,
        file_rows=decoded.file_cols if swap else decoded.file_rows,
        file_cols=decoded.file_rows if swap else decoded.file_cols,
        settings=decoded.settings,
    )


def _turn_flags(flags: NDArray[np.bool_] | None, orientation: int) -> NDArray[np.bool_] | None:
    return None if flags is None else turn(flags.view(np.uint8), orientation).view(np.bool_)


def turn(pixels: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Return pixels turned upright by an EXIF orientation 1 to 8.

    >>> turn(np.array([[1, 2, 3]], np.uint8), 6).tolist()
    [[1], [2], [3]]
    """
    turned = {3: cv2.ROTATE_180, 6: cv2.ROTATE_90_CLOCKWISE, 8: cv2.ROTATE_90_COUNTERCLOCKWISE}
    if orientation in turned:
        return np.asarray(cv2.rotate(pixels, turned[orientation]))
    if orientation == 2:
        return np.asarray(cv2.flip(pixels, 1))
    if orientation == 4:
        return np.asarray(cv2.flip(pixels, 0))
    if orientation == 5:
        return np.asarray(cv2.transpose(pixels))
    if orientation == 7:
        return np.asarray(cv2.flip(cv2.transpose(pixels), -1))
    return pixels
