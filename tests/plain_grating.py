"""A diffraction grating on the sheet: where the light of each colour comes from.

Conical form of the grating equation: the direction's part in the sheet is kept, plus one
kick of order times wavelength times line density along the grating's direction (C. Palmer,
"Diffraction Grating Handbook", 8th ed., section 2.1; in one plane it reads
sin(out) = sin(in) + m wavelength / spacing, order 0 being the mirror).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from lightplan.arrays import Booleans, Floats


def diffract(
    outgoing: Floats,
    order: int,
    wavelength_nm: ArrayLike,
    lines_per_mm: float,
    direction_rad: float,
) -> tuple[Floats, Booleans]:
    """Return where the light that leaves in a direction came from.

    Parameters
    ----------
    outgoing : (n, 3) float
        Unit directions from the sheet to the eye, in the sheet's own frame (z its normal).
    order : int
        Diffraction order; 0 is the mirror, the sign tells the side.
    wavelength_nm : float or (n,) float
        [nm]
    lines_per_mm : float
        Line density. [1/mm]
    direction_rad : float
        Direction across the lines, counter-clockwise from x. [rad]

    Returns
    -------
    incoming : (n, 3) float
        Unit directions from the sheet to the source, in the dtype of `outgoing`; zero where
        there is none.
    exists : (n,) bool
        Whether such a direction exists above the sheet.

    Examples
    --------
    >>> incoming, exists = diffract(np.array([[0.0, 0.0, 1.0]]), 1, 550.0, 1000.0, 0.0)
    >>> round(float(np.rad2deg(np.arcsin(incoming[0, 0]))), 3), bool(exists[0])
    (33.367, True)
    """
    outgoing = np.asarray(outgoing)
    kick = np.asarray(order * np.asarray(wavelength_nm) * 1e-6 * lines_per_mm, outgoing.dtype)
    incoming = np.empty_like(outgoing)
    incoming[:, 0] = kick * outgoing.dtype.type(np.cos(direction_rad)) - outgoing[:, 0]
    incoming[:, 1] = kick * outgoing.dtype.type(np.sin(direction_rad)) - outgoing[:, 1]
    rest = 1.0 - np.square(incoming[:, 0]) - np.square(incoming[:, 1])
    exists = rest > 0.0
    incoming[:, 2] = np.sqrt(np.maximum(rest, 0.0))
    incoming[~exists] = 0.0
    return incoming, exists
