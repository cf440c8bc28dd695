"""Covariance matrix adaptation, for the unit box.

After N. Hansen, "The CMA evolution strategy: a tutorial" (arXiv:1604.00772): weighted
recombination, rank-one and rank-mu update, cumulative step-size control. Bounds are met
by clipping the points, before they are judged and before they are learnt from.
"""

from __future__ import annotations

import math

import numpy as np

from lightplan.arrays import Doubles


class Evolution:
    """A population that learns the shape of the valley.

    Parameters
    ----------
    mean : (n,) float
        First guess.
    step : float
        First standard deviation.
    offspring : int
        Points per generation, at least 4.
    rng : numpy.random.Generator
    """

    def __init__(
        self, mean: Doubles, step: float, offspring: int, rng: np.random.Generator
    ) -> None:
        self.mean, self.step, self._rng = np.array(mean, float), step, rng
        n = self.mean.size
        self._count = max(offspring, 4)
        parents = self._count // 2
        raw = math.log((self._count + 1) / 2) - np.log(np.arange(1, parents + 1))
        self._weights = raw / raw.sum()
        mass = 1 / float(np.sum(self._weights**2))
        # Names follow the tutorial's table 1.
        self._c_sigma = (mass + 2) / (n + mass + 5)
        self._d_sigma = 1 + 2 * max(0.0, math.sqrt((mass - 1) / (n + 1)) - 1) + self._c_sigma
        self._c_c = (4 + mass / n) / (n + 4 + 2 * mass / n)
        self._c_1 = 2 / ((n + 1.3) ** 2 + mass)
        self._c_mu = min(1 - self._c_1, 2 * (mass - 2 + 1 / mass) / ((n + 2) ** 2 + mass))
        self._mass = mass
        self._path_sigma, self._path_c = np.zeros(n), np.zeros(n)
        self._covariance = np.eye(n)
        self._basis, self._lengths = np.eye(n), np.ones(n)
        self._chi = math.sqrt(n) * (1 - 1 / (4 * n) + 1 / (21 * n**2))
        self._generation = 0

    def ask(self) -> list[Doubles]:
        """Return the next generation's points; they may lie outside the box."""
        draws = self._rng.standard_normal((self._count, self.mean.size))
        steps = (draws * self._lengths) @ self._basis.T
        return list(self.mean + self.step * steps)

    def tell(self, points: list[Doubles], values: Doubles) -> None:
        """Learn from the values of the points of `ask`, judged where they were clipped."""
        stack = np.clip(np.array(points), 0.0, 1.0)
        order = np.argsort(values, kind="stable")
        chosen = (stack[order[: len(self._weights)]] - self.mean) / self.step
        shift = self._weights @ chosen
        self.mean = np.asarray(np.clip(self.mean + self.step * shift, 0.0, 1.0))
        self._generation += 1
        self._adapt(shift, chosen)

    def _adapt(self, shift: Doubles, chosen: Doubles) -> None:
        n = self.mean.size
        white = self._basis @ ((self._basis.T @ shift) / self._lengths)
        self._path_sigma = (1 - self._c_sigma) * self._path_sigma + math.sqrt(
            self._c_sigma * (2 - self._c_sigma) * self._mass
        ) * white
        length = float(np.linalg.norm(self._path_sigma))
        fade = math.sqrt(1 - (1 - self._c_sigma) ** (2 * self._generation))
        steady = length / fade < (1.4 + 2 / (n + 1)) * self._chi
        self._path_c = (1 - self._c_c) * self._path_c
        if steady:
            self._path_c = (
                self._path_c + math.sqrt(self._c_c * (2 - self._c_c) * self._mass) * shift
            )
        loss = 0.0 if steady else self._c_1 * self._c_c * (2 - self._c_c)
        self._covariance = (
            (1 - self._c_1 - self._c_mu + loss) * self._covariance
            + self._c_1 * np.outer(self._path_c, self._path_c)
            + self._c_mu * (chosen.T * self._weights) @ chosen
        )
        grow = math.exp(self._c_sigma / self._d_sigma * (length / self._chi - 1))
        self.step = min(self.step * grow, 1.0)
        squares, self._basis = np.linalg.eigh((self._covariance + self._covariance.T) / 2)
        self._lengths = np.sqrt(np.maximum(squares, 1e-20))

    def is_small(self) -> bool:
        """Whether the steps have shrunk below a hundred-thousandth of the box."""
        return bool(self.step * self._lengths.max() < 1e-5)
