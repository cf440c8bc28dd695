"""The proof sheet as a page that opens without a network and asks for nothing."""

from __future__ import annotations

import base64
import io
from importlib import resources
from typing import TYPE_CHECKING, Any

from PIL import Image

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.reports.proof import ProofCell

QUALITY = 92


def proof_html(
    cells: Sequence[ProofCell],
    *,
    title: str,
    left_out: Sequence[tuple[str, str]] = (),
    careful: Sequence[str] = (),
) -> str:
    """Return the page, its pictures within it; whatever comes in is text, never markup.

    Parameters
    ----------
    cells : sequence of ProofCell
    title : str
    left_out : sequence of (str, str)
        Looks that have no picture, and why.
    careful : sequence of str
        The cautions of the rigs that are shown.
    """
    import jinja2

    text = resources.files("lightplan.reports").joinpath("proof_page.html").read_text("utf-8")
    place = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    return place.from_string(text).render(
        title=title,
        left_out=list(left_out),
        careful=list(careful),
        cells=[_shown(cell) for cell in cells],
    )


def _shown(cell: ProofCell) -> dict[str, Any]:
    file = io.BytesIO()
    Image.fromarray(cell.codes).save(file, "JPEG", quality=QUALITY)
    return {
        "look": cell.look,
        "verdict": cell.verdict,
        "headline": cell.headline,
        "advice": cell.advice,
        "needs": cell.needs,
        "built": cell.built,
        "facts": cell.facts,
        "rig": cell.rig,
        "source": f"data:image/jpeg;base64,{base64.b64encode(file.getvalue()).decode()}",
    }
