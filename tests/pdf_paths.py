"""What is drawn on a page of a PDF file: paths, in millimetres from the lower left corner.

Operators are those of ISO 32000-1: 8.4.4 (graphics state), 8.5.2 and 8.5.3 (paths).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from pypdf.generic import ContentStream

if TYPE_CHECKING:
    from pypdf import PdfReader


@dataclass(frozen=True, eq=False)
class Drawn:
    """One painted path: its corners (n, 2) in mm, its line's width in points, how it is drawn."""

    points: np.ndarray
    width: float
    is_dashed: bool
    is_closed: bool


def drawn_on(reader: PdfReader, number: int) -> list[Drawn]:
    page = reader.pages[number]
    states = page["/Resources"].get("/ExtGState", {})
    found: list[Drawn] = []
    points: list[np.ndarray] = []
    matrix, width, dashed, closed, kept = np.eye(3), 1.0, False, False, []
    for operands, op in ContentStream(page.get_contents(), reader).operations:
        if op == b"q":
            kept.append((matrix, width, dashed))
        elif op == b"Q":
            matrix, width, dashed = kept.pop()
        elif op == b"cm":
            a, b, c, d, e, f = (float(v) for v in operands)
            matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrix
        elif op == b"w":
            width = float(operands[0])
        elif op == b"gs":
            state = states[operands[0]].get_object()
            width = float(state.get("/LW", width))
        elif op == b"d":
            dashed = len(operands[0]) > 0
        elif op in (b"m", b"re"):
            points, closed = [np.array([*map(float, operands[:2]), 1.0]) @ matrix], False
        elif op == b"l":
            points.append(np.array([*map(float, operands), 1.0]) @ matrix)
        elif op == b"h":
            closed = True
        elif op in (b"S", b"s", b"B", b"b"):
            wide = width * float(np.sqrt(abs(np.linalg.det(matrix[:2, :2]))))
            corners = np.array(points)[:, :2] / 72 * 25.4
            found.append(Drawn(corners, round(wide, 3), dashed, closed or op in (b"s", b"b")))
            points = []
        elif op in (b"n", b"f"):
            points = []
    return found
