"""Tables of the rig file that describe camera, lamps, cards and room.

The numbers are checked by the scene when it is built from these; here only the form is:
which fields there are and what kind of value each takes.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from lightplan.optics.photometry import OutputUnit
from lightplan.rigfiles.form import Channels, Form, Pair, Point
from lightplan.scene.cards import CardFinish, ShellShape
from lightplan.scene.holding import HolderKind
from lightplan.scene.lamps import LampShape
from lightplan.scene.props import PropShape


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
    paper_level: float | None = Field(
        default=None,
        description="Without settings: level of the brightest paper, 1 is clipping; none: as "
        "light as the stock is.",
    )
    foil_level: float = Field(
        default=0.9,
        description="Without settings: the most the brightest foil may reach, 1 is clipping.",
    )


class HeldForm(Form):
    """What something is held by, how low and high that goes, and whether planning may touch it."""

    held: HolderKind | None = Field(default=None, description="What holds it; none: not said.")
    lowest_mm: float | None = Field(
        default=None, description="Least height of its middle where it is held; none: as usual."
    )
    highest_mm: float | None = Field(
        default=None, description="Greatest height of its middle there; none: as usual."
    )
    locked: bool = Field(default=False, description="true: planning leaves it as it is.")


class CameraForm(HeldForm):
    """Where the camera is and what it sees."""

    position_mm: Point = Field(description="The lens: [right, away, up] from the sheet's middle.")
    aim_mm: Point = Field(
        default=[0.0, 0.0, 0.0], description="The point in the middle of the picture."
    )
    roll_deg: float = Field(default=0.0, description="Turn about the line of sight.")
    focal_length_mm: float | None = Field(
        default=None, description="As on the lens; none: 50, or from its 35 mm equivalent."
    )
    equivalent_focal_length_mm: float | None = Field(
        default=None, description="35 mm equivalent, as phones state it, by the diagonal."
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
    tone_curve: Literal["plain", "phone"] | None = Field(
        default=None,
        description="How its pictures show tones: none goes by the size of the sensor.",
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


class LampForm(HeldForm):
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
    watts: float | None = Field(
        default=None, description="Of an LED, instead of output: the power it draws."
    )
    lumens_per_watt: Pair | None = Field(
        default=None, description="What each watt gives, [least, most]; none: [50, 110]."
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
    depth_mm: float | None = Field(
        default=None, description="From its lit face to its back; none: as usual for its size."
    )


class CardForm(HeldForm):
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
    locked: bool = Field(default=False, description="true: planning leaves it as it is.")


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
