"""What a hand scan is worth by its sound, kept with its readings.

Revision ID: 0006
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column; nobody listened to the scans of readings that exist."""
    op.add_column("reading", sa.Column("listened", sa.Text, nullable=False, server_default=""))
