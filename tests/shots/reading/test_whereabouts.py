"""Photographs that are kept tell no place; what they tell otherwise, and show, stays.

Written and read by Pillow and pillow-heif, which know nothing of ours.
"""

import io

import numpy as np
import pillow_heif
import pytest
from PIL import Image
from PIL.ExifTags import IFD, Base

from lightplan.session.folders import keep_photograph
from lightplan.shots.formats.whereabouts import without_place

pillow_heif.register_heif_opener()
NORTH, EAST = (48.0, 12.0, 30.5), (16.0, 22.0, 11.25)
XMP = (
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF><rdf:Description exif:GPSLatitude="48,12.5N"'
    b' dc:title="tag"><exif:GPSLongitude>16,22.2E</exif:GPSLongitude></rdf:Description></rdf:RDF>'
    b"</x:xmpmeta>"
)


def photographed(form: str) -> bytes:
    """Return a picture as a phone writes it, with its place."""
    grain = np.random.default_rng(3).integers(0, 255, (48, 64, 3), np.uint8)
    file = io.BytesIO()
    Image.fromarray(grain).save(file, form, exif=facts())
    return file.getvalue()


def facts() -> Image.Exif:
    exif = Image.Exif()
    exif[Base.Make] = "a phone"
    exif.get_ifd(IFD.Exif)[Base.FNumber] = 1.8
    exif.get_ifd(IFD.GPSInfo).update({1: "N", 2: NORTH, 3: "E", 4: EAST, 29: "2026:11:28"})
    return exif


def read(data: bytes):
    with Image.open(io.BytesIO(data)) as picture:
        exif = picture.getexif()
        return np.asarray(picture), exif, exif.get_ifd(IFD.GPSInfo)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "HEIF"])
def test_the_place_is_gone_and_all_else_is_there(form):
    data = photographed(form)
    before, _, place = read(data)
    assert place[2] == NORTH, "the picture told where it was taken"
    after, exif, left = read(without_place(data))
    assert set(left) <= {0}  # the version of the directory
    np.testing.assert_array_equal(after, before)
    assert exif[Base.Make] == "a phone"
    assert float(exif.get_ifd(IFD.Exif)[Base.FNumber]) == pytest.approx(1.8)
    assert len(without_place(data)) == len(data)
    assert b"2026:11:28" not in without_place(data)


def test_of_a_bare_structure_as_raw_files_are_the_place_is_gone():
    structure = facts().tobytes()[len(b"Exif\0\0") :]
    exif = Image.Exif()
    exif.load(b"Exif\0\0" + without_place(structure))
    assert set(exif.get_ifd(IFD.GPSInfo)) <= {0}
    assert exif[Base.Make] == "a phone"


def test_a_place_in_words_is_gone_too():
    file = io.BytesIO()
    Image.new("RGB", (8, 8)).save(file, "JPEG", xmp=XMP)
    told = without_place(file.getvalue())
    assert b"48,12" not in told
    assert b"16,22" not in told
    assert b'dc:title="tag"' in told


@pytest.mark.parametrize("data", [b"", b"II*\0", b"MM\0*\0\0\0\x08\xff\xff", b"no picture" * 99])
def test_whatever_tells_no_place_comes_back_as_it_is(data):
    assert without_place(data) == data


def test_damaged_directories_never_break_it():
    data = photographed("JPEG")
    rng = np.random.default_rng(1)
    for _ in range(300):
        broken = bytearray(data)
        for at in rng.integers(0, 400, 8):
            broken[at] = rng.integers(0, 256)
        assert len(without_place(bytes(broken))) == len(data)


def test_what_is_dropped_on_the_page_is_kept_without_its_place(tmp_path):
    data = photographed("JPEG")
    path = keep_photograph(tmp_path, "tag.jpg", data)
    assert set(read(path.read_bytes())[2]) <= {0}
    assert keep_photograph(tmp_path, "tag.jpg", data) == path  # not twice
