"""Prices of gold and silver and exchange rates, as entered and as fed."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

# Against INSERT OR REPLACE as well, which deletes rows without a delete trigger where `recursive_triggers` is off.
# SQLite manual, "INSERT", "ON CONFLICT".
TRIGGERS = (
    """CREATE TRIGGER prices_once BEFORE INSERT ON prices
    WHEN EXISTS (SELECT 1 FROM prices WHERE key = NEW.key)
    BEGIN SELECT RAISE(ABORT, 'a price never takes the place of another'); END""",
    """CREATE TRIGGER prices_stay BEFORE UPDATE ON prices
    BEGIN SELECT RAISE(ABORT, 'a price that was kept never changes'); END""",
    """CREATE TRIGGER prices_remain BEFORE DELETE ON prices
    BEGIN SELECT RAISE(ABORT, 'a price that was kept is never removed'); END""",
)


def upgrade() -> None:
    """From layout 0002."""
    op.create_table(
        "prices",
        sa.Column("key", sa.Integer, primary_key=True),
        sa.Column("metal", sa.String, nullable=False),
        sa.Column("currency", sa.String, nullable=False),
        sa.Column("unit", sa.String, nullable=False),
        sa.Column("price", sa.Float, nullable=False),
        sa.Column("seen_at", sa.DateTime, nullable=False),
        sa.Column("kept_at", sa.DateTime, nullable=False),
        sa.Column("is_fed", sa.Boolean, nullable=False),
        sa.Column("source", sa.Text, nullable=False),
        sa.Column("address", sa.Text, nullable=False),
    )
    op.create_index("prices_by_moment", "prices", ["metal", "currency", "seen_at", "key"])
    for trigger in TRIGGERS:
        op.execute(trigger)
