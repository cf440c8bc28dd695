"""Photographs made on the spot, and an ICC profile writer of our own."""

from __future__ import annotations

import io
import struct
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image
from skimage import data

if TYPE_CHECKING:
    from collections.abc import Callable


def _tag(name: bytes, body: bytes) -> tuple[bytes, bytes]:
    return name, body + b"\0" * (-len(body) % 4)


def _xyz(values: np.ndarray) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *np.rint(np.asarray(values) * 65536).astype(int))


def _text(words: str) -> bytes:
    raw = words.encode("ascii") + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(raw)) + raw + b"\0" * 78


def write_icc(colorants: np.ndarray, curves: list[bytes], title: str = "test") -> bytes:
    """Return a version 2/4 monitor profile (ICC.1:2022, clause 7 and 8.4)."""
    tags = [
        _tag(b"desc", _text(title)),
        _tag(b"cprt", b"text\0\0\0\0none\0"),
        _tag(b"wtpt", _xyz(np.array([0.9642, 1.0, 0.8249]))),
        *[_tag(f"{c}XYZ".encode(), _xyz(colorants[:, i])) for i, c in enumerate("rgb")],
        *[_tag(f"{c}TRC".encode(), curves[i]) for i, c in enumerate("rgb")],
    ]
    table, bodies, at = b"", b"", 132 + 12 * len(tags)
    for name, body in tags:
        table += struct.pack(">4sII", name, at + len(bodies), len(body))
        bodies += body
    header = struct.pack(">I4sI4s4s4s", 0, b"lcms", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H", 2024, 1, 1, 0, 0, 0) + b"acsp" + b"\0" * 24
    header += b"\0" * 4 + struct.pack(">3i", 63190, 65536, 54061) + b"\0" * 48
    whole = header + struct.pack(">I", len(tags)) + table + bodies
    return struct.pack(">I", len(whole)) + whole[4:]


@pytest.fixture(scope="session")
def make_icc() -> Callable[..., bytes]:
    return write_icc


@pytest.fixture(scope="session")
def astronaut() -> np.ndarray:
    """A photograph carried by scikit-image, (512, 512, 3) uint8."""
    return np.asarray(data.astronaut())


@pytest.fixture(scope="session")
def save() -> Callable[..., Path]:
    """Write a picture through Pillow."""

    def write(path: Path, pixels: np.ndarray, **options: object) -> Path:
        buffer = io.BytesIO()
        kind = options.pop("format", path.suffix[1:].replace("jpg", "jpeg").replace("tif", "tiff"))
        kind = "tiff" if kind == "tifff" else kind
        mode = options.pop("mode", None)
        picture = Image.fromarray(pixels)
        (picture.convert(mode) if mode else picture).save(buffer, kind, **options)
        path.write_bytes(buffer.getvalue())
        return path

    return write


@pytest.fixture(scope="session")
def shared_photos() -> Path:
    """The folder of real pictures beside the checkout; the tests skip without it."""
    folder = Path(__file__).parents[3] / ".." / "shared" / "photos"
    if not folder.is_dir():
        pytest.skip("the real test pictures (../shared/photos) are not on this machine")
    return folder
