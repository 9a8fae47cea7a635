"""A database as the script that makes it anew, for `layouts`: `python -m tests.webapp.store.dump FILE`.

`iterdump` alone would make the tables behind a full-text index twice, and knows nothing of what an index without its
text (content='') holds.
"""

import shutil
import sqlite3
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from webapp.store.words import indexed


def dumped(file: Path) -> str:
    """The script for a file in which no store is open."""
    with tempfile.TemporaryDirectory() as folder:
        copy = shutil.copy(file, folder)
        with closing(sqlite3.connect(copy)) as connection:
            index = list(_full_text(connection))
            connection.execute("DROP TABLE IF EXISTS sheet_words")
            connection.commit()
            *rest, commit = connection.iterdump()
    return "\n".join([*rest, *index, commit, ""])


def _full_text(connection: sqlite3.Connection) -> Iterator[str]:
    for (sql,) in connection.execute("SELECT sql FROM sqlite_schema WHERE name = 'sheet_words'"):
        yield f"{sql};"
        for sheet, words in connection.execute("SELECT sheet, words FROM sheet_texts ORDER BY sheet"):
            (quoted,) = connection.execute("SELECT quote(?)", (indexed(words),)).fetchone()
            yield f'INSERT INTO "sheet_words" (rowid, words) VALUES({sheet},{quoted});'


if __name__ == "__main__":
    print(dumped(Path(sys.argv[1])), end="")
