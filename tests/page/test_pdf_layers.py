"""The foil of a PDF told by the name of its layer."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from lightplan.tasks.foil_artwork import foil_mask, read_any_artwork

# Two black squares of 60 points on a green ground: only their layers tell them apart.
DRAWN = (
    b"0.2 0.3 0.2 rg 0 0 200 100 re f /OC /L1 BDC 0 g 20 20 60 60 re f EMC "
    b"/OC /L2 BDC 0 g 120 20 60 60 re f EMC"
)
OBJECTS = (
    b"<< /Type /Catalog /Pages 2 0 R /OCProperties << /OCGs [5 0 R 6 0 R] /D << >> >> >>",
    b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
    b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 200 100] /Contents 4 0 R "
    b"/Resources << /Properties << /L1 5 0 R /L2 6 0 R >> >> >>",
    b"<< /Length %d >>\nstream\n%s\nendstream" % (len(DRAWN), DRAWN),
    b"<< /Type /OCG /Name (Gold foil) >>",
    b"<< /Type /OCG /Name (Print) >>",
)


@pytest.fixture(scope="module")
def artwork():
    """A PDF written out by hand, after ISO 32000-1."""
    content, begins = b"%PDF-1.5\n", []
    for number, told in enumerate(OBJECTS, 1):
        begins.append(len(content))
        content += b"%d 0 obj\n%s\nendobj\n" % (number, told)
    table = b"".join(b"%010d 00000 n \n" % at for at in begins)
    count = len(OBJECTS) + 1
    content += (
        b"xref\n0 %d\n0000000000 65535 f \n%strailer << /Size %d /Root 1 0 R >>\n"
        b"startxref\n%d\n%%%%EOF" % (count, table, count, len(content))
    )
    return read_any_artwork(content, ".pdf", "tag.pdf")


def test_layers_are_told_by_name(artwork):
    assert list(artwork.layers) == ["Gold foil", "Print"]


@pytest.mark.parametrize(("layer", "middle"), [("Gold foil", 0.25), ("Print", 0.75)])
def test_a_layer_is_the_metal_whatever_its_colour(artwork, layer, middle):
    png, padded = foil_mask(artwork, colour=None, layer=layer, width_mm=100, height_mm=50)
    assert not padded
    mask = cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_GRAYSCALE) > 127
    rows, cols = np.nonzero(mask)
    assert mask.mean() == pytest.approx(60 * 60 / (200 * 100), rel=0.03)
    assert cols.mean() / mask.shape[1] == pytest.approx(middle, abs=0.01)
    assert rows.mean() / mask.shape[0] == pytest.approx(0.5, abs=0.01)
