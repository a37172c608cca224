"""Several people on one server: accounts and their rights, surveys with an owner, files in the database.

On PostgreSQL the database itself sees to who may write to a survey (row-level security): its owner, and for a sign-off
a reviewer. The account that owns the tables is not held by these rules.

Revision ID: 0005
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

_REFUSAL = "the chain is only added to, never changed or removed"
_SIGN_OFFS = "name = 'sign_offs'"
_OWNED = ("reading", "bearing", "recording", "log_record", "amendment", "survey_change")

_FUNCTIONS = (
    """
CREATE FUNCTION roomfield_right() RETURNS text LANGUAGE sql STABLE AS $$
    SELECT granted FROM account_right WHERE account = current_user
$$
""",
    """
CREATE FUNCTION roomfield_owns(asked text) RETURNS boolean LANGUAGE sql STABLE AS $$
    SELECT coalesce(
        (SELECT owner FROM survey_owner WHERE survey_id = asked ORDER BY number DESC LIMIT 1), current_user
    ) = current_user
$$
""",
)
_MINE = "roomfield_owns(survey_id)"
_REVIEWS = "coalesce(roomfield_right(), '') = 'review'"
_PART = f"({_MINE} OR ({_REVIEWS} AND {_SIGN_OFFS}))"


def upgrade() -> None:
    """Make the tables, then the rules."""
    op.add_column("chain_link", sa.Column("account", sa.Text, nullable=False, server_default=""))
    op.create_table(
        "survey_owner",
        sa.Column("survey_id", sa.String, nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("owner", "given_by", "at")),
        sa.PrimaryKeyConstraint("survey_id", "number", name="pk_survey_owner"),
        sa.ForeignKeyConstraint(["survey_id"], ["survey.id"], name="fk_survey_owner_survey_id_survey"),
    )
    op.create_table(
        "account_right",
        sa.Column("account", sa.String, nullable=False),
        sa.Column("granted", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("account", name="pk_account_right"),
    )
    op.create_table(
        "media_file",
        sa.Column("sha256", sa.String, nullable=False),
        sa.Column("size", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_media_file"),
    )
    op.create_table(
        "media_chunk",
        sa.Column("sha256", sa.String, nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("body", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("sha256", "number", name="pk_media_chunk"),
        sa.ForeignKeyConstraint(["sha256"], ["media_file.sha256"], name="fk_media_chunk_sha256_media_file"),
    )
    if op.get_bind().dialect.name == "postgresql":
        _rules()
    else:
        _guard_owners()


def _guard_owners() -> None:
    same = "survey_id = NEW.survey_id AND number = NEW.number"
    going = "WHEN NOT EXISTS (SELECT 1 FROM erasure WHERE survey_id = OLD.survey_id) "
    for name, when in (
        ("changed", "BEFORE UPDATE ON survey_owner "),
        ("removed", "BEFORE DELETE ON survey_owner " + going),
        ("replaced", f"BEFORE INSERT ON survey_owner WHEN EXISTS (SELECT 1 FROM survey_owner WHERE {same}) "),
    ):
        op.execute(f"CREATE TRIGGER survey_owner_not_{name} {when}BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END")


def _rules() -> None:
    op.execute(
        "CREATE TRIGGER survey_owner_not_changed BEFORE UPDATE OR DELETE ON survey_owner "
        "FOR EACH ROW EXECUTE FUNCTION roomfield_refuse()"
    )
    op.execute(
        "CREATE TRIGGER survey_owner_not_emptied BEFORE TRUNCATE ON survey_owner "
        "FOR EACH STATEMENT EXECUTE FUNCTION roomfield_refuse()"
    )
    for function in _FUNCTIONS:
        op.execute(function)
    for table in (*_OWNED, "chain_link", "part_version", "survey_part", "survey", "survey_owner"):
        op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY {table}_seen ON {table} FOR SELECT USING (true)")
    for table in _OWNED:
        op.execute(f"CREATE POLICY {table}_added ON {table} FOR INSERT WITH CHECK ({_MINE})")
    op.execute(
        "CREATE POLICY chain_link_added ON chain_link FOR INSERT "
        f"WITH CHECK (account = current_user AND ({_MINE} OR {_REVIEWS}))"
    )
    op.execute(f"CREATE POLICY part_version_added ON part_version FOR INSERT WITH CHECK ({_PART})")
    op.execute(f"CREATE POLICY survey_part_added ON survey_part FOR INSERT WITH CHECK ({_PART})")
    op.execute(f"CREATE POLICY survey_part_replaced ON survey_part FOR DELETE USING ({_PART})")
    op.execute("CREATE POLICY survey_begun ON survey FOR INSERT WITH CHECK (true)")
    owns = f"(roomfield_owns(id) OR {_REVIEWS})"
    op.execute(f"CREATE POLICY survey_marked ON survey FOR UPDATE USING ({owns}) WITH CHECK ({owns})")
    op.execute(
        f"CREATE POLICY survey_owner_added ON survey_owner FOR INSERT WITH CHECK (given_by = current_user AND {_MINE})"
    )
