"""A chain for every survey: who wrote what and when, each link with the hash of the one before.

Surveys that exist get a first link over everything that is in them; what was done before it is not proven.

Revision ID: 0004
"""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from alembic import op

from roomfield.survey.chain import BEGINNING, Link, content_of

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_REFUSAL = "the chain is only added to, never changed or removed"
_OBSERVED = ("reading", "bearing", "recording", "log_record", "amendment")
_KEYS = {"chain_link": ("survey_id", "number"), "part_version": ("survey_id", "number", "name"),
         "deletion": ("survey_id", "head")}  # fmt: skip

_POSTGRES_ALWAYS = f"""
CREATE FUNCTION roomfield_refuse_always() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '{_REFUSAL}' USING ERRCODE = 'integrity_constraint_violation';
END $$
"""


def upgrade() -> None:
    """Make the tables, begin a chain for each survey, then guard them."""
    op.create_table(
        "chain_link",
        sa.Column("survey_id", sa.String, nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        *_texts("at", "by", "device", "what", "content", "previous", "sha256", "signer", "signature"),
        sa.PrimaryKeyConstraint("survey_id", "number", name="pk_chain_link"),
        sa.ForeignKeyConstraint(["survey_id"], ["survey.id"], name="fk_chain_link_survey_id_survey"),
    )
    op.create_table(
        "part_version",
        sa.Column("survey_id", sa.String, nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("name", sa.String, nullable=False),
        *_texts("body"),
        sa.PrimaryKeyConstraint("survey_id", "number", "name", name="pk_part_version"),
        sa.ForeignKeyConstraint(["survey_id"], ["survey.id"], name="fk_part_version_survey_id_survey"),
    )
    op.create_table(
        "deletion",
        sa.Column("survey_id", sa.String, nullable=False),
        sa.Column("head", sa.String, nullable=False),
        *_texts("at", "by", "device"),
        sa.PrimaryKeyConstraint("survey_id", "head", name="pk_deletion"),
    )
    _begin_chains()
    for table, keys in _KEYS.items():
        _guard(table, keys)


def _texts(*names: str) -> list[sa.Column[object]]:
    return [sa.Column(name, sa.Text, nullable=False) for name in names]


def _begin_chains() -> None:
    connection = op.get_bind()
    now = datetime.now(UTC).isoformat(timespec="milliseconds")
    for survey_id in connection.execute(sa.text("SELECT id FROM survey ORDER BY id")).scalars().all():
        rows = {
            table: _rows(f"SELECT * FROM {table} WHERE survey_id = :id ORDER BY seq", survey_id) for table in _OBSERVED
        }
        parts = _rows("SELECT name, body FROM survey_part WHERE survey_id = :id", survey_id)
        bodies = {str(part["name"]): str(part["body"]) for part in parts}
        content = content_of(rows, bodies)
        link = Link(survey_id, 1, now, "", "", "everything from before the chain was kept", content, BEGINNING).sealed()
        known = asdict(link)
        del known["account"]  # a column of a later schema
        _insert("chain_link", [known])
        _insert("part_version", [{"survey_id": survey_id, "number": 1, **part} for part in parts])


def _rows(query: str, survey_id: str) -> list[dict[str, Any]]:
    found = op.get_bind().execute(sa.text(query), {"id": survey_id}).mappings()
    return [{name: value for name, value in row.items() if name not in ("seq", "survey_id")} for row in found]


def _insert(table: str, rows: list[dict[str, Any]]) -> None:
    if rows:
        columns = list(rows[0])
        values = ", ".join(f":{name}" for name in columns)
        quoted = ", ".join(f'"{name}"' for name in columns)
        op.get_bind().execute(sa.text(f"INSERT INTO {table} ({quoted}) VALUES ({values})"), rows)


def _guard(table: str, keys: tuple[str, ...]) -> None:
    erasable = table != "deletion"
    if op.get_bind().dialect.name == "postgresql":
        if not erasable:
            op.execute(_POSTGRES_ALWAYS)
        function = "roomfield_refuse" if erasable else "roomfield_refuse_always"
        op.execute(
            f"CREATE TRIGGER {table}_not_changed BEFORE UPDATE OR DELETE ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {function}()"
        )
        op.execute(
            f"CREATE TRIGGER {table}_not_emptied BEFORE TRUNCATE ON {table} "
            f"FOR EACH STATEMENT EXECUTE FUNCTION {function}()"
        )
        return
    same = " AND ".join(f"{key} = NEW.{key}" for key in keys)
    going = "WHEN NOT EXISTS (SELECT 1 FROM erasure WHERE survey_id = OLD.survey_id) " if erasable else ""
    for name, when in (
        ("changed", "BEFORE UPDATE ON {t} "),
        ("removed", "BEFORE DELETE ON {t} " + going),
        ("replaced", "BEFORE INSERT ON {t} WHEN EXISTS (SELECT 1 FROM {t} WHERE " + same + ") "),
    ):
        op.execute(
            f"CREATE TRIGGER {table}_not_{name} {when.format(t=table)} BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
        )
