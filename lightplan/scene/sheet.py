"""The sheet: paper, foil, artwork, and how flat it lies."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from lightplan.arrays import Doubles, read_only
from lightplan.errors import ArtworkError, RigError
from lightplan.optics.materials import FOIL_KINDS
from lightplan.scene import checks


@dataclass(frozen=True, kw_only=True)
class Conductor:
    """Optical constants of a bare metal for the R, G and B channels."""

    eta: tuple[float, float, float]
    k: tuple[float, float, float]

    def __post_init__(self) -> None:
        checks.triple(self.eta, 0.0, 20.0, "sheet.foil.eta")
        checks.triple(self.k, 0.0, 20.0, "sheet.foil.k")


@dataclass(frozen=True, kw_only=True)
class Grating:
    """A diffraction grating pressed into the foil.

    Parameters
    ----------
    lines_per_mm : float
        Line density.
    direction_rad : float
        Direction on the sheet across the lines (along which light is spread),
        counter-clockwise from x. [rad]
    strength : float
        Share of the reflected light that leaves the mirror direction, 0 to 1.
    """

    lines_per_mm: float = 1000.0
    direction_rad: float = math.pi / 2
    strength: float = 0.6

    def __post_init__(self) -> None:
        checks.between(
            self.lines_per_mm, 50.0, 3000.0, "sheet.foil.grating.lines_per_mm", "1000 is usual"
        )
        checks.angle(self.direction_rad, "sheet.foil.grating.direction_deg")
        checks.between(self.strength, 0.0, 1.0, "sheet.foil.grating.strength", "0.6 is usual")


@dataclass(frozen=True, kw_only=True)
class Relief:
    """How the stamp has pressed the foil into the stock.

    Parameters
    ----------
    depth_mm : float
        Of the foil below the paper round it; below 0 it is raised. Usual: 0.02 to 0.1 on
        smooth card, 0.1 to 0.3 on soft thick stock (from memory).
    flank_mm : float
        Width, seen from above, of the slope at the edge of every shape; it lies within the
        shape. Usual: 0.05 to 0.3 (from memory).
    """

    depth_mm: float = 0.05
    flank_mm: float = 0.15

    def __post_init__(self) -> None:
        checks.between(
            self.depth_mm, -2.0, 2.0, "sheet.foil.relief.depth_mm", "0.05 is a usual stamp"
        )
        checks.between(
            self.flank_mm, 0.01, 5.0, "sheet.foil.relief.flank_mm", "0.15 is a usual stamp"
        )


@dataclass(frozen=True, kw_only=True)
class Foil:
    """Metal of the artwork.

    Parameters
    ----------
    kind : str
        A name of `lightplan.optics.materials.FOIL_KINDS`; sets the colour.
    conductor : Conductor or None
        Bare metal by its constants instead of `kind`.
    roughness : (2,) float
        GGX alpha along and across the brush direction; equal for a plain foil.
    brush_rad : float
        Direction on the sheet of the first roughness, from x. [rad]
    grating : Grating or None
        For holographic foil.
    relief : Relief or None
        Pressed into the stock; None: level with it.
    """

    kind: str = "silver foil"
    conductor: Conductor | None = None
    roughness: tuple[float, float] = (0.05, 0.05)
    brush_rad: float = 0.0
    grating: Grating | None = None
    relief: Relief | None = None

    def __post_init__(self) -> None:
        checks.one_of(self.kind, FOIL_KINDS, "sheet.foil.kind")
        checks.count(self.roughness, 2, "sheet.foil.roughness")
        for value in self.roughness:
            checks.between(value, 0.001, 1.0, "sheet.foil.roughness", "0.05 is a usual glossy foil")
        checks.angle(self.brush_rad, "sheet.foil.brush_deg")

    @property
    def judged_kind(self) -> str | None:
        """The kind by which its colour is judged; None for a metal given by its constants."""
        return self.kind if self.conductor is None else None


@dataclass(frozen=True, kw_only=True)
class Waviness:
    """The fine unevenness that stock lends to the foil on it.

    Parameters
    ----------
    slope_rad : float
        Root mean square of the slope in each direction. Usual: 0.05 to 0.2 degrees on
        coated card, 0.3 to 1 on uncoated and cotton stock (from memory). [rad]
    wavelength_mm : float
        Between one hill and the next. Usual: 2 to 20 (from memory).
    seed : int
        Which of all such sheets this is.
    """

    slope_rad: float = math.radians(0.2)
    wavelength_mm: float = 8.0
    seed: int = 1

    def __post_init__(self) -> None:
        checks.between(
            math.degrees(self.slope_rad),
            0.0,
            5.0,
            "sheet.paper.waviness.slope_deg",
            "0.2 is usual for coated card",
        )
        checks.between(
            self.wavelength_mm, 0.5, 500.0, "sheet.paper.waviness.wavelength_mm", "8 is usual"
        )
        checks.between(self.seed, 0, 2**31, "sheet.paper.waviness.seed", "use 1")


@dataclass(frozen=True, kw_only=True)
class Film:
    """Clear film instead of opaque stock: what lies under it is seen through it.

    Parameters
    ----------
    under : (3,) float
        Reflectance per channel of what lies under it.
    transmittance : float
        Share of the light that is left of what has gone once through the film itself,
        without what its two faces mirror.
    index : float
        Refractive index; 1.5 acetate and polypropylene, 1.6 polyester (from memory).
    under_is_table : bool
        It lies on the bare table.
    """

    under: tuple[float, float, float]
    transmittance: float = 0.98
    index: float = 1.5
    under_is_table: bool = False

    def __post_init__(self) -> None:
        checks.triple(self.under, 0.0, 1.0, "sheet.paper.film.under_reflectance")
        checks.between(
            self.transmittance, 0.0, 1.0, "sheet.paper.film.transmittance", "0.98 is clear film"
        )
        checks.between(self.index, 1.01, 3.0, "sheet.paper.film.index", "1.5 is usual")


@dataclass(frozen=True, kw_only=True)
class Paper:
    """The stock: a matte body, with a clear coat when it is glossy.

    Parameters
    ----------
    reflectance : (3,) float
        Diffuse reflectance per channel, 0 to 1.
    coat_index : float or None
        Refractive index of a varnish, laminate or gloss coating; None for matte stock.
    coat_roughness : float
        GGX alpha of the coat's surface.
    waviness : Waviness or None
        None: smooth.
    film : Film or None
        Clear film; `reflectance` is then that of what lies under it, and it has no coat of
        its own.
    """

    reflectance: tuple[float, float, float] = (0.85, 0.85, 0.85)
    coat_index: float | None = None
    coat_roughness: float = 0.1
    waviness: Waviness | None = None
    film: Film | None = None

    def __post_init__(self) -> None:
        if self.film is not None:
            object.__setattr__(self, "reflectance", self.film.under)
            object.__setattr__(self, "coat_index", self.film.index)
        checks.triple(self.reflectance, 0.0, 1.0, "sheet.paper.reflectance")
        if self.coat_index is not None:
            checks.between(
                self.coat_index, 1.01, 3.0, "sheet.paper.coat_index", "1.5 is a usual varnish"
            )
        checks.between(
            self.coat_roughness, 0.001, 1.0, "sheet.paper.coat_roughness", "0.1 is usual"
        )


@dataclass(frozen=True, kw_only=True)
class Flatness:
    """How far the sheet departs from a plane.

    Parameters
    ----------
    bow_mm : float
        Height of the middle above the edges (positive: the middle stands up), a
        parabola along `bow_rad`.
    bow_rad : float
        Direction along which the sheet is bowed, from x. [rad]
    wave_mm, wave_length_mm : float
        Half the height between crest and trough of a gentle wave along `bow_rad`, and
        the distance between crests.
    """

    bow_mm: float = 0.0
    bow_rad: float = 0.0
    wave_mm: float = 0.0
    wave_length_mm: float = 60.0

    def __post_init__(self) -> None:
        cure = "lay a ruler across the sheet and measure the gap in mm"
        checks.between(self.bow_mm, -100.0, 100.0, "sheet.bow_mm", cure)
        checks.angle(self.bow_rad, "sheet.bow_deg")
        checks.between(self.wave_mm, 0.0, 20.0, "sheet.wave_mm", cure)
        checks.positive(self.wave_length_mm, "sheet.wave_length_mm")


def _plain_artwork() -> Doubles:
    return read_only([[1.0]])


@dataclass(frozen=True, kw_only=True, eq=False)
class Sheet:
    """One flat product, lying on z = 0 with its middle at the origin.

    Parameters
    ----------
    width_mm, height_mm : float
        Size along x and along y.
    artwork : (rows, cols) float
        Share of foil, 0 (paper) to 1 (foil); row 0 is the far edge (+y).
    artwork_file : str or None
        Where the artwork came from, to name it to the maker.
    """

    width_mm: float
    height_mm: float
    foil: Foil = field(default_factory=Foil)
    paper: Paper = field(default_factory=Paper)
    flatness: Flatness = field(default_factory=Flatness)
    artwork: Doubles = field(default_factory=_plain_artwork)
    artwork_file: str | None = None

    def __post_init__(self) -> None:
        checks.between(self.width_mm, 5.0, 5000.0, "sheet.width_mm", "measure the sheet")
        checks.between(self.height_mm, 5.0, 5000.0, "sheet.height_mm", "measure the sheet")
        object.__setattr__(self, "artwork", read_only(self.artwork))
        if self.artwork.ndim != 2 or not self.artwork.size:
            raise ArtworkError(
                field="artwork",
                wanted="a picture with rows and columns",
                got=f"shape {self.artwork.shape}",
                cure="save it as a grey PNG",
            )
        low, high = self.artwork.min(), self.artwork.max()  # NaN where there is one
        if not (low >= 0 and high <= 1):
            raise ArtworkError(
                field="artwork",
                wanted="values from 0 (paper) to 1 (foil)",
                got="others",
                cure="save it as a grey PNG, white where foil is",
            )
        limit = 0.25 * min(self.width_mm, self.height_mm)
        if abs(self.flatness.bow_mm) + self.flatness.wave_mm > limit:
            raise RigError(
                field="sheet.bow_mm",
                wanted=f"at most {limit:.0f}, a quarter of the shorter side",
                got=self.flatness.bow_mm,
                cure="flatten the sheet before you photograph it",
            )
