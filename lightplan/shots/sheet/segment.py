"""Foil and paper told apart on the squared sheet, with and without the maker's artwork."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import cv2
import numpy as np

from lightplan.arrays import Booleans, Singles, read_only
from lightplan.shots.sheet.paper_layer import ENDED, LEAST_SPREAD, departure, fit_paper, inner, rim
from lightplan.shots.sheet.registering import register

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.shots.sheet.previews import Picture
    from lightplan.shots.sheet.squaring import Squared

_WORK_PX = 1000  # long side at which foil is told from paper by its look
_PARTS = 8  # parts of a sheet, each way, whose unrest is looked at
_COLOUR_TRUST = 0.15  # of colour where edges run: a JPEG file keeps it coarser than brightness
_LEAST_PIXELS = 30
_MOST_FOIL = 0.75  # share of the sheet beyond which foil was taken for paper
_BLUR_PX = 1.1  # of a usual photograph, standard deviation; sharper ones hardly change
_SQUARE = np.ones((3, 3), np.uint8)
_WIDER = np.ones((5, 5), np.uint8)


def _sharpening() -> Singles:
    """Return a kernel that smooths noise a little and undoes the blur of lens and pixels.

    A stroke that is hardly wider than its blur has a low peak and is too wide at half of
    it. Taking away half the blur's variance times the curvature restores both, to first
    order.
    """
    smooth = cv2.getGaussianKernel(3, 0.5, cv2.CV_32F)
    kernel = np.pad(smooth @ smooth.T, 1)
    bent = cv2.Laplacian(kernel, cv2.CV_32F, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(kernel - 0.5 * _BLUR_PX**2 * bent, np.float32)


_SHARPER = _sharpening()

How: TypeAlias = Literal["artwork", "look"]


@dataclass(frozen=True, eq=False)
class Segmentation:
    """Which part of the sheet is foil.

    Parameters
    ----------
    foil : (rows, cols) float32
        Share of foil, 0 to 1.
    confidence : float
        0 to 1.
    how : str
        "artwork" or "look".
    agreement : float
        Share of the picture's differences that the artwork explains; 0 by look.
    page : (rows, cols) bool or None
        Where the artwork says that the sheet lies; None: all over.
    """

    foil: Picture
    confidence: float
    how: How
    agreement: float = 0.0
    page: Booleans | None = None


def segment_with_artwork(squared: Squared, artwork: NDArray[Any]) -> Segmentation:
    """Return the artwork laid over the picture.

    Parameters
    ----------
    squared : Squared
        The same way up as the artwork (see `orienting.orient`).
    artwork : (h, w) float
        Share of foil, 0 to 1.
    """
    found = register(squared.linear, artwork, squared.valid)
    confidence = float(np.clip((found.agreement - 0.25) / 0.4, 0.0, 1.0))
    return Segmentation(_frozen(found.foil), confidence, "artwork", found.agreement, found.page)


def segment_by_look(squared: Squared) -> Segmentation:
    """Tell foil from paper by what the pixels do.

    Paper is the smooth layer that reaches the rim of the sheet (see `paper_layer`); foil
    is what departs from it in brightness or in colour, with an edge. Ink departs as
    well: without artwork the two cannot be told apart, and a sheet with foil along its
    whole rim is read the wrong way round.

    Returns
    -------
    Segmentation
        Its confidence is about the chance that the mask overlaps the truth by 0.85 or
        more (intersection over union).
    """
    rows, cols = squared.valid.shape
    scale = min(1.0, _WORK_PX / max(rows, cols))
    light: Picture = np.asarray(squared.linear)
    valid = squared.valid
    if scale < 1:
        size = (max(16, round(cols * scale)), max(16, round(rows * scale)))
        light = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
        valid = cv2.resize(valid.view(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    light = np.clip(light, 0.0, 1.0)
    paper = fit_paper(np.sqrt(light), valid).at((valid.shape[0], valid.shape[1]))
    seen = _departures(light, paper, valid)
    foil = _foil(seen, valid)
    if foil.sum() < _LEAST_PIXELS:
        return Segmentation(_frozen(np.zeros((rows, cols), np.float32)), 0.0, "look")
    full: Picture = foil.astype(np.float32)
    if scale < 1:
        full = cv2.resize(full, (cols, rows), interpolation=cv2.INTER_LINEAR)
    return Segmentation(_frozen(full), _confidence(foil, seen, valid), "look")


@dataclass(frozen=True, eq=False)
class _Departures:
    """How far each pixel departs from the paper, in spreads of the paper, (rows, cols)."""

    clear: Singles  # all together, noise smoothed
    bright: Singles  # brightness alone, in light, sharpened: an edge is half-way at its middle
    colour: Singles  # the same of colour
    least: Singles  # from where `clear` means foil


def _departures(light: Picture, paper: Singles, valid: Booleans) -> _Departures:
    soft = cv2.GaussianBlur(np.sqrt(light), (0, 0), 0.7)
    rest = soft - np.minimum(paper, 1.0)
    rest[(soft > ENDED) & (paper > soft)] = 0.0  # clipped paper is paper
    parts = departure(rest)
    even = (_length(parts / (6 * LEAST_SPREAD)) < 1) & valid
    usual = 1.4826 * np.median(parts[even], axis=0) if even.any() else LEAST_SPREAD
    spread: Singles = np.asarray(np.maximum(usual, LEAST_SPREAD), np.float32)
    clear = _length(parts / spread)
    # The root's slope turns differences of light into those of its root.
    rise = cv2.filter2D(light, -1, _SHARPER) - np.minimum(paper, 2.0) ** 2
    slope = 2 * np.clip(paper[..., 1:2], 0.2, 1.0)
    lit = departure(rise) / (slope * spread)
    return _Departures(clear, lit[..., 0].copy(), _length(lit[..., 1:]), _least(clear, valid))


def _length(vectors: Singles) -> Singles:
    """Return the lengths (rows, cols) of vectors (rows, cols, n); numpy's norm is slow here."""
    return np.asarray(np.sqrt(np.einsum("yxk,yxk->yx", vectors, vectors)), np.float32)


