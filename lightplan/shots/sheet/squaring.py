"""The sheet squared: from four corners in a photograph to the sheet's own grid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from lightplan.arrays import Booleans, Doubles, Singles, read_only
from lightplan.measures import Background
from lightplan.shots.sheet.outline import bend, straighten
from lightplan.shots.sheet.quads import square_to_quad

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.shots.sheet.corners import SheetFound
    from lightplan.shots.sheet.previews import Picture

_LATTICE = 16  # grid pixels between places that are projected exactly
_TRIM = 0.006  # rim of the grid left out, where paper and table mix, of the shorter side


@dataclass(frozen=True, eq=False)
class Squared:
    """The sheet as if photographed from straight above.

    Parameters
    ----------
    linear : (rows, cols, 3) float32
        1 = clip level; row 0 is the far edge.
    clipped : (rows, cols, 3) bool
        Of the nearest pixel of the photograph, not of a mean: a share counted here is
        the share in the photograph.
    valid : (rows, cols) bool
        False beyond the photograph's frame and on the outermost rim.
    width_mm, height_mm : float
    """

    linear: Singles
    clipped: Booleans
    valid: Booleans
    width_mm: float
    height_mm: float

    @property
    def px_per_mm(self) -> float:
        """Grid pixels to a millimetre."""
        return float(self.valid.shape[1] / self.width_mm)


def project(found: SheetFound, u: Doubles, v: Doubles) -> Doubles:
    """Return where places of the sheet lie in the photograph.

    Parameters
    ----------
    found : SheetFound
    u, v : (...) float
        From the far left corner: 0..1 along the far side and along the left side.

    Returns
    -------
    (..., 2) float
        (row, column).
    """
    corners = straighten(found.corners[:, ::-1], found.bending, found.shape)
    plane = square_to_quad(corners[None])[0]
    seen = np.stack([u, v, np.ones_like(u)], axis=-1) @ plane.T
    points = bend(seen[..., :2] / seen[..., 2:], found.bending, found.shape)
    return points[..., ::-1]


def unproject(found: SheetFound, pixels: Doubles) -> tuple[Doubles, Doubles]:
    """Return where on the sheet pixels (..., 2) of the photograph lie, (x, y): see `project`.

    Returns
    -------
    u, v : (...) float
        Shares of the sheet's width and height, from its far left corner.
    """
    straight = straighten(pixels, found.bending, found.shape)
    corners = straighten(found.corners[:, ::-1], found.bending, found.shape)
    back: Doubles = np.linalg.inv(square_to_quad(corners[None])[0])
    u, v, w = np.moveaxis(straight @ back[:, :2].T + back[:, 2], -1, 0)
    return u / w, v / w


def grid_shape(
    found: SheetFound, *, width_mm: float, height_mm: float, long_side: int
) -> tuple[int, int]:
    """Return rows and columns that keep the photograph's pixels, up to a long side."""
    side = np.linalg.norm(np.roll(found.corners, -1, axis=0) - found.corners, axis=1)
    pitch = max(side[0] / width_mm, side[2] / width_mm, side[1] / height_mm, side[3] / height_mm)
    pitch = min(pitch, long_side / max(width_mm, height_mm))
    return max(8, round(height_mm * pitch)), max(8, round(width_mm * pitch))


def rim_px(shape: tuple[int, int]) -> int:
    """Return the width of the rim of a grid (rows, columns) that is left out, in pixels."""
    return max(1, round(_TRIM * min(shape)))


def window(found: SheetFound, *, margin: float = 0.16) -> tuple[slice, slice]:
    """Return the rows and columns of the photograph that hold the sheet and its surroundings.

    Parameters
    ----------
    margin : float
        Added on each side, of the sheet's longer side in the picture.
    """
    low, high = found.corners.min(axis=0), found.corners.max(axis=0)
    extra = margin * float((high - low).max()) + 3
    first = np.clip(np.floor(low - extra), 0, np.array(found.shape) - 1).astype(int)
    last = np.clip(np.ceil(high + extra) + 1, 1, found.shape).astype(int)
    return slice(int(first[0]), int(last[0])), slice(int(first[1]), int(last[1]))


