"""The glare map: right colours in the right places, readable with any colour vision."""

from __future__ import annotations

import io
import warnings
from itertools import combinations

import numpy as np
import pytest
from PIL import Image

from lightplan.optics.colour import difference_2000, linear_srgb_to_lab, srgb_decode
from lightplan.reports import canvas, glare_map
from lightplan.reports.palette import FAMILIES, colours_by_name, ink_on
from lightplan.reports.sheet_image import sheet_image


def drawn(one, **more):
    png = glare_map.glare_map_png(one.rig, one.layers, **more)
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"))


def pixel(picture, one, x_mm, y_mm):
    """Pixel of the page at a place of the sheet."""
    scale = glare_map.MAP_PX / one.rig.sheet.width_mm
    left, top = glare_map.MARGIN, glare_map.MARGIN + 34
    col = left + (x_mm + one.rig.sheet.width_mm / 2) * scale
    row = top + (one.rig.sheet.height_mm / 2 - y_mm) * scale
    return picture[round(row), round(col)].astype(int)


def test_foil_has_the_colour_of_what_it_mirrors(half_card):
    picture = drawn(half_card)
    board, dark = colours_by_name(half_card.rig, ("right board", "dark room"))
    assert pixel(picture, half_card, 40, 25).tolist() == list(board)
    assert pixel(picture, half_card, -40, -25).tolist() == list(dark)


def test_the_border_between_two_things_lies_where_geometry_puts_it(half_card):
    image = sheet_image(half_card.rig, half_card.layers, 600)
    names = half_card.layers.sees_names
    column = image.sees[300] == names.index("right board")
    first = int(np.flatnonzero(column)[0])
    assert column[first:].all()
    assert first == pytest.approx(300, abs=600 / 80)  # one step of the 81-point grid


def test_paper_is_pale(half_card):
    corner = pixel(drawn(half_card), half_card, 55, -42)
    assert corner.min() > 225


def test_clipped_foil_is_hatched_and_unclipped_is_not(half_card, overexposed):
    quiet, loud = (sheet_image(one.rig, one.layers, 600) for one in (half_card, overexposed))
    foil = loud.foil > 0.99
    assert not quiet.clipped[foil].any()
    board = loud.sees == overexposed.layers.sees_names.index("right board")
    row, col = np.indices(foil.shape)
    clear = (col > 360) & (abs(row - 225) < 120)  # 12 mm within the card's mirrored edges
    assert (foil & board & clear).any()
    assert loud.clipped[foil & board & clear].all()
    picture = drawn(overexposed)
    scale = glare_map.MAP_PX / 120
    region = picture[
        82 + round(25 * scale) : 82 + round(65 * scale),
        48 + round(75 * scale) : 48 + round(95 * scale),
    ]
    black = (region == 0).all(axis=2).mean()
    assert black == pytest.approx(2 / 12, abs=0.03)  # two of every twelve pixels


def test_clipped_share_of_the_map_is_that_of_the_measures(overexposed):
    image = sheet_image(overexposed.rig, overexposed.layers, 900)
    share = image.clipped[image.foil > 0.5].mean()
    assert share == pytest.approx(overexposed.measures["foil_clipped_share"].value, abs=0.02)


def test_findings_are_pinned_where_they_are(half_card):
    plain = drawn(half_card)
    pinned = drawn(half_card, findings=half_card.findings)
    for finding in half_card.findings[:1]:
        x, y = finding.where_mm
        assert pixel(pinned, half_card, x + 2.2, y).tolist() == list(glare_map.PIN)
        assert pixel(plain, half_card, x + 2.2, y).tolist() != list(glare_map.PIN)


def test_the_same_prediction_gives_the_same_bytes(half_card):
    told = {"findings": half_card.findings, "judgement": half_card.judgement}
    first, again = (
        glare_map.glare_map_png(half_card.rig, half_card.layers, **told) for _ in range(2)
    )
    assert first == again
    assert b"Software" not in first
    assert b"tIME" not in first


@pytest.mark.parametrize("deficiency", [None, "Protanomaly", "Deuteranomaly", "Tritanomaly"])
def test_the_palette_is_told_apart_with_any_colour_vision(deficiency):
    # Simulation: Machado, Oliveira, Fernandes 2009, severity 1, by colour-science. The
    # just noticeable difference is about 1 (CIEDE2000); 8 is our choice for areas that touch.
    import colour

    names = [n for n in FAMILIES if n not in ("shell", "sheet")]
    linear = srgb_decode(np.array([FAMILIES[n][0] for n in names]) / 255)
    if deficiency is not None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # tritanomaly is an approximation there
            matrix = colour.matrix_cvd_Machado2009(deficiency, 1.0)
        linear = linear @ matrix.T
    lab = linear_srgb_to_lab(np.clip(linear, 0, 1))
    apart = {
        (names[i], names[j]): float(difference_2000(lab[i], lab[j]))
        for i, j in combinations(range(len(names)), 2)
    }
    worst = min(apart, key=apart.__getitem__)
    assert apart[worst] > 8.0, (worst, apart[worst])


def test_letters_on_every_colour_are_readable():
    # WCAG 2.1, 1.4.3: contrast at least 3 : 1 for large or bold text.
    def light(colour):
        return float(srgb_decode(np.array(colour) / 255) @ [0.2126, 0.7152, 0.0722])

    for family in FAMILIES.values():
        for shade in family:
            one, two = sorted((light(shade), light(ink_on(shade))))
            assert (two + 0.05) / (one + 0.05) >= 3.0, shade


def test_lines_fit_their_width():
    face = canvas.font(20)
    text = "a quite ordinary sentence with one Donaudampfschifffahrtsgesellschaftskapitän in it"
    lines = canvas.wrap(text, face, 200)
    assert all(face.getlength(line) <= 200 for line in lines)
    assert " ".join(lines).split()[:6] == text.split()[:6]
