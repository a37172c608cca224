"""The record on disk: SQLAlchemy, migrations, media by content hash, survey packages."""
