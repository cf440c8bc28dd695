"""A small rig whose glare map is known on paper: a card over the right half of the mirror view."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from lightplan.light import Detail, Engine
from lightplan.light.exposure import exposure_of, sheet_picture, sheet_share
from lightplan.measures import SheetMaps, find_faults, judge, measure
from lightplan.scene import (
    Camera,
    Card,
    Exposure,
    Flatness,
    Foil,
    Lamp,
    Look,
    Output,
    Placement,
    Rig,
    Room,
    Sheet,
    Side,
)

DETAIL = Detail(
    sheet_long_side=81, camera_rows=60, camera_cols=90, cells=4, direct_long_side=13,
    bounce_long_side=7, lamp_spots=13, cell_lamp_spots=8, penumbra_spots=0, sky_rays=34,
    cell_sky_rays=13, foil_rays=20_000, foil_spots=16, mirror_rounds=1,
)  # fmt: skip


def half_card_rig(*, paper_level: float = 0.3, title: str = "half a card") -> Rig:
    """Return a rig whose camera at (0, -600, 600) sees a card in the right half of the foil.

    The lens's mirror image lies at (0, -600, -600); from there the plane y = 300 through the
    card is hit at z of about 300, and x = 0 on the sheet maps to x = 0 on the card.
    """
    artwork = np.zeros((60, 80))
    artwork[10:50, 10:70] = 1.0
    return Rig(
        title=title,
        look=Look(kind="bright field"),
        sheet=Sheet(
            width_mm=120, height_mm=90, artwork=artwork, flatness=Flatness(),
            foil=Foil(kind="silver foil", roughness=(0.02, 0.02)),
        ),
        camera=Camera(
            placement=Placement((0, -600, 600)),
            exposure=Exposure(paper_level=paper_level, foil_level=100),
        ),
        lamps=(
            Lamp(
                name="key", placement=Placement((200, 50, 500), (200, 300, 300)),
                width_mm=150, height_mm=150,
                output=Output(value=2000, unit="cd/m2"),
            ),
        ),
        cards=(
            Card(
                name="right board", placement=Placement((200, 300, 300), (200, -300, 300)),
                width_mm=400, height_mm=500, front=Side(reflectance=(0.8, 0.8, 0.8)),
            ),
        ),
        room=Room(table=None),
    )  # fmt: skip


def predicted(rig: Rig) -> SimpleNamespace:
    """Return everything that the reports need of a rig."""
    layers = Engine(rig, DETAIL).layers(rig)
    share = sheet_share(rig, layers)
    maps = SheetMaps.from_linear(
        sheet_picture(rig, layers),
        share,
        width_mm=rig.sheet.width_mm,
        height_mm=rig.sheet.height_mm,
    )
    found = measure(maps, rig.look, rig.sheet.foil.kind)
    return SimpleNamespace(
        rig=rig,
        layers=layers,
        share=share,
        maps=maps,
        measures=found,
        judgement=judge(found, rig.look),
        findings=find_faults(maps, found, rig.look),
        settings=exposure_of(rig, layers),
    )


@pytest.fixture(scope="session")
def half_card() -> SimpleNamespace:
    return predicted(half_card_rig())


@pytest.fixture(scope="session")
def overexposed() -> SimpleNamespace:
    return predicted(half_card_rig(paper_level=1.6))


@pytest.fixture(scope="session")
def predict_rig():
    return predicted


@pytest.fixture(scope="session")
def build_rig():
    return half_card_rig
