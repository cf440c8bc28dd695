"""The mirror law that advice and planning use, on photographs of a chrome ball.

Twelve photographs with the lamp's direction known in each, beside the repository where they
are (Photometric Stereo toolbox's light probe); their light directions assume a lens far away.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from lightplan.scene import Camera, Placement
from lightplan.scene.mirroring import mirrored_ways

BALL = Path(__file__).parents[3] / "shared" / "photos" / "chrome_sphere" / "psbox" / "LightProbe-1"
FAR_MM = 1e6
BRIGHT = 245


@pytest.mark.skipif(not BALL.is_dir(), reason="the photographs of the chrome ball are not here")
def test_a_ball_mirrors_the_lamp_where_the_law_has_it():
    across, up, radius = (float(v) for v in (BALL / "circle_data.txt").read_text().split())
    truth = np.loadtxt(BALL / "light_directions.txt").T
    normals = np.array([highlight(i + 1, across, up, radius) for i in range(len(truth))])
    lens = Camera(placement=Placement((0.0, 0.0, FAR_MM)))
    found = mirrored_ways(lens, normals, normals)
    cosine = (found * truth).sum(axis=1) / np.linalg.norm(truth, axis=1)
    away = np.degrees(np.arccos(np.clip(cosine, -1, 1)))
    assert away.mean() < 0.6
    assert away.max() < 1.0
    # the test would see a law that is wrong: the normal itself is many degrees away
    assert np.degrees(np.arccos((normals * truth).sum(axis=1))).mean() > 5


def highlight(number, across, up, radius):
    """Return the ball's normal where the lamp is mirrored; pixels count from 1, y from below."""
    picture = cv2.imread(str(BALL / f"Image_{number:02d}.JPG"), cv2.IMREAD_GRAYSCALE)
    rows, cols = picture.shape
    y, x = np.mgrid[:rows, :cols]
    near = (x - (across - 1)) ** 2 + (y - (rows - up)) ** 2 < (0.6 * radius) ** 2
    bright = (near & (picture >= BRIGHT)).astype(np.uint8)
    _, _, stats, centres = cv2.connectedComponentsWithStats(bright)
    column, row = centres[1 + stats[1:, cv2.CC_STAT_AREA].argmax()]
    n_x, n_y = (column - (across - 1)) / radius, ((rows - up) - row) / radius
    return n_x, n_y, np.sqrt(1 - n_x**2 - n_y**2)
