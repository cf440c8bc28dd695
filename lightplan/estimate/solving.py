"""The linear part of a fit: data with their spread, unknowns with what is known of them before."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Booleans, Doubles

Name = tuple[str, str]
HEAVY = 2.0  # residuals, in standard deviations, from which they count less
ROUNDS = 4


@dataclass(frozen=True, eq=False)
class FitSystem:
    """Data of one photograph, or of several, and the unknowns that they share.

    Parameters
    ----------
    names : (k,) of (element, dimension)
    rows : (d, k) float
        What each unknown does to the data, in stops per unit.
    aim : (d,) float
        Data less the model. [stops]
    weight, spread : (d,) float
        Of the data: share of an independent datum, standard deviation in stops.
    ended : (d,) bool
        Clipped: a datum is at least so bright.
    at : (k,) float
        Where the model stands in each unknown.
    information : (k, k) float
        What is known before, as the inverse of its covariance.
    pull : (k,) float
        `information` times what is expected, from `at`.
    apart : float
        Cost of `at` by what is known before.
    """

    names: tuple[Name, ...]
    rows: Doubles
    aim: Doubles
    weight: Doubles
    spread: Doubles
    ended: Booleans
    at: Doubles
    information: Doubles
    pull: Doubles
    apart: float

    def solved(self) -> Solved:
        """Return the robust least squares: what is far off counts less, clipped data one way."""
        robust = np.ones(len(self.aim))
        values = np.zeros(len(self.names))
        normal = self.information
        for _ in range(ROUNDS):
            away = (self.aim - self.rows @ values) / self.spread
            inside = self.ended & (away < 0)  # a clipped cell is at least this bright
            robust = np.asarray(np.where(inside, 0.0, 1 / (1 + (away / HEAVY) ** 2)))
            w = self.weight * robust / self.spread**2
            normal = self.rows.T @ (self.rows * w[:, None]) + self.information
            right = self.rows.T @ (w * self.aim) + self.pull
            values = np.asarray(np.linalg.solve(normal, right), float)
        away = (self.aim - self.rows @ values) / self.spread
        away = np.asarray(np.where(self.ended & (away < 0), 0.0, away))
        cost = float((self.weight * HEAVY**2 * np.log1p((away / HEAVY) ** 2)).sum())
        cost += float(values @ self.information @ values - 2 * self.pull @ values) + self.apart
        misfit = np.sqrt((self.weight * np.minimum(away, 6) ** 2).sum() / self.weight.sum())
        covariance = np.asarray(np.linalg.inv(normal), float)
        residual = np.asarray(self.aim - self.rows @ values)
        return Solved(self.at + values, covariance, residual, cost, float(misfit))


@dataclass(frozen=True, eq=False)
class Known:
    """What something beside the levels tells of unknowns, linearly about the plan.

    Parameters
    ----------
    names : (k,) of (element, dimension)
    rows : (m, k) float
        What each unknown does to what was measured.
    measured : (m,) float
        Off what the plan would give.
    covariance : (m, m) float
    """

    names: tuple[Name, ...]
    rows: Doubles
    measured: Doubles
    covariance: Doubles


@dataclass(frozen=True, eq=False)
class Solved:
    """What came of it: `values` and `covariance` of the unknowns, the data's `residual`."""

    values: Doubles
    covariance: Doubles
    residual: Doubles
    cost: float
    misfit: float


def joined(systems: Sequence[FitSystem]) -> FitSystem:
    """Return the systems of several photographs as one; unknowns of one name are the same.

    What is known before of a shared unknown is taken from the first system that has it.
    """
    names = list(dict.fromkeys(name for one in systems for name in one.names))
    place = {name: i for i, name in enumerate(names)}
    count = sum(len(one.aim) for one in systems)
    rows, at = np.zeros((count, len(names))), np.zeros(len(names))
    information, pull = np.zeros((len(names), len(names))), np.zeros(len(names))
    apart, begun = 0.0, 0
    known: set[Name] = set()
    for one in systems:
        columns = np.array([place[name] for name in one.names])
        rows[begun : begun + len(one.aim), columns] = one.rows
        own = [i for i, name in enumerate(one.names) if name not in known]
        there = columns[own]
        at[there] = one.at[own]
        information[np.ix_(there, there)] = one.information[np.ix_(own, own)]
        pull[there] = one.pull[own]
        apart += one.apart if not known else _apart(one, own)
        known.update(one.names)
        begun += len(one.aim)
    return FitSystem(
        tuple(names),
        rows,
        np.concatenate([one.aim for one in systems]),
        np.concatenate([one.weight for one in systems]),
        np.concatenate([one.spread for one in systems]),
        np.concatenate([one.ended for one in systems]),
        at,
        information,
        pull,
        apart,
    )


def _apart(one: FitSystem, own: Sequence[int]) -> float:
    """Return what is known before of some unknowns alone, as the cost of where they stand."""
    block = one.information[np.ix_(own, own)]
    pull = one.pull[own]
    return float(pull @ np.linalg.solve(block, pull)) if len(own) else 0.0
