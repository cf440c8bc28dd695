"""Light probes: equirectangular pictures of the surroundings, in linear light."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.errors import ProfileError

if TYPE_CHECKING:
    from pathlib import Path

MOST_BYTES = 400_000_000


def read_probe(path: Path) -> Doubles:
    """Return a light probe's pixels.

    Parameters
    ----------
    path : Path
        Radiance (.hdr, .pic), OpenEXR (.exr, needs the package OpenEXR) or NumPy (.npy).

    Returns
    -------
    (rows, cols, 3) float
        Linear red, green, blue; row 0 is straight up.

    Raises
    ------
    ProfileError
        No such file, not such a picture, negative or without end.
    """
    readers = {".hdr": _radiance, ".pic": _radiance, ".exr": _exr, ".npy": _numpy}
    reader = readers.get(path.suffix.lower())
    if reader is None:
        raise _refused(path, "a .hdr, .exr or .npy picture", path.suffix, "convert it to .hdr")
    if not path.is_file():
        raise _refused(path, "a picture file that exists", "nothing there", "check its name")
    if path.stat().st_size > MOST_BYTES:
        raise _refused(path, "a picture below 400 MB", "more", "save it smaller")
    pixels = reader(path)
    if pixels.ndim != 3 or pixels.shape[2] != 3 or 0 in pixels.shape:
        raise _refused(
            path, "rows x columns x 3 channels", f"shape {pixels.shape}", "save it as colour"
        )
    if not (np.isfinite(pixels).all() and (pixels >= 0).all()):
        raise _refused(path, "finite and not negative", "other values", "save it again")
    return read_only(pixels)


def _radiance(path: Path) -> Doubles:
    import cv2

    try:
        encoded = np.frombuffer(path.read_bytes(), np.uint8)
        pixels: Any = cv2.imdecode(encoded, cv2.IMREAD_ANYDEPTH | cv2.IMREAD_COLOR)
    except cv2.error:
        pixels = None
    if pixels is None or pixels.dtype != np.float32:
        raise _refused(path, "a Radiance HDR picture", "something else", "save it as .hdr again")
    return np.asarray(pixels[..., ::-1], float)


def _exr(path: Path) -> Doubles:
    try:
        exr = importlib.import_module("OpenEXR")
    except ImportError:
        raise _refused(
            path,
            "a .hdr picture, as the package OpenEXR is not installed",
            ".exr",
            "convert it to .hdr, or run pip install OpenEXR",
        ) from None
    try:
        with exr.File(str(path)) as file:
            channels = file.channels()
            for name in ("RGB", "RGBA"):
                if name in channels:
                    return np.asarray(channels[name].pixels[..., :3], float)
    except Exception as error:  # noqa: BLE001 - the library raises bare exceptions
        raise _refused(path, "an OpenEXR picture", str(error), "save it again") from None
    raise _refused(path, "given channels R, G and B", sorted(channels), "save it as colour")


def _numpy(path: Path) -> Doubles:
    try:
        return np.asarray(np.load(path, allow_pickle=False), float)
    except (ValueError, OSError, EOFError, TypeError) as error:
        raise _refused(path, "a NumPy array of numbers", str(error), "save it again") from None


def _refused(path: Path, wanted: str, got: object, cure: str) -> ProfileError:
    return ProfileError(field=f"file {path.name}", wanted=wanted, got=got, cure=cure)
