"""`lodeworth backup` and `lodeworth restore`: everything as one file, and back from it."""

from __future__ import annotations

import argparse
from pathlib import Path

from webapp.commands.output import REFUSED, Commands, complain


def add(commands: Commands) -> None:
    """Say how they are called."""
    backup = commands.add_parser(
        "backup",
        help="everything that is kept, as one file",
        description="Write all quotes, offer sheets, papers, photographs and house settings to one file, also while "
        "the counter runs. It holds private figures: keep it as safe as the counter book.",
    )
    backup.add_argument("file", type=Path, metavar="FILE", help="a file that is not there yet, such as kept.zip")
    backup.add_argument("--data", type=Path, metavar="DIR", help="folder that keeps quotes and sheets")
    backup.set_defaults(run=_backup)
    restore = commands.add_parser(
        "restore",
        help="put a backup back",
        description="Replace everything that is kept by what a backup holds. The backup is looked through first; if "
        "anything in it is wrong, nothing changes. What was there goes into a backup of its own beside the data.",
    )
    restore.add_argument("file", type=Path, metavar="FILE", help="a backup")
    restore.add_argument("--data", type=Path, metavar="DIR", help="folder that keeps quotes and sheets")
    restore.set_defaults(run=_restore)


def _backup(options: argparse.Namespace) -> int:
    from webapp.commands.sheet import opened
    from webapp.store import StoreError, backup

    try:
        with opened(options) as (store, settings):
            backup.save(store, options.file, settings.now())
    except StoreError as trouble:
        complain(str(trouble))
        return REFUSED
    print(f"Saved {options.file}. Keep it on another disk.")
    return 0


def _restore(options: argparse.Namespace) -> int:
    from webapp.settings import Settings
    from webapp.store import StoreError, backup

    settings = Settings()
    try:
        with options.file.open("rb") as file:
            before = backup.restore_into(options.data or settings.data, file, settings.now())
    except OSError as error:
        complain(f"{options.file} cannot be read ({error.strerror or error}).")
        return REFUSED
    except StoreError as trouble:
        complain(str(trouble))
        return REFUSED
    print(f"Put back. What was there before is kept in {before}.")
    return 0
