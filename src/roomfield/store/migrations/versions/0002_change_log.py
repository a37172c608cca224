"""A line for each change of a survey's parts: when, and which parts.

Revision ID: 0002
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table; surveys that exist get one line saying so."""
    op.create_table(
        "survey_change",
        sa.Column("survey_id", sa.String, nullable=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("at", sa.String, nullable=False),
        sa.Column("what", sa.String, nullable=False),
        sa.PrimaryKeyConstraint("survey_id", "revision", name="pk_survey_change"),
        sa.ForeignKeyConstraint(["survey_id"], ["survey.id"], name="fk_survey_change_survey_id_survey"),
    )
    op.execute(
        "INSERT INTO survey_change (survey_id, revision, at, what) "
        "SELECT id, revision, changed_at, 'before changes were listed' FROM survey"
    )
