"""One photograph from file to verdict: read, find, square, segment, measure, judge."""

from __future__ import annotations

import time
from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.errors import LightplanError
from lightplan.measures import Judgement, Measures, SheetMaps, find_faults, judge, measure
from lightplan.measures.crops import crops, frame_fill, pixels_left
from lightplan.measures.dust import specks
from lightplan.measures.hotspots import hot_spots
from lightplan.measures.verdict import FOIL_NOT_TOLD
from lightplan.shots.formats.reading import read_shot
from lightplan.shots.results import PhotoScore, Placed, Triple
from lightplan.shots.sets.journal import photograph_key
from lightplan.shots.sheet import exact
from lightplan.shots.sheet.beside import frame_measures
from lightplan.shots.sheet.carded import CardLight, card_in, card_light
from lightplan.shots.sheet.corners import SheetFound, SheetNotFound
from lightplan.shots.sheet.foil_strip import StripFound, find_strip
from lightplan.shots.sheet.laid_out import LaidSheet, lay_out
from lightplan.shots.sheet.location import GRID_PX, find_in_shot, place, without_printed_frame
from lightplan.shots.sheet.neighbour import Neighbour
from lightplan.shots.sheet.sharp_windows import patch_sharpness

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from lightplan.shots.context import PhotoContext
    from lightplan.shots.shot import Shot

_READ_PX = 3000  # long side that is decoded: an A5 sheet keeps a dozen pixels to a mm
_FINE_GRID_PX = 1400  # and of the one in which dust and hot spots are looked for
_PAPER_BELOW, _FOIL_FROM = 0.02, 0.9
_LEAST_PIXELS = 30
_SURE_OF_FOIL = 0.8  # confidence of a mask that other frames may use
_FAR_FROM_WHITE_CAB = 20.0  # our choice: more than a cream paper or a usual wrong balance
_UNTOLD = (
    "What looks like the paper is far from white, and it is not known whether it is: the stock "
    "or the light may be coloured, or a printed frame may have been taken for the sheet; name "
    "the rig or give the foil artwork."
)
_DARK_LSTAR = 55.0  # our choice: white paper that is shown so dark is no picture to judge
_STOCK_UNKNOWN = (
    "the paper is dark or coloured in this photograph, and it is not known whether it is so in the "
    "hand: name the rig, which says what the stock is"
)
_ARTWORK_UNFIT = (
    "the foil artwork does not fit this photograph: see that all four corners are in the picture, "
    "then check the artwork's and the sheet's size, and whether this is the right product"
)
_NEIGHBOURS = 5  # frames in which a first sheet is looked for


@dataclass(frozen=True)
class PhotoJudge:
    """Judges photographs in a context; the function that a batch hands to its workers."""

    context: PhotoContext

    def __call__(self, path: Path) -> dict[str, Any]:
        """Return `judge_photo` as plain values; raises what it refuses."""
        return judge_photo(path, self.context).to_dict()


@dataclass(frozen=True, eq=False)
class Looked:
    """A photograph that was looked at: its verdict, and what it was read from.

    Parameters
    ----------
    score : PhotoScore
    shot : Shot
    sheet : LaidSheet or None
        Corners and maps; None where no sheet was found.
    strip : StripFound or None
        A strip of foil beside it, where one was looked for.
    """

    score: PhotoScore
    shot: Shot
    sheet: LaidSheet | None
    strip: StripFound | None = None


def judge_photo(path: Path, context: PhotoContext) -> PhotoScore:
    """Return the verdict on one photograph.

    A sheet that is not found is a result ("cannot tell"), not an error.

    Raises
    ------
    PhotoError
        A file that cannot be read.
    """
    return look_at(path, context).score


