"""From the file's form to the product: foil, stock, artwork."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from lightplan.errors import BadInput, RigError
from lightplan.rigfiles.artwork import read_artwork
from lightplan.rigfiles.values import channels, inside, pair
from lightplan.scene import Conductor, Film, Flatness, Foil, Grating, Paper, Relief, Sheet, Waviness

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.arrays import Vector
    from lightplan.rigfiles import sheet_forms as forms

COAT_ROUGHNESS, FILM_ROUGHNESS = 0.1, 0.02  # varnish and laminate; drawn film (from memory)


def build_sheet(form: forms.SheetForm, folder: Path, *, table: Vector) -> Sheet:
    """Return the product.

    Parameters
    ----------
    form : SheetForm
    folder : Path
        Where its artwork is looked for.
    table : (3,) float
        Reflectance of the table, which is seen through clear film.
    """
    if (form.foil.eta is None) != (form.foil.k is None):
        raise BadInput(
            field="sheet.foil",
            wanted="given both eta and k, or neither",
            got="eta" if form.foil.k is None else "k",
            cure="add the other one",
        )
    sheet = Sheet(
        width_mm=form.width_mm,
        height_mm=form.height_mm,
        foil=_foil(form.foil),
        paper=_paper(form.paper, table),
        flatness=Flatness(
            bow_mm=form.bow_mm,
            bow_rad=math.radians(form.bow_deg),
            wave_mm=form.wave_mm,
            wave_length_mm=form.wave_length_mm,
        ),
    )
    if form.artwork is None:
        return sheet
    with inside("sheet"):
        picture = read_artwork(
            folder / form.artwork, width_mm=form.width_mm, height_mm=form.height_mm
        )
    return replace(sheet, artwork=picture, artwork_file=form.artwork)


def _foil(form: forms.FoilForm) -> Foil:
    grating, relief = form.grating, form.relief
    return Foil(
        kind=form.kind,
        conductor=Conductor(eta=channels(form.eta), k=channels(form.k))
        if form.eta is not None and form.k is not None
        else None,
        roughness=pair(form.roughness),
        brush_rad=math.radians(form.brush_deg),
        grating=None
        if grating is None
        else Grating(
            lines_per_mm=grating.lines_per_mm,
            direction_rad=math.radians(grating.direction_deg),
            strength=grating.strength,
        ),
        relief=None
        if relief is None
        else Relief(depth_mm=relief.depth_mm, flank_mm=relief.flank_mm),
    )


def _paper(form: forms.PaperForm, table: Vector) -> Paper:
    wavy = form.waviness
    usual = COAT_ROUGHNESS if form.film is None else FILM_ROUGHNESS
    return Paper(
        reflectance=channels(form.reflectance),
        coat_index=form.coat_index,
        coat_roughness=usual if form.coat_roughness is None else form.coat_roughness,
        waviness=None
        if wavy is None
        else Waviness(
            slope_rad=math.radians(wavy.slope_deg), wavelength_mm=wavy.wavelength_mm, seed=wavy.seed
        ),
        film=None if form.film is None else _film(form, form.film, table),
    )


def _film(paper: forms.PaperForm, form: forms.FilmForm, table: Vector) -> Film:
    for name in ("reflectance", "coat_index"):
        if name in paper.model_fields_set:
            raise RigError(
                field=f"sheet.paper.{name}",
                wanted="left out for clear film",
                got=getattr(paper, name),
                cure="give under_reflectance and index in [sheet.paper.film]",
            )
    return Film(
        under=table if form.under_reflectance is None else channels(form.under_reflectance),
        transmittance=form.transmittance,
        index=form.index,
        under_is_table=form.under_reflectance is None,
    )
