"""A mirror reflectance against angle, tabulated so that it is quick to look up."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import Doubles, Floats, Integers, read_only

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike

SAMPLES = 4096


@dataclass(frozen=True, eq=False)
class SpecularCurve:
    """Reflectance per linear-sRGB channel and polarisation, over the angle of incidence.

    Parameters
    ----------
    s, p : (n, 3) float
        Rows are even steps of the square root of the cosine, 0 (grazing) to 1 (normal);
        the root keeps the steep rise near grazing well sampled.

    Notes
    -----
    A look-up is one integer index and a linear step. It stays within 1e-5 of the formula for
    metals with k from 1 to 20 and n up to 20, and for coats.
    """

    s: Doubles
    p: Doubles
    _tables: dict[str, tuple[Floats, Floats]] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "s", read_only(self.s))
        object.__setattr__(self, "p", read_only(self.p))
        values = {"s": self.s, "p": self.p, "mean": 0.5 * (self.s + self.p)}
        tables = {}
        for name, table in values.items():
            steps = np.diff(table, axis=0, append=table[-1:])
            for kind in (np.float32, np.float64):
                tables[name + np.dtype(kind).char] = (
                    read_only(table.T, kind),
                    read_only(steps.T, kind),
                )
        object.__setattr__(self, "_tables", tables)

    @property
    def polarised(self) -> tuple[Floats, Floats]:
        """Reflectances s and p, channels first, (3, n) float32, for loops of their own."""
        return self._tables["sf"][0], self._tables["pf"][0]

    def evaluate(self, cosine: ArrayLike) -> Floats:
        """Return the reflectance for unpolarised light.

        Parameters
        ----------
        cosine : (...) float
            Of the angle of incidence; outside 0..1 the nearer end holds.

        Returns
        -------
        (..., 3) float
            float32 for float32 input.
        """
        index, step = _locate(cosine, len(self.s))
        return self._read("mean", index, step)

    def evaluate_sp(self, cosine: ArrayLike) -> tuple[Floats, Floats]:
        """Return the reflectances s and p, each (..., 3), for polarised light."""
        index, step = _locate(cosine, len(self.s))
        return self._read("s", index, step), self._read("p", index, step)

    def _read(self, name: str, index: Integers, step: Floats) -> Floats:
        values, slopes = self._tables[name + step.dtype.char]
        result = np.empty((*index.shape, 3), step.dtype)
        for channel in range(3):  # plane by plane: thrice as quick as gathering rows of three
            part = np.take(slopes[channel], index, mode="clip")
            part *= step
            part += np.take(values[channel], index, mode="clip")
            result[..., channel] = part
        return result


def tabulate(
    reflectance: Callable[[Doubles], tuple[Doubles, Doubles]], *, samples: int = SAMPLES
) -> SpecularCurve:
    """Return the curve of a function of the cosine.

    Parameters
    ----------
    reflectance : callable
        Takes (n, 1) cosines and returns s and p, each (n, 3).
    """
    cosine = np.square(np.linspace(0.0, 1.0, samples))[:, None]
    s, p = reflectance(cosine)
    return SpecularCurve(np.broadcast_to(s, (samples, 3)), np.broadcast_to(p, (samples, 3)))


def _locate(cosine: ArrayLike, count: int) -> tuple[Integers, Floats]:
    cosine = np.asarray(cosine)
    if cosine.dtype != np.float32:
        cosine = cosine.astype(np.float64)
    # A cosine rounded to just above 1 meets the last row, whose slope is 0.
    place = np.sqrt(np.maximum(cosine, 0.0)) * cosine.dtype.type(count - 1)
    index = place.astype(np.intp)
    return index, place - index.astype(place.dtype)
