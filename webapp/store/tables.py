"""Tables as they are now; how they came about is in `migrations`."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Boolean, Column, DateTime, ForeignKey, Index, Integer, MetaData, String, Table, Text
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
