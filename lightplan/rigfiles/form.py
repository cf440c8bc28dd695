"""What all tables of the rig file have in common, and the kinds of value they take."""

from __future__ import annotations

from typing import Annotated, Any, TypeAlias

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from lightplan.optics.materials import FOIL_KINDS


def _repeat(count: int) -> BeforeValidator:
    def spread(value: Any) -> Any:
        number = isinstance(value, int | float) and not isinstance(value, bool)
        return [value] * count if number else value

    return BeforeValidator(spread)


def _numbers_schema(count: int) -> WithJsonSchema:
    number = {"type": "number"}
    array = {"type": "array", "items": number, "minItems": count, "maxItems": count}
    return WithJsonSchema({"anyOf": [number, array]})


Point: TypeAlias = Annotated[list[float], Field(min_length=3, max_length=3)]
Pair: TypeAlias = Annotated[list[float], Field(min_length=2, max_length=2)]
Channels: TypeAlias = Annotated[
    list[float], Field(min_length=3, max_length=3), _repeat(3), _numbers_schema(3)
]
Roughness: TypeAlias = Annotated[
    list[float], Field(min_length=2, max_length=2), _repeat(2), _numbers_schema(2)
]
FoilKind: TypeAlias = Annotated[str, WithJsonSchema({"type": "string", "enum": list(FOIL_KINDS)})]


class Form(BaseModel):
    """Base of every table of the file: no unknown fields, no guessing of types."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)
