"""What is asked once of a client before any wrap: conditions, and checks of the arteries."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Add two tables."""
    op.create_table(
        "client_conditions",
        _client_key(),
        sa.Column("asked_on", sa.String(10), nullable=False),
        sa.Column("conditions_json", sa.Text, nullable=False),
    )
    op.create_table(
        "arterial_checks",
        _client_key(),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("value", sa.Double, nullable=False),
        sa.Column("made_on", sa.String(10), nullable=False),
        sa.Column("side", sa.String(8), nullable=False),
        sa.Column("made_by", sa.String(20), nullable=False),
    )


def _client_key() -> sa.Column[int]:
    return sa.Column(
        "client_id", sa.Integer, sa.ForeignKey("clients.id", ondelete="CASCADE"), primary_key=True
    )
