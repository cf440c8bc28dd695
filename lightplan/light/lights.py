"""Lights that are worked out together, and what is seen under them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Singles
    from lightplan.light.outlook import Outlook


@dataclass(frozen=True, eq=False)
class Lights:
    """k lights that are worked out together.

    lamps (lamps, k, 3) is the luminance of every lamp's face, sky (k,) the share of the
    surroundings, 0 or 1.
    """

    lamps: Doubles
    sky: Singles

    @classmethod
    def together(cls, lamps: Doubles) -> Lights:
        """Return one light: lamps (lamps, 3) and surroundings as they are in the rig."""
        return cls(lamps[:, None], np.ones(1, np.float32))

    @classmethod
    def apart(cls, lamps: Doubles) -> Lights:
        """Return each lamp alone, and the surroundings alone."""
        count = len(lamps)
        alone = np.eye(count, count + 1)[..., None] * lamps[:, None]
        return cls(alone, np.append(np.zeros(count), 1.0).astype(np.float32))

    def from_lamps(self, factors: Doubles) -> Doubles:
        """Return what points get straight from the lamps, (n, k, 3), for factors (lamps, n)."""
        shape = self.lamps.shape[1:]
        flat = self.lamps.reshape(len(self.lamps), math.prod(shape))
        return (factors.T @ flat).reshape(-1, *shape)


@dataclass(frozen=True, eq=False)
class Worlds:
    """What is seen when the sheet is paper and when it is foil, under k lights.

    coarse (n, k, 3) is the bounced light on the paper.
    """

    paper: Outlook
    foil: Outlook
    coarse: Singles
