"""The mirror layers of the sheet: foil, gloss coat, holographic grating."""

from __future__ import annotations

import math
from functools import lru_cache, partial
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.ball import Ball
from lightplan.geometry.shapes import Flat
from lightplan.light import coat
from lightplan.light.glossy import GlossyLight
from lightplan.light.grating_lobes import GratingLight
from lightplan.light.kept import Kept, Moves
from lightplan.light.lattice import STEPS_PER_WAVE, Lattice
from lightplan.light.metal_hits import FoilFace
from lightplan.light.mirror_face import MirrorFace
from lightplan.light.remembered import Remembered
from lightplan.optics import materials
from lightplan.scene import relief
from lightplan.scene.relief import mirror_normals

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Singles
    from lightplan.light.cells import Patchwork
    from lightplan.light.detail import Detail
    from lightplan.light.emission import LampFace
    from lightplan.light.outlook import Outlook
    from lightplan.optics.specular import SpecularCurve
    from lightplan.scene.rig import Rig
    from lightplan.scene.sheet import Foil
    from lightplan.scene.surfaces import Surface

LEAST_RAYS, MOST_RAYS = 13, 987
# A wide lobe is worked out at few spots. So each can have more points on every target, one
# for so many of the rays it could have, for it is the middling lobe that rays meet poorly.
RAYS_PER_POINT, MOST_POINTS = 4, 576
LAMP_POINTS = 13  # to find how near a lamp comes
EDGE_BLUR = 1.3  # half width of a mirrored edge's blur, over roughness and distance
_ways: Remembered[Singles] = Remembered(256)  # how far the mirrored camera sees to a surface
PEAK_STEPS = 2.5  # `Detail.steps_per_blur` where a lamp is so small that it shows as a peak


