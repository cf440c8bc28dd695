"""Only exposure, lens, time and orientation leave the EXIF data."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from PIL import Image

from lightplan.shots.formats.reading import read_shot

SECRETS = ("Ida Quill", "SN-4711", "48.2", "Studio Lane", "a remark")


@pytest.fixture
def tagged(tmp_path, save, astronaut):
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x013B] = "Studio Lane", "Studio Lane 5", "Ida Quill"
    inner = exif.get_ifd(0x8769)
    inner.update({
        0x829D: 8.0, 0x829A: 1 / 125, 0x8827: 200, 0x9003: "2024:05:01 12:30:00",
        0x9204: -0.333333, 0x920A: 35.0, 0xA405: 52, 0xA431: "SN-4711", 0x9286: b"a remark",
        0xA403: 1, 0xA20E: 2500.0, 0xA210: 3,
    })  # fmt: skip
    exif.get_ifd(0x8825).update({1: "N", 2: (48.2, 12.0, 0.0), 3: "E", 4: (16.4, 0.0, 0.0)})
    return save(tmp_path / "tag.jpg", astronaut, exif=exif.tobytes())


def test_wanted_tags_are_read(tagged):
    one = read_shot(tagged).settings
    assert (one.f_number, one.iso, one.taken) == (8.0, 200.0, "2024-05-01T12:30:00")
    assert one.time_s == pytest.approx(1 / 125)
    assert one.bias_stops == pytest.approx(-1 / 3, abs=1e-4)
    assert (one.focal_length_mm, one.focal_length_35mm) == (35.0, 52.0)
    assert one.focal_plane_px_per_mm == 250.0
    assert one.white_balance == "manual"


def test_private_tags_reach_no_output(tagged):
    shot = read_shot(tagged)
    said = json.dumps(shot.settings.to_dict()) + repr(shot.settings) + repr(shot)
    for secret in SECRETS:
        assert secret not in said


def test_focal_length_in_pixels_by_the_diagonal(tagged):
    # CIPA DCG-001: equal angle over the diagonal, 43.27 mm for 36 x 24 mm
    shot = read_shot(tagged)
    assert shot.focal_length_px() == pytest.approx(52 / 43.2666 * math.hypot(512, 512), rel=1e-5)
    half = read_shot(tagged, long_side_px=256)
    assert half.focal_length_px() == pytest.approx(shot.focal_length_px() / 2)


@pytest.mark.parametrize("value", [0.0, float("nan")])
def test_nonsense_in_the_tags_becomes_nothing(tmp_path, save, astronaut, value):
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({0x829D: value, 0x9003: "    :  :     :  :  "})
    settings = read_shot(save(tmp_path / "n.jpg", astronaut, exif=exif.tobytes())).settings
    assert settings.f_number is None
    assert settings.taken is None


def test_a_directory_that_points_to_itself_ends(tmp_path, astronaut):
    import io

    buffer = io.BytesIO()
    Image.fromarray(astronaut).save(buffer, "jpeg")
    loop = b"II*\0\x08\0\0\0" + b"\x02\0"
    loop += np.array([0x8769, 4, 1, 0, 8, 0], "<u2").tobytes()
    loop += np.array([0xA005, 4, 1, 0, 8, 0], "<u2").tobytes() + b"\0\0\0\0"
    app1 = b"Exif\0\0" + loop
    raw = buffer.getvalue()
    path = tmp_path / "loop.jpg"
    path.write_bytes(raw[:2] + b"\xff\xe1" + (len(app1) + 2).to_bytes(2, "big") + app1 + raw[2:])
    assert read_shot(path).settings.f_number is None
