"""Light from what is not in the rig: a bright face somewhere outside, searched coarse to fine.

A face is lit in many places at once, each by the light engine: the foil answers by the law of
the mirror, the paper by a smooth fall-off, cards and the camera's body throw their shadows. Its
luminance and colour are fitted beside the camera and a hand's errors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import two_at_a_time
from lightplan.estimate.fit import Columns, Fitted
from lightplan.estimate.hypothesis import COST_PER_SLIP, Hypothesis
from lightplan.scene import Lamp, Output, Placement, Rig
from lightplan.scene.foreign import Foreign

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Vector
    from lightplan.estimate.search import FitSearch

NAME = "elsewhere"
RINGS = ((10.0, 14), (28.0, 12), (47.0, 10), (67.0, 6), (88.0, 1))
"""Heights in degrees of the places looked at first, and how many stand in each ring."""
FIRST_DEG = 24.0
"""Side of a face as the sheet's middle sees it, where it is looked for first."""
LEAST_DISTANCE_MM = 1500.0
BEYOND = 1.25  # times the farthest thing of the rig
LOWEST_DEG = 4.0
LEAST_DEG, MOST_DEG = 3.0, 45.0
EXTRA_COST = 5.0
"""Of direction, size, distance and colour, beside what one slip costs; ours, from trials."""
COLOUR_STOPS = 0.35
"""How far such light is off the lamps' white, red and blue each; common practice, no source."""
_ROUNDS = (
    # how many of the best go on, angles to look to in degrees, sizes and distances tried (times)
    (5, 10.0, (0.4,), (1.0,)),
    (2, 5.0, (0.6, 1.4), (1.0,)),
    (1, 0.0, (1.0,), (0.45, 0.65, 1.5)),
    (1, 2.5, (0.75, 1.3), (1.0,)),
)
LEVELS = 2.0 ** np.linspace(-6.5, 3.5, 11)
"""Of the plan's light that such light adds, where it is looked for."""
CLEAR_DEG = 2.0
"""Between faces that are lit together: a sheet is not a point."""
_LEVEL_STEP = 0.5  # stops: how far one fit may go, for its slopes are of one place
FINER = (12.0, 8.0, 5.0, 4.0)
"""Of cost that finer looking may win from each round on, where such light was there; trials."""
FINER_SHARE = 0.2
"""What the first round may win of a high cost: a small face between those looked at first."""
CLOSER = 2.0
"""Times that, where the model is granted less: what it wins is counted in smaller errors. Ours."""
_FITS, _FITTED = 4, 3
_MARK_STOPS = 0.4


@dataclass(frozen=True)
class FaceElsewhere:
    """A square bright face that looks at the sheet's middle.

    Parameters
    ----------
    direction : (3,) float
        Unit vector.
    distance_mm : float
    size_deg : float
        Its side as seen from the sheet.
    """

    direction: Vector
    distance_mm: float
    size_deg: float

    @property
    def width_mm(self) -> float:
        """Its side."""
        return 2 * self.distance_mm * math.tan(math.radians(self.size_deg / 2))

    def lamp(self, name: str) -> Lamp:
        """Return it as a lamp without a body, 1 cd/m2."""
        return Lamp(
            name=name,
            width_mm=self.width_mm,
            height_mm=self.width_mm,
            is_window=True,
            placement=Placement(_times(self.direction, self.distance_mm)),
            output=Output(value=1.0, unit="cd/m2"),
        )


@dataclass(frozen=True, eq=False)
class Lit:
    """A face with its light in the cells for 1 cd/m2, its luminance, and what a fit costs."""

    face: FaceElsewhere
    light: Doubles
    level: Doubles
    cost: float


