"""Advise: the rig as it was built, from a test photograph, and the one move to make first."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lightplan.advice.first_things import (
    FirstMove,
    FirstOption,
    FoundFirst,
    State,
    found_things,
    options_of,
)
from lightplan.advice.helps import sharper
from lightplan.advice.memory import Memory
from lightplan.advice.promise import told_move
from lightplan.advice.worth import CameraAsSet, Worth, as_planned
from lightplan.errors import BadInput
from lightplan.estimate import Estimate, Photographed, Pin, estimate_together
from lightplan.manifest import write_output
from lightplan.progress import Progress, Watch, unwatched
from lightplan.reports.cautions import cautions_for
from lightplan.reports.report import exposure_entry, finding_entry, write_report
from lightplan.rigfiles import LoadedRig, load_rig, rig_digest
from lightplan.scene import Rig
from lightplan.scene.slips import Slip, slipped
from lightplan.tasks.advice_entries import (
    doubt_entry,
    foreign_entry,
    move_entry,
    other_entry,
    slip_entry,
)
from lightplan.tasks.advice_files import FILES, as_built_toml, before_after, residual_picture
from lightplan.tasks.advice_words import advice_words as advice_words
from lightplan.tasks.advice_words import cannot_tell, first_word, sentence_of
from lightplan.tasks.begun import begun as begun
from lightplan.tasks.begun import by_one_thread as by_one_thread
from lightplan.tasks.begun import exposed_more as exposed_more
from lightplan.tasks.begun import plan_settings as plan_settings
from lightplan.tasks.camera_slips import camera_slips
from lightplan.tasks.folder import prepare
from lightplan.tasks.more_frames import beside
from lightplan.tasks.move_told import Before, choose, factor_of, short_by
from lightplan.tasks.photographed import look_at_set, of_the_sheet, photographed
from lightplan.tasks.pinned import pin_of as pin_of
from lightplan.tasks.pinned import with_pin
from lightplan.tasks.remembering import memory_of as memory_of
from lightplan.tasks.remembering import remember as remember
from lightplan.version import __version__

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.estimate.light_store import LightStore
    from lightplan.light.exposure import Settings
    from lightplan.scene.foreign import Foreign
    from lightplan.shots.pipeline import Looked
    from lightplan.shots.results import PhotoScore
    from lightplan.tasks.predict import RigLike


@dataclass(frozen=True, eq=False)
class Advice:
    """What a test photograph shows, and what to do first.

    Attributes
    ----------
    photo : PhotoScore
    estimate : Estimate or None
        The rig as built; None where no sheet was found.
    things : tuple of Found
        What is off, in the order in which to mend it.
    foreign : tuple of Foreign
    first_move : FirstMove or None
        None where nothing is worth a move.
    sentence : str
        All of it in one line.
    promised : float or None
        Score of the plan; None where what has changed is asked for.
    exposure_over_plan : float or None
        Stops over the first plan, whatever the shoot has asked for since.
    """

    photo: PhotoScore
    planned: Rig
    plan_settings: Settings
    estimate: Estimate | None
    things: tuple[FoundFirst, ...]
    foreign: tuple[Foreign, ...]
    first_move: FirstMove | None
    sentence: str
    cannot_tell: tuple[str, ...] = ()
    looked: Looked | None = None
    state: State | None = None
    option: FirstOption | None = None
    since: str | None = None
    promised: float | None = None
    exposure_over_plan: float | None = None

    @property
    def as_planned(self) -> bool:
        """Whether set and settings are as planned, as far as the photograph tells."""
        return self.estimate is not None and not self.things and not self.foreign

    @property
    def slips(self) -> tuple[Slip, ...]:
        """What is off, dearest first."""
        return tuple(f.slip for f in sorted(self.things, key=lambda f: -f.cost))

    def report(self) -> dict[str, Any]:
        """Return report.json as plain values."""
        settings, built = self.photo.settings, self.estimate
        return {
            "file": self.photo.file,
            "score": self.photo.score,
            "verdict": self.photo.verdict,
            "reasons": list(self.photo.reasons),
            "measures": {name: pair[0] for name, pair in self.photo.measures.items()},
            "findings": [finding_entry(self._explained(f)) for f in self.photo.findings],
            "as_planned": self.as_planned,
            "slips": [self._slip(f) for f in sorted(self.things, key=lambda f: -f.cost)],
            "foreign": [foreign_entry(f) for f in self.foreign],
            "first_move": None if self.first_move is None else move_entry(self.first_move),
            "since": self.since,
            "others": [] if built is None else list(map(other_entry, built.others)),
            "cannot_tell": list(self.cannot_tell),
            "undetermined": [] if built is None else list(map(doubt_entry, built.doubts)),
            "sentence": self.sentence,
            "exposure": {
                "planned": exposure_entry(self.plan_settings),
                "photograph": settings.to_dict(),
                "stops_over_plan": self.exposure_over_plan,
            },
            "cautions": list(cautions_for(self.planned)),
            "tool_version": __version__,
            "rig_digest": rig_digest(self.planned),
        }

    def _slip(self, found: FoundFirst) -> dict[str, Any]:
        """Return a thing that is off; how to put it back, where it has drifted."""
        if self.since is None:
            return slip_entry(found)
        from lightplan.tasks.drift_words import put_back_words

        return slip_entry(found) | {"put_back": put_back_words(self, found.slip)}

    def _explained(self, finding: Any) -> Any:
        """Return a finding of the photograph with the slip that stands behind it."""
        dearest = max(self.things, key=lambda f: f.cost, default=None)
        cause = dearest.what if dearest is not None else ""
        move = self.first_move.text if self.first_move is not None else ""
        return replace(finding, cause=cause, move=move)


def advise(
    photo: Path | str,
    *,
    rig: RigLike,
    others: Sequence[Path | str] = (),
    pin: Pin | None = None,
    since: Path | str | None = None,
    memory: Memory | None = None,
    watch: Watch = unwatched,
) -> Advice:
    """Return how a photographed set differs from its plan, and the one move to make first.

    Parameters
    ----------
    photo : path
    rig : Rig, LoadedRig, path or name of a preset
        As planned.
    others : sequence of path
        More photographs of the set as it stands, with a lamp off or turned down, or from another
        place: the set is fitted to all of them, what is told is of the first.
    pin : Pin or None
        That stands on the sheet of the last of the photographs: its shadows tell which way the
        lamps stand.
    since : path or None
        An earlier photograph of the same set: what has changed since then is told, not how
        the set differs from the plan.
    memory : Memory or None
        What earlier frames of the shoot asked for: that is its plan by now.
    watch : callable
        Told what is being done; may raise `Stopped`.

    Raises
    ------
    BadInput
        When the photograph or the rig cannot be read.
    """
    planned = rig if isinstance(rig, Rig) else _loaded(rig).rig
    watch(Progress(stage="looking at the photograph"))
    plan = (Memory() if memory is None else memory).before(Path(photo).name).plan(planned)
    with ThreadPoolExecutor(1) as other:  # what is C in both lets go of the interpreter
        where = _there(photo)
        planning = other.submit(plan_settings, planned)
        lights = None if since is not None else other.submit(by_one_thread, lambda: begun(plan))
        looked = look_at_set(where, planned)
        settings = planning.result()
    if since is not None:
        watch(Progress(stage="looking at the earlier photograph"))
        from lightplan.tasks.drift import advise_since

        before = look_at_set(_there(since), planned)
        return advise_since(looked, before, planned, watch=watch)
    last = len(others) - 1
    if others:
        watch(Progress(stage="looking at the other photographs"))
    more = tuple(
        beside(_there(other), looked, planned, pin if i == last else None)
        for i, other in enumerate(others)
    )
    own = with_pin(looked, planned, pin) if pin is not None and not others else None
    return advise_on(
        looked,
        planned,
        settings=settings,
        memory=memory,
        data=own,
        others=more,
        lights=None if lights is None else lights.result(),
        watch=watch,
    )


def _there(photo: Path | str) -> Path:
    where = Path(photo)
    if not where.is_file():
        raise BadInput(
            field="photograph", wanted="a file that is there", got=str(where), cure="check the name"
        )
    return where


def advise_on(
    looked: Looked,
    planned: Rig,
    *,
    settings: Settings | None = None,
    memory: Memory | None = None,
    data: Photographed | None = None,
    others: Sequence[Photographed] = (),
    lights: LightStore | None = None,
    watch: Watch = unwatched,
) -> Advice:
    """Return the advice on a photograph that was looked at.

    `settings` are `plan_settings` of the rig, where they are known already; `memory` is what
    earlier frames of the shoot asked for, `data` what it tells, where that was read already,
    `others` are more photographs of the set as it stands, `lights` are those of the plan,
    where they were begun already.
    """
    settings = plan_settings(planned) if settings is None else settings
    known = (Memory() if memory is None else memory).before(looked.score.file)
    data = of_the_sheet(planned, photographed(looked) if data is None else data)
    first = first_word(looked.score)
    watch(Progress(stage="following the light", note=first))
    if data is None:
        return Advice(looked.score, planned, settings, None, (), (), None, first, looked=looked)
    plan = known.plan(planned) if lights is None else lights.planned
    over = known.exposure()
    clip = settings.clip_cd_m2 / 2.0**over
    photos = (data, *others)
    found = by_one_thread(
        lambda: estimate_together(plan, photos, clip_cd_m2=clip, lights=lights, watch=watch)
    )
    watch(Progress(stage="trying moves"))
    exposed = over + found.camera.exposure_stops
    over = known.exposure(exposed)
    found = replace(found, camera=replace(found.camera, exposure_stops=exposed - over))
    before = Before(known, planned, as_planned(planned, settings))
    exposed_by = exposed_more(settings, over)
    told = by_one_thread(lambda: _advice(looked, plan, exposed_by, data, found, before))
    return replace(told, planned=planned, plan_settings=settings, exposure_over_plan=exposed)


def _advice(
    looked: Looked,
    planned: Rig,
    settings: Settings,
    data: Photographed,
    found: Estimate,
    before: Before,
) -> Advice:
    right = before.memory.balance(found.camera.balance_stops)
    slips = (*camera_slips(found, looked.score, data, balance=right), *found.slips)
    state = state_of(looked, planned, settings, found, slips)
    worth = Worth(state.planned)
    score, sharp = looked.score.score, factor_of(looked.score, "sharpness")
    options = options_of(state, worth)
    soft = None if score is None else sharper(state, score, sharp)
    options += [] if soft is None else [soft]
    chosen = choose(looked.score, options, state, worth, before)
    if chosen is not None and chosen.element == "focus":
        sharp = 1.0
    move = None if chosen is None else told_move(chosen, state, worth, score, sharp)
    things = tuple(found_things(state, options))
    promised = worth.score(before.plan, before.camera)
    return Advice(
        looked.score,
        planned,
        settings,
        found,
        things,
        found.foreign,
        move,
        sentence_of(
            looked.score, things, found.foreign, move, promised, short_by(looked.score, promised)
        ),
        tuple(cannot_tell(found)),
        looked,
        state,
        chosen,
        promised=promised,
    )


def state_of(
    looked: Looked, planned: Rig, settings: Settings, found: Estimate, slips: Sequence[Slip]
) -> State:
    """Return a rig as it stands, and the camera as it is set."""
    camera = found.camera
    standing = slipped(planned, found.hand)
    return State(
        planned=standing,
        slips=tuple(slips),
        foreign=found.foreign,
        camera=CameraAsSet(
            clip_cd_m2=settings.clip_cd_m2,
            stops=camera.exposure_stops,
            red_stops=camera.red_stops,
            blue_stops=camera.blue_stops,
            contrast=camera.contrast,
            lift_stops=camera.lift_stops,
        ),
        time_s=looked.score.settings.time_s,
    )


def _loaded(rig: RigLike) -> LoadedRig:
    if isinstance(rig, LoadedRig):
        return rig
    assert not isinstance(rig, Rig)
    return load_rig(rig)


def ready(
    rig: RigLike,
    photos: Sequence[Path],
    folder: Path,
    since: Path | None = None,
    *,
    replace: bool = False,
) -> RigLike:
    """Return the rig, read, after its folder was found fit for the advice.

    Raises
    ------
    BadInput
        When the rig cannot be read, files in the folder are in the way, or drift is asked for of
        several photographs.
    """
    if since is not None and len(photos) > 1:
        raise BadInput(
            field="PHOTO",
            wanted="one photograph beside --since",
            got=f"{len(photos)} photographs",
            cure="name one, or leave --since out",
        )
    loaded = rig if isinstance(rig, Rig | LoadedRig) else load_rig(rig)
    inputs = loaded.inputs if isinstance(loaded, LoadedRig) else ()
    prepare(folder, FILES, replace=replace, inputs=(*inputs, *photos))
    return loaded


def write_advice(
    advice: Advice, folder: Path, *, rig: RigLike, replace: bool = False
) -> tuple[Path, ...]:
    """Write report.json, as_built.toml, before_after.png and residual.png."""
    prepare(folder, FILES, replace=replace)
    written = []
    if advice.estimate is not None and advice.state is not None:
        written.append(as_built_toml(advice, folder / "as_built.toml", rig, replace=replace))
        pictures = (("before_after.png", before_after), ("residual.png", residual_picture))
        drawn = by_one_thread(lambda: _drawn([draw for _, draw in pictures], advice))
        for (name, _), one in zip(pictures, drawn, strict=True):
            written.append(write_output(folder / name, one, replace=replace))
    written.append(write_report(folder / "report.json", advice.report(), replace=replace))
    return tuple(written)


def _drawn(pictures: Sequence[Callable[[Advice], bytes]], advice: Advice) -> list[bytes]:
    with ThreadPoolExecutor(len(pictures)) as hands:
        return list(hands.map(lambda draw: draw(advice), pictures))
