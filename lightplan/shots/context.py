"""What is known before a photograph is looked at."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from lightplan.scene.look import Look
from lightplan.version import __version__

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lightplan.arrays import Doubles
    from lightplan.shots.results import Triple
    from lightplan.shots.sheet.neighbour import Neighbour

Detail: TypeAlias = Literal["quick", "full"]


@cache
def code_digest() -> str:
    """Return a key for the code that judges: a changed one must not go on with old results."""
    machine = hashlib.sha256()
    root = Path(__file__).parents[1]
    for folder in ("measures", "optics", "shots"):
        for path in sorted((root / folder).rglob("*.py")):
            machine.update(path.relative_to(root).as_posix().encode() + path.read_bytes())
    return machine.hexdigest()[:16]


@dataclass(frozen=True, kw_only=True, eq=False)
class PhotoContext:
    """The sheet, the look that is wanted, and how much to say.

    Parameters
    ----------
    width_mm, height_mm : float
        Size of the sheet.
    look : Look
    half_lit : bool
        Its foil is holographic: much of it may be dark.
    foil_kind : str or None
        For the colour to expect.
    stock_reflectance : (3,) float or None
        Of the paper, where it is known.
    artwork : (rows, cols) float or None
        Share of foil; row 0 is the far edge.
    corners : dict of str to (4, 2) float
        Corners given by hand, by file name: (row, column) in pixels of the upright file,
        far left, far right, near right, near left.
    detail : {"quick", "full"}
        "full" also lists hot spots, dust and scratches. Score, verdict and measures are
        the same.
    near : Neighbour or None
        Another frame of the set: the sheet is looked for where it lay there. It saves
        time; which frame it is belongs to the digest.
    expected : (4, 2) float or None
        Where the plan's camera has the corners, as shares of rows and columns: the sheet is
        looked for there where nothing else tells it.
    card : bool
        The set shows a marker card: it is looked for in every frame, not only in those
        whose sheet is not found without it.
    strip : bool
        A slip with a strip of foil is looked for beside the sheet.
    """

    width_mm: float
    height_mm: float
    look: Look = field(default_factory=Look)
    foil_kind: str | None = None
    half_lit: bool = False
    stock_reflectance: Triple | None = None
    artwork: Doubles | None = None
    corners: Mapping[str, Doubles] = field(default_factory=dict)
    detail: Detail = "quick"
    near: Neighbour | None = None
    expected: Doubles | None = None
    card: bool = False
    strip: bool = False

    def digest(self) -> str:
        """Return a key for everything a result depends on besides the photograph."""
        plain = {
            "version": __version__,
            "size": [self.width_mm, self.height_mm],
            "look": asdict(self.look),
            "foil": self.foil_kind,
            "stock": self.stock_reflectance,
            "corners": {k: np.asarray(v).tolist() for k, v in sorted(self.corners.items())},
            "detail": self.detail,
            "card": self.card,
            "strip": self.strip,
            "code": code_digest(),
            "near": None if self.near is None else self.near.key,
            "expected": None if self.expected is None else np.asarray(self.expected).tolist(),
        }
        machine = hashlib.sha256(json.dumps(plain, sort_keys=True).encode())
        if self.artwork is not None:
            machine.update(str(self.artwork.shape).encode())
            machine.update(np.ascontiguousarray(self.artwork, np.float64).tobytes())
        return machine.hexdigest()[:32]
