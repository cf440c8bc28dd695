"""A page of notes of a shoot: each frame, what was found, what was done, and what it won."""

from __future__ import annotations

import base64
import html
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from lightplan.reports.print.care import cautions
from lightplan.reports.print.flow import GAP_MM, Flow
from lightplan.reports.print.page import FAINT, line_height, pdf_bytes, wrap

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

PICTURE_MM = 46.0
PICTURE_PX = 420
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
_STYLE = """
body{font:16px/1.45 system-ui,sans-serif;max-width:60rem;margin:2rem auto;padding:0 1rem;
color:#1c1c22}
section{border-top:1px solid #ccc;padding:1rem 0}ul{margin:.3rem 0;padding-left:1.2rem}
article{display:grid;grid-template-columns:14rem 1fr;gap:1.2rem;padding:1rem 0;
border-top:1px solid #ccc}
img{width:100%;border:1px solid #b9bbc4}h2{margin:0 0 .3rem;font-size:1.1rem}p{margin:.25rem 0}
.faint{color:#5a5c66}.won{font-weight:600}
@media(max-width:40rem){article{grid-template-columns:1fr}}
"""


@dataclass(frozen=True, eq=False)
class Note:
    """One frame of a shoot.

    Parameters
    ----------
    file, taken : str
        Name, and when, as the camera wrote it; may be empty.
    score : float or None
    found : tuple of str
        What was not as planned, sentences.
    move : str
        What was told to do next; empty where nothing.
    won : str
        What the move told at the frame before has won, a sentence; empty for the first.
    picture : (rows, cols, 3) uint8
        Small, sRGB.
    """

    file: str
    taken: str
    score: float | None
    found: tuple[str, ...]
    move: str
    won: str
    picture: NDArray[np.uint8]


def ledger_html(title: str, notes: Sequence[Note], *, careful: Sequence[str] = ()) -> str:
    """Return the page with the cautions of its set; it holds everything itself."""
    parts = [
        "<!doctype html><html lang=en><meta charset=utf-8>",
        '<meta name=viewport content="width=device-width,initial-scale=1">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        f"<title>{html.escape(title)}</title><style>{_STYLE}</style><h1>{html.escape(title)}</h1>",
        f"<p class=faint>{_summary(notes)}</p>",
    ]
    for number, note in enumerate(notes, 1):
        parts.append(
            f"<article><div><img alt='{html.escape(note.file, quote=True)}' "
            f"src='data:image/jpeg;base64,{_data(note.picture)}'></div><div>"
            f"<h2>{number}. {html.escape(note.file)}: {_points(note.score)}</h2>"
            f"<p class=faint>{html.escape(note.taken)}</p>"
        )
        if note.won:
            parts.append(f"<p class=won>{html.escape(note.won)}</p>")
        parts += [f"<p>{html.escape(text)}</p>" for text in note.found]
        if note.move:
            parts.append(f"<p>Next: {html.escape(note.move)}.</p>")
        parts.append("</div></article>")
    if careful:
        listed = "".join(f"<li>{html.escape(text)}</li>" for text in careful)
        parts.append(f"<section><h2>Take care</h2><ul>{listed}</ul></section>")
    return "\n".join([*parts, "</html>\n"])


def ledger_pdf(
    title: str, notes: Sequence[Note], *, careful: Sequence[str] = (), paper: str = "A4"
) -> bytes:
    """Return the same notes as printed pages."""
    flow = Flow(paper)
    page = flow.room(14.0)
    page.text(flow.left, flow.y - 5, title, size_pt=14, bold=True)
    page.text(flow.left, flow.y - 11, _summary(notes), colour=FAINT)
    flow.y -= 16
    wide = flow.width - PICTURE_MM - 5
    for number, note in enumerate(notes, 1):
        lines = [(f"{number}. {note.file}: {_points(note.score)}", True)]
        lines += [(note.taken, False)] if note.taken else []
        told = [note.won, *note.found, f"Next: {note.move}." if note.move else ""]
        for text, bold in zip(told, [True] + [False] * len(told), strict=False):
            lines += [(line, bold) for line in wrap(text, wide, 9.0, bold=bold)] if text else []
        step = line_height(9.0)
        tall = PICTURE_MM * note.picture.shape[0] / note.picture.shape[1]
        height = max(tall, step * len(lines)) + GAP_MM
        page = flow.room(height)
        page.picture(note.picture, flow.left, flow.y - tall, PICTURE_MM)
        for i, (text, bold) in enumerate(lines):
            base = flow.y - step * (i + 0.8)
            page.text(flow.left + PICTURE_MM + 5, base, text, size_pt=9.0, bold=bold)
        flow.y -= height + GAP_MM
    if careful:
        cautions(flow, careful)
    return pdf_bytes(flow.pages, title=title)


def small_picture(codes: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return a picture no longer than a note shows it."""
    scale = min(1.0, PICTURE_PX / max(codes.shape[:2]))
    size = (max(1, round(codes.shape[1] * scale)), max(1, round(codes.shape[0] * scale)))
    return np.asarray(Image.fromarray(codes).resize(size, Image.Resampling.LANCZOS))


def _summary(notes: Sequence[Note]) -> str:
    scores = [note.score for note in notes if note.score is not None]
    if not scores:
        return f"{len(notes)} frames, none of which could be judged."
    return f"{len(notes)} frames: from {scores[0]:.0f} to {scores[-1]:.0f} of 100."


def _points(score: float | None) -> str:
    return "no score" if score is None else f"{score:.0f} of 100"


def _data(codes: NDArray[np.uint8]) -> str:
    file = io.BytesIO()
    Image.fromarray(codes).save(file, "JPEG", quality=84)
    return base64.b64encode(file.getvalue()).decode("ascii")
