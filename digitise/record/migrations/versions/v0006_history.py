"""What was mended or removed, line by line."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Add a table; a line names its visit by number alone, for it outlives the visit."""
    op.create_table(
        "history",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("client_id", sa.Integer, sa.ForeignKey("clients.id", ondelete="CASCADE"), nullable=False),
        sa.Column("visit_id", sa.Integer, nullable=False),
        sa.Column("done_utc", sa.String(20), nullable=False),
        sa.Column("what", sa.String(12), nullable=False),
        sa.Column("was", sa.String(40), nullable=False),
        sa.Column("became", sa.String(40), nullable=False),
        sa.Column("done_by", sa.String(20), nullable=False),
    )
    op.create_index("ix_history_client_id", "history", ["client_id"])
