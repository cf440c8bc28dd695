"""Two frames from one tripod, joined to one picture: planned, and told to the maker."""

from __future__ import annotations

import shlex
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.light.exposure import HALF, camera_light, clip_luminance, foil_share
from lightplan.light.keeper import layers_of
from lightplan.optics.colour import luminance_factor, srgb_encode
from lightplan.planning.frame_pair import PlannedFrame, TwoFrames, plan_two_frames
from lightplan.reports.picture import picture_codes
from lightplan.reports.setup.facts import SetupNote
from lightplan.reports.setup.steps import power_words

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Booleans, Singles
    from lightplan.light import Detail
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


@dataclass(frozen=True, kw_only=True, eq=False)
class JoinedFrames:
    """Two frames as they are shown: their joined picture, what it comes to, how they are taken.

    Parameters
    ----------
    codes : (rows, cols, 3) uint8
        sRGB.
    score : float
    note : SetupNote
        What to do in each, and how they are joined.
    """

    codes: NDArray[np.uint8]
    score: float
    note: SetupNote

    @property
    def shown(self) -> str:
        """A sentence that stands beside the picture."""
        return f"Shown are two frames joined, {self.score:.0f} of 100."


def two_frames_of(rig: Rig, *, seed: int = 0) -> TwoFrames:
    """Return whether two frames on one tripod, joined by the artwork, are worth the work."""
    return plan_two_frames(rig, seed=seed)


def two_frames_offer(judgement: Judgement, paper: Paper, rig_file: str, folder: str) -> str:
    """Return the offer of two frames where one cannot hold foil and paper; "" elsewhere."""
    why = one_frame_fails(judgement, paper)
    command = shlex.join(["lightplan", "plan", rig_file, "--two-frames", "--out", folder])
    return f"{why}; for two frames: {command}" if why else ""


def one_frame_fails(judgement: Judgement, paper: Paper) -> str:
    """Return that one frame cannot hold foil and paper, without a full stop; "" where it can."""
    is_white = max(paper.reflectance) >= WHITE_STOCK
    at_odds = {DULL, FOIL_DARKER} if is_white else {DULL}
    if not any(gate.name in at_odds and not gate.passed for gate in judgement.gates):
        return ""
    other = "white paper" if is_white else "the paper"
    return f"One frame cannot hold both the foil and {other} here"


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
    return _note(found, rig) if found.worth_it else None


def note_where_one_fails(rig: Rig, judgement: Judgement) -> SetupNote | None:
    """Return how a rig is taken in two frames where one cannot hold foil and paper; else None.

    Also None where two are not worth the work.
    """
    if not one_frame_fails(judgement, rig.sheet.paper):
        return None
    return two_frames_note(two_frames_of(rig), rig)


def _note(found: TwoFrames, rig: Rig) -> SetupNote:
    lines = [("Why", found.reason)]
    lines += [
        (f"{f.purpose.capitalize()} frame", _frame(f, rig)) for f in (found.foil, found.paper)
    ]
    return SetupNote(heading="Two frames, one picture", lines=(*lines, ("Join", JOIN)))


def joined_frames(found: TwoFrames, rig: Rig, detail: Detail) -> JoinedFrames:
    """Return two frames as they are shown."""
    codes = picture_codes(joined_picture(found, rig, detail))
    return JoinedFrames(codes=codes, score=found.joined_score, note=_note(found, rig))


def joined_picture(found: TwoFrames, rig: Rig, detail: Detail) -> Singles:
    """Return two frames joined by the artwork, as the camera sees them.

    Returns
    -------
    (rows, cols, 3) float32
        Linear, 1 = clip level.
    """
    layers = layers_of(rig, detail)
    across, down = (layers.camera_xyz_mm[..., axis] for axis in (0, 1))
    share = foil_share(rig, across, down)
    foil, flanks = _taken(rig, found.foil, detail, share > HALF)
    paper, _ = _taken(rig, found.paper, detail, np.isfinite(across) & (share < HALF))
    joined = share[..., None] * foil + (1 - share[..., None]) * paper + flanks
    return np.asarray(rig.camera.shown(joined), np.float32)


def _taken(
    rig: Rig, frame: PlannedFrame, detail: Detail, of_it: Booleans
) -> tuple[Singles, Singles]:
    """Return one frame's light, 1 = clip level, and what flanks add to one taken for stamped foil.

    Exposed so that what it is taken for lies at its level. All of the sheet is shown as that one
    material: where the artwork chooses, the other does not show at the edges.
    """
    trims = dict(frame.trims)
    lamps = tuple(
        lamp
        if lamp.is_window
        else replace(lamp, on=lamp.name in trims, trim_stops=trims.get(lamp.name, lamp.trim_stops))
        for lamp in rig.lamps
    )
    lit = replace(rig, lamps=lamps)
    layers = layers_of(lit, detail)
    plain = camera_light(lit, replace(layers, rim=None))
    is_foil = frame.purpose == "foil"
    flanks = camera_light(lit, layers) - plain if is_foil else np.zeros_like(plain)
    sheet = layers.camera_foil if is_foil else layers.camera_paper
    on_sheet = np.isfinite(layers.camera_xyz_mm[..., 0])
    light = np.where(on_sheet[..., None], sheet, plain)
    wanted = float(rig.camera.light_of(np.array(frame.level)))
    middle = float(np.median(luminance_factor(light[of_it]))) if of_it.any() else 0.0
    scale = np.float32(wanted / middle if middle > 0 else 1 / clip_luminance(lit, layers))
    return light * scale, flanks * scale


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
