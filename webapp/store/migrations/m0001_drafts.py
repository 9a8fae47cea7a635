"""Quotes in progress and their earlier states."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """From nothing."""
    op.create_table(
        "drafts",
        sa.Column("id", sa.String, primary_key=True),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("writer", sa.String, nullable=False),
        sa.Column("created_at", sa.DateTime, nullable=False),
        sa.Column("changed_at", sa.DateTime, nullable=False),
        sa.Column("closed_at", sa.DateTime),
        sa.Column("entries", sa.Text, nullable=False),
    )
    op.create_index("drafts_by_change", "drafts", ["closed_at", "changed_at", "created_at", "id"])
    op.create_table(
        "draft_history",
        sa.Column("draft_id", sa.String, sa.ForeignKey("drafts.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("revision", sa.Integer, primary_key=True),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("digest", sa.String, nullable=False),
        sa.Column("writer", sa.String, nullable=False),
        sa.Column("kept_at", sa.DateTime, nullable=False),
        sa.Column("overtaken", sa.Boolean, nullable=False),
        sa.Column("entries", sa.Text, nullable=False),
    )
