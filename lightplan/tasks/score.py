"""Score: test photographs judged, ranked, and laid out on a contact sheet."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from lightplan.errors import BadInput, LightplanError
from lightplan.manifest import write_output
from lightplan.reports.contact_sheet import contact_sheet_html
from lightplan.reports.picture import picture_codes
from lightplan.reports.print.card_page import write_marker_card as write_marker_card
from lightplan.reports.scores import ScoreRow, scores_csv, scores_json
from lightplan.reports.thumbnails import thumbnail
from lightplan.rigfiles.artwork import read_artwork
from lightplan.safe_write import atomic_write
from lightplan.scene import Look
from lightplan.shots.context import PhotoContext
from lightplan.shots.formats.reading import read_shot
from lightplan.shots.pipeline import PhotoJudge, with_neighbour
from lightplan.shots.results import PhotoScore
from lightplan.shots.sets.batch import photographs_in, score_batch
from lightplan.shots.sets.journal import Outcome, photograph_key
from lightplan.shots.sets.ranking import Ranked, rank_set
from lightplan.shots.sets.two_sets import Comparison, compare_sets
from lightplan.shots.sheet.carded import card_in, is_card_itself, size_on_card
from lightplan.shots.sheet.corners import SheetFound
from lightplan.shots.sheet.location import find_in_shot
from lightplan.shown import writable
from lightplan.tasks.folder import prepare
from lightplan.tasks.predict import RigLike, as_rig

if TYPE_CHECKING:
    from lightplan.arrays import Doubles

Place: TypeAlias = str | os.PathLike[str]
Told: TypeAlias = Callable[[int, int, str], None]
FILES = ("scores.csv", "scores.json", "contact_sheet.html")
THUMBS = "thumbnails"
THUMB_READ_PX = 480
# Sheets whose size nobody told are tried with these sides, all 150 mm long.
GUESSES = tuple(
    (150.0 * min(1.0, r), 150.0 * min(1.0, 1 / r))
    for r in (2**0.5, 2**-0.5, 1.5, 1 / 1.5, 4 / 3, 3 / 4, 1.0, 16 / 9, 9 / 16)
)


@dataclass(frozen=True, eq=False)
class SetScore:
    """A set of photographs, judged.

    Attributes
    ----------
    context : PhotoContext
        Sheet and look they were judged for.
    title : str
    ranked : tuple of Ranked
        Best first.
    comparison : Comparison or None
        With the second set, where there is one.
    others : tuple of Ranked
        The second set, best first.
    guessed_size : bool
        Nobody told the sheet's size: places in mm are for a sheet 150 mm long.
    """

    context: PhotoContext
    title: str
    ranked: tuple[Ranked, ...]
    comparison: Comparison | None = None
    others: tuple[Ranked, ...] = ()
    guessed_size: bool = False

    @property
    def photos(self) -> tuple[PhotoScore, ...]:
        """All photographs of the first set, best first."""
        return tuple(one.photo for one in self.ranked)

    @property
    def failed(self) -> int:
        """How many could not be read or judged."""
        everything = (*self.ranked, *self.others)
        return sum(one.photo.error is not None for one in everything)


def _quiet(done: int, of: int, name: str) -> None:
    """Progress that nobody watches."""


def score_photos(
    photos: Sequence[Place],
    *,
    rig: RigLike | None = None,
    artwork: Place | None = None,
    size_mm: tuple[float, float] | None = None,
    look: str | None = None,
    against: Place | None = None,
    out: Place = "scores",
    corners: Mapping[str, Doubles] | None = None,
    full: bool = False,
    workers: int | None = None,
    cluster: str | None = None,
    cluster_outside: bool = False,
    resume: bool = True,
    progress: Told = _quiet,
) -> SetScore:
    """Return the verdict on photographs, best first.

    Parameters
    ----------
    photos : sequence of path
        Files and folders.
    rig : Rig, LoadedRig, path, name or None
        Its sheet, artwork and look; without it give `artwork` and `size_mm` where known.
    artwork : path or None
        PNG or SVG, white is foil; goes before the rig's.
    size_mm : (2,) float or None
        Width and height of the sheet.
    look : str or None
        Another look than the rig's.
    against : path or None
        A second folder to compare with.
    out : path
        Folder for the journal, with which a second run goes on where one stopped.
    corners : mapping of str to (4, 2) float
        Corners given by hand, by file name.
    full : bool
        Also list hot spots, dust and scratches.
    workers, cluster
        Processes here, or the address of a scheduler.
    cluster_outside : bool
        Whether the scheduler may lie in a public network; it asks no password.
    resume : bool
        False judges everything again.
    progress : callable
        Told done, of how many, and the file.
    """
    paths = _some_photographs(photos)
    context, title, guessed = _context(paths, rig, artwork, size_mm, look)
    context = replace(context, corners=dict(corners or {}), detail="full" if full else "quick")
    folder = Path(out)
    prepare(folder, ())

    def judged(some: Sequence[Path]) -> tuple[Ranked, ...]:
        found = _judge(
            some,
            context,
            folder,
            workers=workers,
            cluster=cluster,
            cluster_outside=cluster_outside,
            resume=resume,
            progress=progress,
        )
        return rank_set(found)

    first = judged(paths)
    if against is None:
        return SetScore(context, title, first, guessed_size=guessed)
    second = judged(_some_photographs([against]))
    names = (_set_name(photos), Path(against).name)
    answer = compare_sets([r.photo for r in first], [r.photo for r in second], names=names)
    return SetScore(context, title, first, answer, second, guessed)


def _some_photographs(places: Sequence[Place]) -> list[Path]:
    for place in map(Path, places):
        # a link that leads nowhere is there: it is refused by name like a broken photograph,
        # and the batch that a shell's star has named goes on
        if not os.path.lexists(place):
            raise BadInput(
                field="photograph",
                wanted="a file or folder that is there",
                got=str(place),
                cure="check the name",
            )
    found = photographs_in(places)
    if not found:
        raise BadInput(
            field="photographs",
            wanted="at least one JPEG, PNG, TIFF, HEIC or raw file",
            got="none in " + ", ".join(map(str, places)),
            cure="name the folder that holds them",
        )
    return found


def _set_name(places: Sequence[Place]) -> str:
    first = Path(places[0])
    return (first.name if first.is_dir() else first.parent.name) or "the first set"


def _context(
    paths: Sequence[Path],
    rig: RigLike | None,
    artwork: Place | None,
    size_mm: tuple[float, float] | None,
    look: str | None,
) -> tuple[PhotoContext, str, bool]:
    """Return what the photographs are judged for, a title, and whether the size is a guess."""
    context = PhotoContext(width_mm=150.0, height_mm=150.0)
    title = "Test photographs"
    if rig is not None:
        rig = as_rig(rig)
        context, title = context_for(rig), rig.title
    if look is not None:
        context = replace(context, look=replace(context.look, kind=_known_look(look)))
    if size_mm is not None:
        context = replace(context, width_mm=size_mm[0], height_mm=size_mm[1])
    guessed = rig is None and size_mm is None
    if guessed:
        context, guessed = _guess_size(paths, context)
    if artwork is not None:
        wide, high = context.width_mm, context.height_mm
        context = replace(
            context, artwork=read_artwork(Path(artwork), width_mm=wide, height_mm=high)
        )
    return context, title, guessed


def context_for(rig: RigLike) -> PhotoContext:
    """Return what photographs of a rig's sheet are judged for."""
    found = as_rig(rig)
    sheet = found.sheet
    return PhotoContext(
        width_mm=sheet.width_mm,
        height_mm=sheet.height_mm,
        look=found.look,
        foil_kind=sheet.foil.judged_kind,
        half_lit=sheet.foil.grating is not None,
        stock_reflectance=sheet.paper.reflectance,
        artwork=sheet.artwork if sheet.artwork.size > 1 else None,
    )


