"""A photograph in memory: encoded pixels, how they become linear light, and its settings."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Booleans, Singles
    from lightplan.shots.formats.transfer import Transfer

_FULL_FRAME_DIAGONAL_MM = 43.2666  # of 36 x 24 mm; CIPA DCG-001 defines the 35 mm equivalent by it


@dataclass(frozen=True, kw_only=True)
class ShotSettings:
    """What the camera wrote about the exposure; nothing else of the EXIF data is kept.

    Parameters
    ----------
    f_number, time_s, iso : float or None
        Exposure as set.
    bias_stops : float or None
        Exposure compensation. [stops]
    focal_length_mm, focal_length_35mm : float or None
        Real focal length, and the one that gives the same view on a 36 x 24 mm frame.
    focal_plane_px_per_mm : float or None
        Pixels of the file to a millimetre of the sensor, along the stored rows.
    orientation : int
        EXIF orientation that was applied, 1 (none) to 8; 0 and unknown values count as 1.
    taken : str or None
        "2024-05-01T12:30:00", in the camera's own clock.
    white_balance : {"auto", "manual"} or None
        As set on the camera.
    """

    f_number: float | None = None
    time_s: float | None = None
    iso: float | None = None
    bias_stops: float | None = None
    focal_length_mm: float | None = None
    focal_length_35mm: float | None = None
    focal_plane_px_per_mm: float | None = None
    orientation: int = 1
    taken: str | None = None
    white_balance: str | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return asdict(self)


@dataclass(frozen=True, eq=False, kw_only=True)
class Shot:
    """A photograph, upright, with everything needed to measure light in it.

    The pixels stay as they were stored, in 8 or 16 bits, because a linear copy of a
    24-megapixel picture takes 290 MB: linearise the part that is needed.

    Parameters
    ----------
    file : str
        Name of the file, without its folder.
    format : str
        "JPEG", "PNG", "TIFF", "HEIF" or "raw".
    encoded : (rows, cols, 3) uint8, uint16 or float32
        Red, green, blue in the file's own colour space.
    transfer : Transfer
        Turns them into linear light.
    clip_at : int or float
        Encoded value from which a channel counts as clipped, where `clip_mask` is None.
    clip_mask : (rows, cols, 3) bool or None
        Clipped channels, where the encoded values no longer tell (raw, CMYK).
    opaque : (rows, cols) bool or None
        False where a file with an alpha channel is transparent.
    reduction : int
        Pixels of the file to one pixel here, each way.
    file_rows, file_cols : int
        Size of the stored picture, turned upright.
    bits : int
        Bits per channel that carry information.
    lossy : bool
        True where compression moved the values (JPEG, HEIF).
    settings : Settings
        Exposure, lens and orientation.
    """

    file: str
    format: str
    encoded: NDArray[Any]
    transfer: Transfer
    clip_at: float
    clip_mask: Booleans | None = None
    opaque: Booleans | None = None
    reduction: int = 1
    file_rows: int = 0
    file_cols: int = 0
    bits: int = 8
    lossy: bool = False
    settings: ShotSettings = field(default_factory=ShotSettings)

    def __post_init__(self) -> None:
        for array in (self.encoded, self.clip_mask, self.opaque):
            if array is not None:
                array.setflags(write=False)

    @property
    def rows(self) -> int:
        """Rows of `encoded`."""
        return int(self.encoded.shape[0])

    @property
    def cols(self) -> int:
        """Columns of `encoded`."""
        return int(self.encoded.shape[1])

    @property
    def profile(self) -> str:
        """Name of the colour space, never text out of the file."""
        return self.transfer.name

    @cached_property
    def linear(self) -> Singles:
        """The whole picture in linear light, (rows, cols, 3) float32; kept once asked for."""
        values = self.transfer.linear(self.encoded)
        values.setflags(write=False)
        return values

    @cached_property
    def clipped(self) -> Booleans:
        """Clipped channels of the whole picture, (rows, cols, 3) bool; kept once asked for."""
        if self.clip_mask is not None:
            return self.clip_mask
        flags: Booleans = self.encoded >= self.clip_at
        flags.setflags(write=False)
        return flags

    def linear_part(self, rows: slice, cols: slice) -> Singles:
        """Return linear light of a window, (n, m, 3) float32."""
        return self.transfer.linear(np.ascontiguousarray(self.encoded[rows, cols]))

    def clipped_part(self, rows: slice, cols: slice) -> Booleans:
        """Return clipped channels of a window, (n, m, 3) bool."""
        if self.clip_mask is not None:
            return self.clip_mask[rows, cols]
        flags: Booleans = self.encoded[rows, cols] >= self.clip_at
        return flags

    def shrunk(self, factor: int) -> NDArray[Any]:
        """Return codes averaged over squares of 1, 2, 4, ... pixels, (n, m, 3); kept.

        Averaging in steps of two is several times faster than at once. Rows and columns
        left over at the far edges are dropped.
        """
        kept: dict[int, NDArray[Any]] = self.__dict__.setdefault("_shrunk", {1: self.encoded})
        if factor not in kept:
            larger = self.shrunk(factor // 2)
            rows, cols = larger.shape[0] // 2, larger.shape[1] // 2
            even = larger[: 2 * rows, : 2 * cols]
            kept[factor] = cv2.resize(even, (cols, rows), interpolation=cv2.INTER_AREA)
        return kept[factor]

    def preview(self, long_side_px: int) -> NDArray[np.uint8]:
        """Return a small 8-bit copy for finding things, in the file's own encoding.

        Parameters
        ----------
        long_side_px : int
            Longest side wanted; the picture is never enlarged.

        Returns
        -------
        (n, m, 3) uint8
            Red, green, blue, averaged over the pixels that fall together.
        """
        small, factor = self.encoded, 1
        while max(small.shape) // 2 >= long_side_px:
            factor *= 2
            small = self.shrunk(factor)
        scale = long_side_px / max(small.shape)
        if scale < 1.0:
            size = (max(1, round(small.shape[1] * scale)), max(1, round(small.shape[0] * scale)))
            small = cv2.resize(small, size, interpolation=cv2.INTER_AREA)
        if small.dtype == np.uint16:
            return (small >> 8).astype(np.uint8)
        if small.dtype == np.uint8:
            return np.array(small)
        return np.asarray(np.clip(small, 0, 1) ** (1 / 2.2) * 255 + 0.5, np.uint8)

    def focal_length_px(self) -> float | None:
        """Return the focal length in pixels of `encoded`, or None where the file is silent.

        The 35 mm equivalent is by the diagonal (CIPA DCG-001). A picture that was cropped
        after it was taken gives a wrong answer; nothing in the file tells.
        """
        one = self.settings
        if one.focal_length_35mm is not None:
            diagonal = float(np.hypot(self.rows, self.cols))
            return one.focal_length_35mm / _FULL_FRAME_DIAGONAL_MM * diagonal
        if one.focal_length_mm is not None and one.focal_plane_px_per_mm is not None:
            return one.focal_length_mm * one.focal_plane_px_per_mm / self.reduction
        return None
