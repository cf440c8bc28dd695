"""The nearest marked pixel and a soft picture, against SciPy's distance transform and blur."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from lightplan.light.compiled.nearest import nearest_marked
from lightplan.light.rim import _softened


@pytest.mark.parametrize("share", [0.0, 0.002, 0.1, 0.9])
@pytest.mark.parametrize("step", [(1.0, 1.0), (0.083, 0.121), (2.0, 0.5)])
def test_distances_are_exact(share, step):
    random = np.random.default_rng(3)
    marked = random.random((61, 87)) < share
    marked[17, 5] = True  # one at least
    away = np.empty(marked.shape)
    row, col = np.empty((2, *marked.shape), np.int64)
    nearest_marked(marked, *step, away, row, col)
    wanted = ndimage.distance_transform_edt(~marked, sampling=step)
    np.testing.assert_allclose(away, wanted, rtol=1e-12, atol=1e-12)
    assert marked[row, col].all()
    here = np.indices(marked.shape)
    there = np.hypot((here[0] - row) * step[0], (here[1] - col) * step[1])
    np.testing.assert_allclose(there, away, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize(("beyond", "mode"), [("edge", "nearest"), ("symmetric", "reflect")])
def test_a_blur_is_scipys(beyond, mode):
    picture = np.random.default_rng(4).normal(size=(40, 53))
    wanted = ndimage.gaussian_filter(picture, 1.5, mode=mode)
    np.testing.assert_allclose(_softened(picture, 1.5, beyond), wanted, rtol=0, atol=1e-12)
