"""A strip of foil on its slip beside the sheet: where it lies, and what of it is read."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from lightplan.shots.context import PhotoContext
from lightplan.shots.pipeline import look_at
from lightplan.shots.sheet.card import CardLayout
from lightplan.shots.sheet.strip_layout import CHECK_MM, LENGTH_MM, foil_place

PX_PER_MM = 4.0
BOARD_MM = (620.0, 460.0)
GIVEN = {
    "size_mm": (148, 105),
    "stock": "white",
    "exposure": 0.8,
    "table": "dark",
    "fill": 0.3,
    "tilt_deg": 18.0,
    "distortion": 0.0,
    "hot_spot": False,
    "glare": False,
    "rows": 1300,
    "cols": 1900,
    "noise": 0.003,
    "jpeg": 0,
    "look": "plain",
}


@pytest.fixture(scope="module")
def slip(to_linear):
    """One slip as it is printed, reflectance (h, w, 3)."""
    import pypdfium2

    from lightplan.reports.print.page import pdf_bytes
    from lightplan.reports.print.strip_page import slips, strip_page

    data = pdf_bytes([strip_page(CardLayout("A4"))], title="strip")
    with pypdfium2.PdfDocument(data) as pages:
        shown = pages[0].render(scale=8 * 25.4 / 72).to_pil().convert("RGB")
    box = slips("A4")[0]
    x, y, w, h = (round(8 * v) for v in (box.x_mm, box.y_mm, box.width_mm, box.height_mm))
    return 0.9 * to_linear(np.asarray(shown)[y : y + h, x : x + w])


def glued(slip, length_mm):
    """The slip with foil over the first part of its checks; brighter towards the outer end."""
    box = foil_place()
    on = slip.copy()
    low, high = round(8 * box.y_mm), round(8 * (box.y_mm + length_mm))
    left, right = round(8 * box.x_mm), round(8 * (box.x_mm + box.width_mm))
    ramp = np.linspace(0.1, 0.6, high - low)[:, None, None]
    on[low:high, left:right] = ramp
    return on


def on_board(slip, middle_mm, turn_deg, scale=1.0):
    """A dark board with the slip on it; `middle_mm` is x, y (away) from the board's middle."""
    wide, high = (round(PX_PER_MM * side) for side in BOARD_MM)
    board = np.full((high, wide, 3), 0.06, np.float32)
    turn = np.radians(turn_deg)
    per = PX_PER_MM / 8 * scale
    middle = np.array([wide / 2 + PX_PER_MM * middle_mm[0], high / 2 - PX_PER_MM * middle_mm[1]])
    matrix = per * np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    half = np.array([slip.shape[1], slip.shape[0]]) / 2
    way = np.column_stack([matrix, middle - matrix @ half])
    small = cv2.GaussianBlur(slip.astype(np.float32), (0, 0), 0.8)
    there = cv2.warpAffine(small, way, (wide, high))
    where = cv2.warpAffine(np.ones(slip.shape[:2], np.float32), way, (wide, high))[..., None]
    return board * (1 - where) + there * where


def true_places(middle_mm, turn_deg, count):
    """Where the first cells of the foil lie, x and y (away) from the sheet's middle."""
    box = foil_place()
    along = box.y_mm + 2 * CHECK_MM * (np.arange(count) + 0.5)
    x, y = np.zeros(count), LENGTH_MM / 2 - along
    turn = np.radians(turn_deg)
    return np.column_stack(
        [
            middle_mm[0] + np.cos(turn) * x - np.sin(turn) * y,
            middle_mm[1] + np.sin(turn) * x + np.cos(turn) * y,
        ]
    )


@pytest.fixture(scope="module")
def looked(photograph, slip, tmp_path_factory):
    """Photograph a slip beside the sheet; returns the render, and what was looked at."""
    folder = tmp_path_factory.mktemp("strip")

    def look(
        length_mm, middle_mm=(206.0, 14.0), turn_deg=81.0, *, strip=True, scale=1.0, **changes
    ):
        on = glued(slip, length_mm) if length_mm else slip
        under = (on_board(on, middle_mm, turn_deg, scale), *BOARD_MM)
        shot = photograph(7, under=under, **{**GIVEN, **changes})
        path = folder / f"{length_mm}_{turn_deg}_{scale}_{len(changes)}.png"
        cv2.imwrite(str(path), shot.picture[..., ::-1])
        context = PhotoContext(
            width_mm=shot.width_mm, height_mm=shot.height_mm, artwork=shot.artwork.astype(float)
        )
        return shot, look_at(path, replace(context, strip=strip))

    return look


@pytest.mark.parametrize(
    ("middle_mm", "turn_deg"), [((206.0, 14.0), 81.0), ((-206.0, -10.0), -96.0)]
)
def test_cells_lie_where_opencv_has_them(looked, middle_mm, turn_deg):
    """The plane of OpenCV's own homography from the sheet's true corners, and the drawing."""
    shot, seen = looked(120.0, middle_mm, turn_deg)
    found = seen.strip
    assert found is not None
    w, h = shot.width_mm / 2, shot.height_mm / 2
    on_sheet = np.array([[-w, h], [w, h], [w, -h], [-w, -h]])
    plane, _ = cv2.findHomography(np.ascontiguousarray(shot.corners[:, ::-1]), on_sheet)
    there = cv2.perspectiveTransform(np.ascontiguousarray(found.places[None, :, ::-1]), plane)[0]
    got = np.column_stack([found.x_mm, found.y_mm])
    assert len(got) == 20
    assert np.abs(got - there).max() < 1.2  # half a per cent of how far away they lie
    assert np.abs(got - true_places(middle_mm, turn_deg, 20)).max() < 1.2


def test_a_bending_lens_moves_them_little(looked):
    """The sheet alone tells the bending, and the strip lies outside of it."""
    _, seen = looked(120.0, distortion=-0.03)
    got = np.column_stack([seen.strip.x_mm, seen.strip.y_mm])
    assert len(got) >= 19
    count = len(got)
    first = np.abs(got - true_places((206.0, 14.0), 81.0, 20)[:count])
    later = np.abs(got - true_places((206.0, 14.0), 81.0, 20)[20 - count :])
    assert min(first.max(), later.max()) < 2.5


def test_bare_checks_are_left_out(looked):
    """Foil over 60 of 168 mm: ten cells of 6 mm, and none of what shows the checks."""
    _, seen = looked(60.0)
    assert len(seen.strip.x_mm) == 10
    level = seen.strip.linear.mean(axis=(1, 2))
    assert (np.diff(level) > 0).all()  # the foil was drawn brighter towards the outer end
    _, bare = looked(0)
    assert bare.strip is None


def test_a_slip_is_no_fault_of_the_frame(looked):
    _, seen = looked(120.0)
    _, unasked = looked(120.0, strip=False)
    assert unasked.strip is None
    told, before = (one.score.measures["frame_edge_share"][0] for one in (seen, unasked))
    assert told < before


def test_a_slip_in_another_plane_is_not_believed(looked):
    """A quarter larger than printed: it lies nearer to the lens than the sheet."""
    _, seen = looked(120.0, scale=1.25)
    assert seen.strip is None
