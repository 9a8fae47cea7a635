"""A field of the request: its label, help, unit, and what is assumed when it is left out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic.config import JsonDict
from pydantic_core import InitErrorDetails, PydanticCustomError


class Section(BaseModel):
    """A frozen part of a request that refuses unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_max_length=2000)


def said(
    label: str,
    about: str,
    *,
    unit: str = "",
    default: Any = ...,
    assumed: str = "",
    **limits: Any,
) -> Any:
    """Field with the words that forms, the command line and the docs show.

    Parameters
    ----------
    label : str
        Plain-language name.
    about : str
        One or two sentences of help.
    unit : str
        Unit as shown beside the field; ``frac`` is shown as per cent on screens.
    default : Any
        Value if left out; required if not given.
    assumed : str
        Where the default comes from; a default that bears this is printed as an assumption.
    """
    extra: JsonDict = {"unit": unit, "assumed": assumed}
    return Field(default, title=label, description=about, json_schema_extra=extra, validate_default=True, **limits)


def refuse_all(section: BaseModel, problems: Sequence[PydanticCustomError]) -> None:
    """Refuse a section for every problem at once.

    Parameters
    ----------
    section : BaseModel
        What was entered.
    problems : sequence of PydanticCustomError
        The ``field`` in each context is the path below the section.

    Raises
    ------
    ValidationError
        Unless there is no problem.
    """
    if problems:
        details = [InitErrorDetails(type=problem, input=section) for problem in problems]
        raise ValidationError.from_exception_data(type(section).__name__, details)
