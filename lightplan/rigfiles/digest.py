"""A fingerprint of a rig: the same for the same rig, however its file is written."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping
from typing import Any

import numpy as np

from lightplan.scene import Camera, Card, Foil, Lamp, Output, Paper, Rig

_NAMES_OF_FILES = {"artwork_file", "file"}  # what they hold counts, not where it lies
_WISHES = {"locked", "states_equivalent"}  # what is planned and how it is said, not what stands
# Newer fields count only where they are used, so that the digests in older plans hold.
_NEWER = {
    (Foil, "relief"),
    (Paper, "waviness"),
    (Paper, "film"),
    (Output, "lumens_per_watt"),
    (Lamp, "held"),
    (Lamp, "depth_mm"),
    (Card, "held"),
    (Camera, "held"),
    (Camera, "tone_curve"),
}


def rig_digest(rig: Rig) -> str:
    """Return the sha256 of everything in the rig, pictures included, as 64 hex digits."""
    text = json.dumps(_canonical(rig), sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _canonical(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            f.name: _canonical(getattr(value, f.name))
            for f in dataclasses.fields(value)
            if f.name not in _NAMES_OF_FILES | _WISHES
            and not ((type(value), f.name) in _NEWER and getattr(value, f.name) == f.default)
        }
    if isinstance(value, np.ndarray):
        content = np.ascontiguousarray(value, dtype="<f8") + 0.0  # no negative zeros
        return [list(content.shape), hashlib.sha256(content.tobytes()).hexdigest()]
    if isinstance(value, Mapping):
        return {str(name): _canonical(v) for name, v in value.items()}
    if isinstance(value, list | tuple):
        return [_canonical(v) for v in value]
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value) + 0.0
    return value
