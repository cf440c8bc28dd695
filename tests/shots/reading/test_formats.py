"""Every kind of file, orientation, depth and profile into linear light."""

from __future__ import annotations

import struct
import zlib

import colour
import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image

from lightplan.shots.formats import icc
from lightplan.shots.formats.reading import read_shot, turn

GAMMA_22 = b"curv\0\0\0\0" + struct.pack(">IH", 1, 563) + b"\0\0"
SRGB = colour.models.eotf_sRGB


def to_linear(codes: np.ndarray) -> np.ndarray:
    return np.asarray(SRGB(codes / np.iinfo(codes.dtype).max))


@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_lossless_eight_bits_give_the_standards_linear_light(tmp_path, save, astronaut, suffix):
    shot = read_shot(save(tmp_path / f"gift_tag.{suffix}", astronaut))
    np.testing.assert_allclose(shot.linear, to_linear(astronaut), atol=1e-6)
    np.testing.assert_array_equal(shot.clipped, astronaut == 255)
    assert (shot.bits, shot.lossy, shot.profile) == (8, False, "sRGB")


@pytest.mark.parametrize("suffix", ["png", "tif"])
def test_lossless_sixteen_bits_keep_every_bit(tmp_path, suffix):
    codes = np.random.default_rng(1).integers(0, 65536, (80, 90, 3)).astype(np.uint16)
    path = tmp_path / f"deep.{suffix}"
    cv2.imwrite(str(path), codes[..., ::-1])
    shot = read_shot(path)
    np.testing.assert_array_equal(shot.encoded, codes)
    np.testing.assert_allclose(shot.linear, to_linear(codes), atol=1e-6)
    np.testing.assert_array_equal(shot.clipped, codes == 65535)
    assert shot.bits == 16


def test_jpeg_agrees_with_an_independent_decoder(tmp_path, save, astronaut):
    path = save(tmp_path / "card.jpg", astronaut, quality=95)
    theirs = np.asarray(Image.open(path))
    shot = read_shot(path)
    assert np.abs(shot.encoded.astype(int) - theirs).max() <= 1
    np.testing.assert_array_equal(shot.clipped, shot.encoded >= 254)
    assert shot.lossy


@pytest.mark.parametrize("mode", ["L", "CMYK"])
def test_jpeg_of_other_channels(tmp_path, save, astronaut, mode):
    path = save(tmp_path / "other.jpg", astronaut, mode=mode, quality=98)
    theirs = np.asarray(Image.open(path).convert("RGB"))
    shot = read_shot(path)
    assert shot.encoded.shape == theirs.shape
    assert np.abs(shot.encoded.astype(int) - theirs).max() <= 1


def test_cmyk_counts_as_clipped_where_no_ink_is_laid(tmp_path):
    ink = np.full((80, 80, 4), 90, np.uint8)
    ink[:40, :, 0] = 0  # no cyan in the upper half,
    ink[:, :, 3] = 0  # no black anywhere
    path = tmp_path / "press.tif"
    Image.fromarray(ink, "CMYK").save(path)
    clipped = read_shot(path).clipped
    assert clipped[:40, :, 0].all()
    assert not clipped[40:].any()
    assert not clipped[..., 1:].any()


def test_heic_from_our_own_encoder_comes_back(tmp_path, astronaut):
    heif = pytest.importorskip("pillow_heif")
    path = tmp_path / "phone.heic"
    try:
        heif.encode("RGB", (512, 512), astronaut.tobytes(), str(path), quality=100, chroma=444)
    except (RuntimeError, OSError) as error:
        pytest.skip(f"this build of libheif has no encoder: {error}")
    shot = read_shot(path)
    assert shot.format == "HEIF"
    assert np.abs(shot.encoded.astype(int) - astronaut).mean() < 1.5
    assert np.abs(shot.linear - to_linear(astronaut)).mean() < 0.01


def write_dng(
    path, mosaic: np.ndarray, *, white: int, orientation: int = 1, told: bool = True
) -> None:
    """Write the smallest DNG 1.4 that LibRaw takes: Bayer RGGB, linear, identity colours."""
    xyz_to_camera = np.linalg.inv(colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ)
    fractions = [(round(v * 10000), 10000) for v in xyz_to_camera.ravel()]
    flat = [n for pair in fractions for n in pair]
    tifffile.imwrite(
        path, mosaic, photometric="CFA", planarconfig=None,
        extratags=[
            (274, "H", 1, orientation, True),
            (33421, "H", 2, (2, 2), True), (33422, "B", 4, bytes([0, 1, 1, 2]), True),
            (50706, "B", 4, bytes([1, 4, 0, 0]), True), (50708, "s", 0, "Press Camera", True),
            (50714, "H", 1, 0, True), (50717, "H", 1, white, True),
            (50721, "2i", 9, flat, True), (50728, "2I", 3, (1, 1, 1, 1, 1, 1), True),
            (50778, "H", 1, 21, True),
            *([(33437, "2I", 1, (8, 1), True), (33434, "2I", 1, (1, 125), True)] if told else []),
        ],
    )  # fmt: skip


