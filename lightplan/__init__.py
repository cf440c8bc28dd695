"""Plan, predict and judge the light for photographs of flat metallic goods.

Examples
--------
>>> import lightplan
>>> rig = lightplan.load_rig("silver-bookplate-bright")
>>> rig.rig.look.kind
'bright field'
"""

from __future__ import annotations

from lightplan.version import __version__

# As typing has it, which is not imported: it takes most of the time in which the command line
# cannot yet heed Ctrl-C.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from lightplan.planning.result import NoPlan as NoPlan
    from lightplan.planning.result import Plan as Plan
    from lightplan.rigfiles import LoadedRig as LoadedRig
    from lightplan.rigfiles import load_rig as load_rig
    from lightplan.tasks.advise import Advice as Advice
    from lightplan.tasks.advise import advise as advise
    from lightplan.tasks.plan import plan as plan
    from lightplan.tasks.predict import Prediction as Prediction
    from lightplan.tasks.predict import predict as predict
    from lightplan.tasks.score import SetScore as SetScore
    from lightplan.tasks.score import score_photos as score_photos

# Loaded when first used: `lightplan --help` must not wait for numpy.
_WHERE = {
    "LoadedRig": "lightplan.rigfiles",
    "load_rig": "lightplan.rigfiles",
    "Advice": "lightplan.tasks.advise",
    "advise": "lightplan.tasks.advise",
    "NoPlan": "lightplan.planning.result",
    "Plan": "lightplan.planning.result",
    "plan": "lightplan.tasks.plan",
    "SetScore": "lightplan.tasks.score",
    "score_photos": "lightplan.tasks.score",
    "Prediction": "lightplan.tasks.predict",
    "predict": "lightplan.tasks.predict",
}

__all__ = [
    "Advice",
    "LoadedRig",
    "NoPlan",
    "Plan",
    "Prediction",
    "SetScore",
    "__version__",
    "advise",
    "load_rig",
    "plan",
    "predict",
    "score_photos",
]


def __getattr__(name: str) -> Any:
    """Return a public name, importing its module."""
    if name in _WHERE:
        import importlib

        return getattr(importlib.import_module(_WHERE[name]), name)
    raise AttributeError(f"module 'lightplan' has no attribute {name!r}")
