"""From luminance to the picture: the clip level, and artwork laid over the layers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import even_picks
from lightplan.light import soft_edge
from lightplan.light.compiled import mixing
from lightplan.light.edge_on_grid import edge_on_grid
from lightplan.light.rim import flank_light, outline_of
from lightplan.optics import exposure_values as exposure_law

if TYPE_CHECKING:
    from lightplan.arrays import Floats, Singles
    from lightplan.light.layers import Layers
    from lightplan.scene.rig import Rig
    from lightplan.scene.sheet import Sheet

USUAL_F_NUMBER, USUAL_ISO = 8.0, 100.0
BRIGHT_SHARE = 0.98  # levels are set on this quantile, so that one spot cannot spoil them
HALF = 0.5
MOST_FOIL = 4096
"""Places of foil that its brightest part is looked for among. By its area, whatever the grid: on a
coarse one hardly a pixel is all foil where its strokes are fine."""


@dataclass(frozen=True)
class Settings:
    """Camera settings that belong to a clip level.

    Parameters
    ----------
    clip_cd_m2 : float
        Luminance that just clips.
    f_number, time_s, iso : float
        Settings with that clip level; chosen by us when `is_suggested`.
    is_suggested : bool
        The rig names a paper level instead of settings.
    """

    clip_cd_m2: float
    f_number: float
    time_s: float
    iso: float
    is_suggested: bool


def settings_for(
    rig: Rig, paper: Singles, foil: Singles | None = None, share: Singles | None = None
) -> Settings:
    """Return the exposure for a rig, given the layers of its sheet.

    With settings in the rig the clip level follows from them (78 / S saturation speed).
    Otherwise it puts the brightest paper on the wanted level, or lower where the brightest
    foil would rise above its own, and a time for f/8 and ISO 100 is suggested. A sheet in
    the dark gets a clip level of 1 cd/m2.

    Parameters
    ----------
    paper, foil : (rows, cols, 3) float
        Luminances, cd/m2.
    share : (rows, cols) float
        Share of foil; without these two only the paper is asked.
    """
    if foil is None or share is None:
        return settings_from(rig, paper.reshape(-1, 3), None)
    return settings_from(rig, *exposed_by(paper, foil, share))


def exposed_by(paper: Floats, foil: Floats, share: Floats) -> tuple[Floats, Floats]:
    """Return the luminances (n, 3) of paper and (m, 3) of foil that the exposure goes by.

    Those of the pixels that are mostly paper, and of places that each stand for an equal part
    of the foil's area.

    Parameters
    ----------
    paper, foil : (..., 3) float
    share : (...) float
        Share of foil.
    """
    return paper[share < HALF], foil.reshape(-1, 3)[even_picks(share, MOST_FOIL)]


def settings_from(rig: Rig, paper: Floats, foil: Floats | None) -> Settings:
    """Return the exposure for a rig, given the luminances (n, 3) that each material shows."""
    wish = rig.camera.exposure
    if wish.f_number is not None and wish.time_s is not None and wish.iso is not None:
        clip = exposure_law.saturation_luminance(
            f_number=wish.f_number, time_s=wish.time_s, iso=wish.iso
        )
        return Settings(clip, wish.f_number, wish.time_s, wish.iso, is_suggested=False)
    # the levels are those that the picture shows: a maker reads them off it
    camera = rig.camera
    clip = _bright(paper) / float(camera.light_of(np.asarray(wish.level_on(rig.sheet.paper))))
    if foil is not None:
        clip = max(clip, _bright(foil) / float(camera.light_of(np.asarray(wish.foil_level))))
    clip = clip if clip > 0 else 1.0
    time_s = exposure_law.time_for_saturation(clip, f_number=USUAL_F_NUMBER, iso=USUAL_ISO)
    return Settings(clip, USUAL_F_NUMBER, time_s, USUAL_ISO, is_suggested=True)


def _bright(pixels: Floats) -> float:
    """Level of the brightest pixels (n, 3), in their brightest channel; 0 where there are none."""
    if not len(pixels):
        return 0.0
    # numpy's quantile, linear between neighbours, at a fifth of its time for short arrays
    place = BRIGHT_SHARE * (len(pixels) - 1)
    low = int(place)
    high = min(low + 1, len(pixels) - 1)
    # of short rows, three-way maximum of columns is many times quicker than that along rows
    brightest = np.maximum(np.maximum(pixels[..., 0], pixels[..., 1]), pixels[..., 2])
    level = np.partition(brightest, (low, high))
    return float(level[low] + (place - low) * (level[high] - level[low]))


@lru_cache(maxsize=1)  # every report of one prediction asks for it anew
def exposure_of(rig: Rig, layers: Layers) -> Settings:
    """Return the exposure for predicted layers."""
    return settings_for(rig, layers.sheet_paper, layers.sheet_foil, sheet_share(rig, layers))


def clip_luminance(rig: Rig, layers: Layers) -> float:
    """Return the luminance that clips, cd/m2."""
    return exposure_of(rig, layers).clip_cd_m2


def foil_share(rig: Rig, x_mm: Floats, y_mm: Floats, *, blur_mm: float = 0.0) -> Singles:
    """Return the share of foil in the artwork at points of the sheet, 0 off it or at NaN.

    Parameters
    ----------
    x_mm, y_mm : (...) float
    blur_mm : float
        Side of the square over which the artwork is averaged (a pixel's footprint).
    """
    return _sampled(rig.sheet, rig.sheet.artwork, x_mm, y_mm, blur_mm)


def _sampled(sheet: Sheet, art: Floats, x_mm: Floats, y_mm: Floats, blur_mm: float) -> Singles:
    """Return a picture (rows, cols, ...) of the sheet at points of it, averaged over a square."""
    flat = np.ascontiguousarray(art, np.float32).reshape(*art.shape[:2], -1)
    flat = _averaged(sheet, flat, blur_mm)
    x, y = (np.ascontiguousarray(v, float) for v in np.broadcast_arrays(x_mm, y_mm))
    found = np.empty((x.size, flat.shape[2]), np.float32)
    mixing.sample(flat, x.ravel(), y.ravel(), sheet.width_mm, sheet.height_mm, found)
    return found.reshape(*x.shape, *art.shape[2:])


def _averaged(sheet: Sheet, art: Singles, blur_mm: float) -> Singles:
    """Return a picture (rows, cols, k) of the sheet averaged over a square about each pixel."""
    rows, cols, depth = art.shape
    down, across = (
        min(blur_mm / size, 1.0) * count
        for size, count in ((sheet.height_mm, rows), (sheet.width_mm, cols))
    )
    if down > 1:
        art = _window_means(art.reshape(1, rows, cols * depth), down)
    if across > 1:
        art = _window_means(art.reshape(rows, cols, depth), across)
    return art.reshape(rows, cols, depth)


def _window_means(art: Singles, width: float) -> Singles:
    """Means along the middle axis over windows of any width, in pixels, about each pixel.

    Beyond the border goes on the last pixel.

    >>> art = np.array([0.0, 0.0, 1.0, 0.0, 0.0], np.float32).reshape(1, 5, 1)
    >>> _window_means(art, 2.0).ravel().tolist()
    [0.0, 0.25, 0.5, 0.25, 0.0]
    """
    found = np.empty_like(art)
    mixing.window_means(art, width, found)
    return found


@lru_cache(maxsize=1)
def sheet_share(rig: Rig, layers: Layers) -> Singles:
    """Return the share of foil on the sheet's grid, (rows, cols)."""
    x, y = np.meshgrid(layers.sheet_x_mm, layers.sheet_y_mm)
    share = foil_share(rig, x, y, blur_mm=_step_mm(layers))
    share.setflags(write=False)
    return share


def ready_edge(rig: Rig) -> None:
    """Look for the artwork's outline, so that pictures find it: it needs no light."""
    relief = rig.sheet.foil.relief
    if relief is not None and relief.depth_mm != 0:
        outline_of(rig.sheet)


def sheet_picture(rig: Rig, layers: Layers) -> Singles:
    """Return the sheet as the camera's picture shows it, squared, (rows, cols, 3), 1 = clip.

    Not cut at 1: how far a part lies beyond the clip level is still to be seen. The edge of
    stamped foil is laid over it as over the camera's picture: of fine strokes it is what one
    sees, and a photograph holds it too.
    """
    share, foil = sheet_share(rig, layers), layers.sheet_foil
    if layers.rim is not None:
        edge = edge_on_grid(rig.sheet, layers.sheet_x_mm, layers.sheet_y_mm, layers.rim)
        foil = edge.over(share, foil, layers.rim)
    mix = layers.sheet_paper + share[..., None] * (foil - layers.sheet_paper)
    return np.asarray(rig.camera.shown(mix / clip_luminance(rig, layers)), np.float32)


def camera_picture(rig: Rig, layers: Layers) -> Singles:
    """Return the camera's picture, (r, c, 3) linear, 1 = clip, surroundings included."""
    light = camera_light(rig, layers)
    return np.asarray(rig.camera.shown(light / clip_luminance(rig, layers)), np.float32)


def camera_light(rig: Rig, layers: Layers) -> Singles:
    """Return the light that the camera's picture shows, (r, c, 3) cd/m2, surroundings included."""
    xyz, blur = layers.camera_xyz_mm, _pixel_mm(layers)
    share = foil_share(rig, xyz[..., 0], xyz[..., 1], blur_mm=blur)[..., None]
    mix = layers.camera_paper + share * (layers.camera_foil - layers.camera_paper)
    if layers.rim is not None:
        flanks = flank_light(rig, layers.rim)
        edge = _sampled(rig.sheet, flanks, xyz[..., 0], xyz[..., 1], blur)
        mix += edge[..., 1:] - edge[..., :1] * layers.camera_foil
    np.copyto(mix, layers.camera_surround, where=np.isnan(mix))
    np.nan_to_num(mix, copy=False)
    return np.asarray(soft_edge.soften(rig, mix, np.isfinite(xyz[..., 0])), np.float32)


def _step_mm(layers: Layers) -> float:
    """Distance between the columns of the sheet's grid."""
    return float(layers.sheet_x_mm[1] - layers.sheet_x_mm[0])


def _pixel_mm(layers: Layers) -> float:
    """Typical distance between neighbouring pixels on the sheet, 0 when it is not seen."""
    x = layers.camera_xyz_mm[..., 0]
    steps = np.abs(np.diff(x, axis=1))
    steps = steps[np.isfinite(steps)]
    return float(np.median(steps)) if steps.size else 0.0
