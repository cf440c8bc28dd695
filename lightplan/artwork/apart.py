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

from lightplan.artwork.decode import decoded, refused
from lightplan.errors import ArtworkError
from lightplan.process import THREAD_SETTINGS, limit_memory

if TYPE_CHECKING:
    from numpy.typing import NDArray

MEMORY_BYTES = 1 << 30
TIME_S = 20.0
_PROGRAM = "from lightplan.artwork.apart import main; main()"
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
    try:
        done = subprocess.run(
            [sys.executable, "-c", _PROGRAM, os.fspath(path.absolute())],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            stdin=subprocess.DEVNULL,
            env=os.environ | dict.fromkeys(THREAD_SETTINGS, "1"),
            timeout=2 * TIME_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise _unfit(path, f"one that takes longer than {TIME_S:g} s") from None
    if done.returncode != 0:
        raise _unfit(path, "one that breaks off, or takes too much time or memory")
    return _answer(done.stdout, path)


def _answer(said: bytes, path: Path) -> NDArray[np.float64]:
    kind, content = said[:1], said[1:]
    if kind == b"p":
        rows, cols = struct.unpack(">II", content[:8])
        return np.frombuffer(content, "<f8", offset=8).reshape(rows, cols)
    wanted, got, cure = content.decode("utf-8", "replace").split("\0")
    raise refused(path, wanted, got, cure)


def _unfit(path: Path, got: str) -> ArtworkError:
    return refused(path, f"one that is read within {MEMORY_BYTES >> 20} MB", got, _CURE)


def main() -> None:
    """Decode the file that is named and write the answer.

    It is "p", rows, columns and values, or "n" and why not.
    """
    _limit_time()
    limit_memory(MEMORY_BYTES)
    out = os.fdopen(os.dup(1), "wb")
    try:
        values = decoded(Path(sys.argv[1]))
    except ArtworkError as error:
        out.write(b"n" + "\0".join((error.wanted, str(error.got), error.cure)).encode())
    except MemoryError:
        wanted = f"one that is read within {MEMORY_BYTES >> 20} MB"
        out.write(b"n" + "\0".join((wanted, "one that takes more", _CURE)).encode())
    else:
        out.write(b"p" + struct.pack(">II", *values.shape))
        out.write(np.ascontiguousarray(values, "<f8").data)
    out.close()


def _limit_time() -> None:
    if sys.platform != "win32":
        import resource

        resource.setrlimit(resource.RLIMIT_CPU, (int(TIME_S), int(TIME_S) + 1))
