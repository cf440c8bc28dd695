"""Measured optical constants of metals, each table with its reference.

Rows were copied from the refractiveindex.info database (public domain, CC0 1.0), files
Au, Ag, Cu, Cr, Ni "Johnson" and Al "Rakic".
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import Doubles, read_only

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike


@dataclass(frozen=True, eq=False)
class MetalTable:
    """Index n + i k of one metal.

    Parameters
    ----------
    wavelength_nm : (n,) float
        In vacuum, ascending. [nm]
    n, k : (n,) float
    reference : str
        The publication.
    """

    wavelength_nm: Doubles
    n: Doubles
    k: Doubles
    reference: str


_NOBLE = (
    'P. B. Johnson and R. W. Christy, "Optical constants of the noble metals", '
    "Phys. Rev. B 6, 4370-4379 (1972)"
)
_TRANSITION = (
    'P. B. Johnson and R. W. Christy, "Optical constants of transition metals: Ti, V, Cr, Mn, '
    'Fe, Co, Ni, and Pd", Phys. Rev. B 9, 5056-5070 (1974)'
)
_ALUMINIUM = (
    'A. D. Rakić, "Algorithm for the determination of intrinsic optical constants of metal '
    'films: application to aluminum", Appl. Opt. 34, 4755-4767 (1995)'
)

# fmt: off
_ROWS: dict[str, tuple[str, tuple[tuple[float, float, float], ...]]] = {
    "gold": (_NOBLE, (
        (0.3679, 1.48, 1.895), (0.3815, 1.46, 1.933), (0.3974, 1.47, 1.952), (0.4133, 1.46, 1.958),
        (0.4305, 1.45, 1.948), (0.4509, 1.38, 1.914), (0.4714, 1.31, 1.849), (0.4959, 1.04, 1.833),
        (0.5209, 0.62, 2.081), (0.5486, 0.43, 2.455), (0.5821, 0.29, 2.863), (0.6168, 0.21, 3.272),
        (0.6595, 0.14, 3.697), (0.7045, 0.13, 4.103), (0.756, 0.14, 4.542),
    )),
    "silver": (_NOBLE, (
        (0.3679, 0.07, 1.657), (0.3815, 0.05, 1.864), (0.3974, 0.05, 2.07), (0.4133, 0.05, 2.275),
        (0.4305, 0.04, 2.462), (0.4509, 0.04, 2.657), (0.4714, 0.05, 2.869), (0.4959, 0.05, 3.093),
        (0.5209, 0.05, 3.324), (0.5486, 0.06, 3.586), (0.5821, 0.05, 3.858), (0.6168, 0.06, 4.152),
        (0.6595, 0.05, 4.483), (0.7045, 0.04, 4.838), (0.756, 0.03, 5.242),
    )),
    "copper": (_NOBLE, (
        (0.3679, 1.36, 1.975), (0.3815, 1.33, 2.045), (0.3974, 1.32, 2.116), (0.4133, 1.28, 2.207),
        (0.4305, 1.25, 2.305), (0.4509, 1.24, 2.397), (0.4714, 1.25, 2.483), (0.4959, 1.22, 2.564),
        (0.5209, 1.18, 2.608), (0.5486, 1.02, 2.577), (0.5821, 0.7, 2.704), (0.6168, 0.3, 3.205),
        (0.6595, 0.22, 3.747), (0.7045, 0.21, 4.205), (0.756, 0.24, 4.665),
    )),
    "chromium": (_TRANSITION, (
        (0.368, 1.87, 2.69), (0.381, 1.92, 2.74), (0.397, 2, 2.83), (0.413, 2.08, 2.93),
        (0.431, 2.19, 3.04), (0.451, 2.33, 3.14), (0.471, 2.51, 3.24), (0.496, 2.75, 3.3),
        (0.521, 2.94, 3.33), (0.549, 3.18, 3.33), (0.582, 3.22, 3.3), (0.617, 3.17, 3.3),
        (0.659, 3.09, 3.34), (0.704, 3.05, 3.39), (0.756, 3.08, 3.42),
    )),
    "nickel": (_TRANSITION, (
        (0.368, 1.7, 2.4), (0.381, 1.72, 2.48), (0.397, 1.72, 2.57), (0.413, 1.7, 2.69),
        (0.431, 1.71, 2.82), (0.451, 1.73, 2.95), (0.471, 1.78, 3.09), (0.496, 1.82, 3.25),
        (0.521, 1.85, 3.42), (0.549, 1.92, 3.61), (0.582, 1.96, 3.8), (0.617, 1.99, 4.02),
        (0.659, 1.99, 4.26), (0.704, 2.06, 4.5), (0.756, 2.13, 4.73),
    )),
    "aluminium": (_ALUMINIUM, (
        (0.36466, 0.39877, 4.3957), (0.41328, 0.52135, 5.0008), (0.4428, 0.6079, 5.3676),
        (0.47687, 0.7278, 5.7781), (0.5166, 0.8734, 6.2418), (0.56357, 1.0728, 6.7839),
        (0.61993, 1.366, 7.4052), (0.65225, 1.5724, 7.7354), (0.68881, 1.8301, 8.0601),
        (0.72932, 2.1606, 8.3565), (0.77491, 2.6154, 8.4914), (0.79478, 2.7675, 8.3866),
    )),
}
# fmt: on


def _table(reference: str, rows: tuple[tuple[float, float, float], ...]) -> MetalTable:
    wavelength_um, n, k = np.array(rows).T
    return MetalTable(
        read_only(np.round(wavelength_um * 1e3, 6)), read_only(n), read_only(k), reference
    )


METALS: Mapping[str, MetalTable] = MappingProxyType(
    {name: _table(reference, rows) for name, (reference, rows) in _ROWS.items()}
)


def refractive_index(metal: str, wavelength_nm: ArrayLike) -> tuple[Doubles, Doubles]:
    """Return n and k of a metal, linear in wavelength between the published rows.

    Parameters
    ----------
    metal : str
        A key of `METALS`.
    wavelength_nm : (...) float
        In vacuum; beyond the table the end rows hold. [nm]

    Returns
    -------
    n, k : (...) float

    Raises
    ------
    KeyError
        For a metal that has no table.

    Examples
    --------
    >>> n, k = refractive_index("aluminium", 516.6)
    >>> float(n), float(k)
    (0.8734, 6.2418)
    """
    table, wave = METALS[metal], np.asarray(wavelength_nm, float)
    n = np.interp(wave, table.wavelength_nm, table.n)
    return np.asarray(n), np.asarray(np.interp(wave, table.wavelength_nm, table.k))