class Elsewhere:
    """Looks for light from outside in one photograph."""

    def __init__(self, search: FitSearch) -> None:
        self._search = search
        self._plain = replace(search.rig, freedoms=())

    def best(self, plan: Hypothesis, to_beat: float) -> tuple[Hypothesis, Foreign] | None:
        """Return the light from outside that explains most, and the fit with it.

        None where it is far from beating a cost already: finer looking wins little.
        """
        search = self._search
        self._scan = search.fitter.scan(plan.light, search.hand, plan.fitted.exposure)
        distance = _distance(search.rig)
        found = self._lit(plan, [FaceElsewhere(way, distance, FIRST_DEG) for way in directions()])
        # the less the model errs, the more a better place wins
        wins = (max(FINER[0], FINER_SHARE * to_beat), *FINER[1:])
        patience = 1.0 if search.fitter.steady >= 1 else CLOSER
        for (kept, turn, sizes, distances), finer in zip(_ROUNDS, wins, strict=True):
            seeds = sorted(found, key=lambda t: t.cost)[:kept]
            if seeds[0].cost + COST_PER_SLIP + EXTRA_COST > to_beat + patience * finer:
                return None
            faces = [f for seed in seeds for f in _near(seed.face, turn, sizes, distances)]
            found = [*seeds, *self._lit(plan, faces)]
        first = sorted(found, key=lambda t: t.cost)[:_FITTED]
        best = min((self._fitted(plan, t) for t in first), key=lambda t: t[1].cost)
        lit, fitted = best
        values = {(NAME, "light"): float(lit.level.max())}
        light = plan.light + lit.level * lit.light
        hypothesis = Hypothesis(values, fitted, 1, fitted.cost + EXTRA_COST, light)
        return hypothesis, self._foreign(lit, plan)

    def _lit(self, plan: Hypothesis, faces: Sequence[FaceElsewhere]) -> list[Lit]:
        """Return faces as bright as suits best, white, with what each leaves unexplained."""
        groups = apart(faces)
        lights = two_at_a_time(self._light_of, groups)
        return [
            self._at_best(plan, face, one)
            for group, light in zip(groups, lights, strict=True)
            for face, one in zip(group, light, strict=True)
        ]

    def _light_of(self, faces: Sequence[FaceElsewhere]) -> Doubles:
        """Return the light of each of some faces alone in the cells, (k, n, 3)."""
        rig = self._plain
        lamps = [face.lamp(f"{NAME} {i}") for i, face in enumerate(faces)]
        whole = replace(rig, lamps=(*rig.lamps, *lamps))
        return self._search.levels.light_with_more(whole).light[len(rig.lamps) : -1]

    def _at_best(self, plan: Hypothesis, face: FaceElsewhere, light: Doubles) -> Lit:
        levels = LEVELS * float(np.median(plan.light)) / (float(np.median(light)) + 1e-9)
        costs = self._scan.costs(plan.light + levels[:, None, None] * light)
        at = int(costs.argmin())
        return Lit(face, light, np.full(3, levels[at]), float(costs[at]))

    def _fitted(self, plan: Hypothesis, lit: Lit) -> tuple[Lit, Fitted]:
        """Return a face in the brightness and colour that suit best, and the fit with it."""
        fitter, best = self._search.fitter, None
        exposure, level = plan.fitted.exposure, lit.level
        for _ in range(_FITS):
            columns = self._columns(plan, lit.light, level)
            fitted = fitter.fit(plan.light + level * lit.light, columns, exposure)
            if best is None or fitted.cost < best[1].cost:
                best = replace(lit, level=level, cost=fitted.cost), fitted
            exposure = fitted.exposure
            more, red, blue = (fitted.values[NAME, n] for n in ("stops", "red", "blue"))
            level = level[1] * 2.0 ** np.array([more + red, more, more + blue])
        assert best is not None
        return best

    def _columns(self, plan: Hypothesis, light: Doubles, level: Doubles) -> Columns:
        """Return a hand's errors, and what the face's brightness and colour do to the levels."""
        own = level * light
        share = own / np.maximum(plan.light + own, 1e-9)
        red, blue = np.zeros_like(share), np.zeros_like(share)
        red[:, 0], blue[:, 2] = share[:, 0], share[:, 2]
        names = [(NAME, "stops"), (NAME, "red"), (NAME, "blue")]
        tint = np.log2(level / level[1])
        sigmas = [_LEVEL_STEP, COLOUR_STOPS, COLOUR_STOPS]
        values = np.stack([share, red, blue], axis=-1)
        at = [0.0, float(tint[0]), float(tint[2])]
        return self._search.hand.joined(Columns.of(names, values, sigmas, at))

    def _foreign(self, found: Lit, plan: Hypothesis) -> Foreign:
        face = found.face
        return Foreign(
            direction=face.direction,
            distance_mm=face.distance_mm,
            width_mm=face.width_mm,
            luminance_cd_m2=tuple(float(v) for v in found.level),  # type: ignore[arg-type]
            where_mm=self._mirrored(found, plan),
            cost=0.0,
        )

    def _mirrored(self, found: Lit, plan: Hypothesis) -> tuple[float, float] | None:
        """Return where the foil shows it most; None where it does not."""
        fitter, seen = self._search.fitter, self._search.fitter.seen
        own = found.level * found.light
        rise = np.log2(1 + own / np.maximum(plan.light, 1e-9)).mean(axis=1)
        paper = np.median(rise[~seen.is_foil]) if (~seen.is_foil).any() else 0.0
        rise = np.where(seen.is_foil, rise, 0.0)[: fitter.on_sheet]
        at = int(np.argmax(rise))
        if rise[at] < max(_MARK_STOPS, paper):
            return None
        return float(seen.x_mm[at]), float(seen.y_mm[at])


