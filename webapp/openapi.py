"""The JSON interface described for other programs, as OpenAPI 3.1 has it (spec.openapis.org/oas/v3.1.1)."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.metadata import version
from typing import Any

from pydantic import BaseModel

from valuation import Problem, Quote, QuoteRequest
from webapp.sheet_copy import HOUSES, SELLERS

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
COUNTER_FIGURES = ("specific_gravity", "mass_g", "volume_cm3", "native_gold_g", "fine_gold_g", "melt_value")


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
        "paths": {"/api/quote": {"post": quoting}, **_looked_at(schemas)},
        "components": {"schemas": schemas},
    }


def _looked_at(schemas: dict[str, Any]) -> dict[str, Any]:
    """What the pages offer as JSON too: it only looks, and is answered to this machine's own programs and pages."""
    figures = {name: {"anyOf": [_ref("Summary"), {"type": "null"}]} for name in COUNTER_FIGURES}
    section = {"type": ["object", "null"]}
    rows = {"type": "array", "items": {"type": "object"}}
    named = {"title": {"type": "string"}, "currency": {"type": "string"}, "spot": {"type": "object"}}
    schemas["CounterView"] = _object(**named, weighing=section, refiner=section, settlement=rows, **figures)
    for name, form in (("SellersCopy", SELLERS), ("HousesCopy", HOUSES)):
        schemas[name] = _object(form={"const": form}, digest={"type": "string"})
    schemas["Description"] = _object(openapi={"type": "string"}, paths={"type": "object"})
    copies = "/sheets/{sheet}/{revision}"
    return {
        "/api/openapi.json": _reading("description", "This description", "Description"),
        "/quotes/{name}/counter.json": _reading("counterView", "What is turned to the seller", "CounterView"),
        f"{copies}/offer-sheet.json": _reading("sellersCopy", "The seller's copy of an offer sheet", "SellersCopy"),
        f"{copies}/house-copy.json": _reading("housesCopy", "The house's copy of an offer sheet", "HousesCopy"),
    }


def _reading(name: str, summary: str, schema: str) -> dict[str, Any]:
    parts = {"counterView": ("name",), "sellersCopy": ("sheet", "revision"), "housesCopy": ("sheet", "revision")}
    kinds = {"revision": {"type": "integer", "minimum": 0}}
    text = {"type": "string"}
    asked = [
        {"name": part, "in": "path", "required": True, "schema": kinds.get(part, text)} for part in parts.get(name, ())
    ]
    page = {"content": {"text/html": {"schema": text}}}
    answers = {"200": _answer(summary + ".", schema), "403": {"description": "From another page.", **page}}
    if asked:
        answers["404"] = {"description": "There is no such thing.", **page}
    if name == "counterView":
        answers["422"] = {"description": "Something is still missing or wrong in this quote.", **page}
    return {"get": {"operationId": name, "summary": summary, "parameters": asked, "responses": answers}}


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
