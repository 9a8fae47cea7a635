"""Which layout a database has, and the way to the newest."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from alembic.operations import Operations
from alembic.runtime.migration import MigrationContext
from alembic.script import Script, ScriptDirectory

from webapp.store.database import Store

SCRIPTS = Path(__file__).with_name("migrations")


def scripts(folder: Path = SCRIPTS) -> ScriptDirectory:
    """The migrations of a folder."""
    return ScriptDirectory(folder, version_locations=[folder])


@cache
def known_layouts() -> tuple[str, ...]:
    """Names of all layouts that this program knows, oldest first."""
    return tuple(script.revision for script in _in_order(scripts()))


def upgrade(store: Store, to: str = "head", directory: ScriptDirectory | None = None) -> None:
    """Bring a database to a layout; each step commits whole, or not at all."""
    directory = directory or scripts()
    steps = _in_order(directory, to)
    with store.reading() as connection:
        if MigrationContext.configure(connection).get_current_revision() == steps[-1].revision:
            return
    for script in steps:
        # Asked anew inside each transaction: another process may be bringing the same file up.
        with store.writing() as connection:
            context = MigrationContext.configure(connection)
            if context.get_current_revision() != script.down_revision:
                continue
            with Operations.context(context):
                script.module.upgrade()
            context.stamp(directory, script.revision)


def _in_order(directory: ScriptDirectory, to: str = "head") -> list[Script]:
    return list(directory.walk_revisions(head=to))[::-1]
