"""The light's loops are compiled before anything else, once on each computer, and it is said."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.compiled import first_use_words, remember_use
from lightplan.light import Detail, layers_of
from lightplan.light.warming import warm_beside
from lightplan.progress import Progress, Watch

if TYPE_CHECKING:
    from collections.abc import Callable

    from lightplan.scene import Rig


def begin_light(say: Callable[[str], None]) -> None:
    """Say that light is followed, or compiled first: then a second process compiles half of it.

    Whoever calls this follows light next, and notes that it is done (`remember_use`).
    """
    words = first_use_words()
    if words is not None:
        warm_beside()
    say(words or "following the light")


def first_light(rig: Rig, watch: Watch) -> None:
    """Compile the light's loops on a computer where nobody has yet; else do nothing.

    For work that several processes do at once: each would compile the same for itself, half
    a minute in which nothing is said. The rig's own light, roughly, asks for what they need.
    """
    words = first_use_words()
    if words is None:
        return
    watch(Progress(stage=words))
    warm_beside()
    layers_of(rig, Detail.quick())
    remember_use()
