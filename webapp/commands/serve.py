"""`lodeworth serve`: start the counter in the browser."""

from __future__ import annotations

import argparse
from pathlib import Path

from webapp.commands.output import REFUSED, Commands, complain


def add(commands: Commands) -> None:
    """Say how it is called."""
    serve = commands.add_parser("serve", help="start the counter in the browser", description="Start the counter.")
    serve.add_argument("--port", type=int, metavar="N", help="port on this machine; the usual one if left out")
    serve.add_argument("--data", type=Path, metavar="DIR", help="folder that keeps quotes and sheets")
    serve.add_argument("--no-browser", action="store_true", help="do not open a browser")
    serve.set_defaults(run=_serve)


def _serve(options: argparse.Namespace) -> int:
    from webapp.server import PortError, serve
    from webapp.store import StoreError

    try:
        serve(options.port, open_browser=not options.no_browser, data=options.data)
    except (PortError, StoreError) as refused:
        complain(str(refused))
        return REFUSED
    return 0