def test_raw_is_linear_and_clips_where_the_sensor_did(tmp_path):
    rows, cols, white = 256, 384, 4095
    ramp = np.tile(np.linspace(0.02, 1.3, cols), (rows, 1))
    mosaic = np.minimum(np.rint(ramp * white), white).astype(np.uint16)
    path = tmp_path / "sensor.dng"
    write_dng(path, mosaic, white=white)
    shot = read_shot(path)
    assert (shot.format, shot.rows, shot.cols) == ("raw", rows, cols)
    inner = (slice(8, -8), slice(8, int(cols * 0.72)))
    wanted = np.repeat(ramp[inner][..., None], 3, axis=2)
    np.testing.assert_allclose(shot.linear[inner], wanted, rtol=0.01, atol=0.002)
    full = mosaic >= white
    first = np.argmax(full[0])
    assert not shot.clipped[:, : first - 2].any()
    assert shot.clipped[:, first + 2 :].all()
    assert (shot.settings.f_number, shot.settings.time_s) == (8.0, 1 / 125)


def test_raw_that_tells_no_exposure(tmp_path):
    path = tmp_path / "silent.dng"
    ramp = np.tile(np.arange(200, dtype=np.uint16) * 10, (100, 1))
    write_dng(path, ramp, white=4095, told=False)
    settings = read_shot(path).settings
    assert (settings.f_number, settings.time_s, settings.iso) == (None, None, None)


def test_raw_at_half_size_and_turned(tmp_path):
    mosaic = np.full((200, 300), 400, np.uint16)
    mosaic[:60, :60] = 3000  # a bright patch in the stored top left corner
    path = tmp_path / "half.dng"
    write_dng(path, mosaic, white=4095, orientation=6)
    shot = read_shot(path, long_side_px=150)
    assert (shot.rows, shot.cols, shot.reduction) == (150, 100, 2)
    assert (shot.file_rows, shot.file_cols) == (300, 200)
    assert shot.linear[5:25, -25:-5].min() > 3 * shot.linear[60:, :60].max()


def test_the_same_photograph_in_adobe_rgb_and_srgb_is_the_same_light(tmp_path, make_icc, astronaut):
    linear = to_linear(astronaut) * 0.96
    to_adobe = colour.matrix_RGB_to_RGB(
        colour.RGB_COLOURSPACES["sRGB"], colour.RGB_COLOURSPACES["Adobe RGB (1998)"]
    )
    adobe = np.clip(linear @ to_adobe.T, 0, 1) ** (256 / 563)
    plain = np.asarray(colour.models.eotf_inverse_sRGB(linear))
    first, second = tmp_path / "srgb.png", tmp_path / "adobe.png"
    cv2.imwrite(str(first), np.rint(plain * 65535).astype(np.uint16)[..., ::-1])
    cv2.imwrite(str(second), np.rint(adobe * 65535).astype(np.uint16)[..., ::-1])
    add_chunk(second, b"iCCP", b"x\0\0" + zlib.compress(make_icc(icc.ADOBE_D50, [GAMMA_22] * 3)))
    one, two = read_shot(first), read_shot(second)
    assert (one.profile, two.profile) == ("sRGB", "Adobe RGB (1998)")
    np.testing.assert_allclose(one.linear, two.linear, atol=6e-4)
    # ignoring the profile would be wrong by far more
    assert np.abs(to_linear(two.encoded) - one.linear).max() > 0.1


def add_chunk(path, name: bytes, body: bytes) -> None:
    """Insert a chunk after the header of a PNG file (33 bytes)."""
    raw = path.read_bytes()
    chunk = struct.pack(">I", len(body)) + name + body
    chunk += struct.pack(">I", zlib.crc32(name + body))
    path.write_bytes(raw[:33] + chunk + raw[33:])


def test_rotated_profile_puts_the_channels_back(tmp_path, save, make_icc, astronaut):
    order = [1, 2, 0]
    srgb = b"para\0\0\0\0" + struct.pack(
        ">HH5i",
        3,
        0,
        *[round(v * 65536) for v in (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)],
    )
    profile = make_icc(icc.SRGB_D50[:, order], [srgb] * 3)
    path = save(
        tmp_path / "rotated.png", np.ascontiguousarray(astronaut[..., order]), icc_profile=profile
    )
    np.testing.assert_allclose(read_shot(path).linear, to_linear(astronaut), atol=1e-3)


def test_gamma_of_a_png_without_profile(tmp_path, save, astronaut):
    path = save(tmp_path / "linear.png", astronaut)
    add_chunk(path, b"gAMA", struct.pack(">I", 100000))
    np.testing.assert_allclose(read_shot(path).linear, astronaut / 255, atol=1e-6)


