"""Girths taped on foot or hand, by their place."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Add a table; girths along the limb stay where they are."""
    op.create_table(
        "place_girths",
        sa.Column("visit_id", sa.Integer, sa.ForeignKey("visits.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("place", sa.String(40), nullable=False),
        sa.Column("girth_mm", sa.Double, nullable=False),
        sa.Column("height_mm", sa.Double, nullable=True),
        sa.Column("line", sa.Integer, nullable=False),
    )
