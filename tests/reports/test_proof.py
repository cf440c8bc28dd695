"""The proof sheet: a picture of one size for each look, and a page that asks for nothing."""

import io
import re

import numpy as np
import pytest
from PIL import Image

from lightplan.reports.proof import ProofCell, crop_shape, cropped, proof_png
from lightplan.reports.proof_page import proof_html
from lightplan.scene import Camera, Placement, Sheet

NASTY = "<script>alert('a&b')</script>"


def cell(number=0, **changes):
    values = {
        "look": f"look {number}",
        "codes": np.full((40, 60, 3), 40 * number, np.uint8),
        "score": 81.0,
        "verdict": "keep",
        "metal": 0.6,
        "facts": ("runs over 2 stops",),
        "needs": "a lamp",
        "built": "97 of 100",
        "advice": "Good.",
        "rig": "a.toml",
        "picture": "a.png",
    }
    return ProofCell(**(values | changes))


def opened(data):
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
def test_every_picture_is_on_the_sheet_in_order(count):
    cells = [cell(number) for number in range(1, count + 1)]
    page = opened(proof_png(cells, title="Foil"))
    where = []
    for number in range(1, count + 1):
        rows, cols = np.nonzero((page == 40 * number).all(axis=-1))
        assert len(rows) > 100 * 100
        where.append((rows.min(), cols.min()))
    assert where == sorted(where)


def test_the_page_opens_without_a_network_and_takes_text_as_text():
    cells = [cell(1, look=NASTY, advice=NASTY, rig=NASTY, needs=NASTY, facts=(NASTY,))]
    page = proof_html(cells, title=NASTY, left_out=[(NASTY, NASTY)])
    assert "<script" not in page
    assert page.count("&lt;script&gt;") + page.count("&lt;Script&gt;") >= 7
    assert not re.search(r"(?:src|href)=\"(?!data:)", page)
    assert "default-src 'none'" in page


def test_nothing_planned_still_makes_a_sheet():
    assert opened(proof_png([], title="Foil", left_out=[("rainbow", "no grating")])).size
    assert "no grating" in proof_html([], title="Foil", left_out=[("rainbow", "no grating")])


def test_a_crop_holds_the_sheet_and_has_its_shape():
    sheet = Sheet(width_mm=80, height_mm=100)
    camera = Camera(placement=Placement((0, 0, 800)), sensor_width_mm=30, sensor_height_mm=30)
    codes = np.zeros((300, 300, 3), np.uint8)
    places = camera.project(np.array([[-40, 50, 0], [40, -50, 0.0]]), 300, 300)
    (top, left), (bottom, right) = np.round(places).astype(int)
    codes[top:bottom, left:right] = 255
    part = cropped(codes, camera, sheet, shape=0.8)
    assert part.shape[1] / part.shape[0] == pytest.approx(0.8, abs=0.02)
    assert (part == 255).sum() == (codes == 255).sum(), "no pixel of the sheet is lost"
    assert part.shape[0] < 300
    assert crop_shape(Sheet(width_mm=70, height_mm=110)) == 0.8
