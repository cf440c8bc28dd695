"""What a holographic foil shows of lamps, against a plain quadrature over facets and colours.

Sources: the grating equation in its conical form (C. Palmer, "Diffraction Grating Handbook",
8th ed., section 2.1); facets by the GGX distribution with Smith's masking (Walter, Marschner, Li
and Torrance, EGSR 2007); colours by CIE 1931 functions and D65 from the reference library
colour-science. Nothing of the engine is used but the shares of the orders.
"""

from __future__ import annotations

import math
from itertools import product

import colour
import numpy as np
import pytest

from lightplan.light import Detail, Engine
from lightplan.light.grating_orders import LONGEST_NM, ORDERS, SHORTEST_NM
from lightplan.scene import (
    Camera,
    Conductor,
    Foil,
    Grating,
    Lamp,
    Output,
    Placement,
    Rig,
    Room,
    Sheet,
)

EYE = np.array([30.0, -320.0, 420.0])
FACETS = 90
SPOTS = tuple(product((-60.0, 40.0), (-40.0, 40.0)))


def rig(lamp, *, roughness, lines=700.0, direction_deg=70.0):
    foil = Foil(
        conductor=Conductor(eta=(0.0,) * 3, k=(1.0,) * 3),
        roughness=(roughness, roughness),
        grating=Grating(
            lines_per_mm=lines, direction_rad=math.radians(direction_deg), strength=1.0
        ),
    )
    return Rig(
        title="grating",
        lamps=(lamp,),
        room=Room(table=None),
        sheet=Sheet(width_mm=150.0, height_mm=105.0, foil=foil),
        camera=Camera(placement=Placement(tuple(EYE), (0.0, 0.0, 0.0))),
    )


def lamp(position, aim, width, height):
    return Lamp(
        name="panel",
        placement=Placement(position, aim),
        width_mm=width,
        height_mm=height,
        output=Output(value=1000.0, unit="cd/m2"),
    )


def colours(wavelengths):
    """What each wavelength gives to linear sRGB; a perfect white gives (1, 1, 1)."""
    shape = colour.SpectralShape(SHORTEST_NM, LONGEST_NM, 1)
    functions = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(shape)
    xyz = np.array([np.interp(wavelengths, shape.wavelengths, f) for f in functions.values.T]).T
    xyz *= np.interp(wavelengths, shape.wavelengths, light.values)[:, None]
    rgb = xyz @ colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB.T
    return rgb / rgb.sum(axis=0)


def smith(direction, alpha):
    """Share of facets that a direction sees, GGX with equal widths."""
    squared = (direction[..., 0] ** 2 + direction[..., 1] ** 2) / direction[..., 2] ** 2
    return 2.0 / (1.0 + np.sqrt(1.0 + alpha**2 * squared))


def facets(view, alpha):
    """Normals (n, 3) on an even grid over GGX's slopes, and their share as the eye sees them."""
    u = (np.arange(FACETS) + 0.5) / FACETS
    turn = 2 * np.pi * (np.arange(2 * FACETS) + 0.5) / (2 * FACETS)
    radius = alpha * np.sqrt(u / (1 - u))
    x, y = np.outer(radius, np.cos(turn)).ravel(), np.outer(radius, np.sin(turn)).ravel()
    normals = np.stack([-x, -y, np.ones_like(x)], axis=1)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    # each slope is as frequent as any other here; the eye sees it by its projected area
    seen = np.maximum(normals @ view, 0.0) / (normals[:, 2] * view[2]) * smith(view, alpha)
    return normals, seen / len(normals)


def sent(spot, view, panel, alpha, grating):
    """Luminance (3,) that a spot sends to the eye, by plain sums."""
    normals, share = facets(view, alpha)
    across = np.array([math.cos(grating.direction_rad), math.sin(grating.direction_rad), 0.0])
    first = across - (normals @ across)[:, None] * normals  # the lines lie in the facet
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    second = np.cross(normals, first)
    along = [np.sum(axis * view, axis=1) for axis in (first, second)]
    right, up, facing = panel.placement.axes()
    middle = np.asarray(panel.placement.position_mm)
    wavelengths = np.arange(SHORTEST_NM + 1, LONGEST_NM, 2)
    weights = colours(wavelengths)
    total = np.zeros(3)
    for order, part in ORDERS.items():
        for wavelength, weight in zip(wavelengths, weights, strict=True):
            kick = order * wavelength * 1e-6 * grating.lines_per_mm
            x, y = kick - along[0], -along[1]
            rest = 1.0 - x * x - y * y
            real = rest > 0
            z = np.sqrt(np.maximum(rest, 0.0))
            way = x[:, None] * first + y[:, None] * second + z[:, None] * normals
            real &= way[:, 2] > 1e-6
            denominator = way @ facing
            distance = ((middle - spot) @ facing) / np.where(denominator == 0, 1.0, denominator)
            off = spot + distance[:, None] * way - middle
            hit = real & (distance > 0) & (denominator < 0)
            hit &= np.abs(off @ right) <= panel.width_mm / 2
            hit &= np.abs(off @ up) <= panel.height_mm / 2
            if hit.any():
                brought = share[hit] @ smith(way[hit], alpha)
                total += part * weight * brought * panel.output.value
    return total


CASES = {
    "softbox behind": (lamp((-150.0, 420.0, 380.0), (0.0, 0.0, 0.0), 350.0, 250.0), 0.15),
    "small lamp, rough": (lamp((200.0, 250.0, 500.0), (0.0, 0.0, 0.0), 40.0, 40.0), 0.2),
    # a strip that few points stood for was seen by stray rays alone: up to twice too bright
    "strip, smoother": (lamp((0.0, 500.0, 300.0), (0.0, 0.0, 0.0), 600.0, 40.0), 0.08),
}


@pytest.mark.parametrize("name", CASES)
def test_lamps_in_a_grating_agree_with_a_quadrature(name):
    panel, alpha = CASES[name]
    made = rig(panel, roughness=alpha)
    # a fine grid to read from, for in a grating light changes within a millimetre
    detail = Detail(sheet_long_side=601, camera_rows=8, camera_cols=12)
    layers = Engine(made, detail).layers(made)
    ours, theirs = [], []
    for x, y in SPOTS:
        row = np.argmin(np.abs(layers.sheet_y_mm - y))
        col = np.argmin(np.abs(layers.sheet_x_mm - x))
        spot = np.array([layers.sheet_x_mm[col], layers.sheet_y_mm[row], 0.0])
        view = (EYE - spot) / np.linalg.norm(EYE - spot)
        theirs.append(sent(spot, view, panel, alpha, made.sheet.foil.grating))
        ours.append(layers.sheet_foil[row, col])
    off = (np.array(ours) - np.array(theirs)) / np.max(theirs)
    assert np.sqrt(np.mean(off**2)) < 0.006
    assert np.abs(off).max() < 0.015
