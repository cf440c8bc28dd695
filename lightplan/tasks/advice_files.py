"""The files of an advice besides its report: the rig as built, before and after, what is left."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.light import Detail
from lightplan.light.exposure import camera_light
from lightplan.light.keeper import layers_of
from lightplan.manifest import write_output
from lightplan.reports.before_after import PictureSide, before_after_png
from lightplan.reports.outside_map import outside_map
from lightplan.reports.picture import picture_codes, picture_size
from lightplan.reports.residual import ForeignMark, residual_png
from lightplan.rigfiles import LoadedRig, load_rig
from lightplan.rigfiles.write import rewritten, rig_to_toml
from lightplan.scene import Rig
from lightplan.scene.rounding import rounded
from lightplan.scene.slips import slipped

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.arrays import Singles
    from lightplan.tasks.advise import Advice
    from lightplan.tasks.predict import RigLike

FILES = ("report.json", "as_built.toml", "before_after.png", "residual.png")
SHOWN_PX = 900


def as_built_toml(advice: Advice, path: Path, rig: RigLike, *, replace: bool) -> Path:
    """Write the rig as it stands, with comments on what was found."""
    assert advice.estimate is not None
    loaded = rig if isinstance(rig, LoadedRig | Rig) else load_rig(rig)
    planned = loaded.rig if isinstance(loaded, LoadedRig) else loaded
    built = rounded(advice.estimate.as_built, planned)
    lines = ["The rig as it stood in " + advice.photo.file + ", as far as the photograph tells."]
    lines += [_found_line(found) for found in advice.things]
    if not advice.things:
        lines.append("Nothing was found that is not as planned.")
    comment = "".join(f"# {' '.join(line.split())}\n" for line in lines)
    if isinstance(loaded, LoadedRig):
        text, pictures = rewritten(loaded, path, rig=built)
        for target, content in pictures.items():
            write_output(target, content, replace=replace)
    else:
        text = rig_to_toml(built)
    return write_output(path, f"{comment}\n{text}", replace=replace)


def _found_line(found: object) -> str:
    slip, what = found.slip, found.what  # type: ignore[attr-defined]
    spread = f", give or take {slip.uncertainty:.2g}" if slip.uncertainty > 0 else ""
    unit = f" {slip.unit}" if slip.unit else ""
    return f"{what}: {slip.element}, {slip.value:+.3g}{unit}{spread} (belief {slip.confidence:.0%})"


def before_after(advice: Advice) -> bytes:
    """Return the photograph beside the picture after the move."""
    looked, state, option = advice.looked, advice.state, advice.option
    assert looked is not None
    assert state is not None
    shot = looked.shot
    codes = picture_codes(shot.transfer.linear(shot.preview(SHOWN_PX)))
    score = advice.photo.score
    now = PictureSide(codes, "Your photograph", _points(score, None))
    rig = state.rig() if option is None else option.rig
    camera = state.camera if option is None else option.camera
    after = picture_codes(camera.levels(_picture(rig, SHOWN_PX)))
    move = advice.first_move
    told = "as the set stands" if move is None else f"after the move: {move.text}"
    value = None if move is None else _points(move.score_after, move.uncertainty)
    return before_after_png(
        now, PictureSide(after, f"Expected {told}", value), title=advice.sentence
    )


def _points(score: float | None, spread: float | None) -> str | None:
    if score is None:
        return None
    return f"{score:.0f} of 100" if spread is None else f"about {score:.0f} of 100, ± {spread:.0f}"


def _picture(rig: Rig, long_side: int) -> Singles:
    """Return the camera's picture of a rig in cd/m2."""
    rows, cols = picture_size(rig.camera, long_side)
    return camera_light(rig, layers_of(rig, Detail.quick(camera_rows=rows, camera_cols=cols)))


def residual_picture(advice: Advice) -> bytes:
    """Return the squared photograph, the rig as built, and what is left between them."""
    looked, state = advice.looked, advice.state
    assert looked is not None
    assert looked.sheet is not None
    assert state is not None
    maps = looked.sheet.maps
    rig = slipped(state.rig(), {})
    detail = Detail.quick(camera_rows=8, camera_cols=8)
    layers = layers_of(rig, detail)
    rows, cols = maps.foil.shape
    at_row = np.round(np.linspace(0, layers.sheet_paper.shape[0] - 1, rows)).astype(int)
    at_col = np.round(np.linspace(0, layers.sheet_paper.shape[1] - 1, cols)).astype(int)
    paper, foil = (x[np.ix_(at_row, at_col)] for x in (layers.sheet_paper, layers.sheet_foil))
    share = maps.foil[..., None]
    expected = state.camera.levels(paper + share * (foil - paper))
    marks = [
        ForeignMark(f.where_mm, "light that is not in the rig")
        for f in advice.foreign
        if f.where_mm is not None
    ]
    ways = [f.direction for f in advice.foreign]
    return residual_png(
        np.asarray(maps.linear),
        expected,
        maps.foil,
        rig.sheet.width_mm,
        rig.sheet.height_mm,
        marks,
        outside_map(state.planned, ways) if ways else None,
    )
