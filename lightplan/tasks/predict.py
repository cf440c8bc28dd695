"""Predict: from a rig to the picture the camera will take, measured and explained."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from lightplan.compiled import remember_use
from lightplan.light import Detail, Layers, layers_of
from lightplan.light.exposure import (
    Settings,
    camera_picture,
    exposure_of,
    foil_share,
    ready_edge,
    sheet_picture,
    sheet_share,
)
from lightplan.manifest import write_output
from lightplan.measures import Finding as Finding
from lightplan.measures import Judgement as Judgement
from lightplan.measures import Measures, SheetMaps, find_faults, judge
from lightplan.measures.frame import FrameJudgement, judge_frame
from lightplan.merit.measured import measures_of
from lightplan.process import beside
from lightplan.reports.cautions import cautions_for
from lightplan.reports.glare_map import glare_map_png
from lightplan.reports.picture import picture_png, picture_size
from lightplan.reports.report import (
    foil_shares,
    packed_beside,
    report_document,
    write_layers,
    write_report,
)
from lightplan.rigfiles import LoadedRig, load_rig, rig_digest
from lightplan.scene import Rig
from lightplan.scene.framing import framing, seen_in_frame
from lightplan.tasks.first_light import begin_light
from lightplan.tasks.folder import prepare
from lightplan.version import __version__

if TYPE_CHECKING:
    from concurrent.futures import Future
    from pathlib import Path

    from lightplan.arrays import Singles

RigLike: TypeAlias = Rig | LoadedRig | str | os.PathLike[str]
Progress: TypeAlias = Callable[[str], None]
PICTURE_LONG_SIDE = 1200
HALF = 0.5
FILES = ("picture.png", "glare_map.png", "report.json", "layers.npz")


@dataclass(frozen=True, eq=False)
class Prediction:
    """What a rig will give.

    Attributes
    ----------
    rig : Rig
    layers : Layers
        Luminance of the sheet as paper and as foil.
    settings : Settings
        Exposure of the picture.
    maps : SheetMaps
        The squared picture that is measured.
    measures : Measures
    judgement : Judgement
        Score, verdict and the parts of the score.
    findings : tuple of Finding
        What is wrong, why, and the one move against it.
    picture : (rows, cols, 3) float32
        As the camera sees it, linear, 1 = clip level.
    packed : Future or None
        The layers as a file, where that was begun already.
    """

    rig: Rig
    layers: Layers
    settings: Settings
    maps: SheetMaps
    measures: Measures
    judgement: Judgement
    findings: tuple[Finding, ...]
    picture: Singles
    packed: Future[bytes] | None = None

    def report(self) -> dict[str, Any]:
        """Return everything that is written to `report.json`, as plain values."""
        share = sheet_share(self.rig, self.layers)
        document = report_document(
            judgement=self.judgement,
            measures=self.measures,
            findings=self.findings,
            settings=self.settings,
            tool_version=__version__,
            rig_digest=rig_digest(self.rig),
            title=self.rig.title,
            look=self.rig.look.kind,
            mirrored=foil_shares(self.layers, share),
        )
        return document | {"cautions": list(cautions_for(self.rig))}


def as_rig(rig: RigLike) -> Rig:
    """Return the rig itself, from a rig, a loaded file, a path or the name of a preset."""
    if isinstance(rig, Rig):
        return rig
    if isinstance(rig, LoadedRig):
        return rig.rig
    return load_rig(rig).rig


def ready(rig: RigLike, folder: Path, *, replace: bool = False) -> RigLike:
    """Return the rig, read, after its folder was found fit for a prediction.

    Raises
    ------
    BadInput
        When the rig cannot be read, or files in the folder are in the way.
    """
    loaded = rig if isinstance(rig, Rig | LoadedRig) else load_rig(rig)
    inputs = loaded.inputs if isinstance(loaded, LoadedRig) else ()
    prepare(folder, FILES, replace=replace, inputs=inputs)
    return loaded


def _quiet(_: str) -> None:
    """Progress that nobody watches."""


def predict(
    rig: RigLike,
    *,
    detail: Detail | None = None,
    explain: bool = True,
    pack: bool = False,
    progress: Progress = _quiet,
) -> Prediction:
    """Return what the camera will see of a rig, measured and explained.

    Parameters
    ----------
    rig : Rig, LoadedRig, path or name of a preset
    detail : Detail or None
        How finely to look; None: finely, with a picture 1200 pixels long.
    explain : bool
        Whether to look for cause and cure of every finding (takes a second or two).
    pack : bool
        Whether the layers will be written: then packing them begins at once, in a thread.
    progress : callable
        Told in a word what is being done.

    Raises
    ------
    BadInput
        When the rig cannot be read or cannot be.
    """
    rig = as_rig(rig)
    if detail is None:
        rows, cols = picture_size(rig.camera, PICTURE_LONG_SIDE)
        detail = Detail(camera_rows=rows, camera_cols=cols)
    begin_light(progress)
    edge = beside(partial(ready_edge, rig), "edge") if detail.rim_facings else None
    layers = layers_of(rig, detail)
    remember_use()
    packed = packed_beside(layers) if pack else None
    progress("measuring the picture")
    if edge is not None:
        edge.result()
    maps, picture = predicted_maps(rig, layers), camera_picture(rig, layers)
    found = measure_maps(rig, maps).joined(_frame_of(rig, layers, picture).measures())
    findings = find_faults(maps, found, rig.look)
    if explain and findings:
        from lightplan.advice.causes import explain_findings

        progress("looking for causes and cures")
        findings = explain_findings(rig, layers, findings)
    return Prediction(
        rig,
        layers,
        exposure_of(rig, layers),
        maps,
        found,
        judge(found, rig.look),
        tuple(findings),
        picture,
        packed,
    )


def _frame_of(rig: Rig, layers: Layers, picture: Singles) -> FrameJudgement:
    """Return what surrounds the sheet in the predicted picture."""
    x, y = layers.camera_xyz_mm[..., 0], layers.camera_xyz_mm[..., 1]
    return judge_frame(picture, np.isfinite(x), foil_share(rig, x, y) > HALF)


def predicted_maps(rig: Rig, layers: Layers) -> SheetMaps:
    """Return the predicted sheet in the form that photographs are measured in."""
    picture = np.asarray(sheet_picture(rig, layers))
    return SheetMaps.from_linear(
        picture,
        sheet_share(rig, layers),
        valid=seen_in_frame(rig.camera, rig.sheet, picture.shape[:2]),
        width_mm=rig.sheet.width_mm,
        height_mm=rig.sheet.height_mm,
    )


def measure_maps(rig: Rig, maps: SheetMaps) -> Measures:
    """Return the measures of a squared picture of the rig's sheet."""
    filled = framing(rig.camera, rig.sheet).filled
    return measures_of(rig, maps).joined({"frame_fill_share": (min(filled, 1.0), 0.0)})


def write_prediction(
    prediction: Prediction, folder: Path, *, replace: bool = False
) -> tuple[Path, ...]:
    """Write picture, glare map, report and layers; return the paths.

    Raises
    ------
    BadInput
        When the folder holds such a file that lightplan did not write.
    """
    prepare(folder, FILES, replace=replace)
    rig, layers = prediction.rig, prediction.layers
    glare = glare_map_png(
        rig,
        layers,
        findings=prediction.findings,
        judgement=prediction.judgement,
        measures=prediction.measures,
    )
    return (
        write_output(folder / "picture.png", picture_png(prediction.picture), replace=replace),
        write_output(folder / "glare_map.png", glare, replace=replace),
        write_layers(folder / "layers.npz", prediction.packed or layers, replace=replace),
        write_report(folder / "report.json", prediction.report(), replace=replace),
    )
