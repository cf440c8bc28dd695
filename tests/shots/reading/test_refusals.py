"""What is no photograph, or only part of one, is refused in one sentence by name."""

from __future__ import annotations

import io
import struct
import zlib

import cv2
import numpy as np
import pytest
from PIL import Image

from lightplan.errors import PhotoError
from lightplan.shots.formats.reading import is_photograph, read_shot


def jpeg_bytes(pixels: np.ndarray, **options: object) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "jpeg", **options)
    return buffer.getvalue()


@pytest.mark.parametrize("share", [0.05, 0.3, 0.6, 0.95, 0.999])
@pytest.mark.parametrize("progressive", [False, True])
def test_a_jpeg_cut_short(tmp_path, astronaut, share, progressive):
    raw = jpeg_bytes(astronaut, quality=90, progressive=progressive)
    path = tmp_path / "foil_card.jpg"
    path.write_bytes(raw[: int(len(raw) * share)])
    with pytest.raises(PhotoError, match=r"^foil_card\.jpg: the file must be complete \(got"):
        read_shot(path)


@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
@pytest.mark.parametrize("long_side_px", [None, 64, 256])
def test_grey_filler_is_seen_even_behind_an_end_mark(tmp_path, astronaut, share, long_side_px):
    raw = jpeg_bytes(astronaut, quality=90)
    path = tmp_path / "filled.jpg"
    path.write_bytes(raw[: int(len(raw) * share)] + b"\xff\xd9")
    # the trap: OpenCV returns a picture with flat grey below
    filled = cv2.imread(str(path))
    assert (filled[-1] == 128).all()
    with pytest.raises(PhotoError, match="lower part is missing"):
        read_shot(path, long_side_px=long_side_px)


def test_a_real_grey_foreground_is_no_filler(tmp_path, astronaut):
    picture = astronaut.copy()
    picture[256:] = 128
    path = tmp_path / "grey_table.jpg"
    path.write_bytes(jpeg_bytes(picture, quality=90))
    assert (read_shot(path).encoded[-1] == 128).all()


@pytest.mark.parametrize("share", [0.1, 0.5, 0.99])
@pytest.mark.parametrize("kind", ["png", "tiff"])
def test_lossless_files_cut_short(tmp_path, astronaut, share, kind):
    buffer = io.BytesIO()
    Image.fromarray(astronaut).save(buffer, kind)
    raw = buffer.getvalue()
    path = tmp_path / f"cut.{kind}"
    path.write_bytes(raw[: int(len(raw) * share)])
    with pytest.raises(PhotoError, match=rf"^cut\.{kind}: "):
        read_shot(path)


