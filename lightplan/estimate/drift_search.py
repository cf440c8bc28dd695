"""The search for what has changed between two frames, about the rig as the first one shows it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.fit import (
    EXPOSURE_KNOWN,
    EXPOSURE_UNKNOWN,
    PAPER_MODEL,
    Columns,
    Fitter,
    Name,
    Place,
)
from lightplan.estimate.lens import lens_place
from lightplan.estimate.levels import Levels, to_stops
from lightplan.estimate.search import Hypothesis, Search
from lightplan.scene.slips import sheet_put_back, slipped

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lightplan.arrays import Doubles
    from lightplan.estimate.estimating import Photographed
    from lightplan.estimate.result import CameraState, Estimate
    from lightplan.scene import Rig

STILL = 0.1
"""Share of a hand's error by which things move that nobody touched; ours."""
FOIL_LEFT, PAPER_LEFT, EDGE_LEFT_MM, BLACK_LEFT = 0.004, 0.0025, 0.1, 0.2
"""What is left between two frames in a cell of foil and of paper in stops, how far apart cells
lie, and how far the black is off, as a share; from photographs of sets that nobody touched."""
EFFECTIVE = 300.0
"""Independent data in each material."""
SLOPE_SHARE = 0.1
"""Of a change, what the model's slopes are off."""
TONE_SHARE, TONE_LEAST = 0.35, 0.01
"""Of a step of one colour, how much of it a camera's tone curve may take back in the lights."""
AGAIN_MM, AGAIN_DEG = 2.0, 0.6
"""How far off its place a sheet is put back, one standard deviation; common practice, no source."""
AGAIN = (("sheet", "x_mm"), ("sheet", "y_mm"), ("sheet", "turn_deg"))
TONES = (("tone", "red"), ("tone", "blue"))
CAMERA_STILL_MM = 3.0
SAME_FOCAL, SAME_MIDDLE = 0.001, 0.0005
"""Of one lens at one distance, from frame to frame."""
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


class DriftSearch(Search):
    """Looks for what has changed between two frames."""

    def __init__(
        self, rig: Rig, levels: Levels, fitter: Fitter, tones: tuple[float, float]
    ) -> None:
        self._tones = tones
        super().__init__(rig, levels, fitter, STILL)

    def _all_slopes(self) -> Columns:
        own = super()._all_slopes()
        camera = {("camera", axis): CAMERA_STILL_MM for axis in ("x_mm", "y_mm", "z_mm")}
        return own.with_sigma(camera).joined(self._put_back()).joined(self._tone())

    def _put_back(self) -> Columns:
        """Return what a sheet does that was put back elsewhere: all lights move the other way."""
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
        found = sorted((h for h in tried if h is not None), key=lambda h: h.misfit)
        refined = [self.refined(h, 3) for h in found[:2]]
        return sorted([*refined, *found[2:]], key=lambda h: h.misfit)

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
    level = np.minimum(pair.before.seen.stops, 0.0)
    slope = 1 + camera.contrast - camera.lift_stops * math.log(2) * 2.0**level
    slope = np.clip(slope, 0.5, 2.0)
    steps = pair.steps / slope
    whole = np.median(steps, axis=0)
    return steps, np.hypot(pair.errors / slope, SLOPE_SHARE * np.abs(steps - whole))


def search_between(then: Estimate, pair: FramePair, *, clip_cd_m2: float) -> DriftSearch:
    """Return the search about the rig as the earlier frame shows it.

    Parameters
    ----------
    clip_cd_m2 : float
        Luminance that clips as the earlier frame was taken.
    """
    standing = slipped(then.as_built, then.hand)
    steps, noise = true_steps(pair, then.camera)
    levels = Levels(standing, pair.after.seen)
    light = levels.light(standing).mixed({}, levels.room)
    ended = pair.before.seen.ended | pair.after.seen.ended
    seen = replace(
        pair.after.seen,
        stops=to_stops(light, clip_cd_m2) + np.where(ended, 0.0, steps),
        noise=np.where(ended, 9.0, noise),
        ended=np.zeros_like(ended),
    )
    clips = (pair.before.clip_cd_m2, pair.after.clip_cd_m2)
    clip, sigma = clip_cd_m2, EXPOSURE_UNKNOWN
    if clips[0] is not None and clips[1] is not None:
        clip, sigma = clip_cd_m2 * clips[1] / clips[0], EXPOSURE_KNOWN
    fitter = Fitter(
        seen=seen,
        clip_cd_m2=clip,
        exposure_sigma=sigma,
        place=lens_step(standing, pair),
        steady=PAPER_LEFT / PAPER_MODEL,
        foil_model=FOIL_LEFT * PAPER_MODEL / PAPER_LEFT,
        edge_mm=EDGE_LEFT_MM,
        effective=(EFFECTIVE, EFFECTIVE),
        black=BLACK_LEFT,
    )
    whole = np.median(steps, axis=0)
    red, blue = (TONE_LEAST + TONE_SHARE * abs(float(whole[c] - whole[1])) for c in (0, 2))
    return DriftSearch(standing, levels, fitter, (red, blue))


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
