"""Where no plan keeps all limits: the smallest changes of the wish that could help."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lightplan.errors import RigError
from lightplan.scene import Freedom, Rig
from lightplan.scene.clearance import camera_fits
from lightplan.scene.dimensions import value_of
from lightplan.scene.edits import Remove, edited

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.scene.clearance import Limit
    from lightplan.scene.rig import Dimension

_STEPS_MM = (100.0, 300.0)
_PLACES: tuple[Dimension, ...] = ("z_mm", "y_mm", "x_mm")


@dataclass(frozen=True, eq=False)
class Wish:
    """A rig with a changed wish, and what changed, in one sentence."""

    rig: Rig
    sentence: str


def wishes(rig: Rig, in_the_way: tuple[Limit, ...]) -> Iterator[Wish]:
    """Yield changed wishes, the smallest first.

    More room for the elements in the way, then the camera higher, then doing without
    one of them.
    """
    elements = _elements(rig, in_the_way)
    for step in _STEPS_MM:
        for element in elements:
            yield _more_room(rig, (element,), step)
        if len(elements) > 1:
            yield _more_room(rig, tuple(elements), step)
    yield from _camera_up(rig)
    for element in elements:
        without = _left_out(rig, element)
        if without is not None:
            yield without


def _elements(rig: Rig, in_the_way: tuple[Limit, ...]) -> list[str]:
    known = set(rig.element_names())
    found: list[str] = []
    for limit in in_the_way:
        found += [e for e in limit.elements if e in known and e not in found]
    return found


def _more_room(rig: Rig, elements: tuple[str, ...], step: float) -> Wish:
    """Let elements go `step` further than allowed, in every direction."""
    for element in elements:
        rig = _widened(rig, element, step)
    return Wish(rig, f"let {_listed(elements)} move {step:.0f} mm further than you allowed")


def _listed(names: tuple[str, ...]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def _widened(rig: Rig, element: str, step: float) -> Rig:
    others = [f for f in rig.freedoms if not (f.element == element and f.dimension in _PLACES)]
    widened = []
    for dimension in _PLACES:
        try:
            now = value_of(rig, element, dimension)
        except RigError:
            continue
        old = [f for f in rig.freedoms if f.element == element and f.dimension == dimension]
        low = min([now] + [f.low for f in old]) - step
        high = max([now] + [f.high for f in old]) + step
        if dimension == "z_mm":
            low = max(low, 5.0)
        widened.append(Freedom(element=element, dimension=dimension, low=low, high=high))
    return replace(rig, freedoms=(*others, *widened))


def _camera_up(rig: Rig) -> Iterator[Wish]:
    place = rig.camera.placement
    for factor in (1.25, 1.6):
        x, y, z = (factor * v for v in place.position_mm)
        camera = replace(rig.camera, placement=replace(place, position_mm=(x, y, z)))
        words = f"move the camera back along its view until its lens is {z:.0f} mm high"
        wished = replace(rig, camera=camera)
        if camera_fits(wished):
            yield Wish(wished, words)


def _left_out(rig: Rig, element: str) -> Wish | None:
    lamps = tuple(x for x in rig.lamps if x.name != element)
    if not lamps and rig.lamps:
        return None
    return Wish(edited(rig, Remove(element)), f"do without {element}")
