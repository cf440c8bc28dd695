"""Light probes from pictures."""

import struct

import cv2
import numpy as np
import pytest

from lightplan.errors import ProfileError
from lightplan.rigfiles import load_rig
from lightplan.rigfiles.probes import read_probe

PIXELS = np.array([[[0.5, 0.25, 4.0], [1, 2, 3]], [[0, 0, 0], [1000, 0.125, 8]]], np.float32)


def radiance(pixels):
    """Encode as the Radiance picture format says: RGBE, flat scanlines.

    Ward, "Real Pixels", Graphics Gems II (1991): mantissas scaled by 2^(e - 136).
    """
    rows, cols, _ = pixels.shape
    content = b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n" + f"-Y {rows} +X {cols}\n".encode()
    for r, g, b in pixels.reshape(-1, 3):
        top = max(r, g, b)
        if top < 1e-32:
            content += b"\0\0\0\0"
            continue
        exponent = int(np.floor(np.log2(top))) + 1
        scale = 256.0 / 2.0**exponent
        content += struct.pack("4B", int(r * scale), int(g * scale), int(b * scale), exponent + 128)
    return content


def test_radiance_pictures_are_read_red_first(tmp_path):
    path = tmp_path / "a.hdr"
    path.write_bytes(radiance(PIXELS))
    # RGBE keeps 8 bits of the brightest channel: the error is below 1 / 128 of it.
    off = np.abs(read_probe(path) - PIXELS)
    assert (off <= PIXELS.max(axis=-1, keepdims=True) / 128).all()
    assert read_probe(path).shape == (2, 2, 3)


def test_radiance_pictures_of_another_writer(tmp_path):
    path = tmp_path / "a.hdr"
    picture = np.random.default_rng(1).uniform(0.5, 1.0, (16, 32, 3)).astype(np.float32)
    assert cv2.imwrite(str(path), picture[..., ::-1])
    assert np.abs(read_probe(path) - picture).max() < 1 / 128


def test_numpy_arrays(tmp_path):
    np.save(tmp_path / "a.npy", PIXELS)
    assert (read_probe(tmp_path / "a.npy") == PIXELS).all()


def test_openexr_pictures(tmp_path):
    exr = pytest.importorskip("OpenEXR")
    path = tmp_path / "a.exr"
    header = {"compression": exr.ZIP_COMPRESSION, "type": exr.scanlineimage}
    exr.File(header, {"RGB": PIXELS}).write(str(path))
    assert (read_probe(path) == PIXELS).all()


@pytest.mark.parametrize(
    ("name", "content", "match"),
    [
        ("a.hdr", None, "file a.hdr must be a picture file that exists"),
        ("a.hdr", b"#?RADIANCE\n", "file a.hdr must be a Radiance HDR picture"),
        ("a.hdr", b"", "file a.hdr must be a Radiance HDR picture"),
        ("a.npy", b"nonsense", "file a.npy must be a NumPy array of numbers"),
        ("a.jpg", b"", r"file a.jpg must be a .hdr, .exr or .npy picture \(got .jpg\)"),
        ("a.exr", b"nonsense", "file a.exr must be an? "),
    ],
)
def test_what_is_no_probe_is_refused(tmp_path, assert_one_sentence, name, content, match):
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(ProfileError, match=match) as caught:
        read_probe(tmp_path / name)
    assert_one_sentence(caught.value)


@pytest.mark.parametrize(
    ("pixels", "match"),
    [
        (PIXELS[..., 0], "rows x columns x 3 channels"),
        (PIXELS[:0], "rows x columns x 3 channels"),
        (-PIXELS, "finite and not negative"),
        (PIXELS * np.nan, "finite and not negative"),
        (np.array(["a"]), "a NumPy array of numbers"),
        (np.array([{}], object), "a NumPy array of numbers"),
    ],
)
def test_arrays_that_are_no_light_are_refused(tmp_path, assert_one_sentence, pixels, match):
    np.save(tmp_path / "a.npy", pixels)
    with pytest.raises(ProfileError, match=match) as caught:
        read_probe(tmp_path / "a.npy")
    assert_one_sentence(caught.value)


def test_a_png_called_hdr_is_refused(tmp_path):
    assert cv2.imwrite(str(tmp_path / "a.png"), np.zeros((4, 4, 3), np.uint8))
    (tmp_path / "a.png").rename(tmp_path / "a.hdr")
    with pytest.raises(ProfileError, match="must be a Radiance HDR picture"):
        read_probe(tmp_path / "a.hdr")


def test_the_rig_carries_the_probe(tmp_path, rig_file, minimal):
    np.save(tmp_path / "sky.npy", PIXELS)
    text = minimal + '[room.probe]\nfile = "sky.npy"\nscale_cd_m2 = 40\nturn_deg = 180\n'
    probe = load_rig(rig_file(text)).rig.room.probe
    assert (probe.pixels == PIXELS).all()
    assert (probe.scale, probe.file) == (40, "sky.npy")
    assert probe.turn_rad == pytest.approx(np.pi, rel=1e-15)