def _known_look(look: str) -> Any:
    return Look(kind=look).kind  # type: ignore[arg-type]


def _guess_size(paths: Sequence[Path], context: PhotoContext) -> tuple[PhotoContext, bool]:
    """Return the shape of sheet found best in the first photograph that shows one.

    Also whether its size is a guess: a marker card beside the sheet tells it.
    """
    for path in paths[:5]:
        try:
            shot = read_shot(path, long_side_px=1500)
        except LightplanError:
            continue
        card = card_in(shot)
        best, most, size = context, 0.0, None
        for width, height in GUESSES:
            trial = replace(context, width_mm=width, height_mm=height)
            found, _ = find_in_shot(shot, trial)
            if not isinstance(found, SheetFound) or found.confidence <= most:
                continue
            told = None if card is None else size_on_card(found, card)
            if told is None or card is None or not is_card_itself(told, card):
                best, most, size = trial, found.confidence, told
        if size is not None:
            return replace(best, width_mm=size[0], height_mm=size[1]), False
        if most > 0:
            return best, True
    return context, True


def _judge(
    paths: Sequence[Path],
    context: PhotoContext,
    folder: Path,
    *,
    workers: int | None,
    cluster: str | None,
    cluster_outside: bool,
    resume: bool,
    progress: Told,
) -> list[PhotoScore]:
    """Judge photographs in worker processes, or on a scheduler."""
    judge = PhotoJudge(with_neighbour(context, paths))
    if cluster is None:
        outcomes = score_batch(
            paths,
            judge,
            out_dir=folder,
            workers=workers,
            resume=resume,
            digest=judge.context.digest(),
        )
    else:
        from lightplan.shots.sets.cluster import score_on_cluster

        outcomes = score_on_cluster(
            cluster,
            paths,
            judge,
            out_dir=folder,
            resume=resume,
            digest=judge.context.digest(),
            outside=cluster_outside,
        )
    found = []
    for outcome in outcomes:
        found.append(_photo(outcome))
        progress(len(found), len(paths), outcome.file)
    return found


