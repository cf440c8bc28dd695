"""Two frames from one tripod: one lit for the foil, one for the paper, joined by the artwork.

Where no single light serves both, the places stay and only switches and exposure change.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.light.exposure import exposed_by
from lightplan.measures import Judgement, Measures, judge, merit
from lightplan.merit.engine_model import EngineModel, long_side_for, polish_detail
from lightplan.merit.measured import SheetReader
from lightplan.merit.wanted_levels import WHITE, luminance
from lightplan.search.minimise import StopRule, minimise

if TYPE_CHECKING:
    from collections.abc import Callable

    from lightplan.arrays import Doubles, Floats
    from lightplan.merit.light_model import LampLight, LightModel
    from lightplan.scene import Rig

WORTH_TWO_FRAMES = 8.0
"""Points of score that pay for the work of joining two frames. Our choice."""
OFF_BELOW_STOPS = -7.0
_SPAN_STOPS = 8.0
_EXPOSURE_SPAN_STOPS = 3.0


@dataclass(frozen=True, kw_only=True)
class PlannedFrame:
    """One of the two frames.

    Parameters
    ----------
    purpose : str
        "foil" or "paper".
    trims : tuple of (str, float)
        Lamp and setting in stops; lamps that are off are not listed.
    exposure_stops : float
        Against a frame in which the foil's middle level is that of white paper in the other
        frame; more is brighter. 0 for the paper.
    level : float
        Middle level of what the frame is taken for, foil or paper, in the joined picture;
        linear, 1 = clip level. What the frame is exposed by.
    """

    purpose: str
    trims: tuple[tuple[str, float], ...]
    exposure_stops: float
    level: float


@dataclass(frozen=True, kw_only=True)
class TwoFrames:
    """Whether two frames are worth it, and how to take them.

    Parameters
    ----------
    worth_it : bool
    single_score, joined_score : float
        Of the rig in one frame, and of the two frames joined.
    foil, paper : Frame
    judgement : Judgement
        Of the joined picture.
    reason : str
        One sentence.
    """

    worth_it: bool
    single_score: float
    joined_score: float
    foil: PlannedFrame
    paper: PlannedFrame
    judgement: Judgement
    reason: str


def plan_two_frames(
    rig: Rig,
    *,
    seed: int = 0,
    evaluations: int = 600,
    model: LightModel | None = None,
    should_stop: Callable[[], bool] = lambda: False,
) -> TwoFrames:
    """Return the two frames that join to the best picture, and what they gain.

    Parameters
    ----------
    rig : Rig
        Its places stay; the powers of all lamps but windows are free between full
        power and off.
    evaluations : int
        Joined pictures to judge.
    """
    if model is None:
        model = EngineModel(rig, polish_detail(rig, long_side_for(rig)))
    table = _Table(rig, model)
    single = table.judged(table.as_it_stands())
    found = minimise(
        lambda points: [-table.merit(table.joined(p)) for p in points],
        table.starts(),
        seed=seed,
        rule=StopRule(evaluations=evaluations, tolerance=0.002, should_stop=should_stop),
    )
    joined = table.judged(table.joined(found.point))
    before, after = (0.0 if j.score is None else j.score for j in (single, joined))
    worth_it = after >= before + WORTH_TWO_FRAMES
    foil, paper = table.frames(found.point)
    return TwoFrames(
        worth_it=worth_it,
        single_score=before,
        joined_score=after,
        foil=foil,
        paper=paper,
        judgement=joined,
        reason=_reason(single, joined, before, after, worth_it=worth_it),
    )


class _Table:
    """The light of each lamp, and pictures joined from it."""

    def __init__(self, rig: Rig, model: LightModel) -> None:
        self._rig, self._model = rig, model
        self._light: LampLight = model.lamp_light(rig)
        self._lamps = [lamp for lamp in rig.lamps if lamp.on]
        self._free = [lamp.name for lamp in self._lamps if not lamp.is_window]
        self._share = np.asarray(model.foil_share(rig))[..., None]
        self._reader = SheetReader(self._share[..., 0])

    def starts(self) -> list[Doubles]:
        """Return the given powers for both frames, and each pair of single lamps."""
        count = len(self._free)
        trims = {lamp.name: lamp.trim_stops for lamp in self._lamps}
        given = np.clip([1 + trims[n] / _SPAN_STOPS for n in self._free], 0, 1)
        points = [np.concatenate([given, given, [0.5]])]
        for foil_lamp in range(count):
            for paper_lamp in range(count):
                point = np.zeros(2 * count + 1)
                point[foil_lamp] = point[count + paper_lamp] = 1.0
                point[-1] = 0.5
                points.append(point)
        return points

    def as_it_stands(self) -> Floats:
        """Return the picture of one frame with the rig's powers."""
        powers = self._powers({lamp.name: 2.0**lamp.trim_stops for lamp in self._lamps})
        paper, foil = self._mix(powers)
        return self._picture(paper, foil)

    def joined(self, point: Doubles) -> Floats:
        """Return the picture joined from a foil frame and a paper frame."""
        foil_frame, paper_frame, exposure = self._read(point)
        _, foil = self._mix(foil_frame)
        paper, _ = self._mix(paper_frame)
        # Each frame is exposed by itself: the foil frame so that the foil lies at the
        # level of white paper in the other, moved by `exposure`.
        middle = float(np.median(luminance(np.asarray(foil, float))))
        stock = max(float(luminance(np.array(self._rig.sheet.paper.reflectance))), 0.02)
        wanted = WHITE / stock * float(np.median(luminance(np.asarray(paper, float))))
        gain = 2.0**exposure * wanted / max(middle, 1e-9)
        return self._picture(paper, foil * np.float32(gain))

    def _read(self, point: Doubles) -> tuple[Doubles, Doubles, float]:
        count = len(self._free)
        stops = _SPAN_STOPS * (np.clip(point, 0, 1) - 1)
        foil = self._lit(stops[:count])
        paper = self._lit(stops[count : 2 * count])
        return foil, paper, _EXPOSURE_SPAN_STOPS * (2 * float(point[-1]) - 1)

    def _lit(self, stops: Doubles) -> Doubles:
        """Return the powers of one frame; without a window its strongest lamp stays on.

        Else a frame could be lit by the dim room alone, which nobody would expose.
        """
        power = np.where(stops < OFF_BELOW_STOPS, 0.0, np.exp2(stops))
        has_window = len(self._free) < len(self._lamps)
        if power.size and not power.any() and not has_window:
            power[int(np.argmax(stops))] = 1.0
        return self._powers(dict(zip(self._free, power, strict=True)))

    def _powers(self, given: dict[str, float]) -> Doubles:
        kept = {x.name: 2.0**x.trim_stops for x in self._lamps if x.is_window}
        return np.array([{**kept, **given}.get(n, 0.0) for n in self._light.names] + [1.0])

    def _mix(self, powers: Doubles) -> tuple[Floats, Floats]:
        share = powers.astype(self._light.paper.dtype)
        return (
            np.tensordot(share, self._light.paper, axes=1),
            np.tensordot(share, self._light.foil, axes=1),
        )

    def _picture(self, paper: Floats, foil: Floats) -> Floats:
        shown = exposed_by(paper, foil, self._share[..., 0])
        clip = np.float32(self._model.clip_luminance(self._rig, *shown))
        return self._rig.camera.shown((self._share * foil + (1 - self._share) * paper) / clip)

    def judged(self, linear: Floats) -> Judgement:
        """Return the verdict on a picture."""
        return judge(self._measures(linear), self._rig.look)

    def merit(self, linear: Floats) -> float:
        """Return what the search climbs."""
        return merit(self._measures(linear), self._rig.look)

    def _measures(self, linear: Floats) -> Measures:
        return self._reader.measures(self._rig, linear)

    def frames(self, point: Doubles) -> tuple[PlannedFrame, PlannedFrame]:
        """Return the two frames of a point in words."""
        foil, paper, exposure = self._read(point)
        light = luminance(np.asarray(self.joined(point), float))
        is_foil = self._share[..., 0] >= 0.5
        return (
            PlannedFrame(
                purpose="foil",
                trims=self._listed(foil),
                exposure_stops=exposure,
                level=float(np.median(light[is_foil])),
            ),
            PlannedFrame(
                purpose="paper",
                trims=self._listed(paper),
                exposure_stops=0.0,
                level=float(np.median(light[~is_foil])),
            ),
        )

    def _listed(self, powers: Doubles) -> tuple[tuple[str, float], ...]:
        return tuple(
            (name, round(float(np.log2(p)), 2))
            for name, p in zip(self._light.names, powers[:-1], strict=True)
            if p > 0
        )


def _reason(
    single: Judgement, joined: Judgement, before: float, after: float, *, worth_it: bool
) -> str:
    if not worth_it:
        return f"One frame is enough: it scores {before:.0f}, two joined would score {after:.0f}."
    old = {part.name: part.points for part in single.parts}
    gains = [(part.points - old.get(part.name, 0.0), part.name) for part in joined.parts]
    gates = [gate.name for gate in single.gates if not gate.passed]
    best = max(gains)[1] if gains else "the score"
    cause = f"one light does not pass: {', '.join(gates)}" if gates else f"it gains most in: {best}"
    return f"Two frames joined score {after:.0f}, one frame {before:.0f}; {cause}."
