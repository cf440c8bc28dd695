"""Robust least squares of levels: what the camera adds is linear, and so are small errors.

The levels of a photograph in stops are those of the rig as built, plus exposure, white
balance, vignette and the tone curve of the camera, plus the many small errors of a hand. All
of these are columns with a prior each; what is fitted beside them is the hypothesis.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.cell_levels import to_stops
from lightplan.estimate.scanning import Scan
from lightplan.estimate.seen import FLOOR, SeenSheet, steepness
from lightplan.estimate.solving import FitSystem, Known, Name

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from lightplan.arrays import Doubles

CAMERA = ("exposure", "red", "blue", "vignette", "contrast", "lift")
EXPOSURE_KNOWN = 0.12  # stops: how well f-number, time and ISO tell the exposure
EXPOSURE_UNKNOWN = 2.0
# Standard deviations of white balance (red, blue, in stops), vignette (stops at the corners),
# contrast (share) and lift (stops in the shadows) of cameras; our choice.
OTHERS = (0.25, 0.25, 0.35, 0.08, 0.45)
PAPER_MODEL, FOIL_MODEL = 0.035, 0.11  # stops: the model's own error in a cell
BRUSHED_MODEL = 1.6
"""Times `FOIL_MODEL` for brushed foil, whose prediction has the most noise; from trials."""
EDGE_MM = 1.2  # how far the photograph's cells may lie off the model's
EFFECTIVE_PAPER, EFFECTIVE_FOIL = 45.0, 60.0
"""Independent data in each material: neighbouring cells err together."""
SOFT: Name = ("camera's", "softness")
SOFTER = 1.5
"""Share by which a cell may show more of the other material than artwork laid over it says, one
standard deviation: lens, pixels, JPEG soften lines of few pixels. From pictures of 640 pixels."""
BLACK = 0.5  # of `FLOOR`: how far the camera's own black may be off


@dataclass(frozen=True, eq=False)
class Columns:
    """Things that change levels linearly, about the rig whose light is given.

    Attributes
    ----------
    names : (k,) of (element, dimension)
    values : (n, 3, k) float
        Stops per unit.
    means, sigmas : (k,) float
        What is expected of each, off the plan, and its standard deviation.
    at : (k,) float
        How far the rig whose light is given is off the plan in each.
    """

    names: tuple[Name, ...]
    values: Doubles
    means: Doubles
    sigmas: Doubles
    at: Doubles

    @classmethod
    def of(
        cls,
        names: Sequence[Name],
        values: Doubles,
        sigmas: Sequence[float],
        at: Sequence[float] | None = None,
    ) -> Columns:
        """Return columns that are expected to be as planned."""
        nought = np.zeros(len(names))
        there = nought if at is None else np.asarray(at, float)
        return cls(tuple(names), values, nought, np.asarray(sigmas, float), there)

    def with_sigma(self, sigmas: Mapping[Name, float], *, here: bool = False) -> Columns:
        """Return them with other priors for some: about the plan, or about where they are."""
        changed = [sigmas.get(n, s) for n, s in zip(self.names, self.sigmas, strict=True)]
        means = self.means
        if here:
            some = np.array([n in sigmas for n in self.names], bool)
            means = np.where(some, self.at, self.means)
        return Columns(self.names, self.values, means, np.array(changed), self.at)

    def moved_to(self, values: Mapping[Name, float]) -> Columns:
        """Return them about a rig that is off by values; slopes stay."""
        at = np.array([values.get(n, a) for n, a in zip(self.names, self.at, strict=True)])
        return Columns(self.names, self.values, self.means, self.sigmas, at)

    def without(self, names: set[Name]) -> Columns:
        """Return the others."""
        keep = [i for i, name in enumerate(self.names) if name not in names]
        return Columns(
            tuple(self.names[i] for i in keep),
            self.values[..., keep],
            self.means[keep],
            self.sigmas[keep],
            self.at[keep],
        )

    def joined(self, other: Columns) -> Columns:
        """Return these and others."""
        return Columns(
            self.names + other.names,
            np.concatenate([self.values, other.values], axis=-1),
            np.concatenate([self.means, other.means]),
            np.concatenate([self.sigmas, other.sigmas]),
            np.concatenate([self.at, other.at]),
        )


def softened(seen: SeenSheet, mixing: Doubles) -> Columns:
    """Return what a picture softer than the artwork does: narrow foil is mixed with paper.

    `mixing` is how many stops brighter a cell's other material makes it, for all of it, (n, 3).
    """
    values = (1 - seen.purity)[:, None] * mixing
    return Columns.of([SOFT], values[..., None], [SOFTER])


@dataclass(frozen=True, eq=False)
class Fitted:
    """What came of a fit.

    Attributes
    ----------
    cost : float
        Twice the negative logarithm of the posterior's height, up to a constant.
    values, sigmas : dict
        By (element, dimension); the camera's by ("camera's", name of `CAMERA`).
    residual : (n, 3) float
        Photograph less prediction, in stops.
    misfit : float
        Root mean square of what data are off, in standard deviations.
    names : (k,) of (element, dimension)
    covariance : (k, k) float
        Of the values, in this order.
    """

    cost: float
    values: dict[Name, float]
    sigmas: dict[Name, float]
    residual: Doubles
    misfit: float
    names: tuple[Name, ...]
    covariance: Doubles

    @property
    def exposure(self) -> float:
        """Stops of more exposure than expected."""
        return self.values["camera's", "exposure"]


@dataclass(frozen=True, eq=False)
class Place:
    """What the sheet's corners tell of the lens: its place off the plan, and how surely.

    Attributes
    ----------
    offset_mm : (3,) float
    covariance : (3, 3) float
    """

    offset_mm: Doubles
    covariance: Doubles


@dataclass(frozen=True, eq=False)
class Fitter:
    """One photograph to fit rigs to.

    Parameters
    ----------
    seen : SeenSheet
    clip_cd_m2 : float
        Luminance that clips by the photograph's settings, or by the plan where they are
        not known.
    exposure_sigma : float
        How sure that is. [stops]
    place : Place or None
    steady : float
        Share of the model's own error that is left: less where a frame of the same set was
        taken off.
    foil_model : float
        The model's own error on foil. [stops]
    edge_mm : float
        How far the photograph's cells may lie off the model's.
    effective : (2,) float
        Independent data in foil and in paper.
    black : float
        Share of `FLOOR` by which the camera's own black may be off.
    others : tuple of float
        Standard deviations of what the camera adds beside the exposure, as `CAMERA` names it.
    known : tuple of Known
        What else was measured: the shadow of a pin.
    """

    seen: SeenSheet
    clip_cd_m2: float
    exposure_sigma: float
    place: Place | None = None
    steady: float = 1.0
    foil_model: float = FOIL_MODEL
    edge_mm: float = EDGE_MM
    effective: tuple[float, float] = (EFFECTIVE_FOIL, EFFECTIVE_PAPER)
    black: float = BLACK
    others: tuple[float, ...] = OTHERS
    known: tuple[Known, ...] = ()

    @property
    def count(self) -> int:
        """Photographs that it fits to."""
        return 1

    @property
    def on_sheet(self) -> int:
        """Cells that lie on the sheet; they are the first."""
        return len(self.seen)

    def fit(self, light: Doubles, columns: Columns, start: float | None = None) -> Fitted:
        """Fit the camera and small errors to light (n, 3) of a rig.

        Parameters
        ----------
        light : (n, 3) float
            cd/m2 in the cells.
        columns : Columns
            What may differ besides.
        start : float or None
            Exposure to begin with; the data's own median if None.
        """
        exposure = self.first_exposure(light) if start is None else start
        found = self._solved(light, columns, exposure)
        if abs(found.exposure - exposure) > 0.05:
            found = self._solved(light, columns, found.exposure)
        return found

    def scan(self, light: Doubles, columns: Columns, exposure: float) -> Scan:
        """Return what tells of many rigs, whose light is near to one rig's, how well they fit."""
        one = self.system(light, columns, exposure)
        precision = one.weight / one.spread**2
        normal = one.rows.T @ (one.rows * precision[:, None]) + one.information
        return Scan(
            fitter=self,
            rows=one.rows,
            inverse=np.asarray(np.linalg.inv(normal), float),
            information=one.information,
            precision=precision,
            weight=one.weight,
            spread=one.spread,
            pull=one.pull,
            apart=one.apart,
            exposure=exposure,
            ended=one.ended,
        )

    def first_exposure(self, light: Doubles) -> float:
        """Return the exposure that a fit begins with: the data's own median."""
        seen = self.seen
        usable = ~seen.ended & (seen.stops > -7)
        if not usable.any():
            return 0.0
        gap = (seen.stops - to_stops(light, self.clip_cd_m2))[usable]
        return float(np.clip(np.median(gap), -4 * self.exposure_sigma, 4 * self.exposure_sigma))

    def _solved(self, light: Doubles, columns: Columns, exposure: float) -> Fitted:
        return self.fitted(self.system(light, columns, exposure))

    def system(self, light: Doubles, columns: Columns, exposure: float) -> FitSystem:
        """Return the linear system about light (n, 3) under an exposure."""
        seen = self.seen
        model = to_stops(light * 2.0**exposure, self.clip_cd_m2)
        design, sigmas, names = self._design(model, 1 - FLOOR / 2.0**model, columns)
        at = np.concatenate([[exposure], np.zeros(len(CAMERA) - 1), columns.at])
        means = np.concatenate([np.zeros(len(CAMERA)), columns.means])
        information, pull, apart = self._priors(names, sigmas, at, means)
        weight, spread = self._weights()
        return FitSystem(
            names,
            design.reshape(-1, design.shape[-1]),
            (seen.stops - model).ravel(),
            weight,
            spread,
            seen.ended.ravel(),
            at,
            information,
            pull,
            apart,
        )

    def fitted(self, system: FitSystem) -> Fitted:
        """Return what comes of a system."""
        found = system.solved()
        errors = np.sqrt(np.diag(found.covariance))
        return Fitted(
            found.cost,
            dict(zip(system.names, found.values.tolist(), strict=True)),
            dict(zip(system.names, errors.tolist(), strict=True)),
            found.residual.reshape(-1, 3),
            found.misfit,
            system.names,
            found.covariance,
        )

    def _design(
        self, model: Doubles, sensitive: Doubles, columns: Columns
    ) -> tuple[Doubles, Doubles, tuple[Name, ...]]:
        n = len(self.seen)
        zero, one = np.zeros((n, 3)), np.ones((n, 3))
        red, blue = zero.copy(), zero.copy()
        red[:, 0], blue[:, 2] = 1.0, 1.0
        vignette = np.repeat(-self.seen.radius2[:, None], 3, axis=1)
        lift = 1 - 2.0 ** np.minimum(model, 0)
        own = np.stack([one, red, blue, vignette, np.minimum(model, 0), lift], axis=-1)
        design = np.concatenate([own, columns.values], axis=-1) * sensitive[..., None]
        sigmas = np.concatenate([[self.exposure_sigma, *self.others], columns.sigmas])
        names = (*(("camera's", name) for name in CAMERA), *columns.names)
        return design, sigmas, names

    def _weights(self) -> tuple[Doubles, Doubles]:
        """Return the weight of each datum, and its standard deviation in stops.

        All of it is read from the photograph, so that it is the same for every rig: a dark rig
        must not be excused by errors that only its own darkness makes large.
        """
        seen = self.seen
        own: Doubles = self.steady * np.where(seen.is_foil, self.foil_model, PAPER_MODEL)[:, None]
        spread: Doubles = np.sqrt(
            own**2 + seen.noise**2 + (self.edge_mm * self._slope()[:, None]) ** 2
        )
        # near the floor a file holds noise and the camera's own black
        spread = np.sqrt(spread**2 + (self.black * FLOOR / 2.0**seen.stops) ** 2)
        foil, paper = 3 * seen.is_foil.sum(), 3 * (~seen.is_foil).sum()
        share = np.where(
            seen.is_foil,
            min(1.0, self.effective[0] / max(foil, 1)),
            min(1.0, self.effective[1] / max(paper, 1)),
        )
        return np.repeat(share, 3), spread.ravel()

    def _slope(self) -> Doubles:
        """Return how steeply levels change over the sheet at each cell, in stops a mm."""
        kept = self.__dict__.get("_steep")
        if kept is None:
            kept = steepness(self.seen)
            object.__setattr__(self, "_steep", kept)
        return np.asarray(kept)

    def _priors(
        self, names: tuple[Name, ...], sigmas: Doubles, at: Doubles, means: Doubles
    ) -> tuple[Doubles, Doubles, float]:
        """Return what is known before: information matrix, its pull, and its cost at `at`."""
        information = np.diag(1 / sigmas**2)
        pull = (means - at) / sigmas**2
        apart = float(((means - at) ** 2 / sigmas**2).sum())
        lens = [names.index(("camera", axis)) for axis in ("x_mm", "y_mm", "z_mm")]
        if self.place is not None:
            inverse = np.linalg.inv(self.place.covariance)
            off = self.place.offset_mm - at[lens]
            information[np.ix_(lens, lens)] += inverse
            pull[lens] += inverse @ off
            apart += float(off @ inverse @ off)
        for one in self.known:
            there = [(names.index(n), i) for i, n in enumerate(one.names) if n in names]
            here, rows = [i for i, _ in there], one.rows[:, [i for _, i in there]]
            inverse = np.linalg.inv(one.covariance)
            left = one.measured - rows @ at[here]
            information[np.ix_(here, here)] += rows.T @ inverse @ rows
            pull[here] += rows.T @ inverse @ left
            apart += float(left @ inverse @ left)
        return information, pull, apart
