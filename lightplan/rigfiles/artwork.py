"""The foil artwork: a picture, white where foil is, as shares of foil from 0 to 1."""

from __future__ import annotations

import io
import warnings
from pathlib import Path

import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.errors import ArtworkError

LONGEST_SIDE = 12000
SVG_LONG_SIDE = 1600
MOST_BYTES = 64_000_000
SHAPE_TOLERANCE = 0.05


def read_artwork(path: Path, *, width_mm: float, height_mm: float) -> Doubles:
    """Return the share of foil in each pixel.

    Parameters
    ----------
    path : Path
        PNG, SVG or any picture that Pillow reads; see-through parts are paper.
    width_mm, height_mm : float
        Size of the sheet, whose shape the picture must have to within 5 %.

    Returns
    -------
    (rows, cols) float
        0 is paper, 1 foil; row 0 is the sheet's far edge. The picture's values are taken as
        coverage, as they stand, without a tone curve.

    Raises
    ------
    ArtworkError
        No such file, no picture, too large, or of another shape than the sheet.
    """
    if not path.is_file():
        raise _refused(path, "a picture file that exists", "nothing there", "check its name")
    if path.stat().st_size > MOST_BYTES:
        raise _refused(path, "a picture below 64 MB", "more", "save it smaller, as a grey PNG")
    svg = path.suffix.lower() in {".svg", ".svgz"}
    values = _decoded(_svg_as_png(path) if svg else path.read_bytes(), path)
    rows, cols = values.shape
    ratio = (cols / rows) / (width_mm / height_mm)
    if abs(np.log(ratio)) > SHAPE_TOLERANCE:
        raise _refused(
            path, f"shaped like the sheet, {width_mm:g} x {height_mm:g} mm",
            f"{cols} x {rows} pixels", "crop or turn it so that it covers exactly the sheet",
        )  # fmt: skip
    return read_only(values)


def _svg_as_png(path: Path) -> bytes:
    import resvg_py  # here, so that PNG artwork does not need it loaded

    wanted, cure = "an SVG drawing", "save it as plain SVG or as PNG"
    try:
        text = path.read_text("utf-8") if path.suffix.lower() == ".svg" else None
    except UnicodeDecodeError:
        raise _refused(path, wanted, "text that is not UTF-8", cure) from None
    try:
        # Both sides are given, so that a drawing of any shape fits into this square.
        return bytes(
            resvg_py.svg_to_bytes(
                svg_string=text,
                svg_path=None if text is not None else str(path),
                resources_dir=str(path.parent),
                width=SVG_LONG_SIDE,
                height=SVG_LONG_SIDE,
            )
        )
    except ValueError as error:
        raise _refused(path, wanted, str(error), cure) from None


def _decoded(content: bytes, path: Path) -> Doubles:
    from PIL import Image

    cure = "open it in a picture program and save it as a grey PNG"
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # sizes are checked below, metadata does not matter
            picture = Image.open(io.BytesIO(content))
            if max(picture.size) > LONGEST_SIDE:
                raise _refused(
                    path,
                    f"at most {LONGEST_SIDE} pixels long",
                    f"{picture.size}",
                    "save it smaller",
                )
            return _coverage(picture)
    except ArtworkError:
        raise
    except Image.DecompressionBombError:
        raise _too_long(path, "far more") from None
    except Exception as error:  # decoders fail in every way there is
        raise _refused(path, "a picture that can be read", type(error).__name__, cure) from None


def _too_long(path: Path, got: str) -> ArtworkError:
    return _refused(path, f"at most {LONGEST_SIDE} pixels long", got, "save it smaller")


def _coverage(picture: object) -> Doubles:
    from PIL import Image

    assert isinstance(picture, Image.Image)
    if picture.mode.startswith("I") or picture.mode == "F":
        values = np.asarray(picture, float)
        full = 1.0 if picture.mode == "F" else 65535.0
        return np.clip(values / full, 0.0, 1.0)
    pixels = np.asarray(picture.convert("RGBA"), float) / 255.0
    red, green, blue, cover = np.moveaxis(pixels, -1, 0)
    grey = red + 0.587 * (green - red) + 0.114 * (blue - red)  # exact where all are alike
    return np.asarray(np.clip(grey * cover, 0.0, 1.0))


def _refused(path: Path, wanted: str, got: str, cure: str) -> ArtworkError:
    return ArtworkError(field=f"artwork {path.name}", wanted=wanted, got=got, cure=cure)
