"""Two frames from one tripod, joined to one picture: planned, and told to the maker."""

from __future__ import annotations

import shlex
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from lightplan.optics.colour import srgb_encode
from lightplan.planning.frame_pair import PlannedFrame, TwoFrames, plan_two_frames
from lightplan.reports.setup.facts import SetupNote
from lightplan.reports.setup.steps import power_words

if TYPE_CHECKING:
    from lightplan.measures import Judgement
    from lightplan.scene import Paper, Rig

DULL, FOIL_DARKER = "paper not dull", "foil as light as white"
"""Gates that stay shut where one exposure cannot hold both the foil and the paper; the second
on white stock alone, for beside dark stock it is the light that falls short."""
WHITE_STOCK = 0.6
"""Stock that gives back so much is taken for white."""

JOIN = (
    "Touch nothing but the lamps' switches and the exposure between the two. Then lay one over "
    "the other in a picture editor, and let your artwork (white where foil is) choose: foil from "
    "the foil frame, all else from the paper frame."
)


def two_frames_of(rig: Rig, *, seed: int = 0) -> TwoFrames:
    """Return whether two frames on one tripod, joined by the artwork, are worth the work."""
    return plan_two_frames(rig, seed=seed)


def two_frames_offer(judgement: Judgement, paper: Paper, rig_file: str, folder: str) -> str:
    """Return the offer of two frames where one cannot hold foil and paper; "" elsewhere."""
    is_white = max(paper.reflectance) >= WHITE_STOCK
    at_odds = {DULL, FOIL_DARKER} if is_white else {DULL}
    if not any(gate.name in at_odds and not gate.passed for gate in judgement.gates):
        return ""
    command = shlex.join(["lightplan", "plan", rig_file, "--two-frames", "--out", folder])
    other = "white paper" if is_white else "the paper"
    return f"One frame cannot hold both the foil and {other} here; for two frames: {command}"


def two_frames_document(found: TwoFrames) -> dict[str, Any]:
    """Return the two frames as plain values."""
    return {
        "worth_it": found.worth_it,
        "reason": found.reason,
        "single_score": found.single_score,
        "joined_score": found.joined_score,
        "frames": [asdict(found.foil), asdict(found.paper)],
    }


def two_frames_note(found: TwoFrames, rig: Rig) -> SetupNote | None:
    """Return what the setup sheet tells of them; None where one frame is enough."""
    if not found.worth_it:
        return None
    lines = [("Why", found.reason)]
    lines += [
        (f"{f.purpose.capitalize()} frame", _frame(f, rig)) for f in (found.foil, found.paper)
    ]
    return SetupNote(heading="Two frames, one picture", lines=(*lines, ("Join", JOIN)))


def two_frames_words(found: TwoFrames, rig: Rig) -> list[str]:
    """Return the same as lines for the screen."""
    note = two_frames_note(found, rig)
    if note is None:
        return [found.reason]
    return [f"{note.heading}:", *(f"  {name}: {text}" for name, text in note.lines)]


def _frame(frame: PlannedFrame, rig: Rig) -> str:
    trims = dict(frame.trims)
    fixed = {lamp.name for lamp in rig.lamps if lamp.is_window}
    told = []
    for lamp in rig.lamps:
        if not lamp.on or lamp.name in fixed:
            continue
        power = power_words(trims[lamp.name]) if lamp.name in trims else "off"
        told.append(f"{lamp.name}: {power}")
    code = round(255 * min(float(srgb_encode(frame.level)), 1.0))
    told.append(f"expose so that most of the {frame.purpose} reads about {code} of 255")
    return "; ".join(told) + "."
