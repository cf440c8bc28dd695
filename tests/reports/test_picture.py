"""The PNG against other readers and published sRGB values."""

from __future__ import annotations

import io
import struct

import cv2
import numpy as np
import pytest
from PIL import Image

from lightplan.errors import BadInput
from lightplan.optics.colour import luminance_factor, srgb_decode
from lightplan.reports.picture import exposure_time, picture_codes, picture_png, picture_size
from lightplan.scene import Camera, Placement


def chunks(png: bytes) -> list[tuple[bytes, bytes]]:
    found, at = [], 8
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        found.append((png[at + 4 : at + 8], png[at + 8 : at + 8 + length]))
        at += 12 + length
    return found


def test_grey_codes_are_those_of_srgb():
    # IEC 61966-2-1: 0.18 encodes to 0.46135 (code 118); 0.5 to 0.73536 (code 188); the
    # linear toe: 0.002 to 12.92 x 0.002 = 0.02584 (code 7).
    levels = np.array([0.0, 0.002, 0.18, 0.5, 1.0])
    codes = picture_codes(np.repeat(levels[None, :, None], 3, axis=2))
    assert codes[0, :, 0].tolist() == [0, 7, 118, 188, 255]


def test_two_other_readers_agree_with_the_codes():
    rng = np.random.default_rng(3)
    linear = rng.random((37, 53, 3)).astype(np.float32)
    png = picture_png(linear)
    codes = picture_codes(linear)
    by_pillow = np.asarray(Image.open(io.BytesIO(png)))
    by_opencv = cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_UNCHANGED)[..., ::-1]
    assert np.array_equal(by_pillow, codes)
    assert np.array_equal(by_opencv, codes)
    assert np.abs(srgb_decode(codes / 255) - linear).max() < 0.5 / 255 * 2.3  # steepest slope


def test_the_file_tells_srgb_and_nothing_else():
    told = chunks(picture_png(np.full((4, 5, 3), 0.3)))
    assert [name for name, _ in told] == [b"IHDR", b"sRGB", b"gAMA", b"IDAT", b"IEND"]
    # PNG specification: with sRGB, gAMA is 45455.
    assert dict(told)[b"gAMA"] == struct.pack(">I", 45455)
    assert len(dict(told)[b"sRGB"]) == 1


def test_the_same_picture_gives_the_same_bytes():
    linear = np.random.default_rng(1).random((20, 30, 3))
    assert picture_png(linear) == picture_png(linear.copy())


def test_clipping_cuts_each_channel_as_a_camera_does():
    codes = picture_codes(np.array([[[4.0, 0.5, 1.0]]]))
    assert codes[0, 0].tolist() == [255, 188, 255]


def test_colours_outside_srgb_keep_their_luminance():
    linear = np.array([[[-0.10, 0.50, 0.60], [0.3, -0.02, 0.4]]])
    shown = srgb_decode(picture_codes(linear) / 255)
    assert shown.min() == 0.0
    assert luminance_factor(shown) == pytest.approx(luminance_factor(linear), abs=0.004)


@pytest.mark.parametrize(
    "picture", [np.full((3, 3, 3), np.nan), np.zeros((3, 3)), np.full((2, 2, 3), np.inf)]
)
def test_what_is_no_picture_is_refused(picture):
    with pytest.raises(BadInput, match=r"picture must be finite levels of rows x columns x 3"):
        picture_png(picture)


@pytest.mark.parametrize(("wide", "high"), [(5.6, 4.2), (36.0, 24.0), (15.6, 23.5)])
def test_pixels_are_square(wide, high):
    camera = Camera(placement=Placement((0, 0, 500)), sensor_width_mm=wide, sensor_height_mm=high)
    rows, cols = picture_size(camera, 720)
    assert max(rows, cols) == 720
    assert cols / rows == pytest.approx(wide / high, rel=0.003)


def test_times_read_as_on_a_camera():
    shown = [exposure_time(t) for t in (1 / 8000, 1 / 60, 1 / 4, 0.5, 15.0)]
    assert shown == ["1/8000 s", "1/60 s", "1/4 s", "0.5 s", "15 s"]
