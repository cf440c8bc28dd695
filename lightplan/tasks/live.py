"""The picture that follows the hand: one small frame after another, from one engine.

A frame holds the camera's picture, what each of its pixels mirrors, and what clips, all of the
same rig. Clipping is told from the light itself, never from the compressed picture.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

from lightplan.arrays import even_picks
from lightplan.light import Detail, Layers
from lightplan.light.engine import Check, go_on
from lightplan.light.exposure import HALF, MOST_FOIL, Settings, foil_share, settings_from
from lightplan.light.keeper import layers_of
from lightplan.optics.colour import srgb_encode
from lightplan.reports.palette import Colour, colours_by_name
from lightplan.reports.picture import picture_size

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Booleans, Floats, Integers, Singles
    from lightplan.scene import Camera, Rig, Sheet

LONG_SIDE = 320
NO_FOIL = 255
"""In the map of what is seen: here is no foil."""
CLIPPED = 128
"""Added to what is seen where the picture is clipped."""
QUALITY = 88
_STEPS = 4096


def detail_of(rows: int, cols: int, *, hasty: bool) -> Detail:
    """Return how finely a frame is worked out.

    A hasty one is for a hand that is moving: it takes less than half the time of a quick one and
    looks the same but for fine shadows and the grain of the glare map.
    """
    quick = Detail.quick(camera_rows=rows, camera_cols=cols)
    if not hasty:
        return quick
    return replace(
        quick,
        sheet_long_side=48,
        cells=5,
        thin_cells=7,
        texels=16,
        direct_long_side=13,
        bounce_long_side=7,
        lamp_spots=13,
        penumbra_spots=0,
        sky_rays=55,
        foil_long_side=9,
        foil_rays=30_000,
        foil_spots=9,
        hidden_spots=55,
    )


@dataclass(frozen=True, eq=False)
class LiveFrame:
    """One picture and what belongs to it.

    Attributes
    ----------
    rows, cols : int
    jpeg : bytes
    sees : (rows, cols) uint8
        Index into `names` of what the foil mirrors there, `NO_FOIL` beside the foil; `CLIPPED`
        is added where the picture is too bright to be held.
    names, colours : tuple
        What is mirrored, and its colour on the glare map.
    shares : tuple of float
        Of the foil in the picture, how much mirrors each.
    foil_clipped, paper_clipped : float
        Share of the foil and of the paper that is clipped.
    settings : Settings
        Exposure.
    """

    rows: int
    cols: int
    jpeg: bytes
    sees: NDArray[np.uint8]
    names: tuple[str, ...]
    colours: tuple[Colour, ...]
    shares: tuple[float, ...]
    foil_clipped: float
    paper_clipped: float
    settings: Settings


@dataclass(frozen=True, eq=False)
class _Masks:
    """What of the camera's pixels is foil and paper, and where the exposure looks.

    The same for every picture of one camera and one sheet, whatever lights them.
    """

    share: Singles
    on_foil: Booleans
    on_paper: Booleans
    paper_at: Integers
    foil_at: Integers

    @classmethod
    def of(cls, share: Singles, on_sheet: Booleans) -> _Masks:
        """Return the masks of a picture's shares of foil.

        The places are those of `exposure.exposed_by`, among all of the camera's pixels.
        """
        on_foil, sheet_at = share > HALF, np.flatnonzero(on_sheet)
        seen = share[on_sheet]
        return cls(
            share=share,
            on_foil=on_foil,
            on_paper=on_sheet & ~on_foil,
            paper_at=sheet_at[seen < HALF],
            foil_at=sheet_at[even_picks(seen, MOST_FOIL)],
        )


class LivePicture:
    """Makes frames of a rig that changes little from one to the next."""

    def __init__(self, long_side: int = LONG_SIDE) -> None:
        self._long_side = long_side
        self._size = (0, 0)
        self._seen: tuple[Sheet, Camera] | None = None
        self._masks = _Masks.of(np.zeros((0, 0), np.float32), np.zeros((0, 0), np.bool_))
        self._from_sheet: dict[tuple[int, ...], Integers] = {}

    def frame(self, rig: Rig, *, hasty: bool = False, check: Check = go_on) -> LiveFrame:
        """Return the frame of a rig.

        Parameters
        ----------
        rig : Rig
        hasty : bool
            A hand is moving: less finely, in less than half the time.
        check : callable
            Called between the steps of the light; may raise, and nothing is lost by it.
        """
        layers = self._layers(rig, hasty=hasty, check=check)
        self._remember_masks(rig, layers)
        settings = self._settings(rig, layers)
        linear = rig.camera.shown(self._picture(layers) / np.float32(settings.clip_cd_m2))
        red, green, blue = (linear[..., channel] for channel in range(3))
        clipped = np.maximum(np.maximum(red, green), blue) >= 1.0
        sees, masks = self._sees(rig, layers, clipped), self._masks
        counts = np.bincount(
            sees[masks.on_foil] & ~np.uint8(CLIPPED), minlength=len(layers.sees_names)
        )
        return LiveFrame(
            rows=linear.shape[0],
            cols=linear.shape[1],
            jpeg=_jpeg(linear),
            sees=sees,
            names=layers.sees_names,
            colours=colours_by_name(rig, layers.sees_names),
            shares=tuple((counts / max(1, counts.sum())).tolist()),
            foil_clipped=_share(clipped & masks.on_foil, masks.on_foil),
            paper_clipped=_share(clipped & masks.on_paper, masks.on_paper),
            settings=settings,
        )

    def _layers(self, rig: Rig, *, hasty: bool, check: Check) -> Layers:
        size = picture_size(rig.camera, self._long_side)
        if size != self._size:
            self._size, self._seen = size, None
        return layers_of(rig, detail_of(*size, hasty=hasty), check=check)

    def _remember_masks(self, rig: Rig, layers: Layers) -> None:
        """Lay the artwork over the camera's pixels, once for each camera and sheet."""
        if self._seen is not None and self._seen[0] is rig.sheet and self._seen[1] is rig.camera:
            return
        xyz = layers.camera_xyz_mm
        share = foil_share(rig, xyz[..., 0], xyz[..., 1], blur_mm=_pixel_mm(xyz))
        self._masks = _Masks.of(share, np.isfinite(layers.camera_paper[..., 0]))
        self._from_sheet = {}
        self._seen = (rig.sheet, rig.camera)

    def _settings(self, rig: Rig, layers: Layers) -> Settings:
        """Return the exposure from the camera's own pixels.

        Those of the sheet's grid depend on how fine that is: the picture would flash when the
        hand rests and a finer one follows.
        """
        paper, foil = layers.camera_paper.reshape(-1, 3), layers.camera_foil.reshape(-1, 3)
        return settings_from(rig, paper[self._masks.paper_at], foil[self._masks.foil_at])

    def _picture(self, layers: Layers) -> Singles:
        share = self._masks.share[..., None]
        mix = layers.camera_paper + share * (layers.camera_foil - layers.camera_paper)
        whole = np.where(np.isnan(mix), layers.camera_surround, mix)
        return np.nan_to_num(whole, copy=False)

    def _sees(self, rig: Rig, layers: Layers, clipped: Booleans) -> NDArray[np.uint8]:
        shape = layers.sees.shape
        if shape not in self._from_sheet:
            self._from_sheet[shape] = _places_on_grid(rig, layers.camera_xyz_mm, shape)
        sees = layers.sees.ravel()[self._from_sheet[shape]].astype(np.uint8)
        sees += CLIPPED * clipped.astype(np.uint8)
        sees[~self._masks.on_foil] = NO_FOIL
        return sees


