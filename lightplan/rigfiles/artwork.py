"""The foil artwork: a picture, white where foil is, as shares of foil from 0 to 1."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.artwork.apart import decoded_apart, is_small_png
from lightplan.artwork.decode import decoded, refused

if TYPE_CHECKING:
    from pathlib import Path

MOST_BYTES = 64_000_000
SHAPE_TOLERANCE = 0.05


class _File(NamedTuple):
    """A file as it is just now."""

    path: Path
    inode: int
    size: int
    modified_ns: int
    changed_ns: int


def read_artwork(path: Path, *, width_mm: float, height_mm: float) -> Doubles:
    """Return the share of foil in each pixel.

    Parameters
    ----------
    path : Path
        PNG, SVG or any picture that Pillow reads; see-through parts are paper. All but
        small PNG files are read in a process of their own, with limits.
    width_mm, height_mm : float
        Size of the sheet, whose shape the picture must have to within 5 %.

    Returns
    -------
    (rows, cols) float
        0 is paper, 1 foil; row 0 is the sheet's far edge. The picture's values are taken as
        coverage, as they stand, without a tone curve; pictures longer than 4096 pixels are
        averaged down.

    Raises
    ------
    ArtworkError
        No such file, no picture, too large, or of another shape than the sheet.
    """
    try:
        if not path.is_file():
            raise refused(path, "a picture file that exists", "nothing there", "check its name")
        found = path.stat()
        if found.st_size > MOST_BYTES:
            raise refused(path, "a picture below 64 MB", "more", "save it smaller, as a grey PNG")
        times = (found.st_mtime_ns, found.st_ctime_ns)
        values = _values(_File(path, found.st_ino, found.st_size, *times))
    except OSError as error:
        raise refused(
            path, "one that can be read", str(error.strerror), "check its name and who may read it"
        ) from None
    rows, cols = values.shape
    ratio = (cols / rows) / (width_mm / height_mm)
    if abs(np.log(ratio)) > SHAPE_TOLERANCE:
        raise refused(
            path,
            f"shaped like the sheet, {width_mm:g} x {height_mm:g} mm",
            f"{cols} x {rows} pixels",
            "crop or turn it so that it covers exactly the sheet",
        )
    return values


@lru_cache(maxsize=2)
def _values(file: _File) -> Doubles:
    """Decode a picture; one that is as it was is not decoded again.

    A rig that is changed by hand is read back after every step, and some artwork takes a process
    of its own each time.
    """
    path = file.path
    return read_only(decoded(path) if is_small_png(path) else decoded_apart(path))
