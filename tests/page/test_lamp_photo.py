"""A lamp's light from a photograph of white paper, and that it stands in the rig file then."""

from __future__ import annotations

import math

import numpy as np
import pytest
from PIL import Image

from lightplan.errors import PhotoError
from lightplan.rigfiles import copy_rig, load_rig
from lightplan.session.document import Document
from lightplan.tasks.changing import changed
from lightplan.tasks.lamp_photo import lux_at_one_metre

F_NUMBER, TIME, ISO, EXIF = 0x829D, 0x829A, 0x8827, 0x8769


def photograph(path, level, *, tells=True):
    """White paper in the middle, as bright as a share of the most that the file can hold."""
    code = 255 * (1.055 * level ** (1 / 2.4) - 0.055)  # IEC 61966-2-1
    pixels = np.full((300, 400, 3), 12, np.uint8)
    pixels[75:225, 100:300] = round(code)
    picture, exif = Image.fromarray(pixels), Image.Exif()
    if tells:
        exif.get_ifd(EXIF).update({F_NUMBER: 8.0, TIME: 1 / 125, ISO: 100})
    picture.save(path, quality=98, exif=exif)
    return path


def test_light_follows_from_exposure_and_brightness(tmp_path):
    # f/8, 1/125 s, ISO 100 just hold 9600 cd/m2 (120 N^2 / (S t), ISO 12232:2019); half of it on
    # paper of 0.85 is pi 4800 / 0.85 lx
    photo = photograph(tmp_path / "paper.jpg", 0.5)
    assert lux_at_one_metre(photo, (0.5, 0.5)) == pytest.approx(math.pi * 4800 / 0.85, rel=0.02)


@pytest.mark.parametrize(
    ("level", "tells", "at", "says"),
    [
        (1.0, True, (0.5, 0.5), "burnt out"),
        (0.5, True, (0.05, 0.05), "neither dark"),
        (0.5, False, (0.5, 0.5), "names aperture, time and ISO"),
    ],
)
def test_what_cannot_be_measured_is_told(tmp_path, level, tells, at, says):
    photo = photograph(tmp_path / "paper.jpg", level, tells=tells)
    with pytest.raises(PhotoError, match=says):
        lux_at_one_metre(photo, at)


def test_what_was_measured_takes_the_place_of_the_watts(tmp_path):
    path = copy_rig("silver-bookplate-bright", tmp_path / "mine.toml").path
    document = Document(path)
    lamp = document.rig.lamps[0].name
    asked = [{"do": "output", "element": lamp, "lux_at_1_m": 1234.56}]
    document.change(changed(document.rig, asked), f"measured {lamp}")
    document.save()
    output = load_rig(path).rig.lamps[0].output
    assert (output.value, output.unit) == (1230.0, "lx at 1 m")
    assert output.unknown_stops() == 0.0
