"""Tables of the rig file that describe the rig: fields, units, defaults and meaning.

The numbers are checked by the scene when it is built from these; here only the form is:
which fields there are and what kind of value each takes.
"""

from __future__ import annotations

from typing import Annotated, Any, TypeAlias

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from lightplan.optics.materials import FOIL_KINDS
from lightplan.scene.cards import CardFinish, ShellShape
from lightplan.scene.lamps import LampShape, OutputUnit
from lightplan.scene.look import LookKind
from lightplan.scene.props import PropShape


def _repeat(count: int) -> BeforeValidator:
    def spread(value: Any) -> Any:
        number = isinstance(value, int | float) and not isinstance(value, bool)
        return [value] * count if number else value

    return BeforeValidator(spread)


def _numbers_schema(count: int) -> WithJsonSchema:
    number = {"type": "number"}
    array = {"type": "array", "items": number, "minItems": count, "maxItems": count}
    return WithJsonSchema({"anyOf": [number, array]})


Point: TypeAlias = Annotated[list[float], Field(min_length=3, max_length=3)]
Pair: TypeAlias = Annotated[list[float], Field(min_length=2, max_length=2)]
Channels: TypeAlias = Annotated[
    list[float], Field(min_length=3, max_length=3), _repeat(3), _numbers_schema(3)
]
Roughness: TypeAlias = Annotated[
    list[float], Field(min_length=2, max_length=2), _repeat(2), _numbers_schema(2)
]
FoilKind: TypeAlias = Annotated[str, WithJsonSchema({"type": "string", "enum": list(FOIL_KINDS)})]


