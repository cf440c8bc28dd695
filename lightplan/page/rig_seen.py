"""What is seen of a rig, as the page is told it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lightplan.session.live_picture import Wanted


def frame_head(wanted: Wanted, made: Any) -> dict[str, Any]:
    """Return the head of a picture that follows the hand."""
    return {
        "is": "frame",
        "revision": wanted.revision,
        "mark": wanted.mark,
        "rows": made.rows,
        "cols": made.cols,
        "names": made.names,
        "colours": made.colours,
        "shares": [round(float(share), 4) for share in made.shares],
        "foil_clipped": round(made.foil_clipped, 4),
        "paper_clipped": round(made.paper_clipped, 4),
    }


def close_document(close: Any, picture: str, near: str) -> dict[str, Any]:
    """Return what a closer look found, with the addresses of its pictures; causes come later."""
    return {
        "is": "closer",
        "revision": close.revision,
        "picture": picture,
        "near": near,
        "score": close.score,
        "verdict": close.verdict,
        "reasons": list(close.reasons),
        "measures": close.measures,
        "shutter": close.shutter,
        "findings": [_finding(finding) | {"can": False} for finding in close.findings],
    }


def cure_document(cure: Any) -> dict[str, Any]:
    """Return a finding with its cause, and whether its move can be done."""
    return {
        "is": "cure",
        "revision": cure.revision,
        "number": cure.number,
        "finding": _finding(cure.finding) | {"can": cure.rig is not None},
    }


def _finding(finding: Any) -> dict[str, Any]:
    return {
        "what": finding.what,
        "cause": finding.cause,
        "move": finding.move,
        "gain": finding.gain,
        "where_mm": list(finding.where_mm),
    }
