"""The house's books as they were at every moment, and which of it each offer sheet used."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

# Against INSERT OR REPLACE as well: see the script before this one.
TRIGGERS = (
    """CREATE TRIGGER book_versions_once BEFORE INSERT ON book_versions
    WHEN EXISTS (SELECT 1 FROM book_versions
        WHERE key = NEW.key OR (entry = NEW.entry AND version = NEW.version))
    BEGIN SELECT RAISE(ABORT, 'a version of an entry never takes the place of another'); END""",
    """CREATE TRIGGER book_versions_stay BEFORE UPDATE ON book_versions
    BEGIN SELECT RAISE(ABORT, 'a version that was kept never changes'); END""",
    """CREATE TRIGGER book_versions_remain BEFORE DELETE ON book_versions
    BEGIN SELECT RAISE(ABORT, 'a version that was kept is never removed'); END""",
    """CREATE TRIGGER revision_books_once BEFORE INSERT ON revision_books
    WHEN EXISTS (SELECT 1 FROM revision_books
        WHERE sheet = NEW.sheet AND revision = NEW.revision AND place = NEW.place)
    BEGIN SELECT RAISE(ABORT, 'what a sheet used never takes the place of another'); END""",
    """CREATE TRIGGER revision_books_stay BEFORE UPDATE ON revision_books
    BEGIN SELECT RAISE(ABORT, 'what a sheet used never changes'); END""",
    """CREATE TRIGGER revision_books_remain BEFORE DELETE ON revision_books
    BEGIN SELECT RAISE(ABORT, 'what a sheet used is never removed'); END""",
)


def upgrade() -> None:
    """From layout 0003."""
    op.create_table(
        "book_versions",
        sa.Column("key", sa.Integer, primary_key=True),
        sa.Column("book", sa.String, nullable=False),
        sa.Column("entry", sa.String, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("currency", sa.String, nullable=False),
        sa.Column("source", sa.Text, nullable=False),
        sa.Column("kept_at", sa.DateTime, nullable=False),
        sa.Column("retired_at", sa.DateTime),
        sa.Column("terms", sa.Text, nullable=False),
    )
    op.create_index("book_versions_by_entry", "book_versions", ["entry", "version"], unique=True)
    op.create_index("book_versions_by_book", "book_versions", ["book", "entry", "version"])
    op.create_table(
        "revision_books",
        sa.Column("sheet", sa.Integer, primary_key=True),
        sa.Column("revision", sa.Integer, primary_key=True),
        sa.Column("place", sa.String, primary_key=True),
        sa.Column("entry", sa.String, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.ForeignKeyConstraint(["sheet", "revision"], ["revisions.sheet", "revisions.revision"]),
        sa.ForeignKeyConstraint(["entry", "version"], ["book_versions.entry", "book_versions.version"]),
    )
    op.create_index("revision_books_by_entry", "revision_books", ["entry", "version"])
    for trigger in TRIGGERS:
        op.execute(trigger)
