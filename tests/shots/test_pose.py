"""Where the camera stood: exact poses, a library's own projection, a real mirror rig."""

import math
from pathlib import Path

import cv2
import numpy as np
import pytest
from plain_pose import pose_of_points
from plain_questions import camera_pose

from lightplan.arrays import read_only
from lightplan.errors import PhotoError
from lightplan.scene.camera import Camera
from lightplan.scene.placement import Placement
from lightplan.shots.sheet.corners import SheetFound, find_sheet

MIRROR = Path(__file__).parents[2] / ".." / "shared" / "photos" / "plane_mirror"


def corners_mm(width_mm, height_mm):
    x, y = width_mm / 2, height_mm / 2
    return np.array([[-x, y, 0], [x, y, 0], [x, -y, 0], [-x, -y, 0]])


@pytest.mark.parametrize("seed", range(8))
def test_pose_of_exact_corners_is_exact(photograph, seed):
    shot = photograph(seed, distortion=0.0, rows=60, cols=90, tilt_deg=5.0 + 4 * seed)
    found = SheetFound(read_only(shot.corners), (60, 90), 1.0, "by hand")
    pose = camera_pose(
        found, width_mm=shot.width_mm, height_mm=shot.height_mm, focal_px=shot.focal_px
    )
    position = -shot.rotation.T @ shot.translation_mm
    np.testing.assert_allclose(pose.position_mm, position, rtol=1e-5, atol=1e-3)
    np.testing.assert_allclose(pose.rotation, shot.rotation, atol=1e-6)
    assert pose.rms_px < 1e-5
    assert math.degrees(pose.tilt_rad) == pytest.approx(5.0 + 4 * seed, abs=1e-3)


def test_the_rigs_own_camera_is_found_again():
    """The corners a rig's camera predicts give that camera's place back."""
    placement = Placement(position_mm=(120.0, -260.0, 480.0), aim_mm=(0.0, 0.0, 0.0))
    camera = Camera(placement=placement)
    rows, cols = 780, 1175  # its sensor of 15.6 x 23.5 mm has square pixels so
    seen = camera.project(corners_mm(148, 210), rows, cols)
    focal = camera.focal_length_mm / camera.sensor_width_mm * cols
    found = SheetFound(read_only(seen), (rows, cols), 1.0, "by hand")
    pose = camera_pose(found, width_mm=148, height_mm=210, focal_px=focal)
    np.testing.assert_allclose(pose.position_mm, placement.position_mm, rtol=1e-5)


def test_found_corners_give_the_place_within_a_percent(photograph):
    shot = photograph(8, size_mm=(148, 210), stock="white", table="dark", tilt_deg=18.0)
    found = find_sheet(shot.picture, width_mm=148, height_mm=210, focal_px=shot.focal_px)
    turns = [np.linalg.norm(found.turned(k).corners - shot.corners) for k in range(4)]
    found = found.turned(int(np.argmin(turns)))
    pose = camera_pose(found, width_mm=148, height_mm=210, focal_px=shot.focal_px)
    true = -shot.rotation.T @ shot.translation_mm
    assert np.linalg.norm(pose.position_mm - true) < 0.01 * np.linalg.norm(true)


def test_corners_no_camera_can_see_are_refused():
    line = SheetFound(
        read_only([[10.0, 10], [10, 50], [10, 90], [10, 30]]), (100, 100), 1.0, "by hand"
    )
    with pytest.raises(PhotoError, match="corners must be corners that a camera above"):
        camera_pose(line, width_mm=100, height_mm=100, focal_px=200.0)


@pytest.mark.skipif(not MIRROR.exists(), reason="the shared photographs are not here")
@pytest.mark.parametrize("view", [1, 2, 3])
def test_chessboard_in_a_mirror_fits_to_a_pixel(view):
    """70 measured points of the published calibration set; its README: 0.26 to 0.91 px rms."""
    matrix = np.loadtxt(MIRROR / "camera.txt", delimiter=",")
    board = np.loadtxt(MIRROR / "model.txt")
    seen = np.loadtxt(MIRROR / f"input{view}.txt")
    pose = pose_of_points(
        board, seen, focal_px=(matrix[0, 0], matrix[1, 1]), middle=(matrix[0, 2], matrix[1, 2])
    )
    assert pose.rms_px < 0.95


@pytest.mark.skipif(not MIRROR.exists(), reason="the shared photographs are not here")
def test_white_field_round_the_chessboard_is_found_at_one_place_in_three_photographs():
    """Real photographs: the field's corners, carried to the board's millimetres, agree.

    The field's proportions are those of the A series, as the three views show.
    """
    board = np.loadtxt(MIRROR / "model.txt")[:, :2]
    places = []
    for view in (1, 2, 3):
        picture = cv2.imread(str(MIRROR / f"input{view}.jpg"))[..., ::-1]
        found = find_sheet(picture, width_mm=210, height_mm=148)
        assert found
        seen = np.loadtxt(MIRROR / f"input{view}.txt")
        plane = cv2.findHomography(seen, board)[0]
        at = np.column_stack([found.corners[:, ::-1], np.ones(4)]) @ plane.T
        at = at[:, :2] / at[:, 2:]
        places.append(at[np.lexsort(np.round(at, -2).T)])
    spread = np.ptp(places, axis=0).max()
    width = np.ptp(places[0][:, 0])
    assert spread < 0.01 * width
