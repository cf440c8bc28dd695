"""The maker's artwork, made into what a rig wants: white where metal is, shaped like the sheet."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.artwork.apart import coloured_apart
from lightplan.artwork.coloured import LONG_SIDE
from lightplan.errors import ArtworkError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

MOST_COLOURS = 8
NEAR = 60.0
"""Colours of the artwork that differ by less than this (sRGB codes) count as one."""
LEAST_SHARE = 0.002
SHOWN_PX = 520
MOST_BYTES = 64_000_000


@dataclass(frozen=True, eq=False)
class FoilArtwork:
    """Artwork as it came: sRGB codes (rows, cols, 3), and where there is something at all.

    `layers` are those of a PDF by name: the share of each pixel that a layer covers.
    """

    codes: NDArray[np.uint8]
    cover: NDArray[np.float32]
    file: str
    layers: Mapping[str, NDArray[np.float32]] = field(default_factory=dict)


def read_any_artwork(content: bytes, suffix: str, name: str) -> FoilArtwork:
    """Return artwork from the bytes of a PNG, JPEG, SVG or PDF file (its first page).

    It is decoded in a process of its own, inside limits: the page goes on, whatever it is.

    Raises
    ------
    ArtworkError
        When it cannot be read.
    """
    found = coloured_apart(content, suffix, name)
    codes = np.ascontiguousarray(found.pixels[..., :3])
    cover = np.asarray(found.pixels[..., 3] / 255, np.float32)
    layers = {title: np.asarray(v / 255, np.float32) for title, v in found.layers.items()}
    return FoilArtwork(codes, cover, name, layers)


def artwork_from(codes: bytes, cover: bytes, *, shape: tuple[int, int], file: str) -> FoilArtwork:
    """Return artwork whose planes another process sent: codes uint8, cover float32."""
    return FoilArtwork(
        np.frombuffer(codes, np.uint8).reshape(*shape, 3),
        np.frombuffer(cover, np.float32).reshape(shape),
        file,
    )


def main_colours(artwork: FoilArtwork) -> list[tuple[str, float]]:
    """Return the main colours of artwork as #rrggbb with their share, the largest first.

    One of them is the metal. What is see-through is left out.
    """
    seen = artwork.codes[artwork.cover > 0.5].reshape(-1, 3)
    if not len(seen):
        return []
    coarse, counts = np.unique(seen // 32, axis=0, return_counts=True)
    order = np.argsort(-counts)
    found: list[tuple[NDArray[Any], int]] = []
    for at in order[:200]:
        mean = seen[(seen // 32 == coarse[at]).all(axis=1)].mean(axis=0)
        near = next((i for i, (c, _) in enumerate(found) if np.linalg.norm(c - mean) < NEAR), None)
        if near is None and len(found) < MOST_COLOURS:
            found.append((mean, int(counts[at])))
        elif near is not None:
            found[near] = (found[near][0], found[near][1] + int(counts[at]))
    shares = [(_hex(colour), count / len(seen)) for colour, count in found]
    return [(colour, share) for colour, share in shares if share >= LEAST_SHARE]


def foil_mask(
    artwork: FoilArtwork,
    *,
    colour: str | None,
    width_mm: float,
    height_mm: float,
    layer: str | None = None,
    parts: Sequence[str] = (),
    upside_down: bool = False,
) -> tuple[bytes, bool]:
    """Return the foil as PNG, white where metal is, and whether the artwork had to be padded.

    Parameters
    ----------
    colour : str or None
        The colour, #rrggbb, that is metal; None: what is there counts as metal where it is dark
        on white or not see-through, and the light part of a black picture.
    layer : str or None
        The layer that is metal, whatever its colour.
    parts : sequence of str
        Main colours that are metal, of a photographed print: what is nearest to one of them.
    upside_down : bool
        The artwork is to be turned by half a circle.
    """
    share = _share(artwork, colour) if layer is None else artwork.layers[layer]
    share = share_of_parts(artwork, parts) if parts else share
    share = share[::-1, ::-1] if upside_down else share
    rows, cols = share.shape
    wanted = width_mm / height_mm
    if abs(np.log((cols / rows) / wanted)) < 0.04:
        return _png(share), False
    high, wide = (
        (round(cols / wanted), cols) if cols / rows > wanted else (rows, round(rows * wanted))
    )
    sheet = np.zeros((high, wide), np.float32)
    top, left = (high - rows) // 2, (wide - cols) // 2
    sheet[top : top + rows, left : left + cols] = share
    return _png(sheet), True


def mask_of_file(path: Path, *, colour: str | None, width_mm: float, height_mm: float) -> bytes:
    """Return the foil of an artwork file as PNG; `colour` is "rrggbb", with or without #.

    Raises
    ------
    ArtworkError
        When it cannot be read, or the colour is none.
    """
    if not path.is_file():
        raise ArtworkError(
            field="artwork", wanted="a file that is there", got=str(path), cure="check its name"
        )
    if path.stat().st_size > MOST_BYTES:
        raise ArtworkError(
            field="artwork",
            wanted="a file below 64 MB",
            got="more",
            cure="save it smaller",
            file=path.name,
        )
    colour = _checked(colour)
    artwork = read_any_artwork(path.read_bytes(), path.suffix.lower(), path.name)
    return foil_mask(artwork, colour=colour, width_mm=width_mm, height_mm=height_mm)[0]


def mask_of_print(
    path: Path, *, colour: str | None, width_mm: float, height_mm: float
) -> tuple[bytes, float]:
    """Return the foil of a photographed print as PNG, and its share of the sheet.

    Raises
    ------
    BadInput
        When it cannot be read, the sheet or its foil is not seen, or the colour is none.
    """
    from lightplan.tasks.print_photo import artwork_of_print

    colour = _checked(colour)
    artwork = artwork_of_print(path, width_mm=width_mm, height_mm=height_mm)
    mask, _ = foil_mask(artwork, colour=colour, width_mm=width_mm, height_mm=height_mm)
    return mask, float(_share(artwork, colour).mean())


def _checked(colour: str | None) -> str | None:
    """Return a colour that was typed as #rrggbb."""
    if colour is not None:
        colour = "#" + colour.removeprefix("#").lower()
        if len(colour) != 7 or not set(colour[1:]) <= set("0123456789abcdef"):
            raise ArtworkError(
                field="--colour",
                wanted="six hex digits, as c89628",
                got=colour,
                cure="read it off with a picture program",
            )
    return colour