def _photo(outcome: Outcome) -> PhotoScore:
    path = Path(outcome.path)
    if outcome.result is not None:
        # The journal may know the photograph by another way to the same place.
        return replace(PhotoScore.from_dict(outcome.result), file=path.name, path=outcome.path)
    error = outcome.error if outcome.error is not None else f"{path.name}: no result."
    return PhotoScore.refused(path, error, seconds=outcome.seconds)


def ready(folder: Path, *, replace_files: bool = False) -> None:
    """Refuse a folder that scores cannot be written to, before anything is judged."""
    prepare(folder, FILES, replace=replace_files)


def write_scores(found: SetScore, folder: Path, *, replace_files: bool = False) -> tuple[Path, ...]:
    """Write scores.csv, scores.json and contact_sheet.html with its thumbnails."""
    prepare(folder, FILES, replace=replace_files)
    context, comparison = found.context, found.comparison
    names = ("", "") if comparison is None else comparison.names
    rows = [
        _row(one, folder, name)
        for some, name in zip((found.ranked, found.others), names, strict=True)
        for one in some
    ]
    page = contact_sheet_html(
        rows,
        title=found.title,
        look=context.look.kind,
        sheet_mm=(context.width_mm, context.height_mm),
        comparison=None if comparison is None else comparison.sentence,
        reasons=() if comparison is None else [r.sentence for r in comparison.reasons],
    )
    return (
        write_output(folder / "scores.csv", scores_csv(rows), replace=replace_files),
        write_output(folder / "scores.json", scores_json(rows), replace=replace_files),
        write_output(folder / "contact_sheet.html", page, replace=replace_files),
    )


def _row(one: Ranked, folder: Path, group: str) -> ScoreRow:
    picture, clipped = _thumbnails(one.photo, folder)
    return ScoreRow(
        entry=writable(one.photo.to_dict()),
        rank=one.rank,
        likeness=one.likeness,
        ties=tuple(writable(one.ties)),
        flags=tuple(writable(flag.sentence) for flag in one.flags),
        group=writable(group),
        picture=picture,
        clipped=clipped,
    )


def _thumbnails(photo: PhotoScore, folder: Path) -> tuple[str | None, str | None]:
    """Return where thumbnail and clip mask lie beside the page; made once."""
    if photo.error is not None:
        return None, None
    key = photograph_key(Path(photo.path), "thumbnail")[:12]  # a changed file gets a new one
    picture = folder / THUMBS / f"{key}.jpg"
    mask = folder / THUMBS / f"{key}.png"
    if not picture.exists():
        try:
            shot = read_shot(photo.path, long_side_px=THUMB_READ_PX)
        except LightplanError:
            return None, None
        factor = 1
        while max(shot.rows, shot.cols) >= 2 * factor * THUMB_READ_PX:
            factor *= 2
        codes = picture_codes(shot.transfer.linear(shot.shrunk(factor)))
        small = thumbnail(codes, shot.clipped)
        picture.parent.mkdir(exist_ok=True)
        if small.clipped is not None:
            atomic_write(mask, small.clipped, replace=True)
        atomic_write(picture, small.picture, replace=True)
    here = f"{THUMBS}/{picture.name}"
    return here, f"{THUMBS}/{mask.name}" if mask.exists() else None


def scores_document(found: SetScore, files: Sequence[Path]) -> dict[str, Any]:
    """Return what --json prints."""
    return {
        "photographs": len(found.ranked) + len(found.others),
        "failed": found.failed,
        "guessed_size": found.guessed_size,
        "ranked": [one.to_dict() for one in found.ranked],
        "against": [one.to_dict() for one in found.others],
        "comparison": None if found.comparison is None else found.comparison.to_dict(),
        "files": [str(path) for path in files],
    }
