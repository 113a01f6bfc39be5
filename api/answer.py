"""Answer: frozen values of econ and of the doors as JSON-ready data, and the JSON Schemas that hold for it.

Money and other decimals are text ("138.40"), never floating-point numbers.
"""

from __future__ import annotations

from functools import cache
from typing import Any

from pydantic import TypeAdapter
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

DECIMAL_PATTERN = r"^-?[0-9]+(\.[0-9]+)?$"


class _Schema(GenerateJsonSchema):
    """Decimals as they are really written: plain digits, no exponent."""

    def decimal_schema(self, schema: core_schema.DecimalSchema) -> JsonSchemaValue:
        return {"type": "string", "pattern": DECIMAL_PATTERN}


@cache
def _adapter(kind: type) -> TypeAdapter[Any]:
    return TypeAdapter(kind)


def to_json(value: object) -> dict[str, Any]:
    """Return a frozen dataclass as JSON-ready data."""
    kind: Any = type(value)
    answer: dict[str, Any] = _adapter(kind).dump_python(value, mode="json")
    return answer


def schema_of(kind: type, ref_template: str = "#/$defs/{model}") -> dict[str, Any]:
    """Return the JSON Schema of what `to_json` gives for a class."""
    return _adapter(kind).json_schema(mode="serialization", ref_template=ref_template, schema_generator=_Schema)