def share_of_parts(artwork: FoilArtwork, parts: Sequence[str]) -> NDArray[np.float32]:
    """Return the share of metal where some of the artwork's main colours are metal.

    Metal runs from dark to bright over a sheet: together its colours are all of it, without the
    gaps that a single colour leaves.
    """
    found = shares_by_part(artwork)
    if not found:
        return artwork.cover
    taken = [share for colour, share in found.items() if colour in parts]
    return np.asarray(sum(taken, np.zeros_like(artwork.cover)), np.float32)


def shares_by_part(artwork: FoilArtwork) -> dict[str, NDArray[np.float32]]:
    """Return the share of metal, were one main colour metal: what is nearest to it, by colour."""
    main = [colour for colour, _ in main_colours(artwork)]
    if not main:
        return {}
    codes = artwork.codes.astype(np.float32)
    away = np.stack([np.linalg.norm(codes - _codes(colour), axis=2) for colour in main])
    nearest = away.argmin(axis=0)
    return {
        colour: np.asarray(artwork.cover * (nearest == at), np.float32)
        for at, colour in enumerate(main)
    }


def foil_preview(share: NDArray[np.float32]) -> bytes:
    """Return what would be taken for metal as a small JPEG, bright on black."""
    return picture_of((share[..., None] * np.array([236, 226, 200])).astype(np.uint8))


