"""Artwork that is made to break what reads it."""

import gzip
import struct
import subprocess
import sys
import time
import zlib

import numpy as np
import pytest
from PIL import Image

from lightplan.artwork.apart import is_small_png
from lightplan.errors import ArtworkError
from lightplan.rigfiles.artwork import read_artwork
from lightplan.tasks.foil_artwork import mask_of_file, read_any_artwork

SIZE = {"width_mm": 90, "height_mm": 60}
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
HEAD += 'viewBox="0 0 90 60">'
RECT = '<rect width="90" height="60" fill="white"/>'


def uses(levels):
    """A drawing that draws ten times what it drew ten times."""
    parts = [f'<g id="a0">{RECT}</g>']
    for level in range(1, levels):
        again = f'<use xlink:href="#a{level - 1}"/>' * 10
        parts.append(f'<g id="a{level}">{again}</g>')
    return HEAD + "<defs>" + "".join(parts) + f'</defs><use xlink:href="#a{levels - 1}"/></svg>'


DRAWINGS = {
    "script": (HEAD + f"<script>x</script>{RECT}</svg>", "a script in it"),
    "turbulence": (
        HEAD + '<filter id="f"><feTurbulence baseFrequency="9" numOctaves="99999"/></filter>'
        f'<g filter="url(#f)">{RECT}</g></svg>',
        "the filter feTurbulence",
    ),
    "nested": (HEAD + "<g>" * 100_000 + RECT + "</g>" * 100_000 + "</svg>", "more than 200 deep"),
    "outside": (HEAD + '<image href="/etc/passwd" width="9" height="9"/></svg>', "another file"),
    "outside by link": (
        HEAD + '<image xlink:href="http://example.org/a.png" width="9" height="9"/></svg>',
        "another file",
    ),
    "many": (HEAD + "<g/>" * 200_001 + "</svg>", "more than 200000 parts"),
    "again and again": (uses(12), "must be"),
    "entities": (
        '<!DOCTYPE svg [<!ENTITY a "'
        + "x" * 1000
        + '">'
        + "".join(
            f'<!ENTITY {chr(98 + i)} "{"&" + chr(97 + i) + ";"}{("&" + chr(97 + i) + ";") * 9}">'
            for i in range(9)
        )
        + "]>"
        + HEAD
        + "<title>&j;</title></svg>",
        "must be",
    ),
}


@pytest.mark.parametrize("name", DRAWINGS)
def test_drawings_that_would_never_end_are_refused_in_time(tmp_path, name):
    text, says = DRAWINGS[name]
    path = tmp_path / "a.svg"
    path.write_text(text)
    begun = time.monotonic()
    with pytest.raises(ArtworkError, match=says):
        read_artwork(path, **SIZE)
    assert time.monotonic() - begun < 60


@pytest.mark.parametrize("name", ["script", "turbulence", "nested", "outside"])
def test_artwork_that_is_dropped_to_be_pointed_at_meets_the_same_limits(name):
    """A hundred thousand groups ended the process of the page itself."""
    text, says = DRAWINGS[name]
    with pytest.raises(ArtworkError, match=rf"^drop\.svg: artwork must be.*{says}"):
        read_any_artwork(text.encode(), ".svg", "drop.svg")


def test_of_a_large_drop_no_more_is_kept_than_is_shown(tmp_path):
    path = tmp_path / "large.png"
    Image.new("1", (9000, 6000), 1).save(path)
    found = read_any_artwork(path.read_bytes(), ".png", "large.png")
    assert found.codes.shape == (1067, 1600, 3)
    Image.new("1", (12001, 10), 1).save(path)
    with pytest.raises(ArtworkError, match="at most 12000 pixels long"):
        read_any_artwork(path.read_bytes(), ".png", "large.png")


def test_a_file_beyond_all_bounds_is_not_even_read(tmp_path):
    path = tmp_path / "endless.svg"
    with path.open("wb") as file:
        file.truncate(65_000_000)
    with pytest.raises(ArtworkError, match="below 64 MB"):
        mask_of_file(path, colour=None, **SIZE)


def test_a_packed_bomb_is_refused(tmp_path):
    path = tmp_path / "a.svgz"
    path.write_bytes(gzip.compress(HEAD.encode() + b" " * (40 << 20), 1))
    with pytest.raises(ArtworkError, match="more than 32 MB of text"):
        read_artwork(path, **SIZE)


def test_a_usual_drawing_is_drawn(tmp_path):
    blur = '<filter id="f"><feGaussianBlur stdDeviation="1"/></filter>'
    text = "\ufeff" + HEAD + f'{blur}<g filter="url(#f)">{RECT}</g></svg>'
    path = tmp_path / "a.svgz"
    path.write_bytes(gzip.compress(text.encode("utf-8")))
    assert read_artwork(path, **SIZE)[500, 800] == 1.0


AFRESH = """
import resource, sys
from pathlib import Path
import numpy as np
from lightplan.rigfiles.artwork import read_artwork

np.save(sys.argv[2], read_artwork(Path(sys.argv[1]), width_mm=120, height_mm=90))
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""


def read_afresh(path, kept):
    """Return what the reading child took at most, in KiB, and what it read.

    The system tells the largest of all children that a process ever had, so the process that
    is asked must be one that had no other.
    """
    command = [sys.executable, "-c", AFRESH, str(path), str(kept)]
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return int(said), np.load(kept)


@pytest.mark.slow
def test_a_large_bitmap_is_read_in_little_memory(tmp_path):
    """9000 x 12000 one-bit pixels took 6 GB; the child that reads it now may take 1 GB."""
    rows, cols = 9000, 12000
    line = b"\0" + b"\xff" * (cols // 16) + b"\0" * (cols // 16) + b"\0" * (cols // 8 % 2)
    path = tmp_path / "a.png"

    def chunk(kind, body):
        data = kind + body
        return struct.pack(">I", len(body)) + data + struct.pack(">I", zlib.crc32(data))

    head = struct.pack(">IIBBBBB", cols, rows, 1, 0, 0, 0, 0)
    pixels = zlib.compress(line[: 1 + cols // 8] * rows)
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", pixels) + chunk(b"IEND", b"")
    )
    taken_kib, values = read_afresh(path, tmp_path / "values.npy")
    assert max(values.shape) <= 4096
    assert values[:, :1990].min() == 1.0
    assert values[:, 2010:].max() == 0.0
    assert values.mean() == pytest.approx(0.5, abs=1e-3)  # averaging keeps the share of foil
    assert 50 << 10 < taken_kib < 1200 << 10  # a bare interpreter with numpy takes 30 MB


def test_only_what_says_that_it_is_small_is_read_here(tmp_path):
    small, large = tmp_path / "a.png", tmp_path / "b.png"
    Image.new("L", (30, 20), 255).save(small)
    Image.new("1", (3000, 2000), 1).save(large)
    other = tmp_path / "c.png"
    Image.new("L", (30, 20), 255).save(other, "jpeg")
    assert [is_small_png(p) for p in (small, large, other)] == [True, False, False]
    assert np.ptp(read_artwork(large, **SIZE)) == 0.0


def test_artwork_that_may_not_be_read_is_told(tmp_path, monkeypatch):
    path = tmp_path / "a.png"
    Image.new("L", (30, 20), 255).save(path)

    def refuse(*_):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr("lightplan.rigfiles.artwork.is_small_png", refuse)
    with pytest.raises(ArtworkError, match="Permission denied"):
        read_artwork(path, **SIZE)
