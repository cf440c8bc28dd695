"""The marker card: its page, and what it is good for in a photograph."""

import cv2
import numpy as np
import pypdf
import pytest

from lightplan.optics.colour import srgb_encode
from lightplan.reports.print.card_page import write_marker_card
from lightplan.safe_write import FileExists
from lightplan.shots.sheet.card import PATCH_LIGHTNESS, CardLayout, find_marker_card, read_greys
from lightplan.shots.sheet.corners import find_sheet

POINT_MM = 25.4 / 72


@pytest.mark.parametrize(("unit", "size_mm"), [("mm", (210.0, 297.0)), ("in", (215.9, 279.4))])
def test_page_has_the_paper_size_and_says_what_to_do(tmp_path, unit, size_mm):
    """A4: ISO 216; Letter: 8.5 x 11 inches."""
    path = write_marker_card(tmp_path / "card.pdf", unit)
    page, _ = pypdf.PdfReader(path).pages  # the other: slips for strips of foil
    size = [float(side) * POINT_MM for side in page.mediabox[2:]]
    np.testing.assert_allclose(size, size_mm, atol=0.05)
    text = page.extract_text()
    assert "Print at 100 %" in text
    assert ("4 inches" if unit == "in" else "100 mm") in text
    for lightness in PATCH_LIGHTNESS:
        assert f"L* {lightness:.0f}" in text
    assert not page.images  # all of it is vectors


def test_page_is_the_same_bytes_and_overwrites_nothing(tmp_path):
    path = write_marker_card(tmp_path / "card.pdf")
    first = path.read_bytes()
    assert write_marker_card(path).read_bytes() == first  # unchanged since: written anew
    path.write_bytes(b"a page of the maker's own")
    with pytest.raises(FileExists, match=r"card\.pdf"):
        write_marker_card(path)
    assert write_marker_card(path, replace=True).read_bytes() == first
    assert [f.name for f in tmp_path.glob("[!.]*")] == ["card.pdf"]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_nothing_on_the_card_overlaps_or_leaves_the_page(paper):
    layout = CardLayout(paper)
    boxes = [*layout.markers().values(), *layout.patches(), layout.panel()]
    for i, one in enumerate(boxes):
        low, high = one.corners_mm().min(axis=0), one.corners_mm().max(axis=0)
        assert (low >= 5).all()
        assert (high <= np.array(layout.page_mm) - 5).all()
        for other in boxes[i + 1 :]:
            gap_low = np.maximum(low, other.corners_mm().min(axis=0))
            gap_high = np.minimum(high, other.corners_mm().max(axis=0))
            assert (gap_low >= gap_high).any()
    panel = layout.panel()
    assert (panel.width_mm, panel.height_mm) >= (148, 210)  # an A5 sheet lies on it


@pytest.fixture(scope="module")
def on_card(photograph, printed):
    """A white label on the card: its grey is what the sheet lies on."""
    return photograph(
        50, size_mm=(105, 148), stock="white", table="like the paper",
        under=(printed, 210.0, 297.0), fill=0.42, tilt_deg=20.0, distortion=0.0,
        hot_spot=False, glare=False, exposure=0.8, rows=1000, cols=1500, noise=0.003,
    )  # fmt: skip


def test_card_is_found_with_its_scale(on_card):
    card = find_marker_card(on_card.picture)
    assert card.layout.paper == "A4"
    assert card.markers >= 3
    assert card.rms_px < 0.6
    # The sheet lies in the card's middle: its true corners are at known millimetres.
    there = card.on_card_mm(on_card.corners)
    wanted = np.array([105, 148.5]) + np.array([[-52.5, -74], [52.5, -74], [52.5, 74], [-52.5, 74]])
    np.testing.assert_allclose(there, wanted, atol=0.4)
    np.testing.assert_allclose(card.in_picture(there), on_card.corners, atol=1e-6)


def test_sheet_on_the_card_is_found_by_size(on_card):
    card = find_marker_card(on_card.picture)
    found = find_sheet(on_card.picture, width_mm=105, height_mm=148, card=card)
    assert found, found.reason
    assert found.how == "marker card"
    width = np.linalg.norm(on_card.corners[1] - on_card.corners[0])
    away = min(np.abs(found.turned(k).corners - on_card.corners).max() for k in range(4))
    assert away < 0.005 * width
    # Proportions alone would do for a sheet of twice the size; the card knows better.
    assert not find_sheet(on_card.picture, width_mm=160, height_mm=226, card=card)


def test_greys_are_read_in_order_and_in_proportion(on_card):
    """Printed to sRGB, the patches reflect as their CIE L* says (CIE 15)."""
    card = find_marker_card(on_card.picture)
    levels = read_greys(on_card.light, card)
    seen = levels.mean(axis=1) / levels.mean(axis=1)[0]
    lightness = np.array(PATCH_LIGHTNESS)
    luminance = ((lightness + 16) / 116) ** 3
    np.testing.assert_allclose(seen, luminance / luminance[0], rtol=0.12)
    assert (np.diff(seen) < 0).all()


def test_no_card_no_answer():
    assert find_marker_card(np.full((200, 300, 3), 128, np.uint8)) is None
    other = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    page = np.full((300, 500), 255, np.uint8)
    for i in range(3):  # markers that are not the card's
        page[100:180, 50 + 140 * i : 130 + 140 * i] = cv2.aruco.generateImageMarker(other, i, 80)
    assert find_marker_card(np.repeat(page[..., None], 3, axis=2)) is None


def test_patches_are_printed_in_their_lightness(printed):
    layout = CardLayout("A4")
    for lightness, box in zip(PATCH_LIGHTNESS, layout.patches(), strict=True):
        row, col = round((box.y_mm + 8) * 8), round((box.x_mm + box.width_mm / 2) * 8)
        code = srgb_encode(printed[row, col] / 0.9) * 255
        wanted = srgb_encode(((lightness + 16) / 116) ** 3) * 255
        np.testing.assert_allclose(code, wanted, atol=1.0)
