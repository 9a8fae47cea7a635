"""Offer sheets: their revisions, what each froze, what happened to them, photographs, and the words to find them by."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

# What is unchangeable is so in the database itself, against INSERT OR REPLACE and UPDATE OR REPLACE as well, which
# delete rows without a delete trigger where `recursive_triggers` is off. SQLite manual, "INSERT", "ON CONFLICT".
TRIGGERS = (
    # Sheets: never removed; their number comes once, and is the next of its year.
    """CREATE TRIGGER sheets_begin BEFORE INSERT ON sheets
    WHEN NEW.number IS NOT NULL OR NEW.revision != 0
        OR EXISTS (SELECT 1 FROM sheets WHERE key = NEW.key OR id = NEW.id)
    BEGIN SELECT RAISE(ABORT, 'a sheet begins without a number, and never in place of another'); END""",
    """CREATE TRIGGER sheets_stay BEFORE UPDATE ON sheets
    WHEN NEW.key IS NOT OLD.key OR NEW.id IS NOT OLD.id OR NEW.draft_id IS NOT OLD.draft_id
        OR NEW.written_at IS NOT OLD.written_at OR NEW.revision < OLD.revision
        OR (OLD.number IS NOT NULL AND (NEW.number IS NOT OLD.number OR NEW.year IS NOT OLD.year
            OR NEW.running IS NOT OLD.running OR NEW.number_order IS NOT OLD.number_order))
    BEGIN SELECT RAISE(ABORT, 'what a sheet is and its number never change'); END""",
    """CREATE TRIGGER sheets_numbered BEFORE UPDATE ON sheets
    WHEN OLD.number IS NULL AND (NEW.number IS NOT NULL OR NEW.year IS NOT NULL OR NEW.running IS NOT NULL)
        AND (NEW.number IS NULL OR NEW.year IS NULL
            OR EXISTS (SELECT 1 FROM sheets WHERE number = NEW.number)
            OR NEW.running IS NOT (SELECT coalesce(max(running), 0) + 1 FROM sheets WHERE year = NEW.year))
    BEGIN SELECT RAISE(ABORT, 'the number of a sheet is the next of its year'); END""",
    """CREATE TRIGGER sheets_remain BEFORE DELETE ON sheets
    BEGIN SELECT RAISE(ABORT, 'a sheet is never removed'); END""",
    # Revisions and what they froze: written once, by the handing over that its deed closes.
    """CREATE TRIGGER revisions_follow BEFORE INSERT ON revisions
    WHEN NEW.revision IS NOT (SELECT coalesce(max(revision), 0) + 1 FROM revisions WHERE sheet = NEW.sheet)
    BEGIN SELECT RAISE(ABORT, 'a revision is the next of its sheet'); END""",
    """CREATE TRIGGER contents_once BEFORE INSERT ON contents
    WHEN EXISTS (SELECT 1 FROM contents WHERE sheet = NEW.sheet AND revision = NEW.revision AND kind = NEW.kind)
        OR EXISTS (SELECT 1 FROM deeds
            WHERE sheet = NEW.sheet AND revision = NEW.revision AND kind = 'handed_over')
    BEGIN SELECT RAISE(ABORT, 'what was handed over never changes'); END""",
    """CREATE TRIGGER revision_photographs_once BEFORE INSERT ON revision_photographs
    WHEN EXISTS (SELECT 1 FROM revision_photographs
            WHERE sheet = NEW.sheet AND revision = NEW.revision AND place = NEW.place)
        OR EXISTS (SELECT 1 FROM deeds
            WHERE sheet = NEW.sheet AND revision = NEW.revision AND kind = 'handed_over')
    BEGIN SELECT RAISE(ABORT, 'what was handed over never changes'); END""",
    """CREATE TRIGGER deeds_follow BEFORE INSERT ON deeds
    WHEN NEW.key IS NOT (SELECT coalesce(max(key), 0) + 1 FROM deeds)
        OR EXISTS (SELECT 1 FROM deeds WHERE digest = NEW.digest)
    BEGIN SELECT RAISE(ABORT, 'a deed is the next of all'); END""",
    # Photographs: known by what they are, so they never change; those handed over are never removed.
    """CREATE TRIGGER photographs_once BEFORE INSERT ON photographs
    WHEN EXISTS (SELECT 1 FROM photographs WHERE digest = NEW.digest)
    BEGIN SELECT RAISE(ABORT, 'a photograph never changes'); END""",
    """CREATE TRIGGER photographs_stay BEFORE UPDATE ON photographs
    BEGIN SELECT RAISE(ABORT, 'a photograph never changes'); END""",
    """CREATE TRIGGER photographs_remain BEFORE DELETE ON photographs
    WHEN EXISTS (SELECT 1 FROM revision_photographs WHERE digest = OLD.digest)
    BEGIN SELECT RAISE(ABORT, 'a photograph that was handed over is never removed'); END""",
    *(
        f"""CREATE TRIGGER {table}_{name} BEFORE {event} ON {table}
    BEGIN SELECT RAISE(ABORT, '{what}'); END"""
        for table, what in (
            ("revisions", "what was handed over never changes"),
            ("contents", "what was handed over never changes"),
            ("revision_photographs", "what was handed over never changes"),
            ("deeds", "what has happened never changes"),
        )
        for name, event in (("stay", "UPDATE"), ("remain", "DELETE"))
    ),
)

# Without its text (content=''), and knowing only which sheets hold a word (detail=none): all that finding asks.
# Every character is a letter of a word but separators; `webapp.store.words` prepares what goes in.
WORDS = """CREATE VIRTUAL TABLE sheet_words USING fts5(words, content='', detail=none, columnsize=0, prefix='1 2 3',
    tokenize="unicode61 remove_diacritics 0 categories 'L* M* N* S* P* C*'")"""


def upgrade() -> None:
    """From quotes in progress alone."""
    op.create_table(
        "sheets",
        sa.Column("key", sa.Integer, primary_key=True),
        sa.Column("id", sa.String, nullable=False),
        sa.Column("draft_id", sa.String, nullable=False),
        sa.Column("year", sa.Integer),
        sa.Column("running", sa.Integer),
        sa.Column("number", sa.String),
        sa.Column("number_order", sa.Integer, nullable=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("state", sa.String, nullable=False),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("title_order", sa.Text, nullable=False),
        sa.Column("written_at", sa.DateTime, nullable=False),
        sa.Column("changed_at", sa.DateTime, nullable=False),
        sa.Column("dated_at", sa.DateTime, nullable=False),
        sa.Column("handed_over_at", sa.DateTime),
        sa.Column("offer", sa.String),
        sa.Column("offer_order", sa.Float, nullable=False),
        sa.Column("currency", sa.String),
        sa.Column("valid_until", sa.DateTime),
        sa.Column("time_zone", sa.String),
        sa.Column("gold_low_per_g", sa.Float),
        sa.Column("gold_high_per_g", sa.Float),
    )
    filtered = ["state", "valid_until", "dated_at", "currency", "gold_low_per_g", "gold_high_per_g"]
    op.create_index("sheets_by_id", "sheets", ["id"], unique=True)
    op.create_index("sheets_by_number", "sheets", ["number"], unique=True)
    op.create_index("sheets_by_running", "sheets", ["year", "running"], unique=True)
    op.create_index("sheets_by_draft", "sheets", ["draft_id"])
    op.create_index("sheets_one_written", "sheets", ["draft_id"], unique=True, sqlite_where=sa.text("revision = 0"))
    op.create_index("sheets_by_state", "sheets", filtered)
    op.create_index("sheets_in_order_of_date", "sheets", ["dated_at", "key", *filtered[:2], *filtered[3:]])
    for order in ("number", "title", "offer"):
        op.create_index(f"sheets_in_order_of_{order}", "sheets", [f"{order}_order", "key", *filtered])
    op.create_table(
        "sheet_texts",
        sa.Column("sheet", sa.Integer, sa.ForeignKey("sheets.key"), primary_key=True),
        sa.Column("words", sa.Text, nullable=False),
        sa.Column("description", sa.Text, nullable=False),
    )
    op.create_table(
        "seller_references",
        sa.Column("sheet", sa.Integer, sa.ForeignKey("sheets.key"), primary_key=True),
        sa.Column("reference", sa.Text, nullable=False),
    )
    op.create_table(
        "sheet_entries",
        sa.Column("sheet", sa.Integer, sa.ForeignKey("sheets.key"), primary_key=True),
        sa.Column("changed_at", sa.DateTime, nullable=False),
        sa.Column("entries", sa.Text, nullable=False),
    )
    op.create_table(
        "revisions",
        sa.Column("sheet", sa.Integer, sa.ForeignKey("sheets.key"), primary_key=True),
        sa.Column("revision", sa.Integer, primary_key=True),
        sa.Column("number", sa.String, nullable=False),
        sa.Column("handed_over_at", sa.DateTime, nullable=False),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("description", sa.Text, nullable=False),
        sa.Column("method_version", sa.String, nullable=False),
        sa.Column("seed", sa.Integer, nullable=False),
        sa.Column("currency", sa.String, nullable=False),
        sa.Column("offer", sa.String, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("gold_price", sa.String, nullable=False),
        sa.Column("silver_price", sa.String),
        sa.Column("spot_unit", sa.String, nullable=False),
        sa.Column("price_seen_at", sa.DateTime),
        sa.Column("price_source", sa.Text, nullable=False),
        sa.Column("valid_until", sa.DateTime, nullable=False),
        sa.Column("time_zone", sa.String, nullable=False),
        sa.Column("spot_move_frac", sa.String),
        sa.Column("stale_price_confirmation", sa.Text, nullable=False),
        sa.Column("notes", sa.Text, nullable=False),
        sa.Column("seller_digest", sa.String, nullable=False),
    )
    op.create_index("revisions_by_seller_digest", "revisions", ["seller_digest"])
    op.create_table(
        "contents",
        sa.Column("sheet", sa.Integer, primary_key=True),
        sa.Column("revision", sa.Integer, primary_key=True),
        sa.Column("kind", sa.String, primary_key=True),
        sa.Column("content", sa.LargeBinary, nullable=False),
        sa.ForeignKeyConstraint(["sheet", "revision"], ["revisions.sheet", "revisions.revision"]),
    )
    op.create_table(
        "deeds",
        sa.Column("key", sa.Integer, primary_key=True),
        sa.Column("sheet", sa.Integer, sa.ForeignKey("sheets.key"), nullable=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("at", sa.DateTime, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("previous", sa.String, nullable=False),
        sa.Column("digest", sa.String, nullable=False),
    )
    op.create_index("deeds_by_sheet", "deeds", ["sheet", "revision", "kind"])
    op.create_index("deeds_by_digest", "deeds", ["digest"], unique=True)
    op.create_table(
        "photographs",
        sa.Column("digest", sa.String, primary_key=True),
        sa.Column("width", sa.Integer, nullable=False),
        sa.Column("height", sa.Integer, nullable=False),
        sa.Column("added_at", sa.DateTime, nullable=False),
        sa.Column("jpeg", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "sheet_photographs",
        sa.Column("sheet", sa.Integer, sa.ForeignKey("sheets.key"), primary_key=True),
        sa.Column("place", sa.Integer, primary_key=True),
        sa.Column("digest", sa.String, sa.ForeignKey("photographs.digest"), nullable=False),
    )
    op.create_index("sheet_photographs_by_digest", "sheet_photographs", ["digest"])
    op.create_table(
        "revision_photographs",
        sa.Column("sheet", sa.Integer, primary_key=True),
        sa.Column("revision", sa.Integer, primary_key=True),
        sa.Column("place", sa.Integer, primary_key=True),
        sa.Column("digest", sa.String, sa.ForeignKey("photographs.digest"), nullable=False),
        sa.ForeignKeyConstraint(["sheet", "revision"], ["revisions.sheet", "revisions.revision"]),
    )
    op.create_index("revision_photographs_by_digest", "revision_photographs", ["digest"])
    op.execute(WORDS)
    for trigger in TRIGGERS:
        op.execute(trigger)
