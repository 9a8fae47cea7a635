"""The command line: its commands are in `webapp.commands`, a module each."""

import argparse
import os
import sys
from collections.abc import Sequence

from webapp.commands import COMMANDS
from webapp.commands.output import complain

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


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="lodeworth",
        description="From two weighings of a gold-bearing specimen to a fair offer range.",
        epilog="Exit codes: 0 done; 2 refused, with every reason on standard error.",
    )
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for command in COMMANDS:
        command.add(commands)
    return parser


if __name__ == "__main__":
    sys.exit(main())
