"""From a spectral reflectance to linear sRGB under daylight D65."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.optics import cie_tables
from lightplan.optics.colour import XYZ_TO_LINEAR_SRGB

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

PER_GAP = 4  # steps between the closest two wavelengths, at which the CIE's table is read


def wavelength_weights(wavelengths_nm: ArrayLike, *, between_rows: bool = False) -> Doubles:
    """Return what each wavelength of a set gives to linear sRGB.

    A spectrum is taken as linear between the wavelengths and constant beyond their ends,
    so ``weights.T @ spectrum`` is the colour of that broken line under D65.

    Parameters
    ----------
    wavelengths_nm : (n,) float
        Ascending. [nm]
    between_rows : bool
        Whether wavelengths closer than two of the CIE's rows read these on straight lines. A
        sum over the rows is the standard's; of such wavelengths it gives some a row's whole
        weight, and others none.

    Returns
    -------
    (n, 3) float
        Each column sums to 1: a perfect reflector is (1, 1, 1). Single weights may be
        negative, since most pure spectral colours lie outside sRGB.

    Raises
    ------
    ValueError
        When the wavelengths are not ascending.

    Examples
    --------
    >>> weights = wavelength_weights([450.0, 550.0, 650.0])
    >>> [round(float(v), 9) for v in weights.sum(axis=0)]
    [1.0, 1.0, 1.0]
    """
    nodes = np.atleast_1d(np.asarray(wavelengths_nm, float))
    if nodes.ndim != 1 or (np.diff(nodes) <= 0).any():
        raise ValueError("wavelengths_nm must be one ascending row")
    gap = np.diff(nodes).min(initial=np.inf)
    is_close = between_rows and gap < 2 * _step_nm()
    wavelengths, weights = _channel_weights(PER_GAP * _step_nm() / gap if is_close else 1.0)
    hats = np.stack([np.interp(wavelengths, nodes, row) for row in np.eye(len(nodes))])
    return hats @ weights


def linear_srgb(wavelength_nm: ArrayLike, reflectance: ArrayLike) -> Doubles:
    """Return the colour of a reflectance under D65.

    Parameters
    ----------
    wavelength_nm : (n,) float
        Ascending. [nm]
    reflectance : (..., n) float
        0 to 1.

    Returns
    -------
    (..., 3) float
        Linear sRGB, (1, 1, 1) for a perfect reflector. Values below 0 or above 1 are kept:
        such a colour lies outside sRGB (the red of real gold does).

    Examples
    --------
    >>> [round(float(v), 6) for v in linear_srgb([400.0, 700.0], [0.18, 0.18])]
    [0.18, 0.18, 0.18]
    """
    return np.asarray(reflectance, float) @ wavelength_weights(wavelength_nm)


def _step_nm() -> float:
    return float(cie_tables.WAVELENGTH_NM[1] - cie_tables.WAVELENGTH_NM[0])


def _channel_weights(finer: float) -> tuple[Doubles, Doubles]:
    """Return the table's wavelengths (n,) and their weights (n, 3), each column summing to 1.

    Read on straight lines, at so many steps for one of the table.
    """
    weights = (cie_tables.MATCHING * cie_tables.D65[:, None]) @ XYZ_TO_LINEAR_SRGB.T
    wavelengths = cie_tables.WAVELENGTH_NM
    if finer > 1:
        steps = math.ceil(finer) * (len(wavelengths) - 1)
        between = np.linspace(wavelengths[0], wavelengths[-1], steps + 1)
        weights = np.stack([np.interp(between, wavelengths, row) for row in weights.T], axis=1)
        wavelengths = between
    return wavelengths, read_only(weights / weights.sum(axis=0))
