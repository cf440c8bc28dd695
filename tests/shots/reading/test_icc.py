"""Colour profiles against the published primaries, colour-science and littleCMS."""

from __future__ import annotations

import io
import struct

import colour
import numpy as np
import pytest
from PIL import Image, ImageCms

from lightplan.errors import PhotoError
from lightplan.shots.formats import icc, transfer

D50 = np.array([0.9642, 1.0, 0.8249])  # ICC.1:2022, 7.2.16
GAMMA_22 = b"curv\0\0\0\0" + struct.pack(">IH", 1, 563) + b"\0\0"


def para(kind: int, *values: float) -> bytes:
    numbers = [round(v * 65536) for v in values]
    return b"para\0\0\0\0" + struct.pack(f">HH{len(numbers)}i", kind, 0, *numbers)


SRGB_PARA = para(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


@pytest.mark.parametrize(
    ("name", "ours"),
    [("sRGB", icc.SRGB_D50), ("Adobe RGB (1998)", icc.ADOBE_D50), ("Display P3", icc.P3_D50)],
)
def test_colorants_follow_from_the_published_primaries(name, ours):
    # Primaries and white as colour-science quotes them from each standard; Bradford adaptation.
    space = colour.RGB_COLOURSPACES[name]
    to_xyz = colour.normalised_primary_matrix(space.primaries, space.whitepoint)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(space.whitepoint), D50, transform="Bradford"
    )
    np.testing.assert_allclose(ours, adapt @ to_xyz, atol=6e-8)


def test_srgb_curve_is_that_of_iec_61966_2_1():
    codes = np.linspace(0, 1, 4096)
    np.testing.assert_allclose(
        transfer.srgb_curve(codes), colour.models.eotf_sRGB(codes), atol=1e-12
    )


@pytest.mark.parametrize(
    ("colorants", "curve", "name"),
    [
        (icc.SRGB_D50, SRGB_PARA, "sRGB"),
        (icc.ADOBE_D50, GAMMA_22, "Adobe RGB (1998)"),
        (icc.P3_D50, SRGB_PARA, "Display P3"),
        (icc.SRGB_D50[:, [1, 2, 0]], SRGB_PARA, "rotated sRGB"),
        (icc.P3_D50[:, [2, 0, 1]], GAMMA_22, "rotated Display P3"),
        (icc.ADOBE_D50, para(0, 1.8), "Adobe RGB (1998) primaries"),
        (icc.ADOBE_D50, para(1, 2.0, 0.9, 0.1), "Adobe RGB (1998) primaries"),
        (icc.SRGB_D50, para(2, 2.0, 0.9, 0.02, 0.05), "sRGB primaries"),
        (icc.SRGB_D50, para(4, 2.4, 0.948, 0.052, 0.0774, 0.04, 0.0, 0.0), "sRGB"),
    ],
)
def test_profiles_agree_with_littlecms(make_icc, colorants, curve, name):
    profile = make_icc(colorants, [curve] * 3, title="a private name")
    rng = np.random.default_rng(4)
    codes = rng.integers(0, 256, (64, 64, 3), np.uint8)
    theirs = ImageCms.profileToProfile(
        Image.fromarray(codes),
        ImageCms.ImageCmsProfile(io.BytesIO(profile)),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    way = icc.parse(profile).transfer(256)
    linear = np.clip(way.linear(codes), 0, 1)
    ours = colour.models.eotf_inverse_sRGB(linear.astype(float)) * 255
    assert way.name == name
    assert np.abs(ours - np.asarray(theirs)).max() < 1.6  # both round to whole codes


def test_sixteen_bits_survive_the_profile(make_icc):
    way = icc.parse(make_icc(icc.ADOBE_D50, [GAMMA_22] * 3)).transfer(65536)
    codes = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    grey = way.linear(np.stack([codes] * 3, axis=-1))
    wanted = (codes / 65535.0) ** (563 / 256)
    np.testing.assert_allclose(grey, np.stack([wanted] * 3, -1), atol=2e-6)


def test_tables_in_a_profile_are_interpolated(make_icc):
    table = np.rint(np.linspace(0, 1, 1024) ** 2.0 * 65535).astype(">u2")
    curve = b"curv\0\0\0\0" + struct.pack(">I", 1024) + table.tobytes()
    way = icc.parse(make_icc(icc.SRGB_D50, [curve] * 3)).transfer(65536)
    np.testing.assert_allclose(way.curves[0], np.linspace(0, 1, 65536) ** 2, atol=2e-5)


def test_white_stays_white_in_every_profile(make_icc):
    skewed = icc.ADOBE_D50 * np.array([[1.02], [1.0], [0.97]])  # a screen whose white is off
    way = icc.parse(make_icc(skewed, [GAMMA_22] * 3)).transfer(256)
    white = way.linear(np.full((1, 1, 3), 255, np.uint8))
    np.testing.assert_allclose(white, 1.0, atol=1e-6)


@pytest.mark.parametrize("keep", [0, 50, 131, 200, 400])
def test_a_damaged_profile_is_refused_in_one_sentence(make_icc, keep):
    profile = make_icc(icc.SRGB_D50, [GAMMA_22] * 3)
    with pytest.raises(PhotoError, match="colour profile must be a readable ICC profile"):
        icc.parse(profile[:keep])


def test_the_profiles_own_text_is_never_shown(make_icc):
    way = icc.parse(make_icc(icc.ADOBE_D50 * 0.98, [GAMMA_22] * 3, title="Ida Quill's screen"))
    assert "Quill" not in way.transfer(256).name
