"""A rig and its parts: frozen, validated when built."""

from lightplan.scene.camera import Body, Camera, Exposure
from lightplan.scene.cards import CARD_FINISHES, Card, Hole, Shell, Side
from lightplan.scene.holding import HOLDER_KINDS, Held, HolderKind, usually_held
from lightplan.scene.lamps import LAMP_SHAPES, OUTPUT_UNITS, AngularProfile, Lamp, Output
from lightplan.scene.look import LOOK_KINDS, Look
from lightplan.scene.placement import Placement
from lightplan.scene.probe import Probe
from lightplan.scene.props import PROP_SHAPES, Prop
from lightplan.scene.rig import DIMENSIONS, Freedom, Rig
from lightplan.scene.room import Reach, Room, Table, Walls
from lightplan.scene.sheet import (
    Conductor,
    Film,
    Flatness,
    Foil,
    Grating,
    Paper,
    Relief,
    Sheet,
    Waviness,
)

__all__ = [
    "CARD_FINISHES",
    "DIMENSIONS",
    "HOLDER_KINDS",
    "LAMP_SHAPES",
    "LOOK_KINDS",
    "OUTPUT_UNITS",
    "PROP_SHAPES",
    "AngularProfile",
    "Body",
    "Camera",
    "Card",
    "Conductor",
    "Exposure",
    "Film",
    "Flatness",
    "Foil",
    "Freedom",
    "Grating",
    "Held",
    "HolderKind",
    "Hole",
    "Lamp",
    "Look",
    "Output",
    "Paper",
    "Placement",
    "Probe",
    "Prop",
    "Reach",
    "Relief",
    "Rig",
    "Room",
    "Sheet",
    "Shell",
    "Side",
    "Table",
    "Walls",
    "Waviness",
    "usually_held",
]
