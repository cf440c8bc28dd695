"""Long straight edges of a picture: segments joined to lines that know where they are seen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Doubles
    from lightplan.shots.sheet.previews import Picture

_STEP_PX = 2.0  # width of a cell of the record where a line is seen
_PARALLEL = 9  # most lines kept of one direction, so that the grain of wood leaves room
_ALIKE = float(np.cos(np.radians(8)))  # cosine between lines of one direction


@dataclass(frozen=True, eq=False)
class Lines:
    """Straight edges x cos + y sin = offset, in (x = column, y = row) pixels.

    Parameters
    ----------
    normal : (n, 2) float
        Unit normals.
    offset : (n,) float
        Distance from the picture's corner along the normal. [px]
    seen : (n, cells + 1) float
        Running length along the line (direction: normal turned by 90 degrees) on which
        an edge was seen, from `-reach` to `reach`. [px]
    solid : (n, cells + 1) float
        The same, each length weighted with how much its two sides differ.
    reach : float
        Half the length the records cover. [px]
    """

    normal: Doubles
    offset: Doubles
    seen: Doubles
    solid: Doubles
    reach: float

    def between(self, record: Doubles, line: Any, start: Doubles, stop: Doubles) -> Doubles:
        """Return how much of a record of lines `line` lies between two places."""
        low, high = np.minimum(start, stop), np.maximum(start, stop)
        last = record.shape[1] - 1

        def cell(place: Doubles) -> NDArray[np.intp]:
            return np.clip(np.rint((place + self.reach) / _STEP_PX), 0, last).astype(np.intp)

        return np.asarray(record[line, cell(high)] - record[line, cell(low)])


def find_segments(pictures: list[Picture]) -> Doubles:
    """Return straight segments (n, 4) as x0, y0, x1, y1 of grey pictures, longest first."""
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD)
    found = []
    for picture in pictures:
        lines = detector.detect(picture)[0]
        if lines is not None:
            found.append(np.asarray(lines, float).reshape(-1, 4))
    if not found:
        return np.empty((0, 4))
    segments = np.concatenate(found)
    length = _length(segments)
    order = np.argsort(-length, kind="stable")
    keep = order[length[order] >= 0.02 * max(pictures[0].shape)]
    kept: Doubles = segments[keep[:1200]]
    return kept


def step_across(coded: Picture, segments: Doubles) -> Doubles:
    """Return how much the two sides of segments differ, (n,), in 8-bit steps.

    Taken 6 pixels to either side, so that the edge of a sheet counts and the grain of
    a table, alike on both sides, does not.
    """
    smooth = cv2.blur(coded, (5, 5))
    share = np.array([0.1, 0.3, 0.5, 0.7, 0.9])[:, None]
    start, stop = segments[:, None, :2], segments[:, None, 2:]
    run = stop - start
    away = 6 * np.stack([-run[..., 1], run[..., 0]], axis=-1)
    away /= np.maximum(np.linalg.norm(run, axis=-1, keepdims=True), 1e-9)
    places = start + share * run
    one, other = (_look_up(smooth, places + turn * away).mean(axis=1) for turn in (1, -1))
    return np.asarray(np.linalg.norm(one - other, axis=-1))


def _look_up(picture: Picture, places: Doubles) -> Picture:
    rows, cols = picture.shape[:2]
    x = np.clip(np.rint(places[..., 0]), 0, cols - 1).astype(np.intp)
    y = np.clip(np.rint(places[..., 1]), 0, rows - 1).astype(np.intp)
    return picture[y, x]


def join_segments(
    segments: Doubles, step: Doubles, shape: tuple[int, int], *, most: int = 28
) -> Lines:
    """Join segments that lie on one line, within what a bowed edge departs from it.

    Parameters
    ----------
    segments : (n, 4) float
    step : (n,) float
        How much the two sides of each differ; sets which lines are kept.
    shape : (2,) int
        Rows and columns of the picture.
    most : int
        Number of lines to keep, those with the greatest length times step.
    """
    clear = step / (step + 3.0 + 0.25 * np.percentile(step, 90)) if len(step) else step
    order = np.argsort(-_length(segments) * clear, kind="stable")[:400]
    segments, clear = segments[order], clear[order]
    slack = 0.005 * max(shape)
    reach = float(np.hypot(*shape))
    free = np.ones(len(segments), bool)
    found = np.empty((len(segments), 2))
    normals: list[Doubles] = []
    offsets, seen, solid = [], [], []
    for index in range(len(segments)):
        if not free[index]:
            continue
        normal, offset = _line_through(segments[index : index + 1], clear[index : index + 1])
        others = found[: len(normals)]
        if np.count_nonzero(np.abs(others @ normal) > _ALIKE) >= 4 * _PARALLEL:
            continue
        for _ in range(2):
            on_line = free & _near(segments, normal, offset, slack)
            if not on_line.any():
                break
            normal, offset = _line_through(segments[on_line], clear[on_line])
        free &= ~on_line
        free[index] = False
        found[len(normals)] = normal
        normals.append(normal)
        offsets.append(offset)
        seen.append(_record(segments[on_line], np.ones(int(on_line.sum())), normal, reach))
        solid.append(_record(segments[on_line], clear[on_line], normal, reach))
    if not normals:
        return Lines(np.empty((0, 2)), np.empty(0), np.empty((0, 1)), np.empty((0, 1)), reach)
    length, worth = np.array(seen), np.array(solid)
    best = _varied(np.array(normals), worth[:, -1], most)
    return Lines(np.array(normals)[best], np.array(offsets)[best], length[best], worth[best], reach)


def _varied(normals: Doubles, worth: Doubles, most: int) -> list[int]:
    """Return the worthiest lines, not too many of one direction."""
    alike = np.abs(normals @ normals.T) > _ALIKE
    kept: list[int] = []
    for index in np.argsort(-worth, kind="stable"):
        if len(kept) < most and alike[index, kept].sum() < _PARALLEL:
            kept.append(int(index))
    return kept


def _length(segments: Doubles) -> Doubles:
    return np.hypot(segments[:, 2] - segments[:, 0], segments[:, 3] - segments[:, 1])


def with_borders(lines: Lines, shape: tuple[int, int]) -> Lines:
    """Return lines with the picture's four borders added, seen all along."""
    rows, cols = shape
    normal = np.array([[1.0, 0.0], [1.0, 0.0], [0.0, 1.0], [0.0, 1.0]])
    offset = np.array([0.0, cols - 1.0, 0.0, rows - 1.0])
    cells = lines.seen.shape[1]
    record = np.repeat(np.arange(cells)[None] * _STEP_PX, 4, axis=0)
    return Lines(
        np.concatenate([lines.normal, normal]),
        np.concatenate([lines.offset, offset]),
        np.concatenate([lines.seen, record]),
        np.concatenate([lines.solid, record]),
        lines.reach,
    )


