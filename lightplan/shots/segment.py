"""Foil and paper told apart on the squared sheet, with and without the maker's artwork."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from lightplan.arrays import Booleans, read_only
from lightplan.shots.previews import Picture
from lightplan.shots.registering import register
from lightplan.shots.squaring import Squared

_WORK_PX = 560  # long side at which foil is told from paper by its look
_RING = 0.06  # width of the rim taken for paper at first, of the shorter side

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
    """

    foil: Picture
    confidence: float
    how: How


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
    return Segmentation(_frozen(found.foil), confidence, "artwork")


def segment_by_look(squared: Squared) -> Segmentation:
    """Tell foil from paper by what the pixels do.

    Paper is what the rim of the sheet shows, lit smoothly; foil is what departs from it
    in brightness or in colour. Ink departs as well: without artwork the two cannot be
    told apart, and a sheet with foil along its whole rim is read the wrong way round.

    Returns
    -------
    Segmentation
        Its confidence falls as foil and paper look more alike.
    """
    rows, cols = squared.valid.shape
    scale = min(1.0, _WORK_PX / max(rows, cols))
    size = (max(16, round(cols * scale)), max(16, round(rows * scale)))
    small = cv2.resize(np.asarray(squared.linear), size, interpolation=cv2.INTER_AREA)
    valid = cv2.resize(squared.valid.view(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    look = _look(small)
    paper = _flooded(look, valid)
    for _ in range(2):
        level = _spread_out(look, paper, 0.02 * min(size))
        away = _distance(look - level, paper)
        paper = paper & (away < 5.0)
    foil, confidence = _decide(away, np.abs(look[..., 0] ** 2 - level[..., 0] ** 2), valid)
    full = cv2.resize(foil, (cols, rows), interpolation=cv2.INTER_LINEAR)
    return Segmentation(_frozen(full), confidence, "look")


def _look(linear: Picture) -> Picture:
    """Return brightness and two colour differences, about as the eye sees them."""
    coded = np.sqrt(np.clip(linear, 0.0, 1.0))
    mixed = cv2.transform(coded, np.array(_OPPONENT, np.float32))
    return cv2.GaussianBlur(mixed, (0, 0), 0.6)


_OPPONENT = ((1 / 3, 1 / 3, 1 / 3), (1.0, -1.0, 0.0), (0.0, -1.0, 1.0))


def _flooded(look: Picture, valid: Booleans) -> Booleans:
    """Return the paper: what hangs together with the rim, or looks the same across an edge.

    An edge is where the look departs from its own mean over a few pixels; light that
    falls off smoothly, however steeply, does not.
    """
    rim = _rim(valid)
    sharp = np.sqrt(((look - cv2.GaussianBlur(look, (0, 0), 3.0)) ** 2).sum(axis=2))
    # Most of a sheet is free of edges: the calmer part of it tells the noise.
    calm = float(np.percentile(sharp[valid], 30)) if valid.any() else 0.0
    least = np.full(sharp.shape, max(5.0 * calm, 0.006), np.float32)
    # Where light runs into clipping it bends, though nothing is there.
    ended = (look[..., 0] > 0.96).view(np.uint8)
    least[cv2.dilate(ended, np.ones((21, 21), np.uint8)) > 0] *= 3
    edge = cv2.dilate((sharp > least).view(np.uint8), _SQUARE)
    labels = cv2.connectedComponents(((edge == 0) & valid).view(np.uint8), connectivity=4)[1]
    size = np.bincount(labels.ravel())
    on_rim = np.bincount(labels[rim], minlength=len(size))
    paper = (on_rim > 0.02 * rim.sum()) & (on_rim > 0.03 * size)
    paper[0] = False
    if on_rim[paper].sum() < 0.15 * rim.sum():  # edges all round: the largest patch then
        size[0] = 0
        paper = size == size.max()
    for _ in range(5):
        alike = _alike_across(look, labels, paper)
        if not (alike & ~paper).any():
            break
        paper |= alike
    return np.asarray(paper[labels])


_SQUARE = np.ones((3, 3), np.uint8)


def _alike_across(look: Picture, labels: NDArray[Any], paper: Booleans) -> Booleans:
    """Return which patches look, where they come near known paper, as it does."""
    known = paper[labels]
    near = max(8, round(0.05 * min(labels.shape)))
    level = _spread_out(look, known, 0.5 * near)
    same = _distance(look - level, known) < 5.0
    beside = cv2.dilate(known.view(np.uint8), np.ones((2 * near + 1, 2 * near + 1), np.uint8)) > 0
    beside &= ~known
    count = np.bincount(labels[beside], minlength=len(paper))
    share = np.bincount(labels[beside & same], minlength=len(paper)) / np.maximum(count, 1)
    alike = (count > 15) & (share > 0.4)
    alike[0] = False
    return np.asarray(alike)


def _rim(valid: Booleans) -> Booleans:
    """Return the outermost ring of the valid pixels."""
    wide = max(3, round(_RING * min(valid.shape)))
    padded = np.pad(valid.view(np.uint8), 1)
    inner = cv2.erode(padded, np.ones((2 * wide + 1, 2 * wide + 1), np.uint8))[1:-1, 1:-1]
    return np.asarray(valid & (inner == 0))


def _spread_out(picture: Picture, known: Booleans, blur: float) -> Picture:
    """Return a picture continued smoothly from where it is known (normalised convolution)."""
    weight = known.astype(np.float32)
    both = np.dstack([picture * (weight if picture.ndim == 2 else weight[..., None]), weight])
    total = np.zeros_like(both)
    size = picture.shape[1::-1]
    for factor, share in ((1.0, 1.0), (3.0, 1e-2), (9.0, 1e-4)):  # far ones where none is near
        step = max(1, int(factor * blur / 3))
        coarse = cv2.resize(both, (max(3, size[0] // step), max(3, size[1] // step)),
                            interpolation=cv2.INTER_AREA)  # fmt: skip
        smooth = cv2.GaussianBlur(coarse, (0, 0), factor * blur / step)
        total += share * cv2.resize(smooth, size, interpolation=cv2.INTER_LINEAR)
    level: Picture = total[..., :-1] / np.maximum(total[..., -1:], 1e-12)
    return level.reshape(picture.shape)


def _distance(difference: Picture, paper: Booleans) -> Picture:
    """Return how far pixels depart from paper, in standard deviations of the paper."""
    inside = difference[paper] if paper.sum() > 50 else difference.reshape(-1, 3)
    spread = 1.4826 * np.median(np.abs(inside), axis=0)
    spread = np.maximum(spread, (0.004, 0.003, 0.004))  # paper is never quite even
    away: Picture = np.sqrt(((difference / spread) ** 2).sum(axis=2)).astype(np.float32)
    return away


def _decide(away: Picture, brighter: Picture, valid: Booleans) -> tuple[Picture, float]:
    """Return the foil mask and its confidence from the departures.

    `brighter` is the departure in brightness alone, in light: a JPEG file keeps it
    sharper than colour, so it draws the edges where there is enough of it.
    """
    strong = np.log2(np.clip(away, 0.5, 128.0))
    codes = np.clip((strong + 1) * 30, 0, 255).astype(np.uint8)
    cut = cv2.threshold(codes[valid][:, None], 0, 255, cv2.THRESH_OTSU)[0] / 30 - 1
    cut = float(np.clip(cut, np.log2(4.0), np.log2(12.0)))
    foil = _joined(strong, cut, valid)
    share = float(foil.sum() / max(valid.sum(), 1))
    if share < 0.0005:
        return np.zeros(away.shape, np.float32), 0.0
    # A blurred edge is half-way where the departure is half of that inside the foil.
    core = cv2.erode(foil.view(np.uint8), _SQUARE) > 0
    if core.sum() > 20:
        inside = _spread_out(np.dstack([away, brighter]), core, 0.02 * min(away.shape) + 1)
        plain = inside[..., 1] > 0.03
        foil &= np.where(plain, brighter > 0.5 * inside[..., 1], away > 0.5 * inside[..., 0])
    margin = float(np.median(strong[foil])) - cut if foil.any() else 0.0
    doubt = float((np.abs(strong - cut) < 0.5)[valid].sum() / max(foil.sum(), 1))
    confidence = np.clip(margin / 2.0, 0, 1) * np.clip(1.3 - doubt, 0, 1)
    return foil.astype(np.float32), float(np.clip(0.95 * confidence * (share < 0.75), 0, 1))


def _inner(valid: Booleans, share: float) -> Booleans:
    """Return the valid pixels without the outermost `share` of the shorter side."""
    wide = max(1, round(share * min(valid.shape)))
    padded = np.pad(valid.view(np.uint8), 1)
    inner = cv2.erode(padded, np.ones((2 * wide + 1, 2 * wide + 1), np.uint8))[1:-1, 1:-1]
    return np.asarray(inner > 0)


def _joined(strong: Picture, cut: float, valid: Booleans) -> Booleans:
    """Return the patches of departures that are foil, not specks, noise or the table.

    A patch needs a clear place in it, away from the rim where a sliver of table may show,
    and must not be far fainter than foil is on this sheet.
    """
    likely = (strong > cut) & valid
    count, labels = cv2.connectedComponents(likely.view(np.uint8), connectivity=8)
    kept = np.zeros(count, np.bool_)
    kept[np.unique(labels[likely & (strong > cut + 0.6) & _inner(valid, 0.012)])] = True
    size = np.maximum(np.bincount(labels.ravel(), minlength=count), 1)
    mean = np.bincount(labels.ravel(), strong.ravel(), minlength=count) / size
    inside = np.bincount(labels[_inner(valid, 0.05)], minlength=count) > 0.2 * size
    kept[0] = False
    if kept.any():
        usual = float(np.average(mean[kept], weights=size[kept]))
        kept &= mean > usual - np.where(inside, 2.5, 1.0)
    return np.asarray(kept[labels])


def _frozen(foil: Picture) -> Picture:
    return read_only(np.clip(foil, 0, 1), np.float32)