def directions() -> list[Vector]:
    """Return unit vectors to the places looked at first."""
    found: list[Vector] = []
    for height_deg, count in RINGS:
        height = math.radians(height_deg)
        for i in range(count):
            around = 2 * math.pi * (i + 0.5) / count
            level = math.cos(height)
            found.append((level * math.cos(around), level * math.sin(around), math.sin(height)))
    return found


def apart(faces: Sequence[FaceElsewhere]) -> list[list[FaceElsewhere]]:
    """Return faces in groups none of which stands before another of its group."""
    groups: list[list[FaceElsewhere]] = []
    for face in faces:
        for group in groups:
            if all(_gap_deg(face, other) > CLEAR_DEG for other in group):
                group.append(face)
                break
        else:
            groups.append([face])
    return groups


def _gap_deg(face: FaceElsewhere, other: FaceElsewhere) -> float:
    cosine = sum(a * b for a, b in zip(face.direction, other.direction, strict=True))
    between = math.degrees(math.acos(min(1.0, max(-1.0, cosine))))
    return between - (face.size_deg + other.size_deg) / 2


def _near(
    face: FaceElsewhere, turn_deg: float, sizes: Sequence[float], distances: Sequence[float]
) -> list[FaceElsewhere]:
    """Return faces about one: turned six ways and not, of other sizes, nearer and farther."""
    found = []
    for way in _turned(face.direction, math.radians(turn_deg)):
        if way[2] < math.sin(math.radians(LOWEST_DEG)):
            continue
        for size in sizes:
            for far in distances:
                size_deg = min(max(size * face.size_deg, LEAST_DEG), MOST_DEG)
                if (way, size, far) != (face.direction, 1.0, 1.0):
                    found.append(FaceElsewhere(way, far * face.distance_mm, size_deg))
    return found


def _turned(way: Vector, turn: float) -> list[Vector]:
    """Return a direction, and six about it."""
    if turn == 0:
        return [way]
    middle: Doubles = np.asarray(way, float)
    aside: Doubles = np.cross(middle, (0.0, 1.0, 0.0) if abs(middle[1]) < 0.8 else (1.0, 0.0, 0.0))
    aside /= np.linalg.norm(aside)
    other: Doubles = np.cross(middle, aside)
    found = [way]
    for i in range(6):
        around = math.pi * i / 3
        lean = math.cos(around) * aside + math.sin(around) * other
        x, y, z = math.cos(turn) * middle + math.sin(turn) * lean
        found.append((float(x), float(y), float(z)))
    return found


def _distance(rig: Rig) -> float:
    places = [x.placement.position_mm for x in (*rig.lamps, *rig.cards)]  # type: ignore[attr-defined]
    farthest = max((math.dist(p, (0, 0, 0)) for p in places), default=0.0)
    return max(LEAST_DISTANCE_MM, BEYOND * farthest + 300.0)


def _times(way: Vector, factor: float) -> Vector:
    x, y, z = (factor * v for v in way)
    return (x, y, z)