def _least(clear: Singles, valid: Booleans) -> Singles:
    """Return the departure from which a pixel is foil: beyond the sheet's own unrest.

    Compression leaves blocks of wrong colour; most parts of a sheet show them and no foil.
    By the rim they come from the table as well.
    """
    ends = [np.linspace(0, n, _PARTS + 1).astype(int).tolist() for n in clear.shape]
    parts = [
        (slice(top, bottom), slice(left, right))
        for top, bottom in pairwise(ends[0])
        for left, right in pairwise(ends[1])
    ]
    unrest = [float(np.percentile(clear[p][valid[p]], 95)) for p in parts if valid[p].any()]
    least = float(np.clip(2 + 2 * np.median(unrest), 4.0, 7.0)) if unrest else 7.0
    return np.where(inner(valid, 0.03), least, 1.7 * least).astype(np.float32)


def _foil(seen: _Departures, valid: Booleans) -> Booleans:
    """Return the foil: half or more of the departure of the foil it belongs to."""
    sure = (seen.clear > seen.least) & valid
    if sure.sum() < _LEAST_PIXELS:
        return np.zeros(valid.shape, np.bool_)
    height = np.sqrt(seen.bright**2 + _COLOUR_TRUST * seen.colour**2)
    # The ghosts that compression sets beside strokes are fainter than the stroke.
    usual = float(np.median(seen.clear[sure]))
    beside = cv2.dilate(np.minimum(seen.clear * valid, usual), np.ones((19, 19), np.uint8))
    core = sure & (height >= 0.85 * cv2.dilate(height, _SQUARE)) & (seen.clear > 0.6 * beside)
    if core.sum() < _LEAST_PIXELS:
        return np.zeros(valid.shape, np.bool_)
    bright, colour = _of_nearest(core, seen.bright, seen.colour)
    share = seen.bright * bright + _COLOUR_TRUST * seen.colour * colour
    whole = np.maximum(bright**2 + _COLOUR_TRUST * colour**2, 1e-6)
    foil = (seen.clear > 0.5 * seen.least) & (share > 0.5 * whole) & valid
    return _joined(np.asarray(foil), core, seen.clear, valid)


def _of_nearest(core: Booleans, *planes: Singles) -> list[Singles]:
    """Return what planes show at the nearest place of `core`."""
    labels = cv2.distanceTransformWithLabels(
        (~core).view(np.uint8), cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL
    )[1]
    found = []
    for plane in planes:
        table = np.zeros(int(labels.max()) + 1, np.float32)
        table[labels[core]] = plane[core]
        found.append(np.asarray(table[labels], np.float32))
    return found


def _joined(foil: Booleans, core: Booleans, clear: Singles, valid: Booleans) -> Booleans:
    """Return the patches that are foil, not specks, noise or a sliver of the table."""
    count, labels = cv2.connectedComponents(foil.view(np.uint8), connectivity=8)
    flat = labels.ravel()
    size = np.maximum(np.bincount(flat, minlength=count), 1)
    mean = np.bincount(flat, np.minimum(clear, 60).ravel(), minlength=count) / size
    kept = (np.bincount(labels[core], minlength=count) > 0) & (size >= 6)
    kept[0] = False
    if kept.any():
        usual = float(np.average(mean[kept], weights=size[kept]))
        inside = np.bincount(labels[inner(valid, 0.03)], minlength=count) > 0.3 * size
        kept &= mean > min(0.2 * usual, 10.0)
        kept &= inside | (mean > 0.6 * min(usual, 40.0))
    return np.asarray(kept[labels])


def _confidence(foil: Booleans, seen: _Departures, valid: Booleans) -> float:
    """Return how sure a mask is, 0 to 1.

    A logistic function of what goes with wrong masks, fitted to rendered photographs of
    known truth: foil hardly beyond the noise, outlines without an edge, strokes of few
    pixels, much that nearly was foil, foil along the rim. Its power keeps it modest.
    """
    area = int(foil.sum())
    covered = cv2.erode((foil | ~valid).view(np.uint8), _SQUARE) > 0
    outline = foil & ~covered
    span = cv2.dilate(seen.clear, _WIDER) - cv2.erode(seen.clear, _WIDER)
    height = cv2.dilate(seen.clear * valid, np.ones((9, 9), np.uint8))
    soft = float((span <= 0.5 * np.minimum(height, 60.0))[outline].mean()) if outline.any() else 1.0
    weak = float((seen.clear < 1.5 * seen.least)[foil].mean())
    beside = (cv2.dilate(foil.view(np.uint8), _SQUARE) > 0) & ~foil
    nearly = (seen.clear > 0.6 * seen.least) & (seen.clear < 1.2 * seen.least) & valid & ~beside
    edge = rim(valid, 0.05)
    doubt = (
        11.6 * weak
        + 5.4 * min(soft, 0.6)
        + 6.1 * float(outline.sum()) / area
        + 4.8 * min(float(nearly.sum()) / area, 1.5)
        + 4.4 * float(foil[edge].mean())
    )
    chance = 1 / (1 + np.exp(doubt - 6.2))
    return float(chance**1.5 * (area < _MOST_FOIL * valid.sum()))


def _frozen(foil: Picture) -> Picture:
    return read_only(np.clip(foil, 0, 1), np.float32)
