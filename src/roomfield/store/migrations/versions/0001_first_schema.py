"""First schema: surveys, their parts, and observations that are only added to.

Revision ID: 0001
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_APPEND_ONLY = ("reading", "bearing", "recording", "log_record", "amendment")
_REFUSAL = "observations are only added, never changed or removed: amend them instead"

_SQLITE_TRIGGERS = """
CREATE TRIGGER {table}_not_changed BEFORE UPDATE ON {table}
BEGIN SELECT RAISE(ABORT, '{refusal}'); END;
CREATE TRIGGER {table}_not_removed BEFORE DELETE ON {table}
WHEN NOT EXISTS (SELECT 1 FROM erasure WHERE survey_id = OLD.survey_id)
BEGIN SELECT RAISE(ABORT, '{refusal}'); END;
CREATE TRIGGER {table}_not_replaced BEFORE INSERT ON {table}
WHEN EXISTS (SELECT 1 FROM {table} WHERE survey_id = NEW.survey_id AND id = NEW.id)
    OR EXISTS (SELECT 1 FROM {table} WHERE seq = NEW.seq)
BEGIN SELECT RAISE(ABORT, '{refusal}'); END;
"""

_POSTGRES_FUNCTION = f"""
CREATE FUNCTION roomfield_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'DELETE' AND EXISTS (SELECT 1 FROM erasure WHERE survey_id = OLD.survey_id) THEN
        RETURN OLD;
    END IF;
    RAISE EXCEPTION '{_REFUSAL}' USING ERRCODE = 'integrity_constraint_violation';
END $$
"""

_POSTGRES_TRIGGERS = (
    "CREATE TRIGGER {table}_not_changed BEFORE UPDATE OR DELETE ON {table} "
    "FOR EACH ROW EXECUTE FUNCTION roomfield_refuse()",
    "CREATE TRIGGER {table}_not_emptied BEFORE TRUNCATE ON {table} "
    "FOR EACH STATEMENT EXECUTE FUNCTION roomfield_refuse()",
)


def upgrade() -> None:
    """Make the tables and the triggers that guard the observations."""
    _make_survey_tables()
    _make_observation_tables()
    if op.get_bind().dialect.name == "postgresql":
        op.execute(_POSTGRES_FUNCTION)
        for table in _APPEND_ONLY:
            for statement in _POSTGRES_TRIGGERS:
                op.execute(statement.format(table=table))
    else:
        for table in _APPEND_ONLY:
            for statement in _SQLITE_TRIGGERS.format(table=table, refusal=_REFUSAL).split("END;"):
                if statement.strip():
                    op.execute(statement.strip() + " END")


def _make_survey_tables() -> None:
    op.create_table(
        "survey",
        sa.Column("id", sa.String, nullable=False),
        sa.Column("title", sa.String, nullable=False),
        sa.Column("created_at", sa.String, nullable=False),
        sa.Column("invented", sa.Boolean, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("client", sa.String, nullable=False),
        sa.Column("address", sa.String, nullable=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("additions", sa.Integer, nullable=False),
        sa.Column("changed_at", sa.String, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_survey"),
    )
    op.create_table(
        "survey_part",
        sa.Column("survey_id", sa.String, nullable=False),
        sa.Column("name", sa.String, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("survey_id", "name", name="pk_survey_part"),
        sa.ForeignKeyConstraint(["survey_id"], ["survey.id"], name="fk_survey_part_survey_id_survey"),
    )
    op.create_table(
        "erasure",
        sa.Column("survey_id", sa.String, nullable=False),
        sa.PrimaryKeyConstraint("survey_id", name="pk_erasure"),
    )


def _make_observation_tables() -> None:
    _observations("reading", *_circumstances(), *_texts("kind"), *_numbers("value_w_m2"), *_texts("place_id"),
                  *_point(), *_texts("censoring", "orientation", "scan"), *_numbers("scan_edge_m"),
                  *_texts("taken_at"), _count("replicate"), *_texts("note"), *_origin())  # fmt: skip
    _observations("bearing", *_circumstances(), *_point(), *_maybe("strongest_deg", "null_deg"),
                  *_numbers("std_deg"), *_maybe("strongest_w_m2", "null_w_m2"), *_texts("taken_at", "note"),
                  *_origin())  # fmt: skip
    _observations("recording", *_circumstances(), *_texts("media_sha256", "place_id"), *_point(),
                  *_numbers("duration_s"), *_texts("heard", "unknown_signals", "analysed_with", "taken_at",
                                                   "note"))  # fmt: skip
    _observations("log_record", *_circumstances(), *_texts("kind", "media_sha256", "series_sha256"),
                  *_texts("place_id", "started_at", "ended_at", "note"))  # fmt: skip
    _observations("amendment", *_texts("target_id", "field", "old", "new", "reason", "by", "at"))


def _observations(name: str, *columns: sa.Column[object]) -> None:
    op.create_table(
        name,
        sa.Column("seq", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), autoincrement=True, nullable=False),
        sa.Column("survey_id", sa.String, nullable=False),
        sa.Column("id", sa.String, nullable=False),
        *columns,
        sa.PrimaryKeyConstraint("seq", name=f"pk_{name}"),
        sa.ForeignKeyConstraint(["survey_id"], ["survey.id"], name=f"fk_{name}_survey_id_survey"),
        sa.UniqueConstraint("survey_id", "id", name=f"uq_{name}_survey_id_id"),
        sqlite_autoincrement=True,
    )
    op.create_index(f"ix_{name}_survey_id_seq", name, ["survey_id", "seq"])


def _texts(*names: str) -> list[sa.Column[object]]:
    return [sa.Column(name, sa.Text, nullable=False) for name in names]


def _numbers(*names: str) -> list[sa.Column[object]]:
    return [sa.Column(name, sa.Float(53), nullable=False) for name in names]


def _maybe(*names: str) -> list[sa.Column[object]]:
    return [sa.Column(name, sa.Float(53), nullable=True) for name in names]


def _count(name: str) -> sa.Column[object]:
    return sa.Column(name, sa.BigInteger, nullable=False)


def _circumstances() -> list[sa.Column[object]]:
    return _texts("visit_id", "meter_id", "radio_state_id")


def _point() -> list[sa.Column[object]]:
    return _maybe("x_m", "y_m", "z_m")


def _origin() -> list[sa.Column[object]]:
    return [*_texts("origin_file_name", "origin_file_sha256"), _count("origin_line")]