class FoilLight(Kept):
    """One mirror layer, worked out on a grid as fine as its blur needs."""

    def __init__(
        self,
        rig: Rig,
        lattice: Lattice,
        detail: Detail,
        curve: SpecularCurve,
        roughness: tuple[float, float],
        brush_rad: float,
        grating_strength: float,
        *,
        is_foil: bool,
        has_silver: bool,
    ) -> None:
        tangent = np.array([math.cos(brush_rad), math.sin(brush_rad), 0.0])
        self.lattice = lattice
        points, normals = self.lattice.points(rig.sheet)
        wavy = rig.sheet.paper.waviness
        if wavy is not None:
            if detail.follows_relief and lattice.resolves(wavy.wavelength_mm):
                normals = mirror_normals(rig.sheet, points[:, 0], points[:, 1])
            else:
                roughness = with_unevenness(roughness, wavy.slope_rad)
        even = rig.sheet.flatness.wave_mm == 0
        self.face = MirrorFace(
            0,
            is_front=True,
            curve=curve,
            roughness=roughness,
            tangent=tangent,
            bow=relief.bow_of(rig.sheet) if even else None,
            grating=rig.sheet.foil.grating if is_foil and grating_strength > 0 else None,
        )
        views = np.asarray(rig.camera.placement.position_mm) - points
        views /= np.linalg.norm(views, axis=1, keepdims=True)
        mirrors = self.face.mirrors(points, normals, views)
        wanted = detail.foil_rays // len(points)
        times = detail.silver_times if has_silver else 1
        rays = int(np.clip(wanted * times, LEAST_RAYS, MOST_RAYS))
        spots = max(detail.foil_spots, min(wanted // RAYS_PER_POINT, MOST_POINTS))
        foil = FoilFace(rig.sheet, tangent, roughness, curve) if is_foil else None
        self._plain = GlossyLight(
            mirrors,
            curve,
            rays=rays,
            spots=spots,
            hidden_spots=detail.hidden_spots,
            polariser=polariser_axis(rig),
            skip=frozenset((0,)),
            foil=foil,
        )
        self._grating: GratingLight | None = None
        self._plain_share = np.float32(1.0)
        if grating_strength > 0 and rig.sheet.foil.grating is not None:
            self._grating = GratingLight(mirrors, curve, rig.sheet.foil.grating, detail, foil)
            self._plain_share = np.float32(1.0 - grating_strength)

    @classmethod
    def of_foil(
        cls, rig: Rig, lattice: Lattice, detail: Detail, *, has_silver: bool = False
    ) -> FoilLight:
        """Return the foil of the sheet, worked out on a `foil_lattice`."""
        foil = rig.sheet.foil
        curve = foil_curve_of(foil)
        strength = foil.grating.strength if foil.grating is not None else 0.0
        return cls(
            rig,
            lattice,
            detail,
            curve,
            foil.roughness,
            foil.brush_rad,
            strength,
            is_foil=True,
            has_silver=has_silver,
        )

    @classmethod
    def of_coat(cls, rig: Rig, lattice: Lattice, detail: Detail) -> FoilLight:
        """Return the gloss of the stock, worked out on a `foil_lattice`."""
        paper = rig.sheet.paper
        assert paper.coat_index is not None
        rough = (paper.coat_roughness, paper.coat_roughness)
        given = (rig, lattice, detail, coat.curve(paper), rough, 0.0, 0.0)
        return cls(*given, is_foil=False, has_silver=False)

    def renumber(self, moves: Moves) -> None:
        """Count surfaces and texels anew."""
        self._plain.renumber(moves)
        if self._grating is not None:
            self._grating.renumber(moves)

    def update(
        self,
        surfaces: Sequence[Surface],
        patchwork: Patchwork,
        lamps: Sequence[LampFace],
        changed: frozenset[int],
    ) -> None:
        """Follow moved surfaces."""
        self._plain.update(surfaces, patchwork, lamps, changed)
        if self._grating is not None:
            self._grating.update(surfaces, patchwork, lamps, changed)
        self._lamps = lamps

    def evaluate(self, outlook: Outlook, grid: Lattice) -> Singles:
        """Return the layer's luminance under k lights on the sheet's grid, (rows, cols, k, 3)."""
        values = self._plain_share * self._plain.evaluate(outlook)
        if self._grating is not None:
            values = values + self._grating.evaluate(outlook, self._lamps)
        return self.lattice.spread_to(grid, values)


def with_unevenness(roughness: tuple[float, float], slope_rad: float) -> tuple[float, float]:
    """Return the GGX alphas of a mirror whose unevenness is not followed.

    Slopes add as variances; the alpha of Beckmann's distribution is sqrt(2) times the slope's
    root mean square (Walter et al. 2007), and a GGX lobe has about its width.
    """
    along, across = (math.sqrt(a * a + 2 * math.tan(slope_rad) ** 2) for a in roughness)
    return min(along, 1.0), min(across, 1.0)


@lru_cache(maxsize=32)
def foil_curve_of(foil: Foil) -> SpecularCurve:
    """Return the mirror reflectance of a rig's foil."""
    if foil.conductor is not None:
        return materials.conductor_curve(foil.conductor.eta, foil.conductor.k)
    return materials.foil_curve(foil.kind)


def polariser_axis(rig: Rig) -> Doubles | None:
    """Return the polariser's axis in the world, or None without one."""
    angle = rig.camera.polariser_rad
    if angle is None:
        return None
    right, up, _ = rig.camera.axes()
    return np.asarray(math.cos(angle) * right + math.sin(angle) * up)


def foil_lattice(
    rig: Rig, surfaces: Sequence[Surface], detail: Detail, roughness: float
) -> Lattice:
    """Return a grid fine enough for the blur of the mirrored surroundings.

    A mirrored edge at distance d is blurred over about 1.3 alpha d there (the half width
    of the GGX lobe is 0.64 alpha, doubled by reflection), which is that over 1 + d / D on
    a sheet at distance D from the camera, and less on a bent one, which shows things smaller.
    """
    sheet = rig.sheet
    camera = np.asarray(rig.camera.placement.position_mm)
    to_camera = float(np.linalg.norm(camera))
    nearest = _nearest_mirrored(surfaces, camera, sheet.width_mm, sheet.height_mm)
    bend = 2 * relief.greatest_curvature(sheet)
    blur = EDGE_BLUR * roughness / (1 / nearest + 1 / to_camera + bend)
    longer = max(sheet.width_mm, sheet.height_mm)
    steps = detail.steps_per_blur
    if sheet.foil.grating is None:  # which spreads what is small over its colours
        steps = _steps_per_blur(surfaces, steps, roughness)
    wanted = 1 + math.ceil(longer * steps / max(blur, 0.2))
    wavy = sheet.paper.waviness
    if wavy is not None and detail.follows_relief:
        wanted = max(wanted, 1 + math.ceil(longer * STEPS_PER_WAVE / wavy.wavelength_mm))
    wanted = _rung(max(wanted, detail.foil_long_side))
    return Lattice.over(sheet, min(wanted, detail.sheet_long_side))


def _steps_per_blur(surfaces: Sequence[Surface], steps: float, roughness: float) -> float:
    """Points of the foil across the half width of the blurred image that the scene asks for.

    An edge may have fewer than a lamp that is small beside the blur: all that it shows is in one
    peak, of which the points that are right for edges missed 3 to 4 %.
    """
    if steps >= PEAK_STEPS:
        return steps
    peak = 0.0
    for shape in (s.shape for s in surfaces if s.lamp is not None):
        assert isinstance(shape, Flat | Ball)
        half = shape.radius if isinstance(shape, Ball) else min(shape.half_width, shape.half_height)
        blur = EDGE_BLUR * roughness * math.hypot(*shape.centre)
        peak = max(peak, min(max(2.0 - 2.0 * half / blur, 0.0), 1.0))
    return steps + peak * (PEAK_STEPS - steps)


def _rung(wanted: int) -> int:
    """Return the next number of a ladder, so that the grid stays while things move a little.

    >>> [_rung(count) for count in (13, 14, 50)]
    [13, 16, 56]
    """
    rung = 13.0
    while round(rung) < wanted:
        rung *= 1.2
    return round(rung)


def _nearest_mirrored(
    surfaces: Sequence[Surface], camera: Doubles, width: float, height: float
) -> float:
    """Typical (first quartile) distance of what the flat sheet mirrors to the camera, mm.

    A prop stands nearer than lamps and cards do and has edges all round: where it is mirrored,
    its own typical distance counts. A lamp is bright enough to count wherever it is.
    """
    x, y = (
        v.ravel()
        for v in np.meshgrid(
            np.linspace(-width / 2, width / 2, 9), np.linspace(-height / 2, height / 2, 9)
        )
    )
    points = np.stack([x, y, np.zeros_like(x)], axis=1)
    away = (points - camera) * [1, 1, -1]
    away /= np.linalg.norm(away, axis=1, keepdims=True)

    def way_to(surface: Surface) -> Singles:
        return surface.shape.trace(points[:, None], away[:, None]).distance[:, 0]

    given = (*camera.tolist(), width, height)
    ways = [_ways.of((s,), partial(way_to, s), *given) for s in surfaces[1:]]
    if not ways:
        return 1000.0
    nearest = np.min(ways, axis=0)
    props = [way for way, s in zip(ways, surfaces[1:], strict=True) if s.role == "prop"]
    typical = [_first_quartile(nearest)]
    typical += [_first_quartile(np.where(way == nearest, way, np.inf)) for way in props]
    lamps = [s.shape.sample(LAMP_POINTS).points for s in surfaces if s.lamp is not None]
    typical += [float(np.linalg.norm(points[:, None] - at, axis=2).min()) for at in lamps]
    return min(typical)


def _first_quartile(ways: Singles) -> float:
    """First quartile of the finite ones; a metre where there are none."""
    met = ways[np.isfinite(ways)]
    return float(np.quantile(met, 0.25)) if met.size else 1000.0