class Form(BaseModel):
    """Base of every table of the file: no unknown fields, no guessing of types."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


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


class PaperForm(Form):
    """The stock."""

    reflectance: Channels = Field(
        default=[0.85, 0.85, 0.85],
        description="Share of light it gives back, 0 to 1, or [r, g, b].",
    )
    coat_index: float | None = Field(
        default=None,
        description="Refractive index of a varnish or laminate (1.5); leave out if matte.",
    )
    coat_roughness: float = Field(default=0.1, description="GGX roughness of the coat's surface.")


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


class BodyForm(Form):
    """The dark front of camera or phone, which the foil can see."""

    width_mm: float = Field(default=140.0, description="Width of the front.")
    height_mm: float = Field(default=100.0, description="Height of the front.")
    reflectance: float = Field(default=0.04, description="Share of light it gives back, 0 to 1.")
    lens_offset_mm: Pair = Field(
        default=[0.0, 0.0], description="Lens from the middle of the front: [right, up]."
    )
    setback_mm: float = Field(default=2.0, description="Front behind the lens's own place.")


class ExposureForm(Form):
    """Camera settings, or the level that the brightest paper shall get."""

    f_number: float | None = Field(default=None, description="Aperture; needs time_s and iso too.")
    time_s: float | None = Field(default=None, description="Exposure time in seconds.")
    iso: float | None = Field(default=None, description="Sensitivity.")
    paper_level: float = Field(
        default=0.7, description="Without settings: level of the brightest paper, 1 is clipping."
    )
    foil_level: float = Field(
        default=0.9,
        description="Without settings: the most the brightest foil may reach, 1 is clipping.",
    )


class CameraForm(Form):
    """Where the camera is and what it sees."""

    position_mm: Point = Field(description="The lens: [right, away, up] from the sheet's middle.")
    aim_mm: Point = Field(
        default=[0.0, 0.0, 0.0], description="The point in the middle of the picture."
    )
    roll_deg: float = Field(default=0.0, description="Turn about the line of sight.")
    focal_length_mm: float = Field(
        default=50.0, description="As on the lens (not the 35 mm equivalent)."
    )
    sensor_width_mm: float = Field(default=23.5, description="Width of the sensor.")
    sensor_height_mm: float = Field(default=15.6, description="Height of the sensor.")
    pixels: Annotated[list[int], Field(min_length=2, max_length=2)] = Field(
        default=[6000, 4000], description="Size of the camera's pictures: [columns, rows]."
    )
    polariser_deg: float | None = Field(
        default=None,
        description="Axis of a polarising filter, from horizontal; none without a filter.",
    )
    white_balance_k: float | None = Field(
        default=None,
        description="Colour temperature set on the camera; none: neutral for the lamps.",
    )
    has_body: bool = Field(
        default=True, description="false leaves the camera's front out of the scene."
    )
    body: BodyForm = Field(default=BodyForm(), description="The front of camera or phone.")
    exposure: ExposureForm = Field(
        default=ExposureForm(), description="Settings, or a paper level."
    )


class OutputForm(Form):
    """How bright a lamp is at full power."""

    value: float = Field(description="The figure on the box.")
    unit: OutputUnit = Field(default="lm", description="What the figure is.")


class LampForm(Form):
    """A lamp or window."""

    name: str = Field(description="Unique in the rig.")
    position_mm: Point = Field(description="Middle of the lit face: [right, away, up].")
    aim_mm: Point = Field(
        default=[0.0, 0.0, 0.0], description="A point straight in front of the face."
    )
    roll_deg: float = Field(default=0.0, description="Turn about the line it points along.")
    shape: LampShape = Field(
        default="rectangle",
        description="rectangle (softbox, strip, panel, window), disk or bare bulb.",
    )
    width_mm: float = Field(
        default=600.0, description="Width of the face; of a disk or bulb, diameter."
    )
    height_mm: float | None = Field(
        default=None,
        description="Height of the face; none: 600 for a rectangle, else the diameter.",
    )
    output: OutputForm | None = Field(
        default=None, description="At full power; none: 2000 lm, or what the ies file says."
    )
    trim_stops: float = Field(default=0.0, description="Power setting: -1 halves the light.")
    on: bool = Field(default=True, description="Switched on.")
    colour_k: float | None = Field(
        default=None, description="Colour temperature; none: exactly the camera's white balance."
    )
    is_window: bool = Field(default=False, description="A window: cannot be moved or dimmed.")
    ies: str | None = Field(
        default=None,
        description="Photometric file (IES LM-63) beside the rig file; none: a matte face.",
    )


class CardForm(Form):
    """A board, or a flat diffuser when it lets light through."""

    name: str = Field(description="Unique in the rig.")
    position_mm: Point = Field(description="Middle of the card: [right, away, up].")
    aim_mm: Point = Field(
        default=[0.0, 0.0, 0.0], description="A point straight in front of its face."
    )
    roll_deg: float = Field(default=0.0, description="Turn about the line it faces along.")
    width_mm: float = Field(description="Width.")
    height_mm: float = Field(description="Height.")
    finish: CardFinish = Field(default="white", description="Of the front.")
    reflectance: Channels | None = Field(
        default=None,
        description="Of the front, 0 to 1; none: 0.85 white, 0.18 grey, 0.045 black, 0.8 silver.",
    )
    roughness: float = Field(default=0.35, description="GGX roughness of a silver front.")
    back_finish: CardFinish | None = Field(
        default=None, description="Of the back; none: as the front."
    )
    back_reflectance: Channels | None = Field(
        default=None, description="Of the back; none: as the front, or as its own finish has."
    )
    back_roughness: float | None = Field(
        default=None, description="GGX roughness of a silver back; none: as the front."
    )
    transmittance: Channels = Field(
        default=[0.0, 0.0, 0.0],
        description="Share of light that passes and is scattered; 0 for a board.",
    )
    hole_mm: float | None = Field(
        default=None, description="Diameter of a round hole; none: no hole."
    )
    hole_offset_mm: Pair = Field(
        default=[0.0, 0.0], description="Middle of the hole from the card's middle: [right, up]."
    )


class ShellForm(Form):
    """A diffusing cone or tent over the sheet."""

    name: str = Field(description="Unique in the rig.")
    shape: ShellShape = Field(
        default="cone", description="A cone with its top cut off, or a tent (box)."
    )
    centre_mm: Point = Field(default=[0.0, 0.0, 0.0], description="Middle of its foot.")
    foot_width_mm: float = Field(
        default=400.0, description="Width at the foot; of a cone, diameter."
    )
    foot_depth_mm: float = Field(default=400.0, description="Depth of a tent's foot.")
    top_width_mm: float = Field(
        default=100.0, description="Diameter of the opening for the camera; 0 closes a tent."
    )
    height_mm: float = Field(default=400.0, description="Height.")
    reflectance: Channels = Field(
        default=[0.45, 0.45, 0.45], description="Share of light given back."
    )
    transmittance: Channels = Field(
        default=[0.45, 0.45, 0.45], description="Share of light let through."
    )


class PropForm(Form):
    """A stand, a box or any body that hides light."""

    name: str = Field(description="Unique in the rig.")
    shape: PropShape = Field(
        default="post", description="A round post, a box, or a mesh of triangles from a file."
    )
    position_mm: Point = Field(description="Middle of its foot: [right, away, up].")
    turn_deg: float = Field(default=0.0, description="Turn to the left, seen from above.")
    width_mm: float = Field(default=30.0, description="Width of a box, diameter of a post.")
    depth_mm: float | None = Field(default=None, description="Depth of a box; none: as its width.")
    height_mm: float = Field(default=500.0, description="Height of a box or post.")
    reflectance: Channels = Field(
        default=[0.04, 0.04, 0.04], description="Share of light it gives back, 0 to 1."
    )
    file: str | None = Field(
        default=None, description="Mesh beside the rig file: .stl, .obj or .ply."
    )
    unit_mm: float = Field(
        default=1.0, description="Millimetres in one unit of the mesh file: 1000 for metres."
    )


class ProbeForm(Form):
    """Surroundings from an equirectangular picture."""

    file: str = Field(description="Picture beside the rig file: .hdr, .exr or .npy.")
    scale_cd_m2: float = Field(
        default=1.0, description="Luminance of one unit of the picture, cd/m2."
    )
    turn_deg: float = Field(default=0.0, description="Turn to the left, seen from above.")


class TableForm(Form):
    """The table top."""

    width_mm: float = Field(default=1200.0, description="Width.")
    depth_mm: float = Field(default=800.0, description="Depth.")
    reflectance: Channels = Field(default=[0.4, 0.4, 0.4], description="Share of light given back.")
    drop_mm: float = Field(default=1.0, description="Table top below the sheet.")


class WallsForm(Form):
    """Four walls, floor and ceiling, centred on the sheet."""

    width_mm: float = Field(default=4000.0, description="Width of the room.")
    depth_mm: float = Field(default=4000.0, description="Depth of the room.")
    ceiling_mm: float = Field(default=1700.0, description="Ceiling above the sheet.")
    floor_mm: float = Field(default=750.0, description="Floor below the sheet.")
    wall_reflectance: Channels = Field(default=[0.5, 0.5, 0.5], description="Of the walls.")
    ceiling_reflectance: Channels = Field(default=[0.7, 0.7, 0.7], description="Of the ceiling.")
    floor_reflectance: Channels = Field(default=[0.2, 0.2, 0.2], description="Of the floor.")


class ReachForm(Form):
    """How high and how far things can stand (for planning)."""

    lowest_mm: float = Field(default=0.0, description="Lowest height above the sheet.")
    highest_mm: float = Field(default=1600.0, description="Greatest height above the sheet.")
    farthest_mm: float = Field(
        default=1800.0, description="Greatest distance from the sheet's middle."
    )


class RoomForm(Form):
    """Everything around the rig."""

    ambient_cd_m2: Channels = Field(
        default=[0.0, 0.0, 0.0],
        description="Luminance of the surroundings, cd/m2; 0 is a dark room.",
    )
    has_table: bool = Field(default=True, description="false leaves the table out of the scene.")
    probe: ProbeForm | None = Field(default=None, description="Surroundings from a picture.")
    table: TableForm = Field(default=TableForm(), description="What the sheet lies on.")
    walls: WallsForm | None = Field(default=None, description="Walls; none: nothing there.")
    reach: ReachForm = Field(default=ReachForm(), description="Limits for planning.")