def look_at(path: Path, context: PhotoContext) -> Looked:
    """Return the verdict on one photograph, and the maps that it was read from.

    Raises
    ------
    PhotoError
        A file that cannot be read.
    """
    start = time.perf_counter()
    shot = read_shot(path, long_side_px=_READ_PX)
    sheet, card = place(shot, context)
    light = None if card is None else card_light(shot, card)
    base = PhotoScore(
        file=path.name,
        path=str(path),
        settings=shot.settings,
        format=shot.format,
        profile=shot.profile,
        bits=shot.bits,
        reduction=shot.reduction,
        card_level=None if light is None else light.middle,
    )
    strip = None
    if isinstance(sheet, SheetNotFound):
        judged = replace(base, reasons=(sheet.reason,))
    else:
        strip = find_strip(shot, sheet) if context.strip else None
        lit = _lit_by(context, sheet, light)
        beside = frame_measures(shot, sheet, card, strip)
        judged = _judge_sheet(shot, sheet, lit, base, beside)
    if light is not None:
        judged = replace(judged, details={**judged.details, "marker_card": light.to_dict()})
    judged = replace(judged, seconds=time.perf_counter() - start)
    return Looked(judged, shot, None if isinstance(sheet, SheetNotFound) else sheet, strip)


def _lit_by(context: PhotoContext, sheet: LaidSheet, light: CardLight | None) -> PhotoContext:
    """Return the context with the paper's reflectance, where a card tells what nobody did.

    The cast is then the light's; a cream paper is not blamed for its colour.
    """
    if light is None or context.stock_reflectance is not None:
        return context
    paper = _level(sheet.maps, sheet.maps.foil <= _PAPER_BELOW)
    return replace(context, stock_reflectance=light.stock(paper))


def with_neighbour(context: PhotoContext, paths: Sequence[Path]) -> PhotoContext:
    """Return the context with the first frame that shows the sheet well.

    Where the first frame that can be read shows a marker card, every frame is asked for it.
    Always the first of `paths`, so that a batch does not depend on the order in which
    its workers finish.
    """
    alone = replace(context, near=None)
    asked = False
    for path in paths[:_NEIGHBOURS]:
        try:
            shot = read_shot(path, long_side_px=_READ_PX)
        except LightplanError:
            continue
        card = None if asked and not alone.card else card_in(shot)
        if not asked:
            asked, alone = True, replace(alone, card=card is not None)
        found, _ = find_in_shot(shot, alone, card)
        if not isinstance(found, SheetFound) or found.how == "by hand":
            continue
        laid = lay_out(shot, found, alone, grid_px=GRID_PX)
        sheet = without_printed_frame(shot, laid, alone)
        if sheet.segmented.confidence >= _SURE_OF_FOIL and not sheet.mirrored:
            key = photograph_key(path, alone.digest())
            near = Neighbour.of(sheet.found, sheet.segmented, sheet.squared, key=key)
            return replace(alone, near=near)
    return alone


def _judge_sheet(
    shot: Shot,
    sheet: LaidSheet,
    context: PhotoContext,
    base: PhotoScore,
    beside: dict[str, tuple[float, float]],
) -> PhotoScore:
    """Return the verdict; `beside` are the measures of what lies round the sheet."""
    measures = _measure(shot, sheet, context).joined(beside)
    verdict = _honest(judge(measures, context.look), measures, context)
    return replace(
        base,
        score=verdict.score,
        uncertainty=verdict.uncertainty,
        verdict=verdict.verdict,
        reasons=verdict.reasons,
        measures=measures.pairs(),
        parts=verdict.parts,
        gates=verdict.gates,
        findings=find_faults(sheet.maps, measures, context.look),
        placed=_placed(shot, sheet.found),
        details=_details(shot, sheet, context),
        paper_level=_level(sheet.maps, sheet.maps.foil <= _PAPER_BELOW),
        foil_level=_level(sheet.maps, sheet.maps.foil >= _FOIL_FROM),
    )


