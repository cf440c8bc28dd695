"""Pictures of one sheet judged by their samples, many at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.measures import Measures, judge, merits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Singles
    from lightplan.measures.samples import Sampler
    from lightplan.merit.light_model import LightModel
    from lightplan.scene import Rig

HEADROOM_STOPS = 0.15
"""A picture should not clip when it comes out this much brighter: dials and meters miss by
about as much (common practice, no source), and clipping is a cliff."""
_HEADROOM = 2.0**HEADROOM_STOPS
_AT_ONCE = 32
"""Pictures that are measured together; more need memory and are no quicker."""


@dataclass(frozen=True, eq=False)
class SampleJudge:
    """Judges light by what the measures read of it.

    Light is given as samples (k + p, 3) in cd/m2, in the order of `LampSamples.values`. What
    is found of one light does not depend on the others that are asked about with it.

    Parameters
    ----------
    rig : Rig
        Gives sheet and look.
    model : LightModel
        Knows what luminance clips.
    sampler : Sampler
    """

    rig: Rig
    model: LightModel
    sampler: Sampler

    def clip_of(self, rig: Rig, samples: Singles) -> float:
        """Return the luminance that clips under a rig's exposure, cd/m2."""
        paper, end = self.sampler.parts[3], self.sampler.size
        return self.model.clip_luminance(rig, samples[paper], samples[end:])

    def merits(self, rig: Rig, lights: Sequence[Singles]) -> tuple[list[float], list[Measures]]:
        """Return what is climbed, and the measures, under a rig's exposure."""
        found: list[Measures] = []
        worth: list[float] = []
        for first in range(0, len(lights), _AT_ONCE):
            linear = self._exposed([(rig, light) for light in lights[first : first + _AT_ONCE]])
            measured = self._measured(linear)
            found += measured
            worth += self.merits_of(measured, linear)
        return worth, found

    def merits_of(self, found: Sequence[Measures], linear: Singles) -> list[float]:
        """Return what is climbed: pictures as they stand, and as a little more light clips them.

        Parameters
        ----------
        found : (b,) Measures
        linear : (b, k, 3) float32
            Samples of the pictures, 1 = clip level.
        """
        look, camera = self.rig.look, self.rig.camera
        # clipping is read of single pixels, which come after the cells
        pixels = slice(self.sampler.parts[2].start, self.sampler.levels_end)
        more = np.zeros((len(linear), self.sampler.levels_end, 3), np.float32)
        more[:, pixels] = camera.shown(camera.light_of(linear[:, pixels]) * np.float32(_HEADROOM))
        brighter = self.sampler.brighter(found, more, HEADROOM_STOPS)
        both = merits([*found, *brighter], look)
        return [(one + other) / 2 for one, other in zip(both, both[len(found) :], strict=False)]

    def scores(self, rigs: Sequence[Rig], lights: Sequence[Singles]) -> list[float]:
        """Return the scores (0 to 100) of lights, each under the exposure of its rig."""
        pairs = list(zip(rigs, lights, strict=True))
        found: list[float] = []
        for first in range(0, len(pairs), _AT_ONCE):
            for measures in self._measured(self._exposed(pairs[first : first + _AT_ONCE])):
                score = judge(measures, self.rig.look).score
                found.append(0.0 if score is None else score)
        return found

    def _exposed(self, pairs: Sequence[tuple[Rig, Singles]]) -> Singles:
        """Return the samples (b, k, 3) of what the pictures show, 1 = clip level."""
        linear = np.empty((len(pairs), self.sampler.size, 3), np.float32)
        for picture, (rig, light) in zip(linear, pairs, strict=True):
            # a modelled light may fall below nothing
            lit = np.maximum(light, np.float32(0.0))
            clip = np.float32(self.clip_of(rig, lit))
            np.divide(lit[: self.sampler.size], clip, out=picture)
            if rig.camera.lifts_tones:
                picture[:] = rig.camera.shown(picture)
        return linear

    def _measured(self, linear: Singles) -> list[Measures]:
        sheet = self.rig.sheet
        return self.sampler.measure_each(
            linear,
            self.rig.look,
            sheet.foil.judged_kind,
            stock_reflectance=sheet.paper.reflectance,
            judged_only=True,
        )
