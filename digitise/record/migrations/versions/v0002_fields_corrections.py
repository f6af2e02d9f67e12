"""What is needed to measure stored photographs again: marker fields, and corrected outlines."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add two tables, and a column on visits."""
    op.create_table(
        "fields",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("field_json", sa.Text, nullable=False),
    )
    # in plain SQL, for SQLite adds a column with its reference only in one statement
    op.execute("ALTER TABLE visits ADD COLUMN field_sha256 VARCHAR(64) REFERENCES fields (sha256)")
    op.create_table(
        "corrections",
        sa.Column("visit_id", sa.Integer, primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("correction_json", sa.Text, nullable=False),
        sa.ForeignKeyConstraint(
            ["visit_id", "number"],
            ["visit_photographs.visit_id", "visit_photographs.number"],
            ondelete="CASCADE",
        ),
    )
