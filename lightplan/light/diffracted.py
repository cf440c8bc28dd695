"""Light of lamps that matte points, and silver, get by way of holographic foil.

What stays of the mirror is joined as by plain foil (`light.glints`). What its lines send on by
colour goes many ways, so even a small lamp reaches a point from a wide streak of the foil: point
and lamp are joined over places spread evenly on both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.ball import Ball
from lightplan.light.compiled import gratings
from lightplan.light.glints import kept_of, known_or_found
from lightplan.light.grating_orders import ORDERS, colours
from lightplan.light.known_ways import JoinedBy
from lightplan.optics import microfacet

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Integers, Singles
    from lightplan.light.emission import LampFace
    from lightplan.light.glints import Receivers
    from lightplan.light.known_ways import KnownWays
    from lightplan.light.mirror_face import MirrorFace
    from lightplan.light.mirrors import Mirrors
    from lightplan.optics.specular import SpecularCurve
    from lightplan.scene.sheet import Grating
    from lightplan.scene.surfaces import Surface

WAVELENGTHS = 21
FAINT = 1e-9  # of ways that bring less nothing is asked
ROOT = 1.1673039782614187  # of x^5 = x + 1: its powers spread points in four dimensions


def diffracted(
    receivers: Receivers,
    face: MirrorFace,
    grating: Grating,
    surfaces: Sequence[Surface],
    lamps: Sequence[LampFace],
    drawn: int,
    known: KnownWays | None = None,
) -> Singles:
    """Return what lamps of luminance 1 bring to points by a grating, (3, n, lamps).

    To mirrors: the luminance that they show their viewers. To matte points: that of white.
    `drawn` places for each point and lamp. Ways that are `known` are not looked for again.
    """
    n = len(receivers.points)
    total = np.zeros((3, n, len(lamps)), np.float32)
    for index, lamp in enumerate(lamps):
        look = partial(_ways_to, receivers, face, grating, surfaces, lamp, drawn)
        over = (drawn, surfaces[face.surface], surfaces[lamp.surface])
        ways = known_or_found(receivers, np.arange(n), surfaces, lamp, over, look, known)
        kept = kept_of(receivers, surfaces, lamp, ways, known)
        for channel in range(3):
            total[channel, :, index] = np.bincount(ways.row, kept[channel], n)
    return total


def _ways_to(
    receivers: Receivers,
    face: MirrorFace,
    grating: Grating,
    surfaces: Sequence[Surface],
    lamp: LampFace,
    drawn: int,
    rows: Integers,
) -> JoinedBy:
    """Return the ways to some of the points, whatever stands in them."""
    some = receivers if len(rows) == len(receivers.points) else receivers.some(rows)
    ways = _Ways.between(some, face, surfaces, lamp, drawn)
    shown = _sent_on(ways, face, grating) * ways.brings[:, None]
    if some.curve is not None and some.views is not None:
        shown *= _silver(some, some.views, some.curve, ways)
    weight = np.ascontiguousarray(shown.T, np.float32)
    return JoinedBy.whole(rows[ways.row], ways.mirrors.points, ways.ends, weight)


@dataclass(frozen=True, eq=False)
class _Ways:
    """m ways from points over places of a mirror to places of a lamp.

    Parameters
    ----------
    row : (m,) int
        Whose way it is.
    mirrors : Mirrors
        The places, viewed from the points.
    ends, light : (m, 3) float
        On the lamp, and the direction there from the place.
    brings : (m,) float
        What light that the place sends on wholly, each part of its solid angle, counts.
    """

    row: Integers
    mirrors: Mirrors
    ends: Doubles
    light: Doubles
    brings: Doubles

    @classmethod
    def between(
        cls,
        receivers: Receivers,
        face: MirrorFace,
        surfaces: Sequence[Surface],
        lamp: LampFace,
        drawn: int,
    ) -> _Ways:
        """Return the ways between points and a lamp that bring anything."""
        row = np.repeat(np.arange(len(receivers.points)), drawn)
        turn = np.repeat(receivers.numbers, drawn) * drawn + np.tile(
            np.arange(drawn), len(row) // drawn
        )
        square = (0.5 + (turn[:, None] + 1.0) / ROOT ** np.arange(1, 5)) % 1.0
        places, normals, size = face.places(surfaces, square[:, :2])
        ends, facing, bright = _on_lamp(lamp, places, square[:, 2:])
        towards, light = receivers.points[row] - places, ends - places
        near, far = (np.linalg.norm(v, axis=1) for v in (towards, light))
        views = towards / np.maximum(near, 1.0)[:, None]
        light = light / np.maximum(far, 1.0)[:, None]
        arrive = -np.sum(views * receivers.frames[row, 2], axis=1)
        leave, sent = np.sum(views * normals, axis=1), -np.sum(light * facing, axis=1)
        up = np.sum(light * normals, axis=1)
        seen = np.minimum.reduce([arrive, leave, sent, up]) > 1e-5
        brings = leave * size / (np.maximum(near, 1.0) ** 2 * drawn)
        if receivers.views is None:
            brings = brings * arrive / np.pi
        brings = brings * sent * bright / np.maximum(far, 1.0) ** 2
        kept = np.flatnonzero(seen & (brings > FAINT))
        mirrors = face.mirrors(places[kept], normals[kept], views[kept])
        return cls(row[kept], mirrors, ends[kept], light[kept], brings[kept])


def _silver(receivers: Receivers, views: Doubles, curve: SpecularCurve, ways: _Ways) -> Singles:
    """Return what mirrors show their viewers (m, 3) of light of 1 per solid angle from places."""
    come = np.einsum("mac,mc->ma", receivers.frames[ways.row], -ways.mirrors.views)
    view, (ax, ay) = views[ways.row], receivers.roughness
    half = come + view
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    shape = (half[:, 0] / ax) ** 2 + (half[:, 1] / ay) ** 2 + half[:, 2] ** 2
    masks = microfacet.g1(come[:, 0], come[:, 1], come[:, 2], ax, ay)
    masks = masks * microfacet.g1(view[:, 0], view[:, 1], view[:, 2], ax, ay)
    lobe = masks / (4.0 * np.pi * ax * ay * shape**2 * np.maximum(view[:, 2], 1e-4))
    seen = np.clip(np.sum(half * view, axis=1), 0.0, 1.0)
    return np.asarray(lobe[:, None] * curve.evaluate(seen), np.float32)


def _on_lamp(lamp: LampFace, places: Doubles, square: Doubles) -> tuple[Doubles, Doubles, Doubles]:
    """Return places (m, 3) of a lamp, which way they face, and its area for each.

    Of a ball, those of the disk within its outline stand for it.
    """
    face = lamp.shape
    if isinstance(face, Ball):
        back = places - np.asarray(face.centre)
        far = np.linalg.norm(back, axis=1, keepdims=True)
        back = back / far
        first = np.cross(back, [0.0, 0.0, 1.0])
        first = first / np.maximum(np.linalg.norm(first, axis=1, keepdims=True), 1e-9)
        smaller = 1.0 - (face.radius / np.maximum(far, face.radius)) ** 2
        out, angle = face.radius * np.sqrt(square[:, :1] * smaller), 2 * np.pi * square[:, 1:]
        across = np.cos(angle) * first + np.sin(angle) * np.cross(back, first)
        middle = np.asarray(face.centre) + face.radius**2 / far * back
        return middle + out * across, back, math.pi * face.radius**2 * smaller[:, 0]
    if face.is_round:
        out, angle = np.sqrt(square[:, 0]), 2 * np.pi * square[:, 1]
        flat = np.stack([out * np.cos(angle), out * np.sin(angle)], axis=1)
        area = math.pi * face.half_width * face.half_height
    else:
        flat, area = 2.0 * square - 1.0, 4.0 * face.half_width * face.half_height
    flat = flat * [face.half_width, face.half_height]
    ends = np.asarray(face.centre) + flat @ np.array([face.right, face.up])
    return ends, np.broadcast_to(face.normal, ends.shape), np.asarray(area)


def _sent_on(ways: _Ways, face: MirrorFace, grating: Grating) -> Singles:
    """Return the share (m, 3) of light, per solid angle, that each place sends on to its point."""
    mirrors = ways.mirrors
    view, light = (
        np.ascontiguousarray(mirrors.to_local(v[:, None])[:, 0])
        for v in (mirrors.views, ways.light)
    )
    across = grating.direction_rad - face.turn
    wavelengths, colour = colours(WAVELENGTHS)
    found = np.zeros((len(view), 3), np.float32)
    gratings.diffracted(
        view,
        light,
        np.array(face.roughness, np.float32),
        np.array([math.cos(across), math.sin(across)], np.float32),
        np.outer([*ORDERS], wavelengths * 1e-6 * grating.lines_per_mm).astype(np.float32),
        np.array([*ORDERS.values()], np.float32),
        np.ascontiguousarray(colour.T, np.float32),
        found,
    )
    found *= face.curve.evaluate(view[:, 2])
    masks = microfacet.g1(light[:, 0], light[:, 1], light[:, 2], *face.roughness)
    return np.asarray(found * masks[:, None] * grating.strength, np.float32)
