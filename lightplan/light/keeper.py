"""Engines kept from one question to the next.

Whoever wants light asks here instead of building an engine::

    layers = layers_of(rig, Detail.quick(), check=stop.check)

Each thread has engines of its own, one for every detail and sheet it works on, and those that
were not asked for longest go when they together outgrow the bound.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import TYPE_CHECKING

from lightplan.light.detail import Detail
from lightplan.light.engine import Check, Engine, go_on
from lightplan.light.kept import held_bytes

if TYPE_CHECKING:
    from collections.abc import Hashable

    from lightplan.light.layers import LampLayers, Layers
    from lightplan.scene.rig import Rig

MOST_BYTES = 600_000_000
"""What the engines of one thread may hold together; the one last asked may hold more."""


class Keeper:
    """Engines of one thread, the latest asked last.

    Parameters
    ----------
    most_bytes : int
        What they may hold together.
    """

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._most_bytes = most_bytes
        self._engines: OrderedDict[Hashable, Engine] = OrderedDict()

    def engine_for(self, rig: Rig, detail: Detail | None = None, *, check: Check = go_on) -> Engine:
        """Return an engine that stands at a rig, the one that was asked about its like if any.

        Rigs are alike when they share title and sheet size; between others an engine would
        have little to reuse.
        """
        detail = Detail() if detail is None else detail
        key = (detail, rig.title, rig.sheet.width_mm, rig.sheet.height_mm)
        known = self._engines.get(key)
        if known is not None:
            self._engines.move_to_end(key)
            known.set_rig(rig, check=check)
            return known
        engine = self._engines[key] = Engine(rig, detail, check=check)
        self._make_room()
        return engine

    def _make_room(self) -> None:
        sizes = {key: held_bytes(engine) for key, engine in self._engines.items()}
        total = sum(sizes.values())
        for key in list(self._engines)[:-1]:
            if total <= self._most_bytes:
                break
            del self._engines[key]
            total -= sizes[key]

    def clear(self) -> None:
        """Forget all engines."""
        self._engines.clear()

    def __len__(self) -> int:
        return len(self._engines)


class _Local(threading.local):
    def __init__(self) -> None:
        self.keeper = Keeper()


_local = _Local()


def keeper() -> Keeper:
    """Return the keeper of this thread."""
    return _local.keeper


def engine_for(rig: Rig, detail: Detail | None = None, *, check: Check = go_on) -> Engine:
    """Return this thread's engine for a rig, standing at it."""
    return keeper().engine_for(rig, detail, check=check)


def layers_of(rig: Rig, detail: Detail | None = None, *, check: Check = go_on) -> Layers:
    """Return everything that is predicted for a rig.

    Parameters
    ----------
    rig : Rig
    detail : Detail or None
        How finely to look; None: finely.
    check : callable
        Called between the steps; may raise, and the engine then stays as it was.
    """
    return engine_for(rig, detail, check=check).layers(rig, check=check)


def per_lamp_of(rig: Rig, detail: Detail | None = None, *, check: Check = go_on) -> LampLayers:
    """Return the sheet under each lamp alone at full power, and under the surroundings alone."""
    return engine_for(rig, detail, check=check).per_lamp(rig, check=check)