def test_a_png_with_one_wrong_byte(tmp_path, astronaut):
    buffer = io.BytesIO()
    Image.fromarray(astronaut).save(buffer, "png")
    raw = bytearray(buffer.getvalue())
    raw[len(raw) // 2] ^= 1
    path = tmp_path / "flipped.png"
    path.write_bytes(raw)
    with pytest.raises(PhotoError, match="its checksum is wrong"):
        read_shot(path)


def bomb(cols: int, rows: int) -> bytes:
    """Return a PNG of a few hundred bytes that announces a huge picture."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        )

    header = struct.pack(">IIBBBBB", cols, rows, 8, 2, 0, 0, 0)
    body = zlib.compress(b"\0" * 100_000)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")
    )


def test_a_decompression_bomb_is_refused_before_it_is_decoded(tmp_path):
    path = tmp_path / "bomb.png"
    path.write_bytes(bomb(60_000, 60_000))
    with pytest.raises(PhotoError, match=r"at most 250 megapixels \(got 60000 x 60000 pixels\)"):
        read_shot(path)


def test_a_jpeg_header_that_lies_about_its_size(tmp_path, astronaut):
    raw = bytearray(jpeg_bytes(astronaut))
    at = raw.find(b"\xff\xc0")
    raw[at + 5 : at + 9] = struct.pack(">HH", 65500, 65500)
    path = tmp_path / "lie.jpg"
    path.write_bytes(raw)
    with pytest.raises(PhotoError, match="at most 250 megapixels"):
        read_shot(path)


def test_own_limits(tmp_path, save, astronaut):
    path = save(tmp_path / "a.png", astronaut)
    with pytest.raises(PhotoError, match="at most 0 megapixels"):
        read_shot(path, max_pixels=1000)
    with pytest.raises(PhotoError, match="file size must be at most"):
        read_shot(path, max_bytes=1000)


@pytest.mark.parametrize("noise", [0, 2])
@pytest.mark.parametrize("suffix", ["png", "jpg"])
def test_an_all_black_frame(tmp_path, save, noise, suffix):
    pixels = np.random.default_rng(0).integers(0, noise + 1, (200, 300, 3), np.uint8)
    with pytest.raises(PhotoError, match=r"must be lit \(got an all-black frame\)"):
        read_shot(save(tmp_path / f"cap.{suffix}", pixels))


def test_a_night_picture_is_not_black(tmp_path, save):
    pixels = np.zeros((200, 300, 3), np.uint8)
    pixels[80:120, 100:200] = 40
    assert read_shot(save(tmp_path / "night.png", pixels)).linear.max() > 0.02


@pytest.mark.parametrize("level", [60, 128, 255])
def test_one_flat_colour(tmp_path, save, level):
    pixels = np.full((200, 300, 3), level, np.uint8)
    with pytest.raises(PhotoError, match="one flat colour"):
        read_shot(save(tmp_path / "flat.png", pixels))


def test_a_preview_stub(tmp_path, save, astronaut):
    path = save(tmp_path / "stub.png", np.ascontiguousarray(astronaut[:8, :8]))
    with pytest.raises(PhotoError, match=r"at least 64 pixels each way \(got 8 x 8"):
        read_shot(path)


@pytest.mark.parametrize(
    ("name", "content", "match"),
    [
        ("empty.jpg", b"", "an empty file"),
        ("notes.jpg", b"Dear press room, " * 40, "another kind under a name with .jpg"),
        ("page.gif", b"GIF89a" + b"\0" * 50, "a .gif file"),
        ("stub.dng", b"II*\0\x08\0\0\0" + b"\0" * 400, "damaged raw data"),
        ("stub.nef", b"\0" * 4000, "damaged raw data"),
        ("stub.tif", b"II*\0\x08\0\0\0\0\0", "the file must be"),
        ("stub.heic", b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "damaged HEIF data"),
        ("stub.jpg", b"\xff\xd8\xff\xd9", "must be"),
        ("head.jpg", b"\xff\xd8\xff\xe0\0\x10JFIF", "ends? in the header"),
    ],
)
def test_stubs_and_strangers(tmp_path, name, content, match):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(PhotoError, match=match) as refusal:
        read_shot(path)
    assert str(refusal.value).startswith(f"{name}: ")
    assert str(refusal.value).count("\n") == 0


def test_a_missing_file_and_a_folder(tmp_path):
    with pytest.raises(PhotoError, match=r"^gone\.jpg: .*no such file"):
        read_shot(tmp_path / "gone.jpg")
    with pytest.raises(PhotoError, match="got a folder"):
        read_shot(tmp_path)


def test_twelve_bit_jpeg_is_named(tmp_path, astronaut):
    raw = bytearray(jpeg_bytes(astronaut))
    at = raw.find(b"\xff\xc0")
    raw[at + 1], raw[at + 4] = 0xC1, 12
    path = tmp_path / "deep.jpg"
    path.write_bytes(raw)
    with pytest.raises(PhotoError, match="a 12-bit JPEG"):
        read_shot(path)


@pytest.mark.parametrize(
    ("name", "answer"),
    [("A.JPG", True), ("b.HEIC", True), ("c.cr2", True), ("d.txt", False), ("._e.jpg", False)],
)
def test_names_of_photographs(name, answer):
    assert is_photograph(name) is answer
