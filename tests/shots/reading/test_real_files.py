"""Real pictures of phones, cameras and test suites; skipped where they are absent."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from lightplan.errors import PhotoError
from lightplan.shots.formats.reading import is_photograph, read_shot

REFUSED = {
    "truncated_jpeg.jpg": "must be complete",
    "truncated_image.png": "must be complete",
    "broken_data_stream.png": "can be decoded",
    "truncated.heic": "must be complete",
    "tiff_16bit_RGB.tiff": "at least 64 pixels each way",
}


def test_every_picture_gives_an_answer_or_the_right_refusal(shared_photos):
    seen = 0
    for path in sorted(p for p in shared_photos.rglob("*") if is_photograph(p)):
        seen += 1
        if path.name in REFUSED:
            with pytest.raises(PhotoError, match=REFUSED[path.name]) as refusal:
                read_shot(path)
            assert str(refusal.value).startswith(path.name)
            continue
        shot = read_shot(path)
        assert min(shot.rows, shot.cols) >= 64
        assert np.isfinite(shot.linear).all()
        assert 0.0 < shot.linear.mean() < 1.0
    assert seen >= 35


@pytest.mark.parametrize("pattern", ["orientation/*.jpg", "../plane_mirror/*.jpg"])
def test_codes_and_turning_match_pillow(shared_photos, pattern):
    paths = sorted((shared_photos / "format_edge").glob(pattern))
    assert paths
    for path in paths:
        theirs = np.asarray(ImageOps.exif_transpose(Image.open(path)).convert("RGB"))
        ours = read_shot(path).encoded
        assert ours.shape == theirs.shape
        assert np.abs(ours.astype(int) - theirs).max() <= 2


def test_the_eight_orientations_show_one_picture(shared_photos):
    folder = shared_photos / "format_edge" / "orientation"
    first = read_shot(folder / "Landscape_1.jpg").preview(300).astype(float)
    first = cv2.GaussianBlur(first, (0, 0), 4)
    for i in (2, 3, 4, 5, 6, 7, 8):
        other = cv2.GaussianBlur(read_shot(folder / f"Landscape_{i}.jpg").preview(300), (0, 0), 4)
        # each picture carries its own number, so they differ there
        assert np.corrcoef(first.ravel(), other.ravel())[0, 1] > 0.97


def test_display_p3_red_is_outside_srgb(shared_photos):
    shot = read_shot(shared_photos / "format_edge" / "wide_gamut" / "P3-sRGB-red.jpg")
    assert shot.profile == "Display P3"
    assert shot.linear[..., 0].max() > 1.15  # P3 red is (1.2249, -0.0420, -0.0197) in linear sRGB
    assert shot.linear[..., 1].min() < -0.03


def test_ten_bit_heif_keeps_more_than_eight(shared_photos):
    shot = read_shot(shared_photos / "raw_and_phone" / "pillow_heif" / "RGB_10__128x128.heif")
    assert shot.bits == 10
    assert shot.encoded.dtype == np.uint16
    assert np.unique(shot.encoded >> 6).size > 256


def test_sixteen_bit_colour_is_not_dropped(shared_photos):
    folder = shared_photos / "format_edge"
    for path in (folder / "image_rs/rgb-3c-16b.tiff", folder / "libjpeg_turbo/monkey16.png"):
        shot = read_shot(path)
        assert shot.bits == 16
        assert np.unique(shot.encoded).size > 256
