"""Tables of the rig file that describe the look and the product.

The numbers are checked by the scene when it is built from these; here only the form is.
"""

from __future__ import annotations

from pydantic import Field

from lightplan.rigfiles.form import Channels, FoilKind, Form, Roughness
from lightplan.scene.look import LookKind


class LookForm(Form):
    """The look that is wanted of the metal."""

    kind: LookKind = Field(
        default="bright field", description="What the foil should do in the picture."
    )
    direction_deg: float = Field(
        default=90.0,
        description="Towards the brighter side, from x to the left turn (gradient, split).",
    )
    strength_stops: float = Field(
        default=2.0, description="Span of brightness over the foil (gradient, split), in stops."
    )


class GratingForm(Form):
    """The lines of a holographic foil."""

    lines_per_mm: float = Field(default=1000.0, description="Lines per mm, usually 800 to 1200.")
    direction_deg: float = Field(
        default=90.0, description="Direction on the sheet along which light is spread, from x."
    )
    strength: float = Field(
        default=0.6,
        description="Share of the reflected light that leaves the mirror direction, 0 to 1.",
    )


class ReliefForm(Form):
    """How the stamp has pressed the foil into the stock."""

    depth_mm: float = Field(
        default=0.05, description="Of the foil below the paper round it; below 0: raised."
    )
    flank_mm: float = Field(
        default=0.15, description="Width of the slope at the edge of every shape."
    )


class FoilForm(Form):
    """The metal of the artwork."""

    kind: FoilKind = Field(
        default="silver foil", description="Kind of foil or metal; sets its colour."
    )
    roughness: Roughness = Field(
        default=[0.05, 0.05],
        description="GGX roughness, one number, or [along, across] a brushed metal's lines.",
    )
    brush_deg: float = Field(
        default=0.0, description="Direction of a brushed metal's lines, from x."
    )
    eta: Channels | None = Field(
        default=None, description="Bare metal by its own refractive index [r, g, b]; needs k too."
    )
    k: Channels | None = Field(
        default=None,
        description="Bare metal by its own extinction coefficient [r, g, b]; needs eta too.",
    )
    grating: GratingForm | None = Field(default=None, description="Only for holographic foil.")
    relief: ReliefForm | None = Field(
        default=None, description="Pressed into the stock; none: level with it."
    )


class WavinessForm(Form):
    """The fine unevenness that stock lends to the foil on it."""

    slope_deg: float = Field(
        default=0.2, description="Root mean square of its slope in each direction."
    )
    wavelength_mm: float = Field(default=8.0, description="From one hill to the next.")
    seed: int = Field(default=1, description="Which of all such sheets this is.")


class FilmForm(Form):
    """Clear film instead of opaque stock."""

    under_reflectance: Channels | None = Field(
        default=None, description="Of what lies under it, 0 to 1, or [r, g, b]; none: the table."
    )
    transmittance: float = Field(
        default=0.98, description="Share of light left after one way through the film itself."
    )
    index: float = Field(
        default=1.5, description="Refractive index; 1.5 acetate, polypropylene, 1.6 polyester."
    )


class PaperForm(Form):
    """The stock."""

    reflectance: Channels = Field(
        default=[0.85, 0.85, 0.85],
        description="Share of light it gives back, 0 to 1, or [r, g, b]; not for film.",
    )
    coat_index: float | None = Field(
        default=None,
        description="Refractive index of a varnish or laminate (1.5); leave out if matte.",
    )
    coat_roughness: float | None = Field(
        default=None, description="GGX roughness of the surface; none: 0.1 of a coat, 0.02 of film."
    )
    waviness: WavinessForm | None = Field(
        default=None, description="Fine unevenness, seen in the foil; none: smooth."
    )
    film: FilmForm | None = Field(
        default=None, description="Clear film: what lies under it is seen through it."
    )


class SheetForm(Form):
    """The product, lying on z = 0 with its middle at the origin."""

    width_mm: float = Field(description="Size from left to right.")
    height_mm: float = Field(description="Size from the near to the far edge.")
    artwork: str | None = Field(
        default=None,
        description="PNG or SVG beside the rig file, white where foil is; none: all foil.",
    )
    bow_mm: float = Field(default=0.0, description="Height of the middle above the edges.")
    bow_deg: float = Field(
        default=0.0, description="Direction along which the sheet is bowed, from x."
    )
    wave_mm: float = Field(
        default=0.0, description="Half the height from crest to trough of a wave."
    )
    wave_length_mm: float = Field(default=60.0, description="Distance between the wave's crests.")
    foil: FoilForm = Field(default=FoilForm(), description="What is stamped on it.")
    paper: PaperForm = Field(default=PaperForm(), description="What it is made of.")
