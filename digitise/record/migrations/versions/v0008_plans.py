"""The plan of a wrap that was kept with a visit."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Add a table; of visits until now no plan was kept."""
    op.create_table(
        "plans",
        sa.Column("visit_id", sa.Integer, sa.ForeignKey("visits.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("plan_toml", sa.Text, nullable=False),
    )
