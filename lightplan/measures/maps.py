"""The squared picture of one sheet, with foil, paper and background told apart."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from lightplan.errors import BadInput
from lightplan.measures.grid import Grid, Region

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from lightplan.arrays import Booleans, Singles

CLIP_LEVEL = 1.0
"""Linear level of a channel that can record nothing brighter."""

MAX_PIXELS = 64_000_000
"""Pictures above this are refused: a sheet never needs more, memory does not hold it."""


@dataclass(frozen=True, eq=False)
class Background:
    """Samples of what lies round the sheet in the picture.

    Parameters
    ----------
    linear : (n, 3) float32
        Linear levels, 1.0 = clip level.
    clipped : (n, 3) bool
        Whether the channel had reached its end.
    """

    linear: Singles
    clipped: Booleans

    def __post_init__(self) -> None:
        linear = _frozen(self.linear, np.float32)
        clipped = _frozen(self.clipped, np.bool_)
        if linear.ndim != 2 or linear.shape[1] != 3 or clipped.shape != linear.shape:
            raise _wrong_shape("background.linear", "(n, 3), as background.clipped", linear.shape)
        object.__setattr__(self, "linear", linear)
        object.__setattr__(self, "clipped", clipped)


class SheetPicture(Protocol):
    """What the measures ask of a picture, besides its levels."""

    @property
    def grid(self) -> Grid:
        """Pixels and cells of foil and of paper."""
        ...

    @property
    def background(self) -> Background | None:
        """Samples round the sheet."""
        ...

    @property
    def confidence(self) -> float:
        """How sure the foil mask is, 0 to 1."""
        ...

    @property
    def code_levels(self) -> int | None:
        """Levels that the file could tell apart."""
        ...

    def pixels(self, region: Region) -> tuple[Singles, Booleans]:
        """Return linear levels and clipped channels, (..., n, 3), of a material's pixels."""
        ...


