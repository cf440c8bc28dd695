"""From several photographs of one set to the rig as it stands."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.cell_levels import CellLevels
from lightplan.estimate.estimating import Photographed, data_of, estimate, explained, fitter_of
from lightplan.estimate.fit import Place
from lightplan.estimate.found import Estimate, OtherView
from lightplan.estimate.lens import lens_place
from lightplan.estimate.light_store import LightStore
from lightplan.estimate.search import FitSearch
from lightplan.estimate.together import FrameView, fitted_together, stood_still, turned_in
from lightplan.progress import Progress, Watch, unwatched
from lightplan.scene.slips import slipped

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.scene import Rig


def estimate_together(
    rig: Rig,
    photos: Sequence[Photographed],
    *,
    clip_cd_m2: float,
    lights: LightStore | None = None,
    watch: Watch = unwatched,
) -> Estimate:
    """Return the rig as built, from several photographs; the first is the one to be judged.

    Light that is not in the rig is looked for in the first alone: where it is found, that is told,
    as it need not have been there for the others.

    Parameters
    ----------
    rig : Rig
        As planned.
    photos : sequence of Photographed
    clip_cd_m2 : float
        Luminance that clips as the plan sets the camera.
    lights : Lights or None
        Of that rig, where they are there already.
    """
    lights = LightStore(rig) if lights is None else lights
    known = tuple(known for one in photos for known in one.known)
    first, *others = (replace(one, known=known if one is photos[0] else ()) for one in photos)
    alone = estimate(rig, first, clip_cd_m2=clip_cd_m2, lights=lights, watch=watch)
    if not others or alone.foreign:
        return alone
    watch(Progress(stage="comparing the photographs with each other"))
    levels, fitter = data_of(rig, first, clip_cd_m2, lights)
    search = FitSearch(rig, levels, fitter)
    views = [_view(search, alone, first, other, clip_cd_m2) for other in others]
    both = FitSearch(rig, *fitted_together(rig, levels, fitter, shared(views)))
    if any(one.strip is not None for one in (first, *others)):
        both.settle()
    found = explained(both, first, clip_cd_m2=clip_cd_m2, outside=False, watch=watch)
    return replace(found, others=tuple(_seen_as(view) for view in views))


def _view(
    search: FitSearch, alone: Estimate, first: Photographed, other: Photographed, clip_cd_m2: float
) -> FrameView:
    """Return what another photograph is one of: where its camera stood, which lamps are turned."""
    rig, moved = search.rig, None
    same = first.shape == other.shape and stood_still(first.corners, other.corners, first.shape)
    if not same:
        there = lens_place(rig, other.corners, other.shape, other.focal_px)
        here = search.fitter.place
        assert here is not None
        moved = Place(there.offset_mm - here.offset_mm, there.covariance + here.covariance)
    own = replace(fitter_of(rig, other, clip_cd_m2), place=None)
    view = FrameView(own, moved, {}, other.strip)
    assert alone.best is not None
    values = alone.best.values
    built = view.rig(slipped(rig, {n: v for n, v in values.items() if n[0] != "room"}))
    levels = CellLevels(built, other.seen)
    return replace(view, turned=turned_in(search, values, levels, view.fitter, built))


def shared(views: Sequence[FrameView]) -> list[FrameView]:
    """Return views with the weight of their data shared by those that show the same.

    Frames of one set with the same lamps from the same place err alike: they are no more than one.
    """
    kinds = [(tuple(sorted(v.turned.items())), _place_of(v)) for v in views]
    as_first = ((), None)
    found = []
    for view, kind in zip(views, kinds, strict=True):
        count = kinds.count(kind) + (kind == as_first)
        foil, paper = view.fitter.effective
        fitter = replace(view.fitter, effective=(foil / count, paper / count))
        found.append(replace(view, fitter=fitter))
    return found


def _place_of(view: FrameView) -> tuple[int, ...] | None:
    """Return the lens's place in steps that a frame can tell; None where it stood still."""
    return None if view.moved is None else tuple(np.round(view.moved_mm / 20).astype(int).tolist())


def _seen_as(view: FrameView) -> OtherView:
    moved = None
    if view.moved is not None:
        x, y, z = (float(v) for v in view.moved_mm)
        moved = (x, y, z)
    return OtherView(tuple(view.turned.items()), moved)
