"""The setup sheet: one or two printed pages to build a rig from."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lightplan.errors import BadInput
from lightplan.reports.cautions import cautions_for
from lightplan.reports.print.care import cautions
from lightplan.reports.print.flow import Flow
from lightplan.reports.print.page import Page, pdf_bytes
from lightplan.reports.setup import sections
from lightplan.reports.setup.drawings import draw_both
from lightplan.reports.setup.elements import elements_of
from lightplan.reports.setup.facts import NO_FACTS, SetupFacts
from lightplan.reports.setup.steps import beforehand, steps_of

if TYPE_CHECKING:
    from lightplan.reports.setup.map import GlarePicture
    from lightplan.scene import Rig
    from lightplan.units import LengthUnit

Codes = NDArray[np.uint8]
MOST_PAGES = 2
# Height of the drawings and of the pictures, mm: the first pair that fits on two pages.
TRIES_MM = ((150.0, 62.0), (125.0, 62.0), (108.0, 55.0), (95.0, 48.0), (85.0, 40.0))


def setup_pdf(
    rig: Rig,
    facts: SetupFacts = NO_FACTS,
    *,
    paper: str = "A4",
    unit: LengthUnit = "mm",
    picture: Codes | None = None,
    glare_map: GlarePicture | None = None,
) -> bytes:
    """Return the setup sheet of a rig as a PDF.

    Parameters
    ----------
    rig : Rig
    facts : SetupFacts
        Settings, tolerances and what is promised.
    paper : str
        "A4" or "Letter".
    unit : str
        In which lengths are shown.
    picture : (rows, cols, 3) uint8, optional
        Predicted picture, sRGB codes (`picture.picture_codes`).
    glare_map : GlarePicture, optional
        See `setup_map.glare_picture`.

    Raises
    ------
    BadInput
        Another paper, or a picture that is none.
    """
    pages = setup_pages(rig, facts, paper=paper, unit=unit, picture=picture, glare_map=glare_map)
    return pdf_bytes(pages, title=f"Setup: {rig.title}")


def setup_pages(
    rig: Rig,
    facts: SetupFacts = NO_FACTS,
    *,
    paper: str = "A4",
    unit: LengthUnit = "mm",
    picture: Codes | None = None,
    glare_map: GlarePicture | None = None,
) -> list[Page]:
    """Return the pages of a setup sheet: two, more only where a rig has very many parts."""
    if picture is not None:
        _check(picture)
    pages: list[Page] = []
    for drawings_mm, pictures_mm in TRIES_MM:
        flow = Flow(paper)
        elements = elements_of(rig, unit)
        sections.title(flow, rig, facts)
        draw_both(flow, rig, elements, unit, drawings_mm)
        sections.element_table(flow, rig, elements, unit)
        sections.steps(flow, steps_of(rig, elements, facts, unit), beforehand(rig, facts, unit))
        sections.cuts(flow, rig, unit)
        sections.torch(flow, rig, unit)
        sections.camera(flow, rig, facts)
        sections.pictures(flow, picture, glare_map, pictures_mm)
        cautions(flow, cautions_for(rig))
        pages = flow.pages
        if len(pages) <= MOST_PAGES:
            break
    sections.feet(pages, facts)
    return pages


def _check(picture: Codes) -> None:
    array = np.asarray(picture)
    if array.ndim != 3 or array.shape[2] != 3 or array.dtype != np.uint8 or not array.size:
        raise BadInput(
            field="picture",
            wanted="8-bit codes of rows x columns x 3",
            got=f"{array.dtype} {array.shape}",
            cure="encode the picture first",
        )
