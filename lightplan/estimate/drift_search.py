"""The search for what has changed between two frames, about the rig as the first one shows it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.cell_levels import CellLevels, to_stops
from lightplan.estimate.fit import (
    EXPOSURE_KNOWN,
    EXPOSURE_UNKNOWN,
    OTHERS,
    PAPER_MODEL,
    Columns,
    Fitter,
    Place,
)
from lightplan.estimate.laid_again import laid_again, tone_slope
from lightplan.estimate.lens import lens_place
from lightplan.estimate.light_store import LightStore, fine_detail
from lightplan.estimate.search import FitSearch
from lightplan.estimate.thin_lines import FitterOfLines
from lightplan.scene.slips import sheet_put_back, slipped

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lightplan.arrays import Doubles
    from lightplan.estimate.estimating import Photographed
    from lightplan.estimate.found import CameraState, Estimate
    from lightplan.estimate.hypothesis import Hypothesis
    from lightplan.estimate.put_back import Laid
    from lightplan.estimate.seen import SeenSheet
    from lightplan.estimate.solving import Name
    from lightplan.scene import Rig

STILL = 0.1
"""Share of a hand's error by which things move that nobody touched; ours."""
FOIL_LEFT, PAPER_LEFT, EDGE_LEFT_MM, BLACK_LEFT = 0.003, 0.0025, 0.1, 0.06
"""What is left between two frames in a cell of foil and of paper in stops, how far apart cells
lie, and how far the black is off, as a share; from photographs of sets that nobody touched."""
EFFECTIVE = 300.0
"""Independent data in each material."""
DARK_STOPS = -5.5
"""Level below which a JPEG has a few steps of grey for all of a dark stock, whole areas of it
wrong together: nothing small is read there; from trials."""
LAID_SHARE = 0.25
"""Of what the sheet's step does, how much the earlier frame's own gradient may be off; ours."""
SLOPE_SHARE = 0.1
"""Of a change, what the model's slopes are off."""
TONE_SHARE, TONE_LEAST = 0.35, 0.01
"""Of a step of one colour, how much of it a camera's tone curve may take back in the lights."""
AGAIN_MM, AGAIN_DEG = 2.0, 0.6
"""How far off its place a sheet is put back, one standard deviation; common practice, no source."""
AGAIN = (("sheet", "x_mm"), ("sheet", "y_mm"), ("sheet", "turn_deg"))
TONES = (("tone", "red"), ("tone", "blue"))
BLUR = ("sheet", "blur")
BLUR_SHARE, BLUR_LEAST = 0.05, 0.005
"""By what share more or less of the other material is seen in a cell: pixels lie otherwise on a
sheet that was put back a millimetre off, and on one that was left; from such photographs."""
LINES_SHARE, LINES_LEAST = 0.35, 0.03
"""The same of each cell of a thin line by itself, for a step of a millimetre and for none: from
sheets of fine lines that were put back, where it runs up to the whole."""
AGAIN_BOW_MM = 0.06
"""How otherwise it curls then; the same."""
LEFT_BOW_MM, LEFT_EDGE_MM = 0.015, 0.03
"""How otherwise a sheet curls that was not touched, and how far apart its cells lie."""
TOUCHED = 2.5
"""Standard deviations of a sheet's step from which it was."""
SAME_CURVE, CURVE_STOPS = 0.05, 0.5
"""Share of what cameras differ by in vignette and tone curve that one camera differs by from frame
to frame, and the change of exposure or colour from which all of it may: the curve is then met at
another place. Ours."""
EXPOSURE_SAME, SAME_SETTINGS = 0.05, 0.01
"""Stops by which exposures of one camera differ at the same settings, and how near these are."""
CAMERA_STILL_MM, CAMERA_STOOD_MM = 3.0, 0.3
"""How far the lens moves where nobody meant it to; where the corners tell that it stood still."""
SAME_FOCAL, SAME_MIDDLE = 0.001, 0.0005
"""Of one lens at one distance, from frame to frame."""
KNOB_STOPS, KNOB_COST = 0.1, 4.0
"""A lamp's knob is not turned by less than a tenth of a stop unawares: of what explains the
frames as well, such a step is told last. Ours."""
TRIED = 6
MUCH = 3.0
"""Misfit from which things are tried as missing, and light as come from outside."""


@dataclass(frozen=True, eq=False)
class FramePair:
    """Two frames of one set, read in the same cells.

    Parameters
    ----------
    before, after : Photographed
        Their cells lie at the same places.
    steps, errors : (n, 3) float
        How many stops brighter each cell has become, and the standard error of that.
    """

    before: Photographed
    after: Photographed
    steps: Doubles
    errors: Doubles


