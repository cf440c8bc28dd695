"""Fresnel power reflectances of metals, clear coats and thin metal films.

Amplitudes follow M. Born and E. Wolf, "Principles of Optics", 7th ed., sections 1.5 and
14.4, with the index written n + i k, so that a wave dies out as exp(-4 pi k z / wavelength).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from lightplan.arrays import Doubles

Complexes: TypeAlias = NDArray[np.complexfloating[Any, Any]]


def dielectric(cosine: ArrayLike, index: ArrayLike) -> tuple[Doubles, Doubles]:
    """Return the s and p power reflectance of a clear surface, seen from the air.

    Parameters
    ----------
    cosine : (...) float
        Cosine of the angle of incidence, 0 to 1.
    index : (...) float
        Refractive index of the clear body relative to the medium in front. Below 1 there
        is total reflection beyond the critical angle.

    Returns
    -------
    s, p : (...) float
        Reflectances for light polarised across and in the plane of incidence.

    Examples
    --------
    >>> s, p = dielectric(1.0, 1.5)
    >>> round(float(s), 6), round(float(p), 6)
    (0.04, 0.04)
    """
    return conductor(cosine, index, 0.0)


def conductor(cosine: ArrayLike, eta: ArrayLike, k: ArrayLike) -> tuple[Doubles, Doubles]:
    """Return the s and p power reflectance of a thick metal.

    Parameters
    ----------
    cosine : (...) float
        Cosine of the angle of incidence, 0 to 1.
    eta, k : (...) float
        Real and imaginary part of the index, relative to the medium in front.

    Returns
    -------
    s, p : (...) float

    Examples
    --------
    >>> s, p = conductor(0.5, 0.43, 2.455)
    >>> round(float(s + p) / 2, 6)
    0.788132
    """
    cosine = np.asarray(cosine)
    back = np.asarray(eta) + 1j * np.asarray(k)
    tangential_squared = 1.0 - np.square(cosine)
    s, p = _amplitudes(1.0, back, cosine, _normal_part(back, tangential_squared))
    return np.abs(s) ** 2, np.abs(p) ** 2


def film(
    cosine: ArrayLike,
    *,
    wavelength_nm: ArrayLike,
    front_index: ArrayLike,
    film_index: ArrayLike,
    back_index: ArrayLike,
    thickness_nm: float,
) -> tuple[Doubles, Doubles]:
    """Return the s and p power reflectance of one coherent film between two media.

    Parameters
    ----------
    cosine : (...) float
        Cosine of the angle of incidence in the front medium.
    wavelength_nm : (...) float
        In vacuum. [nm]
    front_index : (...) float
        Clear medium the light comes from.
    film_index, back_index : (...) complex
        Film and the medium behind it, n + i k.
    thickness_nm : float
        Of the film. [nm]

    Returns
    -------
    s, p : (...) float

    Notes
    -----
    Airy's sum of the inner reflections, Born and Wolf section 1.6.4; for one film it equals
    the transfer matrix.
    """
    front, middle, back = (np.asarray(i) for i in (front_index, film_index, back_index))
    tangential_squared = np.square(front) * (1.0 - np.square(cosine))
    middle_normal, back_normal = (_normal_part(i, tangential_squared) for i in (middle, back))
    outer = _amplitudes(front, middle, front * np.asarray(cosine), middle_normal)
    inner = _amplitudes(middle, back, middle_normal, back_normal)
    turn = np.exp(4j * np.pi * thickness_nm / np.asarray(wavelength_nm) * middle_normal)
    s, p = ((a + b * turn) / (1.0 + a * b * turn) for a, b in zip(outer, inner, strict=True))
    return np.abs(s) ** 2, np.abs(p) ** 2


def _normal_part(index: ArrayLike, tangential_squared: ArrayLike) -> Complexes:
    """Return the normal component of the wave vector, over its length in vacuum."""
    squared = np.square(np.asarray(index, complex)) - np.asarray(tangential_squared)
    return np.asarray(np.sqrt(squared))


def _amplitudes(
    front: ArrayLike, back: ArrayLike, front_normal: ArrayLike, back_normal: ArrayLike
) -> tuple[Complexes, Complexes]:
    """Return amplitude reflectances s and p from `front` to `back`."""
    return (
        _contrast(np.asarray(front_normal), np.asarray(back_normal)),
        _contrast(
            np.square(np.asarray(back)) * front_normal, np.square(np.asarray(front)) * back_normal
        ),
    )


def _contrast(one: Complexes, two: Complexes) -> Complexes:
    """Return (one - two) / (one + two); -1, the grazing limit, where both vanish."""
    total = np.asarray(one + two, complex)
    ratio = np.full(total.shape, -1.0 + 0.0j)
    np.divide(one - two, total, out=ratio, where=total != 0.0)
    return ratio
