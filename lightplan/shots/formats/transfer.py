"""From the file's encoded values to linear light in sRGB primaries."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from lightplan.arrays import Doubles, Singles, read_only

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, eq=False, kw_only=True)
class Transfer:
    """Three curves, then a matrix: ``linear = matrix @ curve(encoded)``.

    Parameters
    ----------
    name : str
        Name of the colour space, ours and not the file's.
    curves : (3, n) float32
        Linear value of each code of each channel, n = 256 or 65536.
    matrix : (3, 3) float or None
        From the file's primaries to linear sRGB; None where they are the same.
    """

    name: str
    curves: Singles
    matrix: Doubles | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "curves", read_only(self.curves, np.float32))
        if self.matrix is not None:
            object.__setattr__(self, "matrix", read_only(self.matrix))

    def linear(self, encoded: NDArray[Any]) -> Singles:
        """Return linear light; 1 is the file's white.

        Colours outside the sRGB gamut get values below 0 or above 1: they are kept.

        Parameters
        ----------
        encoded : (..., 3) uint8, uint16 or float32
            Floating-point files are linear already.

        Returns
        -------
        (..., 3) float32
        """
        if encoded.dtype == np.float32:
            values: Singles = encoded.copy()
        elif encoded.dtype == np.uint8 and encoded.ndim == 3:
            table = np.ascontiguousarray(self._codes(256).T)[None]
            values = np.asarray(cv2.LUT(np.ascontiguousarray(encoded), table), np.float32)
        else:
            table = self._codes(np.iinfo(encoded.dtype).max + 1)
            values = np.stack([table[c][encoded[..., c]] for c in range(3)], axis=-1)
        if self.matrix is None:
            return values
        shape = values.shape
        return np.asarray(
            (values.reshape(-1, 3) @ self.matrix.T.astype(np.float32)).reshape(shape), np.float32
        )

    def _codes(self, count: int) -> Singles:
        """Return the curves for `count` codes: interpolated where a LUT has another length."""
        if self.curves.shape[1] == count:
            return self.curves
        at = np.linspace(0, 1, count)
        have = np.linspace(0, 1, self.curves.shape[1])
        return np.stack([np.interp(at, have, c) for c in self.curves]).astype(np.float32)


def srgb_curve(codes: Doubles) -> Doubles:
    """Return linear values of sRGB codes 0..1 (IEC 61966-2-1).

    >>> float(srgb_curve(np.array([0.5]))[0].round(6))
    0.214041
    """
    return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)


def srgb(count: int) -> Transfer:
    """Return the transfer of plain sRGB for `count` codes a channel."""
    curve = srgb_curve(np.linspace(0, 1, count))
    return Transfer(name="sRGB", curves=np.tile(curve, (3, 1)).astype(np.float32))


def power(count: int, exponent: float, *, name: str, matrix: Doubles | None = None) -> Transfer:
    """Return a pure power law."""
    curve = np.linspace(0, 1, count) ** exponent
    return Transfer(name=name, curves=np.tile(curve, (3, 1)).astype(np.float32), matrix=matrix)


def straight() -> Transfer:
    """Return the transfer of values that are linear light in sRGB primaries already."""
    line = np.linspace(0, 1, 65536)
    return Transfer(name="linear sRGB", curves=np.tile(line, (3, 1)).astype(np.float32))
