"""The command line."""

import argparse
import json
import os
import sys
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from webapp.ask_options import OptionRefused, add_options, option_of, with_options
from webapp.plain import GLUE, fitted

if TYPE_CHECKING:
    from rich.console import Console

    from valuation import HeadlineWorking, Problem, Quote
    from webapp.wording import Wording

REFUSED = 2
STOPPED = 130
PIPE_CLOSED = 141  # as a shell tells of a program that SIGPIPE ended
FAULT = 70
TRACE = "LODEWORTH_TRACE"


def main(args: Sequence[str] | None = None) -> int:
    """Run a command; its exit code."""
    options = _parser().parse_args(args)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        code: int = options.run(options)
        sys.stdout.flush()
        return code
    except BrokenPipeError:
        # What is still held back must not be written when Python ends.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return PIPE_CLOSED
    except KeyboardInterrupt:
        return STOPPED
    except Exception as fault:
        if os.environ.get(TRACE):
            raise
        complain(f"A fault in Lodeworth, not in what you entered: {type(fault).__name__}: {fault}")
        complain(f"Set {TRACE}=1 and run it again to see where; please report it with the file that caused it.")
        return FAULT


def complain(words: str) -> None:
    print(fitted(words, sys.stderr.encoding or "ascii").replace(GLUE, " "), file=sys.stderr)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="lodeworth",
        description="From two weighings of a gold-bearing specimen to a fair offer range.",
        epilog="Exit codes: 0 done; 2 refused, with every reason on standard error.",
    )
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    quote = commands.add_parser("quote", help="quote one specimen", description="Quote one specimen.")
    quote.add_argument("file", metavar="FILE", help="TOML or JSON file, - for standard input, or a scenario's name")
    quote.add_argument("--json", action="store_true", help="print the quote as JSON")
    quote.add_argument(
        "--seed", type=_seed, metavar="N", help="seed of the draws; the same seed gives the same figures"
    )
    quote.add_argument("--error", action="store_true", help="also the numerical error of the figures (some seconds)")
    quote.add_argument("--price-risk", action="store_true", help="also what the metal price can do until settlement")
    quote.add_argument("--sources", action="store_true", help="also where each assumption comes from")
    quote.add_argument("--working", action="store_true", help="also the arithmetic of every headline figure")
    quote.set_defaults(run=_quote)

    ask = commands.add_parser(
        "ask",
        help="check an asking price",
        description="Check an asking price, from a claimed weight of gold or from a file; an option counts before what "
        "the file says.",
        epilog="For example: lodeworth ask --price 3900 --claim 1.2 --gold 4100",
    )
    ask.add_argument("file", nargs="?", metavar="FILE", help="as for quote; may be left out")
    add_options(ask)
    ask.add_argument("--json", action="store_true", help="print the whole quote as JSON")
    ask.add_argument("--sources", action="store_true", help="also where each assumption comes from")
    ask.set_defaults(run=_ask)

    prices = commands.add_parser(
        "volatility",
        help="how much a metal price moves, from its history",
        description="Volatility of a price history, for price risk: a date (year-month-day) and a price on each line, "
        "parted by comma, semicolon or tab; a header may name them.",
    )
    prices.add_argument("file", metavar="FILE", help="CSV file, or - for standard input")
    prices.add_argument("--json", action="store_true", help="print it as JSON")
    prices.set_defaults(run=_volatility)

    serve = commands.add_parser("serve", help="start the counter in the browser", description="Start the counter.")
    serve.add_argument("--port", type=int, metavar="N", help="port on this machine; the usual one if left out")
    serve.add_argument("--data", type=Path, metavar="DIR", help="folder that keeps quotes and sheets")
    serve.add_argument("--no-browser", action="store_true", help="do not open a browser")
    serve.set_defaults(run=_serve)

    shown = commands.add_parser(
        "scenarios", help="list the demo specimens, or print one", description="Demo specimens."
    )
    shown.add_argument("name", nargs="?", metavar="NAME", help="print this one's TOML, to start a file of your own")
    shown.set_defaults(run=_scenarios)
    return parser


def _seed(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) < 2**63):
        raise argparse.ArgumentTypeError(f"“{text}” is not a seed: give a whole number from 0 up")
    return int(text)


# ---- quote


def _quote(options: argparse.Namespace) -> int:
    from webapp.request_file import FileRefused, entries_of

    try:
        entries = entries_of(options.file)
    except FileRefused as refused:
        complain(str(refused))
        return REFUSED

    import valuation

    try:
        request = valuation.read_request({"quoted_at": _now(), **entries})
        seed = {} if options.seed is None else {"seed": options.seed}
        quote = valuation.quote(request, with_price_risk=options.price_risk, **seed)
        error = valuation.numerical_error(request) if options.error else None
        working = valuation.working(request, **seed) if options.working else ()
    except (valuation.RequestRefused, valuation.ValuationError) as refused:
        _tell_problems(refused.problems)
        return REFUSED
    if options.json:
        _print_json(quote, error, sys.stdout, working)
    else:
        _print_page(quote, error, sources=options.sources, working=working)
    return 0


