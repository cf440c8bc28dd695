"""Light transport: bounce light, the rays that the foil mirrors, and the layers they make."""

from lightplan.light.detail import Detail
from lightplan.light.engine import Engine
from lightplan.light.keeper import engine_for, layers_of, per_lamp_of
from lightplan.light.layers import LampLayers, Layers

__all__ = ["Detail", "Engine", "LampLayers", "Layers", "engine_for", "layers_of", "per_lamp_of"]
