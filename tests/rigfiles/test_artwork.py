"""Foil artwork: PNG, SVG and pictures that are none."""

import io
import struct
import zlib
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np
import pytest
from child_work import artwork_or_refusal
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from lightplan.artwork.decode import refused
from lightplan.artwork.drawing import LONG_SIDE as SVG_LONG_SIDE
from lightplan.errors import ArtworkError
from lightplan.rigfiles import artwork, load_rig
from lightplan.rigfiles.artwork import read_artwork

PIXELS = np.array([[0, 51, 102], [153, 204, 255]], np.uint8)
SIZE = {"width_mm": 90, "height_mm": 60}
SQUARES = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 90 60">'
    '<rect x="0" y="0" width="45" height="30" fill="white"/>'
    '<rect x="45" y="30" width="45" height="30" fill="#808080"/></svg>'
)


def saved(path, picture, **options):
    picture.save(path, **options)
    return path


def test_grey_values_are_coverage_as_they_stand(tmp_path):
    values = read_artwork(saved(tmp_path / "a.png", Image.fromarray(PIXELS)), **SIZE)
    assert values == pytest.approx(PIXELS / 255, abs=1e-12)
    assert not values.flags.writeable


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "CMYK", "I;16", "F"])
def test_every_kind_of_picture_gives_white_foil_and_black_paper(tmp_path, mode):
    black_white = np.array([[0, 255, 0], [255, 0, 255]], np.uint8)
    picture = Image.fromarray(black_white)
    if mode == "I;16":
        picture = Image.fromarray(black_white.astype(np.uint16) * 257)
    elif mode == "F":
        picture = Image.fromarray(black_white.astype(np.float32) / 255)
    else:
        picture = picture.convert(mode)
    ending = "tif" if mode in ("CMYK", "F") else "png"
    values = read_artwork(saved(tmp_path / f"a.{ending}", picture), **SIZE)
    assert values == pytest.approx(black_white / 255, abs=1e-6)


def test_sixteen_bits_are_kept(tmp_path):
    picture = Image.fromarray(np.array([[0, 1000, 65535]], np.uint16))
    values = read_artwork(saved(tmp_path / "a.png", picture), width_mm=30, height_mm=10)
    assert values[0] == pytest.approx([0, 1000 / 65535, 1], abs=1e-12)


def test_see_through_parts_are_paper(tmp_path):
    pixels = np.full((2, 3, 4), 255, np.uint8)
    pixels[0, :, 3] = [0, 51, 255]
    values = read_artwork(saved(tmp_path / "a.png", Image.fromarray(pixels)), **SIZE)
    assert values[0] == pytest.approx([0, 0.2, 1], abs=1e-9)