def _honest(verdict: Judgement, measures: Measures, context: PhotoContext) -> Judgement:
    """Return the verdict, withdrawn where nobody knows what the sheet should look like.

    Who gave the artwork is not asked for it: where it is not trusted it does not fit.
    Far from white without rig, artwork or card may be coloured stock, coloured light, or a
    printed frame taken for the sheet: whatever the score would say, it could be wrong.
    """
    if context.artwork is not None:
        if _is_stock_unknown(verdict, measures, context):
            return _withdrawn(verdict, _STOCK_UNKNOWN)
        reasons = (_ARTWORK_UNFIT if r == FOIL_NOT_TOLD else r for r in verdict.reasons)
        return replace(verdict, reasons=tuple(reasons))
    if context.stock_reflectance is not None:
        return verdict
    if "paper_cast_Cab" not in measures or measures["paper_cast_Cab"].value <= _FAR_FROM_WHITE_CAB:
        return verdict
    return _withdrawn(verdict, _UNTOLD)


def _withdrawn(verdict: Judgement, why: str) -> Judgement:
    return replace(verdict, score=None, uncertainty=None, verdict="cannot tell", reasons=(why,))


def _is_stock_unknown(verdict: Judgement, measures: Measures, context: PhotoContext) -> bool:
    """Whether a score would take the stock's own colour or darkness for a fault of the light."""
    if context.stock_reflectance is not None or verdict.score is None:
        return False
    values = measures.values_by_name()
    is_coloured = values.get("paper_cast_Cab", 0.0) > _FAR_FROM_WHITE_CAB
    return is_coloured or values.get("paper_lightness_Lstar", 100.0) < _DARK_LSTAR


def _measure(shot: Shot, sheet: LaidSheet, context: PhotoContext) -> Measures:
    """Return what the sheet's maps tell, and what only the photograph's own pixels do."""
    maps = sheet.maps
    told = measure(
        maps, context.look, context.foil_kind, stock_reflectance=context.stock_reflectance
    ).joined(frame_fill(sheet.found.corners, sheet.found.shape))
    if sheet.mirrored:  # corners and maps lie opposite ways: no going back to the pixels
        return told
    sharp = patch_sharpness(
        shot, sheet.found, maps.foil, width_mm=maps.width_mm, height_mm=maps.height_mm
    )
    told = told.joined(sharp.measures)
    if shot.lossy or shot.reduction > 1:
        return told
    fine = lay_out(shot, sheet.found, context, grid_px=_FINE_GRID_PX)
    counted = exact.clipped_shares(
        shot, fine.found, fine.maps.foil, fine.maps.valid, confidence=fine.maps.confidence
    )
    known = {*told, *exact.SHEET_MEASURES}  # no share of a material that is absent
    return told.joined({name: pair for name, pair in counted.items() if name in known})


def _placed(shot: Shot, found: SheetFound) -> Placed:
    file = found.scaled((shot.file_rows, shot.file_cols))
    corners = tuple((float(r), float(c)) for r, c in file.corners)
    return Placed(
        corners=corners,
        rows=shot.file_rows,
        cols=shot.file_cols,
        confidence=float(found.confidence),
        how=found.how,
    )


def _level(maps: SheetMaps, where: NDArray[np.bool_]) -> Triple | None:
    """Return the median colour of some pixels; None where there are too few."""
    every = (slice(None, None, 2), slice(None, None, 2))  # half the rows and columns will do
    chosen = maps.linear[every][where[every] & maps.valid[every]]
    if len(chosen) < _LEAST_PIXELS:
        return None
    red, green, blue = np.median(chosen, axis=0).tolist()
    return red, green, blue


def _details(shot: Shot, sheet: LaidSheet, context: PhotoContext) -> dict[str, Any]:
    shape = (shot.file_rows, shot.file_cols)
    corners, maps = sheet.found.scaled(shape).corners, sheet.maps
    left = pixels_left(corners, width_mm=maps.width_mm, height_mm=maps.height_mm)
    details: dict[str, Any] = {
        "crops": [asdict(crop) for crop in crops(corners, shape)],
        "pixels_left": asdict(left),
        "foil_told_by": sheet.segmented.how,
        "mirrored": sheet.mirrored,
    }
    if context.detail == "full":
        fine = lay_out(shot, sheet.found, context, grid_px=_FINE_GRID_PX).maps
        details["hot_spots"] = [asdict(spot) for spot in hot_spots(fine)]
        details["specks"] = [asdict(speck) for speck in specks(fine)]
    return details