def _places_on_grid(rig: Rig, xyz: Floats, shape: tuple[int, ...]) -> Integers:
    """Return the place on the sheet's grid that lies under each pixel (0 off the sheet)."""
    rows, cols = shape
    across = np.nan_to_num(xyz[..., 0] / rig.sheet.width_mm + 0.5)
    down = np.nan_to_num(0.5 - xyz[..., 1] / rig.sheet.height_mm)
    col = np.clip((across * cols).astype(np.int64), 0, cols - 1)
    row = np.clip((down * rows).astype(np.int64), 0, rows - 1)
    return np.asarray(row * cols + col)


def _pixel_mm(xyz: Floats) -> float:
    steps = np.abs(np.diff(xyz[..., 0], axis=1))
    steps = steps[np.isfinite(steps)]
    return float(np.median(steps)) if steps.size else 0.0


_CODES = np.round(255 * srgb_encode(np.linspace(0, 1, _STEPS))).astype(np.uint8)


def _jpeg(linear: Singles) -> bytes:
    place = np.clip(linear * np.float32(_STEPS - 1), 0, _STEPS - 1).astype(np.uint16)
    codes = _CODES[place[..., ::-1]]  # OpenCV wants blue first
    return cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1].tobytes()


def _share(part: Booleans, whole: Booleans) -> float:
    return float(part.sum()) / max(1.0, float(whole.sum()))
