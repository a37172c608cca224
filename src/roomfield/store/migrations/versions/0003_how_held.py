"""How a reading was held: seconds, height, distance from the body, accessory.

Rows that exist keep their word ``max_hold`` for the kind: what was observed is never rewritten, and the word is read
as the highest held.

Revision ID: 0003
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns; for readings that exist nothing of it is known."""
    for name in ("watched_s", "height_m", "body_distance_m"):
        op.add_column("reading", sa.Column(name, sa.Float(53), nullable=True))
    op.add_column("reading", sa.Column("accessory_id", sa.Text, nullable=False, server_default=""))