def _line_through(segments: Doubles, clear: Doubles) -> tuple[Doubles, float]:
    """Return the least-squares line through segments, weighted by length and clarity."""
    ends = segments.reshape(-1, 2)
    weight = np.repeat(_length(segments) * clear + 1e-9, 2)
    weight /= weight.sum()
    middle = weight @ ends
    x, y = (ends - middle).T
    # The direction of greatest spread of a 2 x 2 covariance, in closed form.
    turn = 0.5 * np.arctan2(2 * (weight * x * y).sum(), (weight * (x * x - y * y)).sum())
    normal = np.array([-np.sin(turn), np.cos(turn)])
    return normal, float(middle @ normal)


def _near(segments: Doubles, normal: Doubles, offset: float, slack: float) -> Any:
    away = np.abs(segments.reshape(-1, 2, 2) @ normal - offset)
    length = _length(segments)
    tilt = np.abs((segments[:, 2:] - segments[:, :2]) @ normal) / length
    return (away.max(axis=1) < slack) & (tilt < 0.12)


def _record(segments: Doubles, weight: Doubles, normal: Doubles, reach: float) -> Doubles:
    """Return the running length on which the line is seen, weighted."""
    along = segments.reshape(-1, 2, 2) @ np.array([-normal[1], normal[0]])
    cells = int(2 * reach / _STEP_PX) + 1
    ends = np.clip(np.rint((np.sort(along, axis=1) + reach) / _STEP_PX), 0, cells).astype(int)
    covered = np.zeros(cells)
    for (low, high), value in zip(ends, weight, strict=True):
        covered[low:high] = np.maximum(covered[low:high], value * _STEP_PX)
    return np.concatenate([[0.0], np.cumsum(covered)])
