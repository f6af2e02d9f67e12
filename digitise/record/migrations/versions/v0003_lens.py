"""The lens profile that a visit was measured with, so that it can be measured again as it was."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add a column on visits."""
    op.add_column("visits", sa.Column("lens_json", sa.Text))
