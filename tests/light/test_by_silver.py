"""Lamps that narrow foil sees in silver: by its rays, and by ways drawn from silver's facets."""

from dataclasses import replace

import numpy as np
import pytest

from lightplan.light import Detail, Engine, by_silver
from lightplan.scene import Camera, Card, Foil, Lamp, Output, Placement, Rig, Sheet, Side

SILVER = Side(finish="silver", roughness=0.15)
RIG = Rig(
    title="a bookplate",
    sheet=Sheet(width_mm=60, height_mm=50, foil=Foil(roughness=(0.02, 0.02))),
    camera=Camera(placement=Placement((0, -600, 700))),
    lamps=(
        Lamp(
            name="bulb",
            shape="bulb",
            placement=Placement((150, -100, 700), (0, 0, 0)),
            width_mm=60,
            height_mm=60,
            output=Output(value=90_000, unit="cd/m2"),
        ),
    ),
    cards=(
        Card(
            name="board",
            placement=Placement((0, 400, 420), (0, 0, 60)),
            width_mm=500,
            height_mm=700,
            front=SILVER,
            back=SILVER,
        ),
    ),
)
FEW = replace(Detail.quick(), foil_rays=60_000, foil_long_side=9)


def foil(detail):
    return Engine(RIG, detail).layers(RIG).sheet_foil[..., 1].astype(float)


def grain(layer):
    """Share of the mean that a layer is off a smooth one of second degree."""
    y, x = (v.ravel() for v in np.mgrid[-1 : 1 : layer.shape[0] * 1j, -1 : 1 : layer.shape[1] * 1j])
    terms = np.stack([1 + 0 * x, x, y, x * x, x * y, y * y], axis=1)
    left = layer.ravel() - terms @ np.linalg.lstsq(terms, layer.ravel(), rcond=None)[0]
    return float(np.sqrt(np.mean(left**2)) / layer.mean())


@pytest.fixture
def by_rays_alone(monkeypatch):
    monkeypatch.setattr(by_silver, "RARE", 0.0)


@pytest.fixture(scope="module")
def joined():
    return foil(FEW)


def test_what_rays_leave_is_brought_by_ways(joined, by_rays_alone):
    """Many rays alone find as much light as few together with the ways do."""
    many = foil(replace(FEW, foil_rays=6_000_000))
    assert joined.mean() == pytest.approx(many.mean(), rel=0.005)


def test_fewer_specks_are_left(joined, by_rays_alone):
    assert grain(joined) < 0.5 * grain(foil(FEW))


def test_ways_and_rays_are_shared_by_their_density():
    """Not joined: foil as rough as the silver, and lights without lamps."""
    rough = replace(RIG, sheet=replace(RIG.sheet, foil=Foil(roughness=(0.2, 0.2))))
    for rig in (rough, replace(RIG, lamps=())):
        assert np.isfinite(Engine(rig, FEW).layers(rig).sheet_foil).all()
