"""Published limits, as quoted in secondary sources (FADGI 2023, Metamorfoze 2.0, ISO 19264-1)."""

from __future__ import annotations

import pytest

from lightplan.measures import Measures, measure
from lightplan.measures.limits import published_limits
from lightplan.scene.look import Look


def grades(long_side_mm=210.0, **values):
    found = published_limits(
        Measures({name: (value, 0.0) for name, value in values.items()}), long_side_mm=long_side_mm
    )
    return {check.name: check.grade for check in found}


@pytest.mark.parametrize(
    ("share", "grade"),
    [(0.009, "4 stars"), (0.029, "3 stars"), (0.049, "2 stars"), (0.079, "1 star"), (0.09, None)],
)
def test_fadgi_uniformity_ladder(share, grade):
    assert grades(paper_variation_share=share)["FADGI lightness uniformity"] == grade


@pytest.mark.parametrize(
    ("side_mm", "limit"), [(420, 3.0), (421, 4.0), (594, 4.0), (841, 5.0), (1189, 6.0)]
)
def test_metamorfoze_evenness_by_format(side_mm, limit):
    for value, kept in ((limit - 0.01, True), (limit + 0.01, False)):
        grade = grades(side_mm, paper_lightness_range_Lstar=value)["Metamorfoze evenness"]
        assert (grade is not None) == kept


def test_white_balance_ladders():
    assert grades(paper_cast_Cab=4.5) == {
        "FADGI white balance": "2 stars",
        "ISO 19264-1 white balance": "C",
        "Metamorfoze white balance": "Extra Light",
    }


def test_an_eight_percent_drop_meets_the_limit_of_a3_and_a_tenth_does_not(sheet):
    # CIE 015: a drop of 8 % on Y 0.85 is 3.01 L*, of 7.9 % 2.97; both sides of the limit 3.
    def kept(drop):
        maps = sheet(paper_field=lambda x, y: 0.6 * (1.0 - drop * (x > 20.0)), mask="none")
        found = published_limits(measure(maps, Look(), None), long_side_mm=148.0)
        return {check.name: check.grade for check in found}["Metamorfoze evenness"] is not None

    assert kept(0.079)
    assert not kept(0.081)