def test_transparent_pixels_are_marked_and_black(tmp_path, save, astronaut):
    alpha = np.full((512, 512, 1), 255, np.uint8)
    alpha[:100] = 0
    path = save(tmp_path / "cut_out.png", np.concatenate([astronaut, alpha], axis=-1))
    shot = read_shot(path)
    assert shot.opaque is not None
    assert not shot.opaque[:100].any()
    assert shot.opaque[100:].all()
    assert not shot.linear[:100].any()
    np.testing.assert_array_equal(shot.encoded[100:], astronaut[100:])


def test_float_tiff_counts_as_linear_light(tmp_path):
    light = np.random.default_rng(2).random((70, 80, 3)).astype(np.float32) * 1.5
    path = tmp_path / "linear.tif"
    tifffile.imwrite(path, light, photometric="rgb")
    shot = read_shot(path)
    np.testing.assert_array_equal(shot.linear, light)
    np.testing.assert_array_equal(shot.clipped, light >= 1)


@pytest.mark.parametrize("compression", [None, "zlib"])
@pytest.mark.parametrize("tile", [None, (32, 32)])
def test_tiff_strips_tiles_and_compressions(tmp_path, astronaut, compression, tile):
    codes = astronaut.astype(np.uint16) * 257
    path = tmp_path / "scan.tif"
    tifffile.imwrite(path, codes, photometric="rgb", compression=compression, tile=tile)
    np.testing.assert_array_equal(read_shot(path).encoded, codes)


@pytest.mark.parametrize("orientation", range(9))
@pytest.mark.parametrize("suffix", ["jpg", "png", "tif"])
def test_every_orientation_is_turned_upright(tmp_path, save, astronaut, orientation, suffix):
    upright = np.ascontiguousarray(astronaut[:300])  # not square
    undo = {6: 8, 8: 6}.get(orientation, orientation)
    stored = np.ascontiguousarray(turn(upright, undo))
    exif = Image.Exif()
    exif[0x0112] = orientation
    options = {"quality": 97, "subsampling": 0} if suffix == "jpg" else {}
    shot = read_shot(save(tmp_path / f"t.{suffix}", stored, exif=exif.tobytes(), **options))
    assert (shot.rows, shot.cols) == (300, 512) == (shot.file_rows, shot.file_cols)
    assert np.abs(shot.encoded.astype(int) - upright).mean() < 2.0
    assert shot.settings.orientation == (orientation if 1 <= orientation <= 8 else 1)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_turning_matches_pillow(orientation):
    pixels = np.arange(24, dtype=np.uint8).reshape(2, 4, 3)
    picture = Image.fromarray(pixels)
    picture.getexif()[0x0112] = orientation
    from PIL import ImageOps

    theirs = np.asarray(ImageOps.exif_transpose(picture))
    np.testing.assert_array_equal(turn(pixels, orientation), theirs)


def test_adobe_rgb_announced_only_by_the_interoperability_index(tmp_path, save, astronaut):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA001] = 65535
    exif.get_ifd(0x8769)[0xA005] = {1: "R03"}
    path = save(tmp_path / "dcf.jpg", astronaut, exif=exif.tobytes())
    assert read_shot(path).profile == "Adobe RGB (1998)"


@pytest.mark.parametrize(
    ("wanted", "reduction"), [(None, 1), (400, 1), (256, 2), (128, 4), (100, 4), (10, 8)]
)
def test_a_jpeg_is_halved_while_enough_pixels_remain(tmp_path, save, astronaut, wanted, reduction):
    path = save(tmp_path / "small.jpg", astronaut, quality=95)
    shot = read_shot(path, long_side_px=wanted)
    assert shot.reduction == reduction
    assert shot.rows == 512 // reduction
    whole = cv2.resize(
        read_shot(path).encoded, (shot.cols, shot.rows), interpolation=cv2.INTER_AREA
    )
    assert np.abs(shot.encoded.astype(int) - whole).mean() < 2.5


def test_windows_equal_the_whole(tmp_path, save, astronaut):
    shot = read_shot(save(tmp_path / "w.png", astronaut))
    window = (slice(10, 60), slice(100, 180))
    np.testing.assert_array_equal(shot.linear_part(*window), shot.linear[window])
    np.testing.assert_array_equal(shot.clipped_part(*window), shot.clipped[window])
    assert max(shot.preview(100).shape) == 100


def test_results_cannot_be_written_to(tmp_path, save, astronaut):
    shot = read_shot(save(tmp_path / "w.png", astronaut))
    for array in (shot.encoded, shot.linear, shot.clipped):
        with pytest.raises(ValueError, match="read-only"):
            array[0, 0, 0] = 1