@dataclass(frozen=True, eq=False)
class SheetMaps:
    """One sheet, squared, as maps that share their rows and columns.

    Row 0 is the far edge of the sheet (+y), column 0 its left edge (-x). Whether the
    picture was predicted or photographed is not recorded: the measures must not know.

    Parameters
    ----------
    linear : (rows, cols, 3) float32
        Linear levels, 1.0 = clip level. May exceed 1 where the source can tell.
    foil : (rows, cols) float32
        Share of foil in the pixel, 0 to 1.
    valid : (rows, cols) bool
        Pixels that show the sheet.
    clipped : (rows, cols, 3) bool
        Channels that had reached their end.
    width_mm, height_mm : float
        Size of the sheet along x and along y.
    background : Background or None
        Samples round the sheet.
    confidence : float
        How sure the foil mask is, 0 to 1.
    code_levels : int or None
        Levels that the file could tell apart (256, 65536), sRGB encoded; None when the
        picture was not quantised.
    """

    linear: Singles
    foil: Singles
    valid: Booleans
    clipped: Booleans
    width_mm: float
    height_mm: float
    background: Background | None = None
    confidence: float = 1.0
    code_levels: int | None = None

    def __post_init__(self) -> None:
        self._check_numbers()
        linear = np.asarray(self.linear, np.float32)
        if linear.ndim != 3 or linear.shape[2] != 3 or min(linear.shape[:2]) < 4:
            raise _wrong_shape("linear", "(rows, cols, 3), 4 pixels or more a side", linear.shape)
        if linear.shape[0] * linear.shape[1] > MAX_PIXELS:
            raise _wrong_shape("linear", f"at most {MAX_PIXELS} pixels", linear.shape)
        shape = linear.shape[:2]
        finite = np.isfinite(linear)
        valid = _frozen(self.valid, np.bool_)
        if not finite.all():
            valid = _frozen(valid & finite.all(axis=2), np.bool_)
            linear = np.where(valid[..., None], linear, np.float32(0.0))
        foil = _frozen(self.foil, np.float32)
        clipped = _frozen(self.clipped, np.bool_)
        for name, array, wanted in (
            ("foil", foil, shape),
            ("valid", valid, shape),
            ("clipped", clipped, (*shape, 3)),
        ):
            if array.shape != wanted:
                raise _wrong_shape(name, str(wanted), array.shape)
        if not (float(foil.min()) >= 0.0 and float(foil.max()) <= 1.0):
            raise BadInput(
                field="foil",
                wanted="a share of foil from 0 to 1 in each pixel",
                got="values outside",
                cure="divide an 8-bit mask by 255",
            )
        linear = _frozen(np.maximum(linear, np.float32(0.0)), np.float32)
        for name, array in (
            ("linear", linear),
            ("foil", foil),
            ("valid", valid),
            ("clipped", clipped),
        ):
            object.__setattr__(self, name, array)

    def _check_numbers(self) -> None:
        for name in ("width_mm", "height_mm"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 0):
                raise BadInput(
                    field=name, wanted="greater than 0", got=value, cure="measure the sheet"
                )
        if not 0.0 <= self.confidence <= 1.0:
            raise BadInput(
                field="confidence",
                wanted="from 0 to 1",
                got=self.confidence,
                cure="use 1 for a mask that is known",
            )
        if self.code_levels is not None and self.code_levels < 2:
            raise BadInput(
                field="code_levels",
                wanted="2 or more, or None",
                got=self.code_levels,
                cure="use 256 for an 8-bit file",
            )

    @classmethod
    def from_linear(
        cls,
        linear: ArrayLike,
        foil: ArrayLike,
        *,
        width_mm: float,
        height_mm: float,
        valid: ArrayLike | None = None,
        clipped: ArrayLike | None = None,
        background: Background | None = None,
        confidence: float = 1.0,
        code_levels: int | None = None,
    ) -> SheetMaps:
        """Return maps of a linear picture; what is not given follows from it.

        Parameters
        ----------
        linear : (rows, cols, 3) float
            Linear levels, 1.0 = clip level. Pixels that are not finite are not valid.
        foil : (rows, cols) float
            Share of foil, 0 to 1.
        valid : (rows, cols) bool, optional
            Pixels that show the sheet; all finite ones when left out.
        clipped : (rows, cols, 3) bool, optional
            Channels at their end; those at 1.0 or above when left out.

        Examples
        --------
        >>> maps = SheetMaps.from_linear(
        ...     np.full((8, 8, 3), 0.5), np.ones((8, 8)), width_mm=80, height_mm=80)
        >>> bool(maps.clipped.any()), maps.linear.flags.writeable
        (False, False)
        """
        levels = np.asarray(linear, np.float32)
        if levels.ndim != 3 or levels.shape[2] != 3:
            raise _wrong_shape("linear", "(rows, cols, 3)", levels.shape)
        with np.errstate(invalid="ignore"):
            ended = levels >= CLIP_LEVEL if clipped is None else np.asarray(clipped)
        shown = np.ones(levels.shape[:2], np.bool_) if valid is None else np.asarray(valid)
        return cls(
            linear=levels,
            foil=np.asarray(foil, np.float32),
            valid=shown,
            clipped=ended,
            width_mm=float(width_mm),
            height_mm=float(height_mm),
            background=background,
            confidence=float(confidence),
            code_levels=code_levels,
        )

    def with_linear(self, linear: ArrayLike, clipped: ArrayLike | None = None) -> SheetMaps:
        """Return maps of another picture of the same sheet, the masks' work kept.

        A search measures thousands of pictures under one mask; what depends on the
        mask alone is then computed once.
        """
        other = SheetMaps.from_linear(
            linear,
            self.foil,
            width_mm=self.width_mm,
            height_mm=self.height_mm,
            valid=self.valid,
            clipped=clipped,
            background=self.background,
            confidence=self.confidence,
            code_levels=self.code_levels,
        )
        if np.array_equal(other.valid, self.valid):
            other.__dict__["grid"] = self.grid
        return other

    @cached_property
    def grid(self) -> Grid:
        """What follows from the masks alone: pixels and cells of foil and of paper."""
        return Grid.of(self.foil, self.valid, width_mm=self.width_mm, height_mm=self.height_mm)

    def pixels(self, region: Region) -> tuple[Singles, Booleans]:
        """Return linear levels and clipped channels, (n, 3) each, of its pixels that count."""
        at = region.counted
        flat = self.linear.reshape(-1, 3), self.clipped.reshape(-1, 3)
        return flat[0].take(at, axis=0), flat[1].take(at, axis=0)

    @property
    def pixel_mm(self) -> tuple[float, float]:
        """Size of a pixel along x and along y, in mm."""
        rows, cols = self.foil.shape
        return self.width_mm / cols, self.height_mm / rows


def _frozen(values: ArrayLike, dtype: Any) -> NDArray[Any]:
    """Return a read-only array; a copy unless nobody can write to the original."""
    array = np.asarray(values)
    if array.dtype == dtype and not array.flags.writeable and array.base is None:
        return array
    array = np.array(values, dtype=dtype, order="C")
    array.setflags(write=False)
    return array


def _wrong_shape(field: str, wanted: str, got: object) -> BadInput:
    return BadInput(
        field=field,
        wanted=f"an array of {wanted}",
        got=f"shape {got}",
        cure="square the picture to the sheet first",
    )
