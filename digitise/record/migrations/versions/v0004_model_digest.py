"""The digest of a model's text alone, so that it is checked where the limb is not read."""

import hashlib

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add a column, and fill it from the texts that are there."""
    op.add_column("models", sa.Column("json_sha256", sa.String(64), nullable=True))
    models = sa.table("models", sa.column("visit_id"), sa.column("model_json"), sa.column("json_sha256"))
    connection = op.get_bind()
    for visit in connection.scalars(sa.select(models.c.visit_id)).all():
        text = str(connection.scalar(sa.select(models.c.model_json).where(models.c.visit_id == visit)))
        sha256 = hashlib.sha256(text.encode()).hexdigest()
        connection.execute(sa.update(models).where(models.c.visit_id == visit).values(json_sha256=sha256))
