"""Clients, limbs, visits with girths and photographs, models."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the first tables."""
    op.create_table(
        "clients",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("code", sa.String(20), nullable=False, unique=True),
    )
    op.create_table(
        "limbs",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("client_id", sa.Integer, sa.ForeignKey("clients.id", ondelete="CASCADE"), nullable=False),
        sa.Column("kind", sa.String(8), nullable=False),
        sa.Column("side", sa.String(8), nullable=False),
        sa.UniqueConstraint("client_id", "kind", "side"),
    )
    _make_visits()
    _make_photographs()
    op.create_table(
        "models",
        _visit_key(),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("model_json", sa.Text, nullable=False),
        sa.Column("limb_npz", sa.LargeBinary, nullable=False),
    )


def _visit_key() -> sa.Column[int]:
    return sa.Column("visit_id", sa.Integer, sa.ForeignKey("visits.id", ondelete="CASCADE"), primary_key=True)


def _make_visits() -> None:
    op.create_table(
        "visits",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("limb_id", sa.Integer, sa.ForeignKey("limbs.id", ondelete="CASCADE"), nullable=False),
        sa.Column("taken_utc", sa.String(20), nullable=False),
        sa.Column("offset_minutes", sa.Integer, nullable=False),
        sa.Column("posture", sa.String(16), nullable=False),
        sa.Column("measured_by", sa.String(20), nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("clearance_answer", sa.String(16), nullable=False),
        sa.Column("clearance_by", sa.String(20), nullable=False),
        sa.Column("clearance_utc", sa.String(20)),
        sa.Column("red_flags_json", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_visits_limb_taken", "visits", ["limb_id", "taken_utc"])
    op.create_table(
        "tape_rows",
        _visit_key(),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("height_mm", sa.Double, nullable=False),
        sa.Column("girth_mm", sa.Double, nullable=False),
        sa.Column("line", sa.Integer, nullable=False),
        sa.Column("point", sa.String(8), nullable=False),
    )


def _make_photographs() -> None:
    op.create_table(
        "photographs",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("client_id", sa.Integer, sa.ForeignKey("clients.id", ondelete="CASCADE"), nullable=False),
        sa.Column("jpeg", sa.LargeBinary, nullable=False),
    )
    op.create_index("ix_photographs_client_id", "photographs", ["client_id"])
    op.create_table(
        "visit_photographs",
        _visit_key(),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column(
            "sha256", sa.String(64), sa.ForeignKey("photographs.sha256", ondelete="CASCADE"), nullable=False
        ),
    )
    op.create_index("ix_visit_photographs_sha256", "visit_photographs", ["sha256"])
