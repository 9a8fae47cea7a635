"""Reading a request: every refusal as a sentence beside its field."""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from valuation.errors import Problem, RequestRefused, shown
from valuation.request import QuoteRequest

_SENTENCES = {
    "missing": "needed here",
    "greater_than": "must be above {gt}",
    "greater_than_equal": "must be at least {ge}",
    "less_than": "must be below {lt}",
    "less_than_equal": "must be at most {le}",
    "finite_number": "a finite number is needed here",
    "float_type": "a number is needed here",
    "float_parsing": "that is not a number; write it like 412.60",
    "literal_error": "must be one of {expected}",
    "string_type": "text is needed here",
    "string_unicode": "text is needed here",
    "string_too_long": "too long: at most {max_length} characters",
    "string_pattern_mismatch": "must be a three-letter currency code in capitals, such as USD",
    "too_long": "too many: at most {max_length}",
    "too_short": "at least {min_length} needed",
    "bool_parsing": "must be yes or no (true or false)",
    "bool_type": "must be yes or no (true or false)",
    "timezone_aware": "needs its offset from UTC, such as 2026-03-14T10:24:00-07:00",
    "datetime_parsing": "must be a date and time such as 2026-03-14T10:24:00-07:00",
    "datetime_from_date_parsing": "must be a date and time such as 2026-03-14T10:24:00-07:00",
    "datetime_type": "must be a date and time such as 2026-03-14T10:24:00-07:00",
    "datetime_object_invalid": "must be a date and time such as 2026-03-14T10:24:00-07:00",
    "model_type": "a table of fields is needed here, not a single value",
    "model_attributes_type": "a table of fields is needed here, not a single value",
    "dict_type": "a table of fields is needed here",
    "tuple_type": "a list is needed here",
    "list_type": "a list is needed here",
}


def read_request(entered: Mapping[str, Any]) -> QuoteRequest:
    """Request from raw entries.

    Raises
    ------
    RequestRefused
        With every problem at once, each tied to its field.
    """
    try:
        return QuoteRequest.model_validate(dict(entered))
    except ValidationError as refused:
        raise RequestRefused(problems_of(refused)) from None


def problems_of(refused: ValidationError, model: type[BaseModel] = QuoteRequest) -> list[Problem]:
    """Problems named by a pydantic refusal, as sentences with dotted field paths."""
    errors = refused.errors(include_url=False)
    # A list of which an item is refused is also told to be too short: that is no second problem.
    inside = {error["loc"][:i] for error in errors for i in range(len(error["loc"]))}
    found = [_problem(e, model) for e in errors if e["type"] != "too_short" or e["loc"] not in inside]
    unique = {(p.field, p.message): p for p in found}
    return list(unique.values())


def _problem(error: Any, model: type[BaseModel]) -> Problem:
    context = error.get("ctx") or {}
    loc = [str(part) for part in error["loc"]]
    if "field" in context:
        loc += str(context["field"]).split(".")
    kind = error["type"]
    if kind == "extra_forbidden":
        message = _unknown_words(loc, model)
    elif kind in _SENTENCES and (kind != "missing" or error["msg"] == "Field required"):
        message = _filled(_SENTENCES[kind], context, error["msg"])
    else:
        message = error["msg"]
    entered = error.get("input")
    value = "" if kind == "missing" or isinstance(entered, dict | BaseModel) else shown(entered)
    return Problem(code=kind, field=".".join(loc), value=value, message=message)


def _filled(sentence: str, context: Mapping[str, Any], fallback: str) -> str:
    plain = {k: shown(float(v)) if k in ("gt", "ge", "lt", "le") else v for k, v in context.items()}
    try:
        return sentence.format(**plain)
    except (KeyError, ValueError):
        return fallback


def _unknown_words(loc: list[str], model: type[BaseModel]) -> str:
    parent = _model_at(loc[:-1], model)
    known = list(parent.model_fields) if parent is not None else []
    near = get_close_matches(loc[-1], known, 2, 0.5)
    if near:
        return f"unknown; did you mean {' or '.join(near)}?"
    return f"unknown; known here: {', '.join(known)}" if known else "unknown here"


def _model_at(loc: list[str], model: type[BaseModel]) -> type[BaseModel] | None:
    for part in loc:
        if part.isdigit():
            continue
        field = model.model_fields.get(part)
        inner = _model_in(field.annotation) if field is not None else None
        if inner is None:
            return None
        model = inner
    return model


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for arg in get_args(annotation) if (found := _model_in(arg)) is not None), None)
