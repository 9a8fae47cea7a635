"""What every command prints and complains with."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any, TypeAlias

from webapp.ask_options import option_of
from webapp.plain import GLUE, fitted

if TYPE_CHECKING:
    from rich.console import Console

    from valuation import Problem, Quote
    from webapp.wording import Wording

REFUSED = 2

Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"


def complain(words: str) -> None:
    print(fitted(words, sys.stderr.encoding or "ascii").replace(GLUE, " "), file=sys.stderr)


def tell_problems(problems: Sequence[Problem], options: argparse.Namespace | None = None) -> None:
    """Each problem with its field, or with the option that filled it."""
    for problem in problems:
        option = option_of(problem.field)
        where = option if option and getattr(options, problem.field, None) is not None else problem.field
        entered = f" ({problem.value})" if problem.value else ""
        complain(f"{where or 'request'}{entered}: {problem.message}")


def print_json(told: Mapping[str, Any]) -> None:
    """An answer for other programs."""
    # RFC 8259: JSON that others read is UTF-8; escapes are right in every encoding.
    plain = (sys.stdout.encoding or "ascii").lower().replace("-", "") != "utf8"
    sys.stdout.write(json.dumps(told, indent=2, ensure_ascii=plain, allow_nan=False) + "\n")


def console() -> Console:
    from rich.console import Console

    return Console(file=sys.stdout, highlight=False)


def wording(quote: Quote | None = None) -> Wording:
    from webapp.wording import Wording, locale_of_environment

    return Wording(locale_of_environment(), "USD" if quote is None else quote.currency)


def now() -> datetime:
    """The moment of a quote that does not say when it is: `valuation` has no clock."""
    return datetime.now().astimezone().replace(microsecond=0)
