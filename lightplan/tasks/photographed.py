"""From a photograph that was looked at to what the estimate needs of it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.errors import BlackFrame
from lightplan.estimate import Photographed, Strip, seen_samples, seen_sheet
from lightplan.estimate.lens import is_explained
from lightplan.optics.exposure_values import saturation_luminance
from lightplan.shots.pipeline import look_at
from lightplan.shots.sheet import squaring
from lightplan.shots.sheet.foil_strip import CELL_MM
from lightplan.shots.sheet.outline import straighten
from lightplan.tasks.score import context_for
from lightplan.words.things import name_in

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.arrays import Doubles
    from lightplan.scene import Rig
    from lightplan.shots.context import PhotoContext
    from lightplan.shots.pipeline import Looked
    from lightplan.shots.sheet.corners import SheetFound
    from lightplan.shots.sheet.foil_strip import StripFound
    from lightplan.shots.sheet.laid_out import LaidSheet
    from lightplan.shots.shot import ShotSettings


def context_of(rig: Rig) -> PhotoContext:
    """Return what photographs of a rig are judged for, and where its camera has the sheet."""
    half = np.array([rig.sheet.width_mm, rig.sheet.height_mm]) / 2
    points = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * half
    places = rig.camera.project(np.column_stack([points, np.zeros(4)]), 1, 1) + 0.5
    inside = np.isfinite(places).all() and (np.abs(places - 0.5) < 0.5).all()
    strip = rig.sheet.foil.grating is None  # a grating's colours hang on how the offcut is cut
    return replace(context_for(rig), expected=places if inside else None, strip=strip)


def look_at_set(path: Path, rig: Rig) -> Looked:
    """Return a photograph of a rig, looked at.

    Raises
    ------
    PhotoError
        A file that cannot be read; a black frame names the lamps that are to be on.
    """
    try:
        return look_at(path, context_of(rig))
    except BlackFrame as error:
        raise BlackFrame(
            field=error.field,
            wanted=error.wanted,
            got=error.got,
            cure=lit_again(rig),
            file=error.file,
        ) from None


def lit_again(rig: Rig) -> str:
    """Return what to see to where nothing at all is lit, an imperative without full stop."""
    names = [name_in(rig, lamp.name) for lamp in rig.lamps if lamp.on and not lamp.is_window]
    if not names:
        return "check the lens cap and the exposure"
    every = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
    on = "is on and fires" if len(names) == 1 else "are on and fire"
    return f"see that {every} {on}, then check the lens cap and the exposure"


def photographed(looked: Looked) -> Photographed | None:
    """Return the data of a photograph; None where no sheet was found in it."""
    if looked.sheet is None or looked.sheet.mirrored:
        return None
    sheet, shot = looked.sheet, looked.shot
    found = sheet.found
    corners = straighten(found.corners[:, ::-1], found.bending, found.shape)[:, ::-1]
    return Photographed(
        seen=seen_sheet(sheet.maps, radius2(sheet)),
        corners=np.asarray(corners, float),
        shape=found.shape,
        focal_px=shot.focal_length_px(),
        clip_cd_m2=clip_of(shot.settings),
        strip=None if looked.strip is None else strip_of(looked.strip, found.shape),
    )


def of_the_sheet(rig: Rig, data: Photographed | None) -> Photographed | None:
    """Return a photograph's data; None where no lens sees a rig's sheet with such corners."""
    seen = data is not None and is_explained(rig, data.corners, data.shape, data.focal_px)
    return data if seen else None


def strip_of(found: StripFound, shape: tuple[int, int]) -> Strip:
    """Return the data of a strip of foil beside the sheet; `shape` is the picture's."""
    places = np.column_stack([found.x_mm, found.y_mm])
    low, high = places.min(axis=0) - CELL_MM, places.max(axis=0) + CELL_MM
    middle, size = (low + high) / 2, high - low
    frame = (np.array(shape) - 1) / 2
    away = ((found.places - frame) ** 2).sum(axis=1) / (frame**2).sum()
    seen = seen_samples(
        found.linear,
        found.clipped,
        found.pixels,
        places_mm=places - middle,
        radius2=away,
        spread_mm=CELL_MM / 2,
    )
    return Strip(seen, (float(middle[0]), float(middle[1])), float(size[0]), float(size[1]))


def clip_of(settings: ShotSettings) -> float | None:
    """Return the luminance that clips by a photograph's settings; None where they are not told."""
    f_number, time_s, iso = settings.f_number, settings.time_s, settings.iso
    if f_number is None or time_s is None or iso is None or min(f_number, time_s, iso) <= 0:
        return None
    return saturation_luminance(f_number=f_number, time_s=time_s, iso=iso)


def radius2(sheet: LaidSheet) -> Doubles:
    """Return each map pixel's squared distance from the picture's middle, 1 in its corners."""
    found: SheetFound = sheet.found
    rows, cols = sheet.maps.foil.shape
    u, v = np.meshgrid((np.arange(cols) + 0.5) / cols, (np.arange(rows) + 0.5) / rows)
    middle = (np.array(found.shape) - 1) / 2
    away = squaring.project(found, u, v) - middle
    return np.asarray((away**2).sum(axis=-1) / (middle**2).sum())
