"""Damage that a JPEG's own codes do not tell of: the brightness slips at one block and stays so.

Huffman codes fall back into step some time after a damage. If by chance as many blocks were read
as are there, a decoder has nothing to warn of: a JPEG carries no check sum. But each block's mean
is stored as the step from the block before it (ITU-T T.81, F.1.1.5.1), so what was misread is added
to all that follow. The picture then shows a stair that nothing in a scene makes: from the damaged
block to the end of its row of blocks, and on the row below up to that column, every block is offset
from the one above it by the same amount.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

STEP_CODES: Final = 5.0
"""A block counts as offset from the one above by so many codes (our choice; seen: 13 and more)."""
OFFSET_SHARE: Final = 0.75
"""Share of the stair's blocks that must be so (our choice: clipped and misread ones are not)."""
ELSEWHERE_SHARE: Final = 0.5
"""At most this share of the blocks beside the stair, in its two rows, may be so (our choice)."""
LEAST_BLOCKS: Final = 30
"""Rows of fewer blocks are not looked at: too few to tell a stair from a picture (thumbnails)."""
LEAST_SIDE: Final = 4
"""A stair has at least so many blocks on either side: a level edge in the scene has none on one."""
COLUMNS: Final = 4
"""So many columns of pixels of each block are looked at: its offset is the same in all."""


def shows_a_slip(pixels: NDArray[np.uint8], block_px: tuple[int, int]) -> bool:
    """Return whether a stair of offset blocks crosses the picture.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (rows, cols, channels)
        The decoded picture, whole or reduced.
    block_px : tuple of int
        Rows and columns of those pixels that are coded together.
    """
    jumps = _jumps(pixels, *block_px)
    rows, wide = jumps.shape[:2]
    if rows < 2 or wide < LEAST_BLOCKS:
        return False
    return any(
        _has_stair(way * jumps[..., k]) for way in (1.0, -1.0) for k in range(jumps.shape[2])
    )


def _jumps(pixels: NDArray[np.uint8], tall: int, wide: int) -> NDArray[np.float32]:
    """Return each block's offset from the one above (rows - 1, cols, channels).

    What runs on smoothly over the edge, as the picture does beside it, is taken off.
    """
    first = tall if tall > 1 else 2
    edges = max(0, -(-(pixels.shape[0] - 1 - first) // tall))
    blocks = pixels.shape[1] // wide
    step = max(1, wide // COLUMNS)
    at = pixels[:, : blocks * wide : step]

    def row(offset: int) -> NDArray[np.int16]:
        return at[first + offset :: tall][:edges].astype(np.int16)

    below, above = row(0), row(-1)
    doubled = 3 * (below - above) - (row(1) - row(-2))
    by_block = doubled.reshape(edges, blocks, wide // step, -1).sum(2, dtype=np.int32)
    return np.asarray(by_block / np.float32(2 * (wide // step)), np.float32)


def _has_stair(jumps: NDArray[np.floating[Any]]) -> bool:
    """Return whether the blocks of two neighbouring rows are offset as a damage leaves them.

    Parameters
    ----------
    jumps : ndarray of float, shape (rows, cols)
        Each block's offset from the one above; a stair of offsets upwards is looked for.
    """
    offset = jumps > STEP_CODES
    wide = offset.shape[1]
    of_row = np.count_nonzero(offset, axis=1)
    for row in np.flatnonzero(of_row[:-1] + of_row[1:] >= OFFSET_SHARE * wide):
        columns = np.arange(LEAST_SIDE, wide - LEAST_SIDE)
        upper, lower = (np.cumsum(offset[r])[columns - 1] for r in (row, row + 1))
        upper_right, lower_right = of_row[row] - upper, of_row[row + 1] - lower
        best = int(np.argmax(upper_right + lower - upper - lower_right))
        left, right = int(columns[best]), wide - int(columns[best])
        if (
            upper_right[best] >= OFFSET_SHARE * right
            and lower[best] >= OFFSET_SHARE * left
            and upper[best] <= ELSEWHERE_SHARE * left
            and lower_right[best] <= ELSEWHERE_SHARE * right
            and _alike(np.median(jumps[row, left:]), np.median(jumps[row + 1, :left]))
        ):
            return True
    return False


def _alike(one: np.floating[Any], other: np.floating[Any]) -> bool:
    """Return whether two offsets may be the same one: where channels clip it shows as less."""
    return bool(4.0 * min(one, other) >= max(one, other))
