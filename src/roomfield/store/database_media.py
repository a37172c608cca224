"""Files in the database of a server, in pieces, so that several workbenches share them; each keeps copies it has read.

A copy is named by the hash of its content and so is never stale.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from sqlalchemy import Engine, delete, insert, select
from sqlalchemy.dialects.postgresql import insert as insert_if_new

from roomfield.errors import IntegrityError, StoreError
from roomfield.store import schema
from roomfield.store.engine import reading, writing
from roomfield.store.media import MediaFolder
from roomfield.survey.observation import MediaItem

PIECE = 1 << 20


def copies_folder(shown: str) -> Path:
    """Where this account keeps copies of the files of one server's database."""
    root = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return root / "roomfield" / "files" / hashlib.sha256(shown.encode()).hexdigest()[:16] / "media"


class DatabaseMedia(MediaFolder):
    """Files in the tables of a server.

    Parameters
    ----------
    engine : Engine
        Of the database.
    shown : str
        Its address without a password.
    """

    def __init__(self, engine: Engine, shown: str) -> None:
        super().__init__(copies_folder(shown))
        self._engine, self._shown = engine, shown

    def put(self, content: bytes | Path, *, file_name: str = "", media_type: str = "", caption: str = "") -> MediaItem:
        """Keep a file; once this returns, it is in the database under its hash.

        Raises
        ------
        InputError
            If the file to copy cannot be read.
        StoreError
            If it cannot be written.
        """
        item = super().put(content, file_name=file_name, media_type=media_type, caption=caption)
        with writing(self._engine, self._shown) as connection:
            kept = insert_if_new(schema.media_file).values(sha256=item.sha256, size=item.size_bytes)
            new = kept.on_conflict_do_nothing().returning(schema.media_file.c.sha256)
            if connection.execute(new).first() is not None:
                with self._place(item.sha256).open("rb") as file:
                    for number, body in enumerate(_pieces(file)):
                        piece = {"sha256": item.sha256, "number": number, "body": body}
                        connection.execute(insert(schema.media_chunk), [piece])
        return item

    def path(self, sha256: str) -> Path:
        """A copy of the file with this hash, fetched if it is not here yet.

        Raises
        ------
        InputError
            If this is no SHA-256.
        StoreError
            If there is no such file.
        """
        place = self._place(sha256)
        if not place.is_file():
            self._fetch(sha256)
        return place

    def remove(self, sha256: str) -> None:
        """Take a file away for good, here and in the database."""
        super().remove(sha256)
        with writing(self._engine, self._shown) as connection:
            connection.execute(delete(schema.media_chunk).where(schema.media_chunk.c.sha256 == sha256))
            connection.execute(delete(schema.media_file).where(schema.media_file.c.sha256 == sha256))

    def hashes(self) -> Iterator[str]:
        """Content hashes of all files that are kept."""
        with reading(self._engine, self._shown) as connection:
            yield from connection.execute(select(schema.media_file.c.sha256).order_by("sha256")).scalars().all()

    def sweep(self) -> None:
        """Take away copies of files that were deleted from the database, and what a killed process left."""
        super().sweep()
        here = {path.name: path for path in self.folder.glob("??/*")}
        gone = here.keys() - set(self.hashes()) if here else ()
        for name in gone:
            if self.is_old(here[name]):  # a younger one may be on its way into the database
                here[name].unlink(missing_ok=True)

    def _fetch(self, sha256: str) -> None:
        table = schema.media_chunk
        query = select(table.c.body).where(table.c.sha256 == sha256)
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            with reading(self._engine, self._shown) as connection:
                size = connection.execute(
                    select(schema.media_file.c.size).where(schema.media_file.c.sha256 == sha256)
                ).scalar()
                if size is None:
                    raise StoreError(
                        f"the file {sha256[:12]} is missing.", where=self._shown, mend="Restore it, or import it again."
                    )
                count = -(-int(size) // PIECE)
                bodies = (connection.execute(query.where(table.c.number == n)).scalar() or b"" for n in range(count))
                found, _ = self._store_pieces(bodies)
        except OSError as fault:
            raise StoreError(
                f"the file cannot be copied here ({fault.strerror}).", where=str(self.folder), mend="Check the disk."
            ) from None
        if found != sha256:
            self._place(found).unlink(missing_ok=True)
            raise IntegrityError("the file has changed since it was stored.", where=self._shown, mend="Restore it.")


def _pieces(file: IO[bytes]) -> Iterator[bytes]:
    while body := file.read(PIECE):
        yield body
