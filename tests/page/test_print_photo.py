"""Foil told from a photograph of the print, where there is no artwork."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from lightplan.errors import PhotoError
from lightplan.rigfiles import load_rig
from lightplan.tasks.foil_artwork import foil_mask, main_colours, mask_of_print, share_of_parts
from lightplan.tasks.print_photo import artwork_of_print

ROOT = Path(__file__).parents[2]
PHOTOGRAPHS = ROOT / "tests" / "reference" / "slipped" / "photographs"
SIZE = {"width_mm": 90.0, "height_mm": 120.0}
GOLD, INK, CREAM, TABLE = (200, 152, 60), (30, 32, 70), (226, 218, 196), (66, 58, 52)


def overlap(one, other):
    """Intersection over union."""
    return float((one & other).sum() / (one | other).sum())


@pytest.mark.parametrize(
    ("photo", "preset", "least"),
    [
        ("silver_bright_right1", "silver-bookplate-bright", 0.85),
        ("copper_bright_outside", "copper-label-gradient", 0.85),
    ],
)
def test_a_path_traced_photograph_gives_the_artwork_that_was_stamped(photo, preset, least):
    """The truth is the artwork that the path tracer laid on the sheet."""
    sheet = load_rig(ROOT / "rigs" / f"{preset}.toml").rig.sheet
    found = artwork_of_print(
        PHOTOGRAPHS / f"{photo}.jpg", width_mm=sheet.width_mm, height_mm=sheet.height_mm
    )
    rows, cols = found.cover.shape
    drawn = cv2.resize(
        np.asarray(sheet.artwork, np.float32), (cols, rows), interpolation=cv2.INTER_AREA
    )
    assert overlap(found.cover > 0.5, drawn > 0.5) >= least


def printed():
    """A sheet, 10 pixels to the mm: a gold disk above, a bar of ink below; and the gold alone."""
    sheet = np.full((1200, 900, 3), CREAM, np.uint8)
    cv2.circle(sheet, (450, 400), 220, GOLD, -1, cv2.LINE_AA)
    cv2.rectangle(sheet, (150, 860), (750, 960), INK, -1)
    gold = np.zeros(sheet.shape[:2], np.uint8)
    cv2.circle(gold, (450, 400), 220, 255, -1)
    return sheet, gold > 0


def photographed(path, sheet, corners):
    """Write a photograph of a sheet on a table, with a little grain."""
    rows, cols = sheet.shape[:2]
    plane = cv2.getPerspectiveTransform(
        np.array([[0, 0], [cols, 0], [cols, rows], [0, rows]], np.float32),
        np.array(corners, np.float32),
    )
    ground = np.full((1400, 1300, 3), TABLE, np.uint8)
    seen = cv2.warpPerspective(
        sheet, plane, (1300, 1400), dst=ground, borderMode=cv2.BORDER_TRANSPARENT
    )
    grain = np.random.default_rng(1).normal(0, 2, seen.shape)
    codes = np.clip(seen + grain, 0, 255).astype(np.uint8)
    cv2.imwrite(str(path), codes[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 92])
    return path


CORNERS = [[220, 130], [1085, 150], [1100, 1280], [190, 1265]]


def test_ink_is_told_from_gold_by_its_colour(tmp_path):
    sheet, gold = printed()
    path = photographed(tmp_path / "a.jpg", sheet, CORNERS)
    found = artwork_of_print(path, **SIZE)
    assert found.cover.shape[0] / found.cover.shape[1] == pytest.approx(120 / 90, rel=0.01)
    both = foil_mask(found, colour=None, **SIZE)[0]
    colours = [colour for colour, _ in main_colours(found)]
    nearest = min(
        colours, key=lambda c: np.hypot(int(c[1:3], 16) - GOLD[0], int(c[3:5], 16) - GOLD[1])
    )
    alone = foil_mask(found, colour=nearest, **SIZE)[0]
    masks = [
        cv2.resize(cv2.imdecode(np.frombuffer(png, np.uint8), 0), gold.shape[::-1]) > 127
        for png in (both, alone)
    ]
    assert overlap(masks[0], gold) < 0.8  # the ink departs from the paper as well
    assert overlap(masks[1], gold) > 0.93
    told, share = mask_of_print(path, colour=nearest, **SIZE)
    assert told == alone
    assert share == pytest.approx(gold.mean(), rel=0.1)


def test_the_colours_of_metal_together_leave_no_gaps(tmp_path):
    """Metal that runs from dark to bright has several colours; ink is pressed away."""
    sheet, gold = printed()
    run = np.linspace(0.45, 1.2, 900)[None, :, None]
    sheet[gold] = np.clip(sheet * run, 0, 255)[gold]
    found = artwork_of_print(photographed(tmp_path / "a.jpg", sheet, CORNERS), **SIZE)
    main = [colour for colour, _ in main_colours(found)]
    warm = [c for c in main if int(c[1:3], 16) > int(c[5:7], 16)]  # more red than blue
    assert len(warm) >= 2
    png = foil_mask(found, colour=None, parts=warm, **SIZE)[0]
    mask = cv2.resize(cv2.imdecode(np.frombuffer(png, np.uint8), 0), gold.shape[::-1]) > 127
    assert overlap(mask, gold) > 0.9
    whole = share_of_parts(found, main)
    assert np.array_equal(whole, found.cover)


def test_a_scan_without_a_table_round_it_is_the_sheet_itself(tmp_path):
    sheet, gold = printed()
    cv2.imwrite(str(tmp_path / "scan.png"), sheet[..., ::-1])
    found = artwork_of_print(tmp_path / "scan.png", **SIZE)
    rows, cols = found.cover.shape
    part = found.cover[: rows * 2 // 3]  # above the ink
    true = cv2.resize(gold.view(np.uint8), (cols, rows))[: rows * 2 // 3] > 0
    assert overlap(part > 0.5, true) > 0.9


def test_turned_by_half_a_circle_it_stands_upright(tmp_path):
    sheet, _ = printed()
    found = artwork_of_print(photographed(tmp_path / "a.jpg", sheet, CORNERS), **SIZE)
    as_is, turned = (
        cv2.imdecode(
            np.frombuffer(foil_mask(found, colour=None, upside_down=on, **SIZE)[0], np.uint8), 0
        )
        for on in (False, True)
    )
    assert np.array_equal(turned, as_is[::-1, ::-1])


def test_what_shows_no_foil_or_no_sheet_is_refused_with_a_cure(tmp_path):
    even = np.full((1200, 900, 3), CREAM, np.uint8)
    with pytest.raises(PhotoError, match=r"a\.jpg: print must be foil that differs"):
        artwork_of_print(photographed(tmp_path / "a.jpg", even, CORNERS), **SIZE)
    noise = np.random.default_rng(2).integers(90, 120, (600, 1200, 3), np.uint8)
    cv2.imwrite(str(tmp_path / "b.png"), noise)
    with pytest.raises(PhotoError, match=r"b\.png: print must be a sheet of 90 x 120 mm"):
        artwork_of_print(tmp_path / "b.png", **SIZE)
