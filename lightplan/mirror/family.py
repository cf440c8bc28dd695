"""The family of angles in closed form, and the smallest card that fills it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from lightplan.mirror.rays import (
    MirroredRays,
    centre_ray,
    hit_plane,
    lattice,
    mirrored_rays,
    wave_slope,
)
from lightplan.scene import Camera, Foil, Placement, Sheet

if TYPE_CHECKING:
    from lightplan.arrays import Doubles


@dataclass(frozen=True, kw_only=True)
class Margins:
    """What may be off while the foil must still see only the card.

    Parameters
    ----------
    bow_mm : float
        Bow of the sheet beyond the one in the rig.
    tilt_rad : float
        Tilt of the sheet against the plan; the reflection swings twice as far. [rad]
    position_mm : float
        Error in setting card and camera.
    lobe : bool
        Also cover the width of the foil's own blur.
    """

    bow_mm: float = 0.0
    tilt_rad: float = math.radians(1.0)
    position_mm: float = 5.0
    lobe: bool = True


NO_MARGINS = Margins(tilt_rad=0.0, position_mm=0.0, lobe=False)


@dataclass(frozen=True, kw_only=True, eq=False)
class Coverage:
    """What the foil sees on a plane, and the smallest card there.

    Parameters
    ----------
    plane : Placement
        The plane; outlines are (right, up) from its position, in mm.
    seen_mm : (n, 2) float
        Convex outline seen by an exact, flat-as-stated mirror.
    outline_mm : (m, 2) float
        The same with all margins.
    card : Placement
        Where the smallest card's centre goes.
    width_mm, height_mm : float
        Its size with margins.
    bare_width_mm, bare_height_mm : float
        Without any margin (the card rule).
    bow_margin_mm, lobe_margin_mm, setting_margin_mm : float
        What each adds on a side, where it adds most.
    distance_mm : float
        From the sheet's middle along the mirrored ray.
    """

    plane: Placement
    seen_mm: Doubles
    outline_mm: Doubles
    card: Placement
    width_mm: float
    height_mm: float
    bare_width_mm: float
    bare_height_mm: float
    bow_margin_mm: float
    lobe_margin_mm: float
    setting_margin_mm: float
    distance_mm: float


def card_side(side_mm: float, *, camera_distance_mm: float, card_distance_mm: float) -> float:
    """Return the card side that just fills the mirror view of a sheet side (the card rule).

    Both distances run along the mirrored ray; the card stands square to it.

    >>> round(card_side(210, camera_distance_mm=500, card_distance_mm=300))
    336
    """
    return side_mm * (1 + card_distance_mm / camera_distance_mm)


def lobe_half_width(foil: Foil) -> float:
    """Return the half width at half maximum of the foil's facet normals, in rad.

    From D(theta) = D(0) / 2 of the GGX distribution (Walter et al., EGSR 2007); a
    mirrored ray spreads by twice as much. Capped at 30 degrees, beyond which no card
    fills the lobe. The rougher direction counts.
    """
    alpha = max(foil.roughness)
    rest = 1 - math.sqrt(2) * alpha**2
    if rest <= 0:
        return math.radians(30)
    return min(math.atan(alpha * math.sqrt((math.sqrt(2) - 1) / rest)), math.radians(30))


def bow_swing(sheet: Sheet, bow_mm: float) -> float:
    """Return how far a bow turns the normal at the sheet's edge, in rad.

    A parabola of height b over length L has slope 4 b / L at its end.
    """
    along = abs(math.cos(sheet.flatness.bow_rad)), abs(math.sin(sheet.flatness.bow_rad))
    extent = along[0] * sheet.width_mm + along[1] * sheet.height_mm
    return math.atan(4 * abs(bow_mm) / extent)


def mirror_plane(camera: Camera, sheet: Sheet, distance_mm: float) -> Placement:
    """Return the plane square to the middle mirrored ray, `distance_mm` from the sheet."""
    origin, direction = centre_ray(camera, sheet)
    place = origin + distance_mm * direction
    return Placement((place[0], place[1], place[2]), (origin[0], origin[1], origin[2]))


_SPOTS = 17
"""Along each side of the sheet: a bowed sheet may see farthest between its corners."""


@dataclass(frozen=True)
class _Box:
    low: Doubles = field(default_factory=lambda: np.zeros(2))
    high: Doubles = field(default_factory=lambda: np.zeros(2))

    def growth(self, inner: _Box) -> float:
        return max(float((inner.low - self.low).max()), float((self.high - inner.high).max()))


def family_on_plane(
    camera: Camera, sheet: Sheet, plane: Placement, *, margins: Margins | None = None
) -> Coverage | None:
    """Return what the foil sees on `plane`, and the smallest card that fills it.

    Parameters
    ----------
    plane : Placement
        Any point of the plane, the point it faces and its turn; the card keeps its turn.
    margins : Margins or None
        None: the usual setting errors (tilt 1 degree, position 5 mm).

    Returns
    -------
    Coverage or None
        None where a mirrored ray misses the plane: no card there can fill the view.
    """
    margins = Margins() if margins is None else margins
    points = lattice(sheet, _SPOTS)
    bow = bow_swing(sheet, margins.bow_mm)
    lobe = (lobe_half_width(sheet.foil) if margins.lobe else 0.0) + math.atan(
        wave_slope(sheet.flatness)
    )
    swings = {"seen": 0.0, "bow": bow, "lobe": lobe, "tilt": margins.tilt_rad}
    places = {
        name: hit_plane(mirrored_rays(camera, sheet, points, swing_rad=swing), plane)[0]
        for name, swing in {**swings, "all": sum(swings.values())}.items()
    }
    if not all(np.isfinite(p).all() for p in places.values()):
        return None
    origin, direction = centre_ray(camera, sheet)
    distance = hit_plane(MirroredRays(origin[None], direction[None]), plane)[1][0]
    shift = _setting_shift(camera, origin, distance, margins.position_mm)
    return _coverage(plane, places, shift, float(distance))


def _setting_shift(camera: Camera, middle: Doubles, distance: float, error_mm: float) -> float:
    """How far card and lens errors move the view on the card."""
    to_lens = math.dist(camera.placement.position_mm, middle)
    return error_mm * (1 + distance / to_lens)


def _coverage(
    plane: Placement, places: dict[str, Doubles], shift: float, distance: float
) -> Coverage:
    boxes = {name: _Box(p.min(axis=0), p.max(axis=0)) for name, p in places.items()}
    bare, full = boxes["seen"], boxes["all"]
    centre = (full.low + full.high) / 2
    size = full.high - full.low + 2 * shift
    right, up, normal = plane.axes()
    middle = np.asarray(plane.position_mm) + centre[0] * right + centre[1] * up
    ahead = middle + 100.0 * normal
    return Coverage(
        plane=plane,
        seen_mm=_hull(places["seen"]),
        outline_mm=_grown(_hull(places["all"]), shift),
        card=Placement(tuple(middle), tuple(ahead), plane.roll_rad),
        width_mm=float(size[0]),
        height_mm=float(size[1]),
        bare_width_mm=float(bare.high[0] - bare.low[0]),
        bare_height_mm=float(bare.high[1] - bare.low[1]),
        bow_margin_mm=boxes["bow"].growth(bare),
        lobe_margin_mm=boxes["lobe"].growth(bare),
        setting_margin_mm=boxes["tilt"].growth(bare) + shift,
        distance_mm=distance,
    )


def _hull(points: Doubles) -> Doubles:
    from scipy.spatial import ConvexHull  # slow to import; a helper does without

    hull = points[ConvexHull(points).vertices]
    hull.setflags(write=False)
    return np.asarray(hull)


def _grown(hull: Doubles, shift: float) -> Doubles:
    """Return the hull of squares of half side `shift` round every corner."""
    if shift <= 0:
        return hull
    corners = shift * np.array([[-1, -1], [-1, 1], [1, -1], [1, 1]])
    return _hull((hull[:, None, :] + corners).reshape(-1, 2))
