"""Light to and fro between matte cells against the closed form of two of them."""

import numpy as np
import pytest

from lightplan.light.bounce import System


@pytest.mark.parametrize("dark", [1e-3, 0.01, 0.1, 0.5, 0.9])
def test_two_cells_that_face_each_other(dark):
    """A geometric series: L = rho S / (1 - rho1 rho2 F12 F21).

    A very dark second cell returns light too: the little that reaches it must not end the sum.
    """
    bright, there, back = 0.85, 0.9, 0.8
    factors = np.array([[0, there], [back, 0]], np.float32)
    diffuse = np.array([[bright] * 3, [dark] * 3], np.float32)
    system = System(factors, diffuse, np.zeros_like(diffuse), np.arange(2))
    found = system.settle(np.array([[100.0] * 3, [0.0] * 3]))
    first = 100 * bright / (1 - bright * dark * there * back)
    np.testing.assert_allclose(found[0], first, rtol=1e-4)
    np.testing.assert_allclose(found[1], dark * back * first, atol=1e-4 * first)