def _tell_problems(problems: "Sequence[Problem]", options: argparse.Namespace | None = None) -> None:
    """Each problem with its field, or with the option that filled it."""
    for problem in problems:
        option = option_of(problem.field)
        where = option if option and getattr(options, problem.field, None) is not None else problem.field
        entered = f" ({problem.value})" if problem.value else ""
        complain(f"{where or 'request'}{entered}: {problem.message}")


def _print_json(
    quote: "Quote", error: dict[str, float] | None, out: TextIO, working: "Sequence[HeadlineWorking]" = ()
) -> None:
    told = quote.model_dump(mode="json")
    if error is not None:
        told["numerical_error"] = error
    if working:
        told["working"] = [one.model_dump(mode="json") for one in working]
    # RFC 8259: JSON that others read is UTF-8; escapes are right in every encoding.
    plain = (out.encoding or "ascii").lower().replace("-", "") != "utf8"
    out.write(json.dumps(told, indent=2, ensure_ascii=plain, allow_nan=False) + "\n")


def _print_page(
    quote: "Quote", error: dict[str, float] | None, *, sources: bool, working: "Sequence[HeadlineWorking]"
) -> None:
    from webapp.terminal import print_quote

    print_quote(quote, _console(), _wording(quote), sources=sources, error=error, working=working)


def _console() -> "Console":
    from rich.console import Console

    return Console(file=sys.stdout, highlight=False)


def _wording(quote: "Quote | None" = None) -> "Wording":
    from webapp.wording import Wording, locale_of_environment

    return Wording(locale_of_environment(), "USD" if quote is None else quote.currency)


def _now() -> datetime:
    """The moment of a quote that does not say when it is: `valuation` has no clock."""
    return datetime.now().astimezone().replace(microsecond=0)


# ---- ask

_NEEDED = (
    (("seller.asks.price",), "--price: needed: what is asked, such as --price 3900"),
    (
        ("seller.claim.mass", "weighing", "rock", "gold.measured"),
        "--claim: needed: how much gold is said to be in it, such as --claim 1.2 (troy ounces; --unit g for grams), or "
        "a FILE with its weighings",
    ),
    (("spot.gold",), "--gold: needed: the price of fine gold now, such as --gold 4100 (per troy ounce; --per g)"),
)


def _ask(options: argparse.Namespace) -> int:
    from webapp.request_file import FileRefused, entries_of

    try:
        entries = entries_of(options.file) if options.file is not None else {}
        entries = {"quoted_at": _now(), **with_options(entries, vars(options))}
    except (FileRefused, OptionRefused) as refused:
        complain(str(refused))
        return REFUSED
    if getattr(options, "spot.gold") is not None:
        entries["spot"]["seen_at"] = entries["quoted_at"]
    needed = [words for fields, words in _NEEDED if not any(_is_given(entries, field) for field in fields)]
    for words in needed:
        complain(words)

    import valuation

    try:
        request = valuation.read_request(entries)
        if needed:
            return REFUSED
        quote = valuation.quote(request)
    except (valuation.RequestRefused, valuation.ValuationError) as refused:
        _tell_problems([problem for problem in refused.problems if not (needed and problem.code == "missing")], options)
        return REFUSED
    assert request.seller.asks is not None and quote.ask is not None
    if options.json:
        _print_json(quote, None, sys.stdout)
    else:
        from webapp.terminal import print_ask

        currency = request.seller.asks.currency or quote.currency
        print_ask(quote, quote.ask, _console(), _wording(quote), currency=currency, sources=options.sources)
    return 0


def _is_given(entries: "Mapping[str, Any]", field: str) -> bool:
    place: Any = entries
    for name in field.split("."):
        place = place.get(name) if isinstance(place, dict) else None
    return place is not None


# ---- volatility


def _volatility(options: argparse.Namespace) -> int:
    from webapp.price_file import HistoryRefused, history_of
    from webapp.text_file import FileRefused

    try:
        rows = history_of(options.file)
    except FileRefused as refused:
        complain(str(refused))
        return REFUSED
    except HistoryRefused as refused:
        for problem in refused.problems:
            complain(problem)
        return REFUSED

    from valuation import ValuationError
    from valuation.history import volatility

    try:
        found = volatility([row.day for row in rows], [row.price for row in rows])
    except ValuationError as refused:
        complain(f"{'standard input' if options.file == '-' else options.file}: {refused.problem.message}")
        return REFUSED
    from webapp.terminal import history, print_history

    if options.json:
        print(json.dumps(history.as_json(found, rows), indent=2))
    else:
        print_history(found, rows, _console(), _wording())
    return 0


# ---- the others


def _serve(options: argparse.Namespace) -> int:
    from webapp.server import PortError, serve
    from webapp.store import StoreError

    try:
        serve(options.port, open_browser=not options.no_browser, data=options.data)
    except (PortError, StoreError) as refused:
        complain(str(refused))
        return REFUSED
    return 0


def _scenarios(options: argparse.Namespace) -> int:
    from scenarios import UnknownScenario, all_scenarios, scenario

    try:
        if options.name is not None:
            print(scenario(options.name).text, end="")
            return 0
    except UnknownScenario as unknown:
        complain(str(unknown))
        return REFUSED
    print("Demo specimens, all invented:")
    for one in all_scenarios():
        print(f"\n  {one.name}\n      {one.shows}")
    print("\nlodeworth quote NAME quotes one; lodeworth scenarios NAME prints its file.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
