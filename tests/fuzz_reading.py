"""Feed damaged photographs to the reader: it must answer with a Shot or a PhotoError.

Run it by hand, as long as you like::

    python tests/fuzz_reading.py --seconds 600 --seed 7

Valid files of every kind are made on the spot, damaged at random, and read in a child
process with limits of time and memory. The script ends with 1 and keeps the file when the
child crashed, hung, or raised anything else. A short run is among the tests.
"""

from __future__ import annotations

import argparse
import io
import json
import multiprocessing
import struct
import sys
import tempfile
import time
import zlib
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

sys.path.insert(0, str(Path(__file__).parents[1]))

HANG_S = 20.0
MEMORY_BYTES = 2 << 30
INTERESTING = (0, 1, 0x7F, 0x80, 0xFF, 0xFFFF, 0x7FFF, 0x8000, 0x7FFFFFFF, 0xFFFFFFFF)


def picture(rng: np.random.Generator, kind: type, channels: int) -> np.ndarray:
    """Return a small photograph: a bright sheet on a table, with noise."""
    y, x = np.mgrid[0:80, 0:96] / 96.0
    light = 0.2 + 0.6 * ((np.abs(x - 0.5) < 0.3) & (np.abs(y - 0.42) < 0.25)) * (0.7 + 0.3 * x)
    light = np.clip(light + rng.normal(0, 0.02, light.shape), 0, 1)
    top = 1.0 if kind is np.float32 else np.iinfo(kind).max
    return np.repeat((light * top).astype(kind)[..., None], channels, axis=2)


def make_seeds(rng: np.random.Generator) -> dict[str, bytes]:
    """Return valid files by name."""
    from PIL import Image, ImageCms

    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769).update({0x829D: 8.0, 0x829A: 0.01, 0x9003: "2024:05:01 12:30:00"})
    seeds: dict[str, bytes] = {}

    def add(name: str, pixels: np.ndarray, kind: str, mode: str = "RGB", **options: object) -> None:
        buffer = io.BytesIO()
        Image.fromarray(pixels.squeeze()).convert(mode).save(buffer, kind, **options)
        seeds[name] = buffer.getvalue()

    eight = picture(rng, np.uint8, 3)
    add("base.jpg", eight, "jpeg", exif=exif.tobytes(), icc_profile=profile)
    add("progressive.jpg", eight, "jpeg", progressive=True, restart_marker_blocks=3)
    add("grey.jpg", eight, "jpeg", "L")
    add("cmyk.jpg", eight, "jpeg", "CMYK")
    add("base.png", eight, "png", exif=exif.tobytes(), icc_profile=profile)
    add("alpha.png", eight, "png", "RGBA")
    add("palette.png", eight, "png", "P")
    add("bits.png", eight, "png", "1")
    add("base.tif", eight, "tiff", icc_profile=profile, exif=exif.tobytes())
    add("cmyk.tif", eight, "tiff", "CMYK", compression="tiff_lzw")
    add("jpeg.tif", eight, "tiff", compression="jpeg")
    for suffix in ("png", "tif"):
        deep = picture(rng, np.uint16, 3)
        seeds[f"deep.{suffix}"] = cv2.imencode(f".{suffix}", deep)[1].tobytes()
    seeds["float.tif"] = cv2.imencode(".tif", picture(rng, np.float32, 3))[1].tobytes()
    return seeds | phone_seeds(rng) | raw_seeds(rng)


def phone_seeds(rng: np.random.Generator) -> dict[str, bytes]:
    """Return HEIC files, where this build of libheif can write them."""
    import pillow_heif

    try:
        buffer = io.BytesIO()
        pixels = picture(rng, np.uint8, 3)
        pillow_heif.encode("RGB", (96, 80), pixels.tobytes(), buffer, quality=80)
    except (RuntimeError, OSError, ValueError):
        return {}
    return {"phone.heic": buffer.getvalue()}


def raw_seeds(rng: np.random.Generator) -> dict[str, bytes]:
    """Return a small DNG."""
    import tifffile

    buffer = io.BytesIO()
    tifffile.imwrite(
        buffer, (picture(rng, np.uint16, 1)[..., 0] >> 4), photometric="CFA", planarconfig=None,
        extratags=[
            (33421, "H", 2, (2, 2), True), (33422, "B", 4, bytes([0, 1, 1, 2]), True),
            (50706, "B", 4, bytes([1, 4, 0, 0]), True), (50708, "s", 0, "Press Camera", True),
            (50717, "H", 1, 4095, True), (50778, "H", 1, 21, True),
            (50721, "2i", 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1), True),
        ],
    )  # fmt: skip
    return {"raw.dng": buffer.getvalue()}


