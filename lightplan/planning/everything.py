"""A plan with everything that may be used: arrangements, camera, and the search within them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from lightplan.merit.engine_model import final_detail
from lightplan.planning.cupboard import Item, cupboard_of
from lightplan.planning.effort import QUICK, Effort, Report, SearchJob
from lightplan.planning.finals import best_end
from lightplan.planning.finishing import moves
from lightplan.planning.heats import chosen, searched
from lightplan.planning.judging_pool import Judges
from lightplan.planning.planner import finished
from lightplan.planning.twins import named_as_given
from lightplan.planning.words_of_no import nothing_can_be_built, nothing_shines

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.planning.result import NoPlan, Plan
    from lightplan.scene import Card, Lamp, Rig, Shell
    from lightplan.scene.setting_errors import SettingErrors


def plan_everything(
    rig: Rig,
    items: Sequence[Item] = (),
    *,
    seed: int = 0,
    effort: Effort | None = None,
    errors: SettingErrors | None = None,
    progress: Report | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> Plan | NoPlan:
    """Return the best plan that a rig's things and what else is owned allow.

    Parameters
    ----------
    rig : Rig
        Its freedoms narrow what its things may do, what is locked stays; all else is open.
    items : sequence of Item
        Owned beyond what stands in the rig.
    seed, effort, errors, progress, should_stop
        As for `lightplan.planning.planner.plan`.
    """
    job = SearchJob.of(seed, effort, errors, progress, should_stop)
    cupboard = cupboard_of(rig, items)
    if not cupboard.has_light:
        return nothing_shines()
    with Judges(rig, helpers=job.effort.helpers) as judges:
        before = None if job.effort.is_by_eye else judges.predicted(rig, final_detail())
        heat = searched(judges, job, cupboard)
        if not heat.stands:
            return nothing_can_be_built(cupboard)
        ended, found = best_end(judges, job, heat)
        whole = finished(judges, job, before, ended, found, given=rig)
        return _as_written(whole, rig)


def opened(rig: Rig, items: Sequence[Item], *, seed: int = 0) -> Rig:
    """Return the best arrangement of a quick search, with the freedoms that it was found in.

    For those who search on in a rig that leaves everything open. Where nothing can be built,
    the rig as it was given.
    """
    job = SearchJob.of(seed, QUICK)
    cupboard = cupboard_of(rig, items)
    if not cupboard.has_light:
        return rig
    with Judges(rig) as judges:
        found = chosen(judges, job, cupboard)
        if not found:
            return rig
        judges.use(found[0].rig)
        return judges.bench.rig_at(found[0].explored.found.point)


def _as_written(found: Plan, given: Rig) -> Plan:
    """Return the plan in the maker's order and with the maker's freedoms, of what is left."""
    found = named_as_given(found, given)
    rig, old = found.rig, given.element_names()
    names = {"camera", *rig.element_names()}
    place = {name: number for number, name in enumerate(old)}

    def order(thing: Lamp | Card | Shell) -> int:
        return place.get(thing.name, len(place))

    rig = replace(
        rig,
        lamps=tuple(sorted(rig.lamps, key=order)),
        cards=tuple(sorted(rig.cards, key=order)),
        shells=tuple(sorted(rig.shells, key=order)),
        freedoms=tuple(f for f in given.freedoms if f.element in names),
    )
    return replace(
        found,
        rig=rig,
        moves=moves(given, rig),
        brought_in=tuple(n for n in rig.element_names() if n not in place),
        left_out=tuple(n for n in old if n not in names),
    )
