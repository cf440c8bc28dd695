"""A picture reduced to what the measures read of it.

The measures read means over cells and the levels of single pixels. Both are linear in the
light, so what they read can be taken from the light of each lamp once, and mixed
and scaled from there at a hundredth of the work. A search judges thousands of
pictures in this way; the sheet must be one that is predicted, without print on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from lightplan.measures import clipping
from lightplan.measures.levels import Levels, OpenLevels, luminance, noise_stops
from lightplan.measures.maps import CLIP_LEVEL, Background
from lightplan.measures.measure import Measures, measured, parted
from lightplan.measures.rules import judged_names

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Booleans, Singles
    from lightplan.measures.grid import Grid, Indices, Region
    from lightplan.scene.look import Look

MOST_PIXELS = 600
"""Pixels of each material that are looked at for clipping: shares come in steps of 0.17 %."""
_MOST_TRIPLES = 100


@dataclass(frozen=True, eq=False)
class Sampler:
    """Takes samples from pictures under one mask.

    Parameters
    ----------
    grid : Grid
    foil_at, paper_at, noise_at : (n,) int
        Flat indices of the pixels that are looked at.
    """

    grid: Grid
    foil_at: Indices
    paper_at: Indices
    noise_at: Indices

    @classmethod
    def of(cls, grid: Grid) -> Sampler:
        """Return the sampler of a grid."""
        return cls(
            grid,
            _thinned(grid.foil.counted, MOST_PIXELS),
            _thinned(grid.paper.counted, MOST_PIXELS),
            _thinned(grid.noise_at, _MOST_TRIPLES),
        )

    def sample(self, picture: Singles) -> Singles:
        """Return the samples (k, 3) of a picture (rows, cols, 3); linear in the picture."""
        grid, flat = self.grid, picture.reshape(-1, 3)
        at = [
            self.foil_at,
            self.paper_at,
            *(self.noise_at + step for step in (-1, 0, 1)),
            grid.lines.at.ravel(),
        ]
        cells = [grid.average(picture, grid.foil), grid.average(picture, grid.paper)]
        thin = grid.average(picture, grid.hairlines)
        return np.concatenate([*cells, flat[np.concatenate(at)], thin])

    @cached_property
    def parts(self) -> tuple[slice, ...]:
        """Where the foil's and the paper's cells, then their pixels, stand among the samples."""
        counts = [len(self.grid.foil.cells), len(self.grid.paper.cells)]
        counts += [len(self.foil_at), len(self.paper_at)]
        ends = np.cumsum([0, *counts]).tolist()
        return tuple(slice(a, b) for a, b in pairwise(ends))

    @property
    def size(self) -> int:
        """How many samples a picture has."""
        lines, thin = self.grid.lines.at.size, len(self.grid.hairlines.cells)
        return self.levels_end + 3 * len(self.noise_at) + lines + thin

    def measure(
        self,
        samples: Singles,
        look: Look,
        foil_kind: str | None,
        *,
        stock_reflectance: tuple[float, float, float] | None = None,
        judged_only: bool = False,
    ) -> Measures:
        """Return the measures of a picture's samples (k, 3), 1 = clip level."""
        return self.measure_each(
            samples[None],
            look,
            foil_kind,
            stock_reflectance=stock_reflectance,
            judged_only=judged_only,
        )[0]

    def measure_each(
        self,
        samples: Singles,
        look: Look,
        foil_kind: str | None,
        *,
        stock_reflectance: tuple[float, float, float] | None = None,
        judged_only: bool = False,
    ) -> list[Measures]:
        """Return the measures of each picture by its samples (b, k, 3), 1 = clip level.

        Most of the time goes to numpy's calls, so many pictures cost little more than one.
        What is found of a picture does not depend on the others, to the last digit.

        As `lightplan.measures.measure` of the picture, but for two things: a cell is
        cut at the clip level as a whole, and shares of clipped pixels are those of the
        pixels that were looked at. With `judged_only`, measures may be absent that neither
        score nor gates of the look use.
        """
        sheet = SampledSheet(self, samples)
        found = measured(
            sheet,
            sheet.levels(),
            look,
            foil_kind,
            valid_share=1.0,
            stock_reflectance=stock_reflectance,
            wanted=judged_names(look) if judged_only else None,
        )
        return parted(found, len(samples))

    @property
    def levels_end(self) -> int:
        """How many samples, of the first, tell of levels: noise and lines come after."""
        return int(self.parts[-1].stop)

    def brighter(self, found: Sequence[Measures], samples: Singles, stops: float) -> list[Measures]:
        """Return measures of pictures as they are, but with the clipping of brighter ones.

        Parameters
        ----------
        found : (b,) Measures
            Of the pictures as they are.
        samples : (b, `levels_end`, 3) float32
            Of the brighter ones.
        stops : float
            By how much brighter.
        """
        sheet = SampledSheet(self, samples)
        names = frozenset(found[0]) if found else None
        shares = parted(clipping.shares(sheet, names), len(samples))
        return [
            one.joined(_lifted(one, stops) | s.pairs())
            for one, s in zip(found, shares, strict=True)
        ]


@dataclass(frozen=True, eq=False)
class SampledSheet:
    """Pictures by their samples (..., k, 3), as the measures ask for them."""

    sampler: Sampler
    samples: Singles
    background: Background | None = None
    confidence: float = 1.0
    code_levels: int | None = None

    @property
    def grid(self) -> Grid:
        """Pixels and cells of foil and of paper."""
        return self.sampler.grid

    def pixels(self, region: Region) -> tuple[Singles, Booleans]:
        """Return linear levels and clipped channels, (..., n, 3), of a material's pixels."""
        part = self.sampler.parts[2 if region is self.grid.foil else 3]
        linear = self.samples[..., part, :]
        return linear, linear >= CLIP_LEVEL

    def levels(self) -> Levels:
        """Return the levels of the cells."""
        foil, paper, _, pixels = self.sampler.parts
        whole = luminance(self.samples)
        cut = np.minimum(self.samples, np.float32(CLIP_LEVEL))
        level = luminance(cut)
        is_over = np.asarray(whole.max(axis=-1) > CLIP_LEVEL)
        end = pixels.stop + 3 * len(self.sampler.noise_at)
        thin = end + self.grid.lines.at.size
        triples, lines = level[..., pixels.stop : end], level[..., end:thin]
        return Levels.from_means(
            self.grid,
            paper=level[..., paper],
            paper_rgb=cut[..., paper, :],
            foil_rgb=cut[..., foil, :],
            open_levels=OpenLevels(whole[..., foil], whole[..., paper], is_over)
            if is_over.any()
            else None,
            noise_stops=noise_stops(triples.reshape(*triples.shape[:-1], 3, -1)),
            foil_lines=lines.reshape(*lines.shape[:-1], 4, -1),
            hairlines=level[..., thin : self.sampler.size],
        )


def _lifted(found: Measures, stops: float) -> dict[str, tuple[float, float]]:
    """Return the brightest levels of foil and paper, so much brighter."""
    pairs = found.pairs()
    names = [name for name in ("foil_peak_stops", "paper_peak_stops") if name in pairs]
    return {name: (pairs[name][0] + stops, pairs[name][1]) for name in names}


def _thinned(indices: Indices, most: int) -> Indices:
    """Return at most `most` of the indices, spread evenly."""
    if len(indices) <= most:
        return indices
    kept: Indices = indices[np.linspace(0, len(indices) - 1, most).round().astype(np.intp)]
    return kept