def picture_of(codes: NDArray[np.uint8], cover: NDArray[np.float32] | None = None) -> bytes:
    """Return a picture small, as JPEG; on white where a cover leaves it see-through."""
    import cv2

    shown: NDArray[Any] = codes
    if cover is not None:
        shown = codes * cover[..., None] + 255 * (1 - cover[..., None])
    rows, cols = shown.shape[:2]
    scale = min(1.0, SHOWN_PX / max(rows, cols))
    size = (max(1, round(cols * scale)), max(1, round(rows * scale)))
    small = cv2.resize(shown.astype(np.uint8), size, interpolation=cv2.INTER_AREA)
    bgr = np.ascontiguousarray(small[..., ::-1])
    return cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, 88])[1].tobytes()


def _share(artwork: FoilArtwork, colour: str | None) -> NDArray[np.float32]:
    codes = artwork.codes.astype(np.float32)
    if colour is not None:
        away = np.linalg.norm(codes - _codes(colour), axis=2)
        return np.asarray(np.clip(1.5 - away / NEAR, 0, 1) * artwork.cover, np.float32)
    grey = codes.mean(axis=2) / 255
    if artwork.cover.min() < 0.5:  # see-through: whatever is there is metal
        return artwork.cover
    dark_ground = float(np.median(grey)) < 0.5
    return np.asarray(grey if dark_ground else 1 - grey, np.float32)


def _png(share: NDArray[np.float32]) -> bytes:
    import cv2

    codes = np.round(255 * np.clip(share, 0, 1)).astype(np.uint8)
    return cv2.imencode(".png", codes)[1].tobytes()


def sample_artwork(width_mm: float, height_mm: float) -> bytes:
    """Return a sample motif for a sheet of any shape: a frame, a star, and a few lines."""
    import resvg_py

    w, h = width_mm, height_mm
    unit = min(w, h)
    edge = 0.07 * unit
    star = _star(w / 2, 0.4 * h, 0.27 * unit)
    bars = "".join(
        f'<rect x="{w / 2 - share * unit / 2:.2f}" y="{0.4 * h + at * unit:.2f}" '
        f'width="{share * unit:.2f}" height="{0.035 * unit:.2f}"/>'
        for share, at in ((0.56, 0.36), (0.4, 0.45))
    )
    text = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w} {h}">'
        f'<rect width="{w}" height="{h}" fill="black"/><g fill="white">'
        f'<path d="{star}"/>{bars}</g><rect x="{edge}" y="{edge}" width="{w - 2 * edge}" '
        f'height="{h - 2 * edge}" fill="none" stroke="white" stroke-width="{0.018 * unit}"/></svg>'
    )
    scale = LONG_SIDE / max(w, h)
    drawn = resvg_py.svg_to_bytes(svg_string=text, width=round(w * scale), height=round(h * scale))
    from PIL import Image

    grey = np.asarray(Image.open(io.BytesIO(bytes(drawn))).convert("L"), np.float32)
    return _png(np.asarray(grey / 255, np.float32))


def _star(x: float, y: float, r: float) -> str:
    angles = [np.pi * (i / 8) - np.pi / 2 for i in range(16)]
    spots: Sequence[tuple[float, float]] = [
        (
            x + (r if i % 2 == 0 else 0.42 * r) * np.cos(a),
            y + (r if i % 2 == 0 else 0.42 * r) * np.sin(a),
        )
        for i, a in enumerate(angles)
    ]
    return "M" + "L".join(f"{a:.2f} {b:.2f}" for a, b in spots) + "Z"


def _codes(colour: str) -> NDArray[np.float32]:
    return np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)], np.float32)


def _hex(colour: NDArray[Any]) -> str:
    return "#" + "".join(f"{round(float(v)):02x}" for v in colour)
