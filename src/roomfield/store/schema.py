"""Tables of the store: observations as rows that are only added to, everything else as versioned parts."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

# SQLite counts rows by itself only in a column of exactly this type.
_COUNTER = BigInteger().with_variant(Integer(), "sqlite")

survey = Table(
    "survey",
    metadata,
    Column("id", String, primary_key=True),
    Column("title", String, nullable=False),
    Column("created_at", String, nullable=False),
    Column("invented", Boolean, nullable=False),
    Column("note", Text, nullable=False),
    Column("client", String, nullable=False),
    Column("address", String, nullable=False),
    Column("revision", Integer, nullable=False),
    Column("additions", Integer, nullable=False),
    Column("changed_at", String, nullable=False),
)

survey_part = Table(
    "survey_part",
    metadata,
    Column("survey_id", String, ForeignKey("survey.id"), primary_key=True),
    Column("name", String, primary_key=True),
    Column("body", Text, nullable=False),
    Column("revision", Integer, nullable=False),
)

survey_change = Table(
    "survey_change",
    metadata,
    Column("survey_id", String, ForeignKey("survey.id"), primary_key=True),
    Column("revision", Integer, primary_key=True),
    Column("at", String, nullable=False),
    Column("what", String, nullable=False),
)

erasure = Table(
    "erasure",
    metadata,
    Column("survey_id", String, primary_key=True),
)
"""Surveys whose removal is under way; empty outside a transaction. Only these may lose rows."""


def _observations(name: str, *columns: Column[object]) -> Table:
    return Table(
        name,
        metadata,
        Column("seq", _COUNTER, primary_key=True, autoincrement=True),
        Column("survey_id", String, ForeignKey("survey.id"), nullable=False),
        Column("id", String, nullable=False),
        *columns,
        UniqueConstraint("survey_id", "id"),
        Index(f"ix_{name}_survey_id_seq", "survey_id", "seq"),
        sqlite_autoincrement=True,
    )


def _text(name: str) -> Column[object]:
    return Column(name, Text, nullable=False)


def _number(name: str, *, optional: bool = False) -> Column[object]:
    return Column(name, Float(53), nullable=optional)


def _count(name: str) -> Column[object]:
    return Column(name, BigInteger, nullable=False)


def _point() -> tuple[Column[object], ...]:
    return tuple(_number(axis, optional=True) for axis in ("x_m", "y_m", "z_m"))


def _origin() -> tuple[Column[object], ...]:
    return (_text("origin_file_name"), _text("origin_file_sha256"), _count("origin_line"))


def _circumstances() -> tuple[Column[object], ...]:
    return (_text("visit_id"), _text("meter_id"), _text("radio_state_id"))


reading = _observations(
    "reading", *_circumstances(), _text("kind"), _number("value_w_m2"), _text("place_id"), *_point(),
    _text("censoring"), _text("orientation"), _text("scan"), _number("scan_edge_m"), _text("taken_at"),
    _count("replicate"), _text("note"), *_origin(), _number("watched_s", optional=True),
    _number("height_m", optional=True), _number("body_distance_m", optional=True),
    Column("accessory_id", Text, nullable=False, server_default=""),
    Column("listened", Text, nullable=False, server_default=""),
)  # fmt: skip

bearing = _observations(
    "bearing", *_circumstances(), *_point(), _number("strongest_deg", optional=True),
    _number("null_deg", optional=True), _number("std_deg"), _number("strongest_w_m2", optional=True),
    _number("null_w_m2", optional=True), _text("taken_at"), _text("note"), *_origin(),
)  # fmt: skip

recording = _observations(
    "recording", *_circumstances(), _text("media_sha256"), _text("place_id"), *_point(),
    _number("duration_s"), _text("heard"), _text("unknown_signals"), _text("analysed_with"),
    _text("taken_at"), _text("note"),
)  # fmt: skip

log_record = _observations(
    "log_record", *_circumstances(), _text("kind"), _text("media_sha256"), _text("series_sha256"),
    _text("place_id"), _text("started_at"), _text("ended_at"), _text("note"),
)  # fmt: skip

amendment = _observations(
    "amendment", _text("target_id"), _text("field"), _text("old"), _text("new"), _text("reason"), _text("by"),
    _text("at"),
)  # fmt: skip

chain_link = Table(
    "chain_link",
    metadata,
    Column("survey_id", String, ForeignKey("survey.id"), primary_key=True),
    Column("number", Integer, primary_key=True),
    *(Column(name, Text, nullable=False) for name in ("at", "by", "device", "what", "content", "previous", "sha256",
                                                      "signer", "signature")),
    Column("account", Text, nullable=False, server_default=""),
)  # fmt: skip
"""One link for each entry and each change: see :mod:`roomfield.survey.chain`."""

part_version = Table(
    "part_version",
    metadata,
    Column("survey_id", String, ForeignKey("survey.id"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("name", String, primary_key=True),
    Column("body", Text, nullable=False),
)
"""Every body that a part ever had, by the number of the link that wrote it."""

deletion = Table(
    "deletion",
    metadata,
    Column("survey_id", String, primary_key=True),
    Column("head", String, primary_key=True),
    *(Column(name, Text, nullable=False) for name in ("at", "by", "device")),
)
"""That a survey was deleted, when and by whom; nothing of what was in it."""

survey_owner = Table(
    "survey_owner",
    metadata,
    Column("survey_id", String, ForeignKey("survey.id"), primary_key=True),
    Column("number", Integer, primary_key=True),
    *(Column(name, Text, nullable=False) for name in ("owner", "given_by", "at")),
)
"""On a server: to which account a survey belongs, the last row counts; every hand-over stays."""

account_right = Table(
    "account_right",
    metadata,
    Column("account", String, primary_key=True),
    Column("granted", Text, nullable=False),
)
"""On a server: what each account may do, written by the account that owns the tables."""

media_file = Table(
    "media_file",
    metadata,
    Column("sha256", String, primary_key=True),
    Column("size", BigInteger, nullable=False),
)

media_chunk = Table(
    "media_chunk",
    metadata,
    Column("sha256", String, ForeignKey("media_file.sha256"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("body", LargeBinary, nullable=False),
)
"""On a server: files in pieces, unless a folder is named for them."""

MEDIA = (media_file, media_chunk)
APPEND_ONLY = (reading, bearing, recording, log_record, amendment)
CHAIN = (chain_link, part_version)
