"""Plan, predict and judge the light for photographs of flat metallic goods.

Examples
--------
>>> import lightplan
>>> rig = lightplan.load_rig("silver-bookplate-bright")
>>> rig.rig.look.kind
'bright field'
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from lightplan.presets import LoadedRig as LoadedRig
    from lightplan.presets import load_rig as load_rig
    from lightplan.tasks.predict import Prediction as Prediction
    from lightplan.tasks.predict import predict as predict

# Loaded when first used: `lightplan --help` must not wait for numpy.
_WHERE = {
    "LoadedRig": "lightplan.presets",
    "load_rig": "lightplan.presets",
    "Prediction": "lightplan.tasks.predict",
    "predict": "lightplan.tasks.predict",
}

__all__ = ["LoadedRig", "Prediction", "__version__", "load_rig", "predict"]


def __getattr__(name: str) -> Any:
    """Return a public name, importing its module."""
    if name in _WHERE:
        return getattr(importlib.import_module(_WHERE[name]), name)
    raise AttributeError(f"module 'lightplan' has no attribute {name!r}")