def square(
    linear: Singles,
    clipped: Booleans,
    found: SheetFound,
    *,
    width_mm: float,
    height_mm: float,
    origin: tuple[int, int] = (0, 0),
    long_side: int = 1400,
) -> Squared:
    """Warp the sheet to its own grid.

    Parameters
    ----------
    linear : (rows, cols, 3) float32
        The photograph, or the window of it that `origin` says.
    clipped : (rows, cols, 3) bool
        Its channels at their end.
    found : SheetFound
        Corners in the whole photograph at this size.
    origin : (2,) int
        Row and column of the window's first pixel.
    long_side : int
        Most pixels along the grid's longer side.
    """
    shape = grid_shape(found, width_mm=width_mm, height_mm=height_mm, long_side=long_side)
    places = _places(found, shape) - np.array(origin, np.float32)
    rows, cols = linear.shape[:2]
    across, down = places[..., 1], places[..., 0]
    valid = (across > -0.5) & (across < cols - 0.5) & (down > -0.5) & (down < rows - 0.5)
    rim = rim_px(shape)
    valid[:rim] = valid[-rim:] = False
    valid[:, :rim] = valid[:, -rim:] = False
    return Squared(
        linear=_warp(linear, across, down, found, shape),
        clipped=_nearest(clipped, across, down),
        valid=valid,
        width_mm=float(width_mm),
        height_mm=float(height_mm),
    )


def background(
    linear: Singles,
    clipped: Booleans,
    found: SheetFound,
    *,
    origin: tuple[int, int] = (0, 0),
    samples: int = 600,
) -> Background | None:
    """Return samples of what lies round the sheet, 4 to 12 % of its sides away from it.

    None where the sheet fills the frame.
    """
    share = (np.arange(samples // 4) + 0.5) / (samples // 4)
    away = 0.04 + 0.08 * ((np.arange(len(share)) * 0.6180339887) % 1)  # golden section: even
    u = np.concatenate([share, share, -away, 1 + away])
    v = np.concatenate([-away, 1 + away, share, share])
    places = np.rint(project(found, u, v) - origin).astype(int)
    inside = ((places >= 0) & (places < linear.shape[:2])).all(axis=1)
    if inside.sum() < 0.1 * samples:
        return None
    row, col = places[inside].T
    return Background(linear=linear[row, col], clipped=clipped[row, col])


def _places(found: SheetFound, shape: tuple[int, int]) -> Singles:
    """Return (row, column) in the photograph of each grid pixel, (rows, cols, 2)."""
    rows, cols = shape
    count = (-(-rows // _LATTICE) + 2, -(-cols // _LATTICE) + 2)
    v = ((np.arange(count[0]) - 0.5) * _LATTICE) / rows
    u = ((np.arange(count[1]) - 0.5) * _LATTICE) / cols
    coarse = project(found, *np.meshgrid(u, v)).astype(np.float32)
    size = (count[1] * _LATTICE, count[0] * _LATTICE)
    full = cv2.resize(coarse, size, interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(full[_LATTICE : _LATTICE + rows, _LATTICE : _LATTICE + cols])


def _warp(
    linear: Singles, across: Picture, down: Picture, found: SheetFound, shape: tuple[int, int]
) -> Singles:
    """Return the picture at places; pixels are averaged first where the grid is coarser."""
    side = np.linalg.norm(np.roll(found.corners, -1, axis=0) - found.corners, axis=1)
    scale = float(min(side[0], side[2]) / shape[1])
    factor = int(scale)
    source: Picture = np.ascontiguousarray(linear, np.float32)
    if factor > 1:
        rows, cols = source.shape[0] // factor, source.shape[1] // factor
        trimmed = source[: rows * factor, : cols * factor]
        source = cv2.resize(trimmed, (cols, rows), interpolation=cv2.INTER_AREA)
        across, down = (across + 0.5) / factor - 0.5, (down + 0.5) / factor - 0.5
    warped = cv2.remap(source, across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return read_only(warped, np.float32)  # type: ignore[return-value]


def _nearest(flags: NDArray[Any], across: Singles, down: Singles) -> Booleans:
    seen = cv2.remap(
        np.ascontiguousarray(flags).view(np.uint8),
        across,
        down,
        cv2.INTER_NEAREST,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return seen.view(np.bool_)