class DriftSearch(FitSearch):
    """Looks for what has changed between two frames."""

    def __init__(
        self,
        rig: Rig,
        levels: CellLevels,
        fitter: Fitter,
        tones: tuple[float, float],
        back: Laid | None = None,
    ) -> None:
        self._tones, self._back = tones, back
        super().__init__(rig, levels, fitter, STILL)

    def loosened(self) -> DriftSearch:
        """Return the same search of a camera that may have another vignette and tone curve."""
        fitter = replace(self.fitter, others=OTHERS)
        return DriftSearch(self.rig, self.levels, fitter, self._tones, self._back)

    def _all_slopes(self) -> Columns:
        own = self.slopes_with({})
        still = CAMERA_STILL_MM if self._back is None else CAMERA_STOOD_MM
        known = {("camera", axis): still for axis in ("x_mm", "y_mm", "z_mm")}
        bow = AGAIN_BOW_MM if touched(self._back) else LEFT_BOW_MM
        own = own.with_sigma({**known, ("sheet", "bow_mm"): bow})
        return own.joined(self._put_back()).joined(self._tone()).joined(self._blurred())

    def _blurred(self) -> Columns:
        """Return what a little more or less sharpness does: thin foil is mixed with paper."""
        seen = self.fitter.seen
        values = (1 - seen.purity)[:, None] * self.levels.mixing()
        step = 1.0 if self._back is None else min(1.0, math.hypot(*self._back.step[:2]))
        return Columns.of([BLUR], values[..., None], [math.hypot(BLUR_LEAST, BLUR_SHARE * step)])

    def _put_back(self) -> Columns:
        """Return what a sheet does that was put back elsewhere: all lights move the other way.

        Where the camera stood still all light stays where it was on the table, and the earlier
        frame itself tells what a sheet sees a step farther; the step is known from the corners.
        """
        if self._back is not None:
            return replace(
                Columns.of(AGAIN, self._back.rows, list(self._back.sigma)), means=self._back.step
            )
        base = self._stops(self.base.mixed({}, self.levels.room))
        columns = []
        for name in AGAIN:
            step = 1.0 if name[1] == "turn_deg" else 4.0
            rig = sheet_put_back(self.rig, name[1], step)
            light = self.levels.light(rig).mixed({}, self.levels.room)
            columns.append((self._stops(light) - base) / step)
        return Columns.of(AGAIN, np.stack(columns, -1), (AGAIN_MM, AGAIN_MM, AGAIN_DEG))

    def _tone(self) -> Columns:
        """Return what a tone curve makes of a step of red or blue: less in the lights."""
        level = self._stops(self.base.mixed({}, self.levels.room))
        columns = np.zeros((*level.shape, 2))
        for column, channel in enumerate((0, 2)):
            columns[:, channel, column] = 2.0 ** np.minimum(level[:, channel], 0.0)
        return Columns.of(TONES, columns, self._tones)

    def colour_step(self, values: Mapping[Name, float]) -> tuple[float, float]:
        """Return by how many stops red and blue have become brighter beside green."""
        level = np.median(self._stops(self.base.mixed({}, self.levels.room)), axis=0)
        back = 2.0 ** np.minimum(level, 0.0)
        red = values["camera's", "red"] + values["tone", "red"] * back[0]
        blue = values["camera's", "blue"] + values["tone", "blue"] * back[2]
        return float(red), float(blue)

    def grown(self, start: Hypothesis) -> list[Hypothesis]:
        """Return a hypothesis with one change more, best first.

        Slopes about it tell which changes promise most, and how far they go; the light of these
        is then worked out.
        """
        wanted = self._wanted(start)
        tried = [
            self.at({**start.values, name: value}, start.slips + 1) for _, name, value in wanted
        ]
        if start.fitted.misfit > MUCH:
            known = {n[0] for n in start.values}
            tried += [h for h in (*self._missing(), *self._room()) if h.elements[0] not in known]
        lens = [] if "camera" in start.elements else self._lens()
        tried += [self.at({**start.values, **h.values}, start.slips + 1) for h in lens]
        found = sorted((h for h in tried if h is not None), key=_doubted)
        refined = [self.refined(h, 3) for h in found[:2]]
        return sorted([*refined, *found[2:]], key=_doubted)

    def _wanted(self, start: Hypothesis) -> list[tuple[float, Name, float]]:
        """Return (cost, what, how far) of the changes that promise most by their slopes."""
        found = self.geometry(start.values)
        assert found is not None
        columns = self._columns(found, start.values, start.light, closely=True)
        worth = []
        for one in (*self.unknowns, *self.powers):
            name = (one.element, one.dimension)
            if name in start.values or name not in columns.names or one.element == "camera":
                continue
            wide = columns.with_sigma({name: one.slip})
            fitted = self.fitter.fit(start.light, wide, start.fitted.exposure)
            worth.append((fitted.cost, name, fitted.values[name]))
        return sorted(worth)[:TRIED]


