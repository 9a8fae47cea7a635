"""`lodeworth audit`: whether anything that was handed over was changed behind the program's back."""

from __future__ import annotations

import argparse
from pathlib import Path

from webapp.commands.output import REFUSED, Commands, complain

CHANGED = 1


def add(commands: Commands) -> None:
    """Say how it is called."""
    audit = commands.add_parser(
        "audit",
        help="whether anything handed over was changed by other means",
        description="Walk the ledger of all that happened to offer sheets and compare it with all that was handed "
        "over. Each deed is chained to the one before it by its digest, so that a change by other means shows. The "
        "head is the digest of the newest: noted elsewhere, it shows later that nothing up to it was cut off or "
        "written anew.",
        epilog="Exit codes: 0 all fits; 1 something was changed or taken out; 2 it could not be checked.",
    )
    audit.add_argument("--head", action="store_true", help="only print the head, to be noted elsewhere")
    audit.add_argument(
        "--since",
        action="append",
        default=[],
        metavar="HEAD",
        help="a head noted before, or the file of a backup made before; may be given several times",
    )
    audit.add_argument("--data", type=Path, metavar="DIR", help="folder that keeps quotes and sheets")
    audit.set_defaults(run=_audit)


def _audit(options: argparse.Namespace) -> int:
    from webapp.audit import audited
    from webapp.commands.sheet import opened
    from webapp.store import StoreError
    from webapp.store.witness import head

    try:
        with opened(options) as (store, _):
            if options.head:
                print(head(store).digest)
                return 0
            found = audited(store, options.since)
    except StoreError as trouble:
        complain(str(trouble))
        return REFUSED
    for sentence in found.sentences:
        print(sentence)
    return 0 if found.fits else CHANGED
