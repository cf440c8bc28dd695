"""Kit: what would help, before any money is spent, and what it would look like."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from lightplan.light import Detail
from lightplan.manifest import write_output
from lightplan.planning.catalogue import catalogue
from lightplan.planning.kit_words import HELPS_FROM, Offer
from lightplan.planning.offers import KitAdvice, advise_kit
from lightplan.planning.planner import Effort
from lightplan.process import usable_cores
from lightplan.progress import Stop, Watch, unwatched
from lightplan.reports.picture import picture_codes, picture_png, picture_size
from lightplan.reports.proof import ProofCell, crop_shape, cropped, proof_png
from lightplan.reports.report import json_text
from lightplan.rigfiles import LoadedRig, Thing, load_rig, write_rig
from lightplan.tasks.first_light import first_light
from lightplan.tasks.folder import prepare as prepare
from lightplan.tasks.owned import item_of, owned_items
from lightplan.tasks.predict import predict
from lightplan.tasks.setup import facts_of, setup_bytes
from lightplan.workers import Workers

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from lightplan.planning.cupboard import Item
    from lightplan.scene import Rig
    from lightplan.units import LengthUnit

PICTURE_LONG_SIDE = 1200
MOST_WRITTEN = 4
"""Offers that are written out beside what is owned; more would not be looked at. Our choice."""


def load(rig: str) -> LoadedRig:
    """Return a rig file or preset."""
    return load_rig(rig)


def kit(
    rig: str | LoadedRig,
    *,
    seed: int = 0,
    evaluations: int = 80,
    watch: Watch = unwatched,
    stop: Stop | None = None,
) -> KitAdvice:
    """Return what would help a rig, by the score that each thing reaches when planned.

    What is owned and what can be bought at which price stands in the rig file; without a
    shop list the usual boards, diffusers, a further lamp, a window, a cone and a tent are
    tried, prices unknown.
    """
    loaded = load_rig(rig) if isinstance(rig, str) else rig
    owned = owned_items(loaded)
    first_light(loaded.rig, watch)
    effort = Effort(
        evaluations=evaluations, polish=0, builds=32, helpers=max(0, usable_cores() - 1)
    )
    return advise_kit(
        loaded.rig,
        owned=owned,
        shop=_shop(loaded.rig, loaded.shop, owned),
        seed=seed,
        effort=effort,
        watch=watch,
        stop=stop,
    )


def _shop(rig: Rig, things: tuple[Thing, ...], owned: Sequence[Item]) -> list[Item]:
    """Return what can be bought: the maker's list, and what it does not name, prices unknown."""
    listed = [item_of(thing, owned=False) for thing in things]
    kinds = {item.kind for item in listed}
    return listed + [item for item in catalogue(rig, owned) if item.kind not in kinds]


def worth_having(found: KitAdvice) -> list[Offer]:
    """Return what is owned, planned, and the offers that help, best first."""
    helps = [
        offer
        for offer in found.offers
        if offer.rig is not None and offer.score >= found.base.score + HELPS_FROM
    ]
    owned = [found.base] if found.base.rig is not None else []
    return owned + helps[:MOST_WRITTEN]


def kit_files() -> tuple[str, ...]:
    """Return the names of the files that are in any kit."""
    return ("kit.json", "kit.png")


def write_kit(
    found: KitAdvice,
    source: LoadedRig,
    folder: Path,
    *,
    paper: str = "A4",
    unit: LengthUnit = "mm",
    replace_files: bool = False,
) -> tuple[Path, ...]:
    """Write each offer worth having: its rig, its picture, its setup sheet, all on one page."""
    offers = worth_having(found)
    stems = [f"{number}-{_stem(offer.name)}" for number, offer in enumerate(offers)]
    names = [f"{stem}{ending}" for stem in stems for ending in (".toml", ".png", ".pdf")]
    prepare(folder, (*kit_files(), *names), replace=replace_files, inputs=source.inputs)
    jobs = []
    for stem, offer in zip(stems, offers, strict=True):
        path = folder / f"{stem}.toml"
        write_rig(source, path, rig=offer.rig, replace=replace_files, is_output=True)
        jobs.append((path, offer.name, _money(offer), _gain(offer, found.base), paper, unit))
    with Workers("lightplan.tasks.kit:drawn_offer", min(len(jobs), usable_cores())) as workers:
        drawn = dict(workers.answers(jobs))
    written: list[Path] = []
    for number, stem in enumerate(stems):
        files = {".png": drawn[number].picture, ".pdf": drawn[number].setup}
        written.append(folder / f"{stem}.toml")
        for ending, content in files.items():
            path = folder / f"{stem}{ending}"
            written.append(write_output(path, content, replace=replace_files))
    page = proof_png(
        [
            replace(drawn[number].cell, rig=f"{stem}.toml", picture=f"{stem}.png")
            for number, stem in enumerate(stems)
        ],
        title=f"{source.rig.title}: what would help",
        subtitle="What you own, planned, and what would do more, best first",
    )
    return (
        write_output(folder / "kit.png", page, replace=replace_files),
        write_output(folder / "kit.json", json_text(kit_document(found)), replace=replace_files),
        *written,
    )


@dataclass(frozen=True, eq=False)
class DrawnOffer:
    """An offer as it is shown, and the bytes of its picture and its setup sheet."""

    cell: ProofCell
    picture: bytes
    setup: bytes


def drawn_offer(
    path: Path, name: str, needs: str, built: str, paper: str, unit: LengthUnit
) -> DrawnOffer:
    """Return an offer drawn from the rig file that was written; runs in a process of its own."""
    loaded = load_rig(path)
    rows, cols = picture_size(loaded.rig.camera, PICTURE_LONG_SIDE)
    prediction = predict(loaded, detail=Detail(camera_rows=rows, camera_cols=cols), explain=False)
    facts = facts_of(loaded, prediction)
    judgement = prediction.judgement
    codes = picture_codes(prediction.picture)
    shape = crop_shape(loaded.rig.sheet)
    cell = ProofCell(
        look=name,
        codes=cropped(codes, loaded.rig.camera, loaded.rig.sheet, shape=shape),
        score=judgement.score,
        verdict=judgement.verdict,
        metal=prediction.measures.values_by_name().get("reads_as_metal_share", 0.0),
        facts=(),
        needs=needs,
        built=built,
        advice=judgement.reasons[0],
        rig="",
        picture="",
    )
    return DrawnOffer(
        cell=cell,
        picture=picture_png(prediction.picture),
        setup=setup_bytes(prediction, facts=facts, paper=paper, unit=unit),
    )


def _money(offer: Offer) -> str:
    if not offer.items:
        return "costs nothing: you own it"
    return "price not known" if offer.price is None else f"costs {offer.price:g}"


def _gain(offer: Offer, base: Offer) -> str:
    if not offer.items:
        return "what the others are compared with"
    return f"about {offer.score - base.score:+.0f} points over what you own"


def _stem(name: str) -> str:
    """Return a name that any file system takes.

    >>> _stem("A3 white board and LED panel")
    'a3-white-board-and-led-panel'
    """
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:60] or "offer"


def kit_document(found: KitAdvice) -> dict[str, Any]:
    """Return the advice as plain values."""
    return {
        "needs_nothing": found.needs_nothing,
        "cheapest": None if found.cheapest is None else _offer(found.cheapest),
        "base": _offer(found.base),
        "offers": [_offer(offer) for offer in found.offers],
        "sentences": list(found.sentences),
    }


def _offer(offer: Offer) -> dict[str, Any]:
    return {"name": offer.name, "score": offer.score, "price": offer.price, "reason": offer.reason}
