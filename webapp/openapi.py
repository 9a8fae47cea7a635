"""The JSON interface described for other programs, as OpenAPI 3.1 has it (spec.openapis.org/oas/v3.1.1)."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.metadata import version
from typing import Any

from pydantic import BaseModel

from valuation import Problem, Quote, QuoteRequest

_REF = "#/components/schemas/{model}"
# What pydantic leaves as it is inside of a choice, and what the fields of the request say besides JSON Schema.
_RENAMED = {
    "gt": "exclusiveMinimum",
    "ge": "minimum",
    "lt": "exclusiveMaximum",
    "le": "maximum",
    "unit": "x-unit",
    "assumed": "x-assumed",
}


@cache
def description() -> dict[str, Any]:
    """The whole description; it is the same for every copy of this version."""
    schemas: dict[str, Any] = {}
    _take(schemas, QuoteRequest, "validation")
    _take(schemas, Quote, "serialization")
    _take(schemas, Problem, "serialization")
    schemas["Spread"] = _spread(schemas["Spread"])
    schemas["Problems"] = _object(problems={"type": "array", "items": _ref("Problem")})
    schemas["Error"] = _object(error={"type": "string"}, message={"type": "string"})
    asked = {"required": True, "content": {"application/json": {"schema": _ref("QuoteRequest")}}}
    answers = {
        "200": _answer("The quote.", "Quote"),
        "400": _answer("Not one JSON object in UTF-8.", "Error"),
        "403": _answer("From a page of another address.", "Error"),
        "413": _answer("Larger than 256 kB.", "Error"),
        "415": _answer("Not sent as application/json.", "Error"),
        "422": _answer("Every problem, with its field and what to do.", "Problems"),
    }
    quoting = {"operationId": "quote", "summary": "Quote one specimen", "requestBody": asked, "responses": answers}
    return {
        "openapi": "3.1.1",
        "info": {
            "title": "Lodeworth",
            "version": version("lodeworth"),
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        "paths": {"/api/quote": {"post": quoting}},
        "components": {"schemas": schemas},
    }


def _take(schemas: dict[str, Any], model: type[BaseModel], mode: Any) -> None:
    found = model.model_json_schema(mode=mode, ref_template=_REF)
    inner = found.pop("$defs", {})
    for name, schema in {**inner, model.__name__: found}.items():
        schemas[name] = _standard(schema)


def _standard(schema: Any) -> Any:
    """The schema with no keyword but those of JSON Schema and of extensions."""
    if isinstance(schema, list):
        return [_standard(one) for one in schema]
    if not isinstance(schema, Mapping):
        return schema
    return {
        _RENAMED.get(key, key): {name: _standard(one) for name, one in value.items()}
        if key == "properties"
        else value
        if key in ("default", "enum", "const", "examples")
        else _standard(value)
        for key, value in schema.items()
    }


def _spread(as_table: dict[str, Any]) -> dict[str, Any]:
    words = {key: as_table.pop(key) for key in ("title", "description")}
    return {**words, "anyOf": [{"type": "number"}, {"type": "string"}, as_table]}


def _object(**properties: Any) -> dict[str, Any]:
    return {"type": "object", "properties": properties, "required": list(properties)}


def _answer(words: str, schema: str) -> dict[str, Any]:
    return {"description": words, "content": {"application/json": {"schema": _ref(schema)}}}


def _ref(name: str) -> dict[str, str]:
    return {"$ref": _REF.format(model=name)}
