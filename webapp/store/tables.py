"""Tables as they are now; how they came about is in `migrations`."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    Boolean,
    Column,
    DateTime,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    text,
)
from sqlalchemy.types import TypeDecorator

metadata = MetaData()


class Moment(TypeDecorator[datetime]):
    """A moment with its time zone, kept in UTC."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> datetime | None:
        """As kept."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment needs its time zone")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Any) -> datetime | None:
        """As passed in, in UTC."""
        return None if value is None else value.replace(tzinfo=UTC)


drafts = Table(
    "drafts",
    metadata,
    Column("id", String, primary_key=True),
    Column("kind", String, nullable=False),
    Column("title", Text, nullable=False),
    Column("revision", Integer, nullable=False),
    Column("writer", String, nullable=False),
    Column("created_at", Moment, nullable=False),
    Column("changed_at", Moment, nullable=False),
    Column("closed_at", Moment),
    Column("entries", Text, nullable=False),  # last, so that what is before it is read without it
    Index("drafts_by_change", "closed_at", "changed_at", "created_at", "id"),
)

draft_history = Table(
    "draft_history",
    metadata,
    Column("draft_id", String, ForeignKey("drafts.id", ondelete="CASCADE"), primary_key=True),
    Column("revision", Integer, primary_key=True),
    Column("title", Text, nullable=False),
    Column("digest", String, nullable=False),
    Column("writer", String, nullable=False),
    Column("kept_at", Moment, nullable=False),
    Column("overtaken", Boolean, nullable=False),
    Column("entries", Text, nullable=False),
)

# What finding filters by; in each index of an order, so that it reads no row that it does not show.
_FILTERED = ("state", "valid_until", "dated_at", "currency", "gold_low_per_g", "gold_high_per_g")

# What lists show, each the newest revision's; what that revision froze is in `revisions` and `contents`.
sheets = Table(
    "sheets",
    metadata,
    Column("key", Integer, primary_key=True),
    Column("id", String, nullable=False),
    Column("draft_id", String, nullable=False),
    Column("year", Integer),
    Column("running", Integer),
    Column("number", String),
    Column("number_order", Integer, nullable=False),
    Column("revision", Integer, nullable=False),  # 0 until the first handing over
    Column("state", String, nullable=False),
    Column("title", Text, nullable=False),
    Column("title_order", Text, nullable=False),
    Column("written_at", Moment, nullable=False),
    Column("changed_at", Moment, nullable=False),
    Column("dated_at", Moment, nullable=False),  # handed_over_at, until then written_at
    Column("handed_over_at", Moment),
    Column("offer", String),
    Column("offer_order", Float, nullable=False),
    Column("currency", String),
    Column("valid_until", Moment),
    Column("time_zone", String),
    Column("gold_low_per_g", Float),
    Column("gold_high_per_g", Float),
    Index("sheets_by_id", "id", unique=True),
    Index("sheets_by_number", "number", unique=True),
    Index("sheets_by_running", "year", "running", unique=True),
    Index("sheets_by_draft", "draft_id"),
    Index("sheets_one_written", "draft_id", unique=True, sqlite_where=text("revision = 0")),
    Index("sheets_by_state", *_FILTERED),
    Index("sheets_in_order_of_date", "dated_at", "key", *(name for name in _FILTERED if name != "dated_at")),
    *(Index(f"sheets_in_order_of_{name}", f"{name}_order", "key", *_FILTERED) for name in ("number", "title", "offer")),
)

sheet_texts = Table(
    "sheet_texts",
    metadata,
    Column("sheet", Integer, ForeignKey("sheets.key"), primary_key=True),
    Column("words", Text, nullable=False),  # what the full-text index `sheet_words` was made from
    Column("description", Text, nullable=False),
)

seller_references = Table(
    "seller_references",
    metadata,
    Column("sheet", Integer, ForeignKey("sheets.key"), primary_key=True),
    Column("reference", Text, nullable=False),
)

sheet_entries = Table(
    "sheet_entries",
    metadata,
    Column("sheet", Integer, ForeignKey("sheets.key"), primary_key=True),
    Column("changed_at", Moment, nullable=False),
    Column("entries", Text, nullable=False),
)

revisions = Table(
    "revisions",
    metadata,
    Column("sheet", Integer, ForeignKey("sheets.key"), primary_key=True),
    Column("revision", Integer, primary_key=True),
    Column("number", String, nullable=False),
    Column("handed_over_at", Moment, nullable=False),
    Column("title", Text, nullable=False),
    Column("description", Text, nullable=False),
    Column("method_version", String, nullable=False),
    Column("seed", Integer, nullable=False),
    Column("currency", String, nullable=False),
    Column("offer", String, nullable=False),
    Column("reason", Text, nullable=False),
    Column("gold_price", String, nullable=False),
    Column("silver_price", String),
    Column("spot_unit", String, nullable=False),
    Column("price_seen_at", Moment),
    Column("price_source", Text, nullable=False),
    Column("valid_until", Moment, nullable=False),
    Column("time_zone", String, nullable=False),
    Column("spot_move_frac", String),
    Column("stale_price_confirmation", Text, nullable=False),
    Column("notes", Text, nullable=False),
    Column("seller_digest", String, nullable=False),
    Index("revisions_by_seller_digest", "seller_digest"),
)

contents = Table(
    "contents",
    metadata,
    Column("sheet", Integer, primary_key=True),
    Column("revision", Integer, primary_key=True),
    Column("kind", String, primary_key=True),
    Column("content", LargeBinary, nullable=False),
    ForeignKeyConstraint(["sheet", "revision"], ["revisions.sheet", "revisions.revision"]),
)

deeds = Table(
    "deeds",
    metadata,
    Column("key", Integer, primary_key=True),
    Column("sheet", Integer, ForeignKey("sheets.key"), nullable=False),
    Column("revision", Integer, nullable=False),
    Column("kind", String, nullable=False),
    Column("at", Moment, nullable=False),
    Column("note", Text, nullable=False),
    Column("previous", String, nullable=False),
    Column("digest", String, nullable=False),
    Index("deeds_by_sheet", "sheet", "revision", "kind"),
    Index("deeds_by_digest", "digest", unique=True),
)

photographs = Table(
    "photographs",
    metadata,
    Column("digest", String, primary_key=True),
    Column("width", Integer, nullable=False),
    Column("height", Integer, nullable=False),
    Column("added_at", Moment, nullable=False),
    Column("jpeg", LargeBinary, nullable=False),
)

# Those that the next handing over will freeze.
sheet_photographs = Table(
    "sheet_photographs",
    metadata,
    Column("sheet", Integer, ForeignKey("sheets.key"), primary_key=True),
    Column("place", Integer, primary_key=True),
    Column("digest", String, ForeignKey("photographs.digest"), nullable=False),
    Index("sheet_photographs_by_digest", "digest"),
)

revision_photographs = Table(
    "revision_photographs",
    metadata,
    Column("sheet", Integer, primary_key=True),
    Column("revision", Integer, primary_key=True),
    Column("place", Integer, primary_key=True),
    Column("digest", String, ForeignKey("photographs.digest"), nullable=False),
    ForeignKeyConstraint(["sheet", "revision"], ["revisions.sheet", "revisions.revision"]),
    Index("revision_photographs_by_digest", "digest"),
)

prices = Table(
    "prices",
    metadata,
    Column("key", Integer, primary_key=True),
    Column("metal", String, nullable=False),
    Column("currency", String, nullable=False),
    Column("unit", String, nullable=False),
    Column("price", Float, nullable=False),
    Column("seen_at", Moment, nullable=False),
    Column("kept_at", Moment, nullable=False),
    Column("is_fed", Boolean, nullable=False),
    Column("source", Text, nullable=False),
    Column("address", Text, nullable=False),
    Index("prices_by_moment", "metal", "currency", "seen_at", "key"),
)

book_versions = Table(
    "book_versions",
    metadata,
    Column("key", Integer, primary_key=True),
    Column("book", String, nullable=False),
    Column("entry", String, nullable=False),
    Column("version", Integer, nullable=False),
    Column("name", Text, nullable=False),
    Column("currency", String, nullable=False),
    Column("source", Text, nullable=False),
    Column("kept_at", Moment, nullable=False),
    Column("retired_at", Moment),
    Column("terms", Text, nullable=False),
    Index("book_versions_by_entry", "entry", "version", unique=True),
    Index("book_versions_by_book", "book", "entry", "version"),
)

# Which versions a handed-over revision used; `place` is where in its request.
revision_books = Table(
    "revision_books",
    metadata,
    Column("sheet", Integer, primary_key=True),
    Column("revision", Integer, primary_key=True),
    Column("place", String, primary_key=True),
    Column("entry", String, nullable=False),
    Column("version", Integer, nullable=False),
    ForeignKeyConstraint(["sheet", "revision"], ["revisions.sheet", "revisions.revision"]),
    ForeignKeyConstraint(["entry", "version"], ["book_versions.entry", "book_versions.version"]),
    Index("revision_books_by_entry", "entry", "version"),
)
