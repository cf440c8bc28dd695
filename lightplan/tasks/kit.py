"""Kit: what would help, before any money is spent, and what it would look like."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from lightplan.light import Detail
from lightplan.manifest import write_output
from lightplan.planning.catalogue import catalogue
from lightplan.planning.kit import KitAdvice, advise_kit
from lightplan.planning.kit_words import HELPS_FROM, Offer
from lightplan.planning.plan import Effort
from lightplan.process import usable_cores
from lightplan.reports.picture import picture_codes, picture_png, picture_size
from lightplan.reports.proof import ProofCell, crop_shape, cropped, proof_png
from lightplan.reports.report import json_text
from lightplan.rigfiles import LoadedRig, Thing, load_rig, write_rig
from lightplan.tasks.cupboard import item_of, owned_items
from lightplan.tasks.folder import prepare as prepare
from lightplan.tasks.predict import predict
from lightplan.tasks.setup import facts_of, write_setup

if TYPE_CHECKING:
    from collections.abc import Callable
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
    progress: Callable[[str, int, int], None] | None = None,
    should_stop: Callable[[], bool] = lambda: False,
) -> KitAdvice:
    """Return what would help a rig, by the score that each thing reaches when planned.

    What is owned and what can be bought at which price stands in the rig file; without a
    shop list the usual boards, diffusers, a further lamp, a window, a cone and a tent are
    tried, prices unknown.
    """
    loaded = load_rig(rig) if isinstance(rig, str) else rig
    effort = Effort(
        evaluations=evaluations, polish=0, builds=32, helpers=max(0, usable_cores() - 1)
    )
    return advise_kit(
        loaded.rig,
        owned=owned_items(loaded),
        shop=_shop(loaded.rig, loaded.shop),
        seed=seed,
        effort=effort,
        progress=progress,
        should_stop=should_stop,
    )


def _shop(rig: Rig, things: tuple[Thing, ...]) -> list[Item]:
    """Return what can be bought: the maker's list, and what it does not name, prices unknown."""
    listed = [item_of(thing, owned=False) for thing in things]
    kinds = {item.kind for item in listed}
    return listed + [item for item in catalogue(rig) if item.kind not in kinds]


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
    written: list[Path] = []
    cells = []
    for stem, offer in zip(stems, offers, strict=True):
        cell, files = _write_offer(
            offer,
            found.base,
            source,
            folder / stem,
            paper=paper,
            unit=unit,
            replace_files=replace_files,
        )
        cells.append(cell)
        written += files
    page = proof_png(
        cells,
        title=f"{source.rig.title}: what would help",
        subtitle="What you own, planned, and what would do more, best first",
    )
    return (
        write_output(folder / "kit.png", page, replace=replace_files),
        write_output(folder / "kit.json", json_text(kit_document(found)), replace=replace_files),
        *written,
    )


def _write_offer(
    offer: Offer,
    base: Offer,
    source: LoadedRig,
    stem: Path,
    *,
    paper: str,
    unit: LengthUnit,
    replace_files: bool,
) -> tuple[ProofCell, list[Path]]:
    assert offer.rig is not None
    rig_file, picture_file, setup_file = (
        stem.with_name(stem.name + ending) for ending in (".toml", ".png", ".pdf")
    )
    loaded = write_rig(source, rig_file, rig=offer.rig, replace=replace_files, is_output=True)
    rows, cols = picture_size(offer.rig.camera, PICTURE_LONG_SIDE)
    prediction = predict(loaded, detail=Detail(camera_rows=rows, camera_cols=cols), explain=False)
    write_output(picture_file, picture_png(prediction.picture), replace=replace_files)
    write_setup(
        prediction,
        setup_file,
        facts=facts_of(loaded, prediction),
        paper=paper,
        unit=unit,
        replace=replace_files,
    )
    judgement = prediction.judgement
    cell = ProofCell(
        look=offer.name,
        codes=cropped(
            picture_codes(prediction.picture),
            offer.rig.camera,
            offer.rig.sheet,
            shape=crop_shape(offer.rig.sheet),
        ),
        score=judgement.score,
        verdict=judgement.verdict,
        metal=prediction.measures.values_by_name().get("reads_as_metal_share", 0.0),
        facts=(),
        needs=_money(offer),
        built=_gain(offer, base),
        advice=judgement.reasons[0],
        rig=rig_file.name,
        picture=picture_file.name,
    )
    return cell, [rig_file, picture_file, setup_file]


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