def true_steps(pair: FramePair, camera: CameraState) -> tuple[Doubles, Doubles]:
    """Return how many stops brighter each cell has become, and the noise of that, (n, 3).

    A tone curve stretches and squeezes steps; what the earlier frame tells of it is undone.
    """
    slope = tone_slope(pair.before.seen.stops, camera)
    steps = pair.steps / slope
    whole = np.median(steps, axis=0)
    return steps, np.hypot(pair.errors / slope, SLOPE_SHARE * np.abs(steps - whole))


def _doubted(one: Hypothesis) -> float:
    """Return what a hypothesis leaves, and for powers that no hand sets so finely a little more."""
    fine = [n for n, v in one.values.items() if n[1] == "power_stops" and abs(v) < KNOB_STOPS]
    return one.misfit + KNOB_COST * len(fine)


def search_between(then: Estimate, pair: FramePair, *, clip_cd_m2: float) -> DriftSearch:
    """Return the search about the rig as the earlier frame shows it.

    Parameters
    ----------
    clip_cd_m2 : float
        Luminance that clips as the earlier frame was taken.
    """
    standing = slipped(then.as_built, then.hand)
    steps, noise = true_steps(pair, then.camera)
    lights = LightStore(standing, fine_detail(standing))
    levels = CellLevels(standing, pair.after.seen, lights)
    light = levels.light(standing).mixed({}, levels.room)
    back = laid_again(standing, (pair.before, pair.after), then.camera, lights, clip_cd_m2)
    if back is not None:
        noise = np.hypot(noise, LAID_SHARE * np.abs(back.rows @ back.step))
    ended = pair.before.seen.ended | pair.after.seen.ended | (pair.before.seen.stops < DARK_STOPS)
    seen = replace(
        pair.after.seen,
        stops=to_stops(light, clip_cd_m2) + np.where(ended, 0.0, steps),
        noise=np.where(ended, 9.0, noise),
        ended=np.zeros_like(ended),
    )
    clips = (pair.before.clip_cd_m2, pair.after.clip_cd_m2)
    clip, sigma = clip_cd_m2, EXPOSURE_UNKNOWN
    if clips[0] is not None and clips[1] is not None:
        same = abs(math.log2(clips[1] / clips[0])) < SAME_SETTINGS
        clip, sigma = clip_cd_m2 * clips[1] / clips[0], EXPOSURE_SAME if same else EXPOSURE_KNOWN
    fitter = FitterOfLines(
        seen=seen,
        clip_cd_m2=clip,
        exposure_sigma=sigma,
        place=lens_step(standing, pair) if back is None else None,
        steady=PAPER_LEFT / PAPER_MODEL,
        foil_model=FOIL_LEFT * PAPER_MODEL / PAPER_LEFT,
        edge_mm=EDGE_LEFT_MM if touched(back) else LEFT_EDGE_MM,
        effective=(EFFECTIVE, EFFECTIVE),
        black=BLACK_LEFT,
        others=OTHERS if standing.camera.lifts_tones else camera_again(steps),
        mixed=own_mixing(seen, levels, back),
    )
    whole = np.median(steps, axis=0)
    red, blue = (TONE_LEAST + TONE_SHARE * abs(float(whole[c] - whole[1])) for c in (0, 2))
    return DriftSearch(standing, levels, fitter, (red, blue), back)


def touched(back: Laid | None) -> bool:
    """Return whether a sheet lies otherwise than before; where the camera moved nobody knows."""
    return back is None or float(np.max(np.abs(back.step) / back.sigma)) > TOUCHED


def camera_again(steps: Doubles) -> tuple[float, ...]:
    """Return how far a camera may differ from frame to frame, as `Fitter.others`.

    White balance is set anew as it likes; vignette and tone curve are the camera's own, of a
    phone what it makes of each picture.
    """
    away = float(np.max(np.abs(np.median(steps, axis=0))))
    share = min(1.0, SAME_CURVE + away / CURVE_STOPS)
    red, blue, *rest = OTHERS
    return red, blue, *(share * one for one in rest)


def own_mixing(seen: SeenSheet, levels: CellLevels, back: Laid | None) -> Doubles:
    """Return what pixels do that lie otherwise across lines, each cell for itself, (n, 3) stops.

    `back` is how the sheet was put back; None where the camera moved.
    """
    step = 1.0 if back is None else min(1.0, math.hypot(*back.step[:2]))
    share = math.hypot(LINES_LEAST, LINES_SHARE * step)
    return np.asarray(share * (1 - seen.purity)[:, None] * levels.mixing())


def lens_step(rig: Rig, pair: FramePair) -> Place:
    """Return how far the lens moved beside the sheet between two frames, and how surely."""
    places = [
        lens_place(
            rig,
            one.corners,
            one.shape,
            one.focal_px,
            focal_share=SAME_FOCAL,
            middle_share=SAME_MIDDLE,
        )
        for one in (pair.before, pair.after)
    ]
    before, after = places
    return Place(after.offset_mm - before.offset_mm, before.covariance + after.covariance)
