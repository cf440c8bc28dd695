"""Artwork decoded in a process of its own, which may take so much memory and time and no more.

A drawing can be made to nest, to repeat and to filter without end, and a decoder can crash.
Here that costs a process that nobody misses, and the maker gets a sentence.
"""

from __future__ import annotations

import os
import struct
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lightplan.artwork import coloured
from lightplan.artwork.coloured import Coloured
from lightplan.artwork.decode import decoded, refused
from lightplan.errors import ArtworkError
from lightplan.process import THREAD_SETTINGS, limit_memory, python_that_runs

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

MEMORY_BYTES = 1 << 30
TIME_S = 20.0
_PROGRAM = "from lightplan.artwork.apart import main; main()"
_WANTED = f"one that is read within {MEMORY_BYTES >> 20} MB"
_CURE = "save it smaller, as a grey PNG"
_SMALL_BYTES, _SMALL_PIXELS = 4 << 20, 4_000_000


def is_small_png(path: Path) -> bool:
    """Tell a PNG whose own header says that it is small, which any process may decode."""
    if path.stat().st_size > _SMALL_BYTES:
        return False
    with path.open("rb") as file:
        head = file.read(24)
    if len(head) < 24 or head[:8] != b"\x89PNG\r\n\x1a\n" or head[12:16] != b"IHDR":
        return False
    cols, rows = struct.unpack(">II", head[16:])
    return bool(cols * rows <= _SMALL_PIXELS)


def decoded_apart(path: Path) -> NDArray[np.float64]:
    """Return what `decode.decoded` returns, from a process with limits.

    Raises
    ------
    ArtworkError
        As there, or it takes too much memory or time.
    """
    said = _asked("grey", os.fspath(path.absolute()))
    if isinstance(said, str):
        raise _unfit(path, said)
    return _answer(said, path)


def coloured_apart(content: bytes, suffix: str, name: str) -> Coloured:
    """Return what `coloured.coloured` returns, from a process with limits.

    Raises
    ------
    ArtworkError
        As there, or it takes too much memory or time; with the file's name.
    """
    said = _asked("coloured", suffix, content)
    if isinstance(said, str):
        said = b"n" + "\0".join((_WANTED, said, _CURE)).encode()
    if said[:1] == b"c":
        return _unpacked(said[1:])
    wanted, got, cure = said[1:].decode("utf-8", "replace").split("\0")
    raise coloured.refused(wanted, got, cure).within(file=name)


def _asked(way: str, about: str, content: bytes = b"") -> bytes | str:
    """Return what a process with limits answers, or in words why it did not."""
    try:
        done = subprocess.run(
            python_that_runs(_PROGRAM, way, about),
            input=content,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=os.environ | dict.fromkeys(THREAD_SETTINGS, "1"),
            timeout=2 * TIME_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return f"one that takes longer than {TIME_S:g} s"
    if done.returncode != 0:
        return "one that breaks off, or takes too much time or memory"
    return done.stdout


def _answer(said: bytes, path: Path) -> NDArray[np.float64]:
    kind, content = said[:1], said[1:]
    if kind == b"p":
        rows, cols = struct.unpack(">II", content[:8])
        return np.frombuffer(content, "<f8", offset=8).reshape(rows, cols)
    wanted, got, cure = content.decode("utf-8", "replace").split("\0")
    raise refused(path, wanted, got, cure)


def _unfit(path: Path, got: str) -> ArtworkError:
    return refused(path, _WANTED, got, _CURE)


def main() -> None:
    """Decode what is asked for and write the answer.

    It is "p", rows, columns and values; "c" and a picture in colours; or "n" and why not.
    """
    _limit_time()
    limit_memory(MEMORY_BYTES)
    out = os.fdopen(os.dup(1), "wb")
    way, about = sys.argv[1:3]
    try:
        if way == "grey":
            values = decoded(Path(about))
            pieces = [b"p" + struct.pack(">II", *values.shape)]
            pieces.append(np.ascontiguousarray(values, "<f8").tobytes())
        else:
            pieces = [b"c", *_packed(coloured.coloured(sys.stdin.buffer.read(), about))]
    except ArtworkError as error:
        pieces = [b"n", "\0".join((error.wanted, str(error.got), error.cure)).encode()]
    except MemoryError:
        pieces = [b"n", "\0".join((_WANTED, "one that takes more", _CURE)).encode()]
    out.writelines(pieces)
    out.close()


def _packed(found: Coloured) -> Iterator[bytes]:
    """Yield the pixels and the layers, each as rows, columns, length of its name, name, bytes."""
    for name, plane in (("", found.pixels), *found.layers.items()):
        told = name.encode("utf-8")
        yield struct.pack(">III", *plane.shape[:2], len(told)) + told + plane.tobytes()


def _unpacked(content: bytes) -> Coloured:
    planes: dict[str, NDArray[np.uint8]] = {}
    at, depth = 0, 4
    while at < len(content):
        rows, cols, length = struct.unpack_from(">III", content, at)
        at += 12 + length
        name = content[at - length : at].decode("utf-8")
        plane = np.frombuffer(content, np.uint8, rows * cols * depth, at)
        planes[name] = plane.reshape(rows, cols, 4) if depth == 4 else plane.reshape(rows, cols)
        at, depth = at + rows * cols * depth, 1
    return Coloured(planes.pop(""), planes)


def _limit_time() -> None:
    if sys.platform != "win32":
        import resource

        resource.setrlimit(resource.RLIMIT_CPU, (int(TIME_S), int(TIME_S) + 1))
