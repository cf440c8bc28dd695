"""A JPEG that lost data or was damaged is refused, whatever its end mark says; whole ones are read.

The pictures are larger than 64 KB, as cameras' files are. What is refused is what libjpeg warns
of (jerror.h of libjpeg 6b and of libjpeg-turbo, from memory).
"""

from __future__ import annotations

import io
from contextlib import suppress
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest
import simplejpeg
from PIL import Image

from lightplan.errors import PhotoError
from lightplan.shots.formats import jpeg
from lightplan.shots.formats.decoded import Limits

if TYPE_CHECKING:
    from numpy.typing import NDArray

END = b"\xff\xd9"
ANY = Limits(long_side_px=500)


def picture(seed: int, rows: int = 1000, cols: int = 1500) -> NDArray[np.uint8]:
    """Return something with detail everywhere, so that its file is large."""
    rng = np.random.default_rng(seed)
    coarse = rng.integers(0, 255, (rows // 8, cols // 8, 3), np.uint8)
    return cv2.resize(coarse, (cols, rows), interpolation=cv2.INTER_CUBIC)


def written(pixels: NDArray[np.uint8], **how: object) -> bytes:
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "JPEG", **how)
    return file.getvalue()


KINDS = [
    {"quality": 92, "subsampling": 0},
    {"quality": 85, "subsampling": 2},
    {"quality": 90, "subsampling": 2, "progressive": True},
    {"quality": 95, "subsampling": 1, "optimize": True},
    {"quality": 90, "subsampling": 0, "restart_marker_rows": 4},
]


@pytest.fixture(scope="module")
def whole() -> list[bytes]:
    return [written(picture(i), **how) for i, how in enumerate(KINDS)]


def test_files_are_as_large_as_a_cameras(whole):
    assert min(len(data) for data in whole) > 65536


def test_100_cut_files_with_an_end_mark_are_refused(whole):
    rng = np.random.default_rng(5)
    for turn in range(100):
        data = whole[turn % len(whole)]
        missing = int(rng.integers(65536, len(data) // 2))
        with pytest.raises(PhotoError, match="copy it from the camera again"):
            jpeg.decode(data[:-missing] + END, ANY)


def test_100_damaged_files_are_refused(whole):
    """Huffman codes can fall back into step after a damage: then the picture alone tells of it.

    Of 3,000 such files libjpeg warned of all but 43; a file has no check sum.
    """
    rng = np.random.default_rng(6)
    for turn in range(100):
        data = damaged(whole[turn % len(whole)], rng)
        with pytest.raises(PhotoError):
            jpeg.decode(data, ANY)


def damaged(data: bytes, rng: np.random.Generator) -> bytes:
    """Return a file of which 400 bytes are others, past its first quarter."""
    start = int(rng.integers(len(data) // 4, len(data) - 1000))
    return data[:start] + rng.integers(0, 256, 400, np.uint8).tobytes() + data[start + 400 :]


@pytest.fixture(scope="module")
def silent(whole) -> list[bytes]:
    """Damaged files that simplejpeg decodes without a word."""
    rng, found = np.random.default_rng(8), []
    while len(found) < 12:
        data = damaged(whole[3], rng)
        with suppress(ValueError):
            simplejpeg.decode_jpeg(data, "RGB")
            found.append(data)
    return found


@pytest.mark.parametrize("long_side_px", [None, 750, 375])
def test_what_libjpeg_does_not_warn_of_is_seen(silent, long_side_px):
    """Such files are refused, at every size."""
    refused = 0
    for data in silent:
        with suppress(PhotoError):
            jpeg.decode(data, Limits(long_side_px=long_side_px))
            continue
        refused += 1
    assert refused >= 11


def level_edges() -> list[NDArray[np.uint8]]:
    """Return pictures whose edges run along the rows of blocks, as whole files may.

    The last two are bright plates that end on such a row, with something faint beside a corner
    that begins on the next: such a photograph was once refused.
    """
    plain = np.full((960, 1280, 3), (70, 90, 110), np.uint8)
    full, half, squares = plain.copy(), plain.copy(), plain.copy()
    full[480:] += 60
    half[480:, :700] += 60
    squares[(np.indices((960, 1280)) // 16).sum(0) % 2 == 1] += 60
    sheet = plain.copy()
    sheet[160:800, 64:1216] = 240
    plates = [plain.copy(), plain.copy()]
    for plate, block in zip(plates, (8, 16), strict=True):
        plate[160:800, 64:] += 80
        plate[160 + block :, :64] += 9
    return [full, half, squares, sheet, *plates]


@pytest.mark.parametrize("how", KINDS)
def test_level_edges_are_no_damage(how):
    for pixels in level_edges():
        data = written(pixels, **how)
        for long_side_px in (None, 640, 320, 160):
            assert jpeg.decode(data, Limits(long_side_px=long_side_px)).file_rows == 960


def test_500_whole_files_are_read():
    rng = np.random.default_rng(7)
    pictures = [picture(i, 560, 840) for i in range(5)]
    for turn in range(500):
        how = KINDS[turn % len(KINDS)] | {"quality": int(rng.integers(60, 99))}
        shown = pictures[turn // len(KINDS) % 5]
        more = b"" if turn % 3 else b"\0" * int(rng.integers(1, 5000))  # some phones append data
        data = written(shown, **how) + more
        assert jpeg.decode(data, ANY).encoded.shape == (560, 840, 3)


def test_a_reduced_picture_is_the_one_that_opencv_decodes(whole):
    # OpenCV carries a libjpeg-turbo of its own: the same arithmetic, another door.
    for data in whole:
        ours = jpeg.decode(data, ANY).encoded
        theirs = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_REDUCED_COLOR_2)
        np.testing.assert_array_equal(ours, theirs[..., ::-1])