def test_svg_is_drawn_white_on_paper(tmp_path):
    path = tmp_path / "a.svg"
    path.write_text(SQUARES)
    values = read_artwork(path, **SIZE)
    rows, cols = values.shape
    assert cols == SVG_LONG_SIDE
    assert rows == pytest.approx(SVG_LONG_SIDE * 60 / 90, abs=1)
    quarter = values[rows // 4, cols // 4], values[rows // 4, 3 * cols // 4]
    assert quarter == pytest.approx((1.0, 0.0), abs=1e-12)
    assert values[3 * rows // 4, 3 * cols // 4] == pytest.approx(128 / 255, abs=1e-9)
    assert values.mean() == pytest.approx((1 + 128 / 255) / 4, abs=2e-3)


def test_a_tall_svg_has_its_long_side_too(tmp_path):
    path = tmp_path / "a.svg"
    path.write_text(SQUARES.replace("0 0 90 60", "0 0 60 90"))
    assert read_artwork(path, width_mm=60, height_mm=90).shape[0] == SVG_LONG_SIDE


@pytest.mark.parametrize("box", ["0 0 1 1000000", "0 0 1e30 1", "0 0 1e-9 1e9"])
def test_a_drawing_of_an_absurd_shape_is_refused(tmp_path, assert_one_sentence, box):
    path = tmp_path / "a.svg"
    path.write_text(SQUARES.replace("0 0 90 60", box))
    with pytest.raises(ArtworkError, match=r"artwork a\.svg must be (shaped|an SVG)") as caught:
        read_artwork(path, **SIZE)
    assert_one_sentence(caught.value)


@pytest.mark.parametrize(
    ("name", "content", "match"),
    [
        ("a.png", None, "artwork a.png must be a picture file that exists"),
        ("a.png", b"", "artwork a.png must be a picture that can be read"),
        ("a.png", b"\x89PNG\r\n\x1a\nbroken", "artwork a.png must be a picture that can be read"),
        ("a.svg", b"<svg", "artwork a.svg must be an SVG drawing"),
        ("a.svg", b"\xff\xfe\x00", "artwork a.svg must be an SVG drawing"),
        ("a.svg", b"<html></html>", "artwork a.svg must be an SVG drawing"),
        ("a.pdf", b"%PDF-1.7", "artwork a.pdf must be a picture that can be read"),
    ],
)
def test_what_is_no_picture_is_refused(tmp_path, assert_one_sentence, name, content, match):
    if content is not None:
        (tmp_path / name).write_bytes(content)
    with pytest.raises(ArtworkError, match=match) as caught:
        read_artwork(tmp_path / name, **SIZE)
    assert_one_sentence(caught.value)


def test_another_shape_than_the_sheet_is_refused(tmp_path, assert_one_sentence):
    path = saved(tmp_path / "a.png", Image.fromarray(PIXELS))
    with pytest.raises(
        ArtworkError, match=r"shaped like the sheet, 60 x 90 mm \(got 3 x 2"
    ) as caught:
        read_artwork(path, width_mm=60, height_mm=90)
    assert_one_sentence(caught.value)
    assert read_artwork(path, width_mm=93, height_mm=60).shape == (2, 3)


@pytest.mark.parametrize("size", [(40_000, 30_000), (12_001, 9_001)])
def test_a_bomb_is_refused_before_it_is_unpacked(tmp_path, size, assert_one_sentence):
    path = tmp_path / "a.png"
    header = b"IHDR" + struct.pack(">IIBBBBB", *size, 1, 0, 0, 0, 0)
    chunk = struct.pack(">I", 13) + header + struct.pack(">I", zlib.crc32(header))
    data = struct.pack(">I", 0) + b"IDAT" + struct.pack(">I", zlib.crc32(b"IDAT"))
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + chunk + data)
    with pytest.raises(
        ArtworkError, match=r"artwork a\.png must be at most 12000 pixels"
    ) as caught:
        read_artwork(path, width_mm=40, height_mm=30)
    assert_one_sentence(caught.value)


@pytest.fixture(scope="module")
def one_process():
    """A process that decodes all the broken files of this module.

    A maker's files have one each; to begin it takes a hundred times as long as to refuse a file.
    """
    with ProcessPoolExecutor(1, get_context("spawn")) as process:
        yield process


def shares_or_refusal(path, process, assert_one_sentence):
    """The mean share of foil, or 0 when the picture is refused in one sentence."""

    def answered(file):
        found = process.submit(artwork_or_refusal, file).result()
        if isinstance(found, tuple):
            raise refused(file, *found)
        return found

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(artwork, "decoded_apart", answered)
        try:
            return float(read_artwork(path, **SIZE).mean())
        except ArtworkError as error:
            assert_one_sentence(error)
            return 0.0


@settings(max_examples=150, deadline=None)
@given(cut=st.integers(0, 400), place=st.integers(0, 400), byte=st.integers(0, 255))
def test_broken_pictures_are_read_or_refused(
    one_process, tmp_path_factory, assert_one_sentence, cut, place, byte
):
    stream = io.BytesIO()
    Image.fromarray(np.tile(PIXELS, (10, 10))).save(stream, "PNG")
    content = bytearray(stream.getvalue())
    content[place % len(content)] = byte
    path = tmp_path_factory.getbasetemp() / "broken.png"
    path.write_bytes(content[: len(content) - cut % len(content)])
    assert 0 <= shares_or_refusal(path, one_process, assert_one_sentence) <= 1


@settings(max_examples=50, deadline=None)
@given(place=st.integers(0, len(SQUARES)), removed=st.integers(0, 5), scrap=st.text(max_size=5))
def test_broken_drawings_are_read_or_refused(
    one_process, tmp_path_factory, assert_one_sentence, place, removed, scrap
):
    path = tmp_path_factory.getbasetemp() / "broken.svg"
    text = SQUARES[:place] + scrap + SQUARES[place + removed :]
    path.write_text(text, "utf-8", "replace")
    assert 0 <= shares_or_refusal(path, one_process, assert_one_sentence) <= 1


def test_the_rig_carries_the_picture_and_its_name(tmp_path, rig_file, minimal):
    saved(tmp_path / "tag.png", Image.new("L", (85, 55), 255))
    loaded = load_rig(rig_file(minimal.replace("55", '55\nartwork = "tag.png"')))
    assert loaded.rig.sheet.artwork.shape == (55, 85)
    assert loaded.rig.sheet.artwork_file == "tag.png"
    assert loaded.assets["tag.png"] == tmp_path / "tag.png"


def test_artwork_is_decoded_once_and_anew_when_its_file_has_changed(tmp_path, monkeypatch):
    # while a thing is dragged on the page, its rig file is read back at every save
    calls = []
    monkeypatch.setattr(
        artwork, "decoded_apart", lambda path: calls.append(path) or np.ones((60, 90))
    )
    path = tmp_path / "a.svg"
    path.write_text(SQUARES, "utf-8")
    for _ in range(3):
        read_artwork(path, **SIZE)
    assert len(calls) == 1
    path.write_text(SQUARES.replace("white", "black"), "utf-8")  # of the same length
    read_artwork(path, **SIZE)
    assert len(calls) == 2
