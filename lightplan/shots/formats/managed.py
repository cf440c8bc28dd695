"""Pictures that need a colour manager: CMYK, and profiles made of tables; 8 bits."""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageCms

from lightplan.shots.formats.decoded import BROKEN_PARSER, broken, cut_short

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Booleans


def to_srgb_8bit(
    data: bytes, clip_at: int, *, profile: bytes | None = None
) -> tuple[NDArray[np.uint8], Booleans]:
    """Return a file's picture in sRGB codes, and which channels had clipped before.

    Parameters
    ----------
    data : bytes
        A JPEG, PNG or TIFF file; its size has been checked.
    clip_at : int
        Code from which a channel of the file counts as clipped. For CMYK a channel is
        clipped where neither its own ink nor black is laid down.
    profile : bytes or None
        Overrides the embedded profile.

    Returns
    -------
    (rows, cols, 3) uint8, (rows, cols, 3) bool

    Raises
    ------
    PhotoError
        Broken or cut short.
    """
    picture = open_picture(data)
    raw = profile if profile is not None else picture.info.get("icc_profile")
    clipped = _clipped(picture, clip_at)
    if picture.mode not in ("RGB", "CMYK", "L"):
        picture = picture.convert("RGB")
    if raw:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                source = ImageCms.ImageCmsProfile(io.BytesIO(raw))
                converted = ImageCms.profileToProfile(
                    picture, source, ImageCms.createProfile("sRGB"), outputMode="RGB"
                )
        except (ImageCms.PyCMSError, *BROKEN_PARSER) as error:
            raise broken(f"a colour profile that cannot be used: {error}") from None
        picture = converted if converted is not None else picture
    return np.array(picture.convert("RGB")), clipped


def open_picture(data: bytes) -> Image.Image:
    """Return a fully decoded Pillow picture, or raise `PhotoError`."""
    try:
        with warnings.catch_warnings():
            # Size was checked against our own limit, which is above Pillow's.
            warnings.simplefilter("ignore")
            picture = Image.open(io.BytesIO(data))
            picture.load()
    except Image.DecompressionBombError:
        raise broken("more pixels than can be converted") from None
    except BROKEN_PARSER as error:
        if "truncated" in str(error):
            raise cut_short("a picture whose lower part is missing") from None
        raise broken("damaged picture data") from None
    return picture


def _clipped(picture: Image.Image, clip_at: int) -> Booleans:
    """Return clipped channels (rows, cols, 3) of the stored values."""
    if picture.mode == "CMYK":  # Pillow hands out 255 = full ink, whatever the file's sense
        ink = np.asarray(picture)
        light: Booleans = ink <= 255 - clip_at
        return np.ascontiguousarray(light[..., :3] & light[..., 3:])
    return np.asarray(picture.convert("RGB")) >= clip_at