def mutate(raw: bytes, rng: np.random.Generator) -> bytes:
    """Return a damaged copy."""
    data = bytearray(raw)
    for _ in range(1 + rng.poisson(2)):
        way = rng.integers(7)
        if not data:
            break
        # half of the damage goes to the first 600 bytes, where the structure is
        reach = min(len(data), 600) if rng.random() < 0.5 else len(data)
        at = int(rng.integers(reach))
        span = int(min(len(data) - at, rng.integers(1, 64)))
        if way == 0:
            data[at] ^= 1 << int(rng.integers(8))
        elif way == 1:
            data[at : at + span] = rng.integers(0, 256, span, np.uint8).tobytes()
        elif way == 2:
            order = "<" if rng.random() < 0.5 else ">"
            form = rng.choice(["B", "H", "I"])
            value = int(rng.choice(INTERESTING)) & (256 ** struct.calcsize(form) - 1)
            packed = struct.pack(order + form, value)
            data[at : at + len(packed)] = packed
        elif way == 3:
            del data[at : at + span]
        elif way == 4:
            data[at:at] = data[at : at + span]
        elif way == 5:
            del data[int(rng.integers(len(data) // 2, len(data) + 1)) :]
        else:
            to = int(rng.integers(len(data)))
            data[to : to + span] = data[at : at + span]
    return bytes(data)


def mend_png(raw: bytes) -> bytes:
    """Make the checksums right again, so that the damage reaches the decoder."""
    data, at = bytearray(raw), 8
    while at + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, at)
        if at + 12 + length > len(data):
            break
        checksum = zlib.crc32(data[at + 4 : at + 8 + length])
        struct.pack_into(">I", data, at + 8 + length, checksum)
        at += 12 + length
    return bytes(data)


def reader(pipe: multiprocessing.connection.Connection) -> None:
    """Read files named on the pipe and say what came of them."""
    import os

    from lightplan.errors import PhotoError
    from lightplan.process import limit_memory
    from lightplan.shots.formats.reading import read_shot

    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)  # C libraries chatter
    cv2.setNumThreads(1)
    limit_memory(MEMORY_BYTES)
    while True:
        path = Path(pipe.recv())
        try:
            shot = read_shot(path)
            answer = f"read as {shot.format}"
            if shot.linear.shape != (shot.rows, shot.cols, 3) or not np.isfinite(shot.linear).all():
                answer = "FAULT: linear light that is not a picture"
            if shot.clipped.shape != shot.linear.shape:
                answer = "FAULT: clip flags of another shape"
        except PhotoError as refusal:
            said = str(refusal)
            answer = "refused"
            if not said.startswith(path.name) or "\n" in said or len(said) > 400:
                answer = f"FAULT: not one sentence that names the file: {said!r}"
        except BaseException as fault:  # noqa: BLE001 - the point of the exercise
            answer = f"FAULT: {type(fault).__name__}: {fault}"
        pipe.send(answer)


def start() -> tuple[multiprocessing.Process, multiprocessing.connection.Connection]:
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    child = context.Process(target=reader, args=(theirs,), daemon=True)
    child.start()
    theirs.close()
    return child, ours


def ask(pipe: multiprocessing.connection.Connection, path: Path) -> str:
    """Return the child's answer for a file."""
    try:
        pipe.send(str(path))
        if not pipe.poll(HANG_S):
            return f"FAULT: no answer in {HANG_S:g} s"
        return str(pipe.recv())
    except (EOFError, OSError):
        return "FAULT: the reader crashed"


def fuzz(seconds: float, seed: int, keep: Path, tell: Callable[[str], None]) -> dict[str, object]:
    """Return counts of answers and the faulty files that were kept."""
    rng = np.random.default_rng(seed)
    seeds = make_seeds(rng)
    counts: Counter[str] = Counter()
    faults: list[str] = []
    child, pipe = start()
    end = time.monotonic() + seconds
    with tempfile.TemporaryDirectory() as folder:
        for name, raw in seeds.items():  # unharmed, every kind must be read
            path = Path(folder) / name
            path.write_bytes(raw)
            if not ask(pipe, path).startswith("read"):
                faults.append(f"{name}: refused although unharmed")
        while time.monotonic() < end:
            name = str(rng.choice(list(seeds)))
            raw = mutate(seeds[name], rng)
            if name.endswith("png") and rng.random() < 0.7:
                raw = mend_png(raw)
            path = Path(folder) / name
            path.write_bytes(raw)
            answer = ask(pipe, path)
            counts[f"{name.rpartition('.')[2]} {answer.split(':')[0]}"] += 1
            if answer.startswith("FAULT"):
                keep.mkdir(parents=True, exist_ok=True)
                kept = keep / f"{len(faults):03d}_{name}"
                kept.write_bytes(raw)
                faults.append(f"{kept.name}: {answer}")
                tell(faults[-1])
                if "crashed" in answer or "no answer" in answer:
                    child.kill()
                    child.join()
                    child, pipe = start()
    child.kill()
    child.join()
    return {
        "files": sum(counts.values()),
        "answers": dict(sorted(counts.items())),
        "faults": faults,
    }


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=Path("fuzz-faults"))
    given = parser.parse_args()
    report = fuzz(given.seconds, given.seed, given.keep, lambda text: print(text, file=sys.stderr))
    print(json.dumps(report, indent=1))
    return 1 if report["faults"] else 0


if __name__ == "__main__":
    sys.exit(main())
