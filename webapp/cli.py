"""The command line."""

import argparse
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from webapp.plain import GLUE, fitted

if TYPE_CHECKING:
    from valuation import Problem, Quote

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
    quote.set_defaults(run=_quote)

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
        request = valuation.read_request(entries)
        seed = {} if options.seed is None else {"seed": options.seed}
        quote = valuation.quote(request, with_price_risk=options.price_risk, **seed)
        error = valuation.numerical_error(request) if options.error else None
    except (valuation.RequestRefused, valuation.ValuationError) as refused:
        _tell_problems(refused.problems)
        return REFUSED
    if options.json:
        _print_json(quote, error, sys.stdout)
    else:
        _print_page(quote, error, sources=options.sources)
    return 0


def _tell_problems(problems: "Sequence[Problem]") -> None:
    for problem in problems:
        entered = f" ({problem.value})" if problem.value else ""
        complain(f"{problem.field or 'request'}{entered}: {problem.message}")


def _print_json(quote: "Quote", error: dict[str, float] | None, out: TextIO) -> None:
    told = quote.model_dump(mode="json")
    if error is not None:
        told["numerical_error"] = error
    # RFC 8259: JSON that others read is UTF-8; escapes are right in every encoding.
    plain = (out.encoding or "ascii").lower().replace("-", "") != "utf8"
    out.write(json.dumps(told, indent=2, ensure_ascii=plain, allow_nan=False) + "\n")


def _print_page(quote: "Quote", error: dict[str, float] | None, *, sources: bool) -> None:
    from rich.console import Console

    from webapp.terminal import print_quote
    from webapp.wording import Wording, locale_of_environment

    console = Console(file=sys.stdout, highlight=False)
    words = Wording(locale_of_environment(), quote.currency)
    print_quote(quote, console, words, sources=sources, error=error)


# ---- the others


def _serve(options: argparse.Namespace) -> int:
    from webapp.server import PortError, serve

    try:
        serve(options.port, open_browser=not options.no_browser, data=options.data)
    except PortError as refused:
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
