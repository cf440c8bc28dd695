"""Drift: what has changed since an earlier photograph of the same set, and how to put it back."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.advice.first_things import first_of, found_things, options_of
from lightplan.advice.promise import told_move
from lightplan.advice.worth import Worth
from lightplan.errors import BadInput
from lightplan.estimate import FramePair, drifted, estimate, seen_sheet, steps_of
from lightplan.estimate.drift_search import DARK_STOPS
from lightplan.progress import Progress, Watch, unwatched
from lightplan.shots.sheet.alike import alike
from lightplan.tasks import advise as advising
from lightplan.tasks.advice_words import first_word, rivals_told
from lightplan.tasks.camera_slips import camera_slips
from lightplan.tasks.doubt_words import doubts_told, unseen_words
from lightplan.tasks.drift_words import TOO_DARK, drift_sentence
from lightplan.tasks.photographed import photographed, radius2

if TYPE_CHECKING:
    from lightplan.estimate import Estimate, Photographed
    from lightplan.scene import Rig
    from lightplan.shots.pipeline import Looked
    from lightplan.tasks.advise import Advice


DARK_SHARE = 0.4
"""Of the sheet's cells, from which they are told to be too dark for small changes. Ours."""


def advise_since(
    looked: Looked, before: Looked, planned: Rig, *, watch: Watch = unwatched
) -> Advice:
    """Return what has changed since an earlier frame, dearest first, and how to put it back.

    Raises
    ------
    BadInput
        Where one of the two does not show the sheet.
    """
    data, then_data = photographed(looked), photographed(before)
    if data is None or then_data is None:
        raise _no_sheet(before if then_data is None else looked)
    settings = advising.plan_settings(planned)
    then = advising.by_one_thread(
        lambda: estimate(planned, then_data, clip_cd_m2=settings.clip_cd_m2, watch=watch)
    )
    settings = replace(settings, clip_cd_m2=settings.clip_cd_m2 / 2**then.camera.exposure_stops)
    pair = pair_of(before, looked, then_data, data)
    found = advising.by_one_thread(
        lambda: drifted(then, pair, clip_cd_m2=settings.clip_cd_m2, watch=watch)
    )
    watch(Progress(stage="working out what it costs"))
    slips = (*camera_slips(found, looked.score, data), *found.slips)
    state = advising.state_of(looked, found.planned, settings, found, slips)
    worth = Worth(state.planned)
    options = options_of(state, worth)
    chosen = first_of(options)
    move = None if chosen is None else told_move(chosen, state, worth, looked.score.score)
    told = advising.Advice(
        looked.score,
        found.planned,
        settings,
        found,
        tuple(found_things(state, options)),
        found.foreign,
        move,
        "",
        tuple(_not_told(found, pair)),
        looked,
        state,
        chosen,
        before.score.file,
    )
    over = found.camera.exposure_stops
    return replace(told, sentence=drift_sentence(told), exposure_over_plan=over)


def _not_told(found: Estimate, pair: FramePair) -> list[str]:
    """Return which other thing could be behind it, and what would not have shown."""
    dark = float(np.mean(pair.before.seen.stops.mean(axis=1) < DARK_STOPS)) > DARK_SHARE
    unseen = [unseen_words(found.planned, one) for one in doubts_told(found.doubts)]
    return [*rivals_told(found, again=False), *unseen, *([TOO_DARK] if dark else [])]


def pair_of(before: Looked, after: Looked, then: Photographed, now: Photographed) -> FramePair:
    """Return two photographs of one sheet in the same cells, laid over each other."""
    assert before.sheet is not None
    assert after.sheet is not None
    maps = alike(before.sheet.maps, after.sheet.maps)
    steps, errors = steps_of(*maps)
    seen = [
        seen_sheet(one, radius2(sheet))
        for one, sheet in zip(maps, (before.sheet, before.sheet), strict=True)
    ]
    return FramePair(replace(then, seen=seen[0]), replace(now, seen=seen[1]), steps, errors)


def _no_sheet(failed: Looked) -> BadInput:
    return BadInput(
        field="photograph",
        wanted="the sheet in both photographs",
        got=first_word(failed.score),
        cure="choose photographs that show the whole sheet",
        file=failed.score.file,
    )
