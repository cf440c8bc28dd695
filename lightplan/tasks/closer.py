"""A closer look at a rig once the hand rests: the fine picture, the verdict, causes and cures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from lightplan.advice.case import Case
from lightplan.advice.causes import explained
from lightplan.light import Detail, Layers
from lightplan.light.exposure import camera_picture, exposure_of
from lightplan.light.keeper import layers_of
from lightplan.measures import Finding, find_faults, judge
from lightplan.progress import Progress, Stop, Watch
from lightplan.reports.picture import picture_codes, picture_size
from lightplan.tasks.predict import measure_maps, predicted_maps
from lightplan.tasks.predicted_jpeg import cropped_jpeg, jpeg_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from lightplan.scene import Rig

LONG_SIDE = 1120
QUALITY = 92


@dataclass(frozen=True, eq=False)
class Close:
    """The fine picture and what is thought of it.

    Attributes
    ----------
    jpeg, near : bytes
        The whole frame, and the part round the sheet.
    score : float or None
    verdict : str
    parts : tuple of (str, float, float)
        Of the score: what, points reached, points there are.
    measures : dict of str to float
    findings : tuple of Finding
        Without causes yet.
    shutter : str
        Exposure in words.
    """

    jpeg: bytes
    near: bytes
    score: float | None
    verdict: str
    reasons: tuple[str, ...]
    measures: dict[str, float]
    findings: tuple[Finding, ...]
    shutter: str
    revision: int = 0


@dataclass(frozen=True, eq=False)
class Cure:
    """A finding explained: `number` in the list, and the rig after its move, if there is one."""

    number: int
    finding: Finding
    rig: Rig | None
    revision: int = 0


def look_closely(
    rig: Rig,
    revision: int,
    long_side: int = LONG_SIDE,
    *,
    watch: Watch,
    part: Callable[[Close | Cure], None],
    stop: Stop,
) -> int:
    """Tell the fine picture with its verdict, then each finding with cause and cure.

    Returns
    -------
    int
        The revision that was looked at.
    """
    watch(Progress(stage="following the light"))
    layers = _layers(rig, long_side)
    stop.check()
    maps = predicted_maps(rig, layers)
    found = measure_maps(rig, maps)
    verdict = judge(found, rig.look)
    findings = tuple(find_faults(maps, found, rig.look))
    codes = picture_codes(camera_picture(rig, layers))
    part(
        Close(
            jpeg=jpeg_of(codes, QUALITY),
            near=cropped_jpeg(codes, rig, QUALITY),
            score=verdict.score,
            verdict=verdict.verdict,
            reasons=tuple(verdict.reasons),
            measures=found.values_by_name(),
            findings=findings,
            shutter=exposure_words(rig, layers),
            revision=revision,
        )
    )
    if findings:
        watch(Progress(stage="looking for causes and cures"))
        case = Case(rig, layers)
        for number, finding in enumerate(findings):
            stop.check()
            cured, after = explained(case, finding)
            part(Cure(number, cured, after, revision))
    return revision


def _layers(rig: Rig, long_side: int) -> Layers:
    size = picture_size(rig.camera, long_side)
    return layers_of(rig, Detail(camera_rows=size[0], camera_cols=size[1]))


def exposure_words(rig: Rig, layers: Layers) -> str:
    """Return camera settings as a maker reads them.

    A suggestion is for f/8 and ISO 100, from the output that the lamps are said to have.
    """
    settings = exposure_of(rig, layers)
    time = (
        f"1/{round(1 / settings.time_s)} s"
        if settings.time_s < 0.4
        else (f"{settings.time_s:.1f} s")
    )
    begin = "about " if settings.is_suggested else ""
    return f"{begin}f/{settings.f_number:g}, {time}, ISO {settings.iso:g}"
