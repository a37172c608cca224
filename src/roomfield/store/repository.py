"""The store: surveys in and out, each write one transaction, observations only ever added."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

from sqlalchemy import Connection, Engine, insert, or_, select, update

from roomfield.errors import ConflictError, InputError, StoreError, UnknownNameError
from roomfield.store import amending, chain_links, database_rights, erasing, observations, office, parts, schema
from roomfield.store.backup import back_up
from roomfield.store.counts import is_archived, standing_readings
from roomfield.store.database_media import DatabaseMedia
from roomfield.store.engine import Address, address_of, connect, fold_in, reading, refuse_wrong_encoding, writing
from roomfield.store.lines import Change, StoredSurvey, SurveySummary
from roomfield.store.making import is_there, make_record, refuse_if_empty, refuse_if_locked
from roomfield.store.media import MediaFolder
from roomfield.store.migrate import bring_up_to_date, is_up_to_date, refuse_bare
from roomfield.store.office import Ownership
from roomfield.store.rows import Observation
from roomfield.survey.amendment import Amendment
from roomfield.survey.chain import ChainFault, Link
from roomfield.survey.json_codec import checked
from roomfield.survey.observation import MediaItem
from roomfield.survey.place import Place
from roomfield.survey.sign_off import ReportStage, SignOff
from roomfield.survey.soundness import amended_value_faults, as_amended
from roomfield.survey.survey_record import WITHDRAWN, Survey
from roomfield.survey.values import refuse_impossible, value_faults
from roomfield.survey.visit import Visit, VisitPurpose

_REFERRED_TO = frozenset({"visits", "meters", "places"})
_MOST_KEPT = 8
__all__ = ["Change", "Store", "StoredSurvey", "SurveySummary", "open_store"]


class Store:
    """Surveys in a database, with their media in a folder.

    Parameters
    ----------
    engine : Engine
        Made by ``open_store``, which is the way to get a store.
    address : Address
        Where the database lies.
    media : MediaFolder
        Where files are kept by their content hash.
    """

    def __init__(self, engine: Engine, address: Address, media: MediaFolder) -> None:
        self.address = address.shown
        self.media = media
        self._engine = engine
        self._kept: dict[str, StoredSurvey] = {}

    def close(self) -> None:
        """Give back every connection."""
        self._engine.dispose()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_fault: object) -> None:
        self.close()

    def surveys(self, search: str = "") -> tuple[SurveySummary, ...]:
        """Summaries of the surveys, the one changed last first.

        Parameters
        ----------
        search : str
            Words that must all stand in title, client, address, note or id; case does not matter.
        """
        table = schema.survey
        columns = (table, standing_readings().label("readings"), is_archived().label("archived"))
        query = select(*columns).order_by(table.c.changed_at.desc(), table.c.id)
        for word in search.split():
            fields = (table.c.title, table.c.client, table.c.address, table.c.note, table.c.id)
            query = query.where(or_(*(field.icontains(word, autoescape=True) for field in fields)))
        names = SurveySummary.__dataclass_fields__
        with reading(self._engine, self.address) as connection:
            rows = connection.execute(query).mappings().all()
        return tuple(SurveySummary(**{name: row[name] for name in names}) for row in rows)

    def create(self, survey: Survey, what: str = "created") -> StoredSurvey:
        """Keep a new survey with everything in it, in one transaction.

        Parameters
        ----------
        what : str
            What the first link of its chain says.

        Raises
        ------
        StoreError
            If its id is taken, or something in it refers to what does not exist.
        InputError
            If a field has a wrong type, or a value cannot be.
        """
        survey = checked(survey, Survey, where=f"survey {survey.id!r}")
        refuse_impossible(survey)
        observations.refuse_broken_references(survey)
        bodies = {name: parts.encode(name, value) for name, value in parts.parts_of(survey).items()}
        with writing(self._engine, self.address) as connection:
            if _head(connection, survey.id) is not None:
                raise StoreError(f"there is already a survey {survey.id!r}.", mend="Open that one, or duplicate it.")
            connection.execute(insert(schema.survey), [_head_row(survey)])
            office.give_to(connection, survey.id, office.account_of(connection))
            parts.write_parts(connection, survey.id, bodies, 1)
            _note_change(connection, survey.id, 1, "created")
            by_field = {name: getattr(survey, name) for name in observations.FIELDS}
            rows = observations.add_rows(connection, survey.id, by_field)
            link = chain_links.add_link(connection, survey.id, what, rows, bodies)
        return StoredSurvey(survey, 1, 0, link.sha256)

    def load(self, survey_id: str) -> StoredSurvey:
        """A survey with everything in it, all of one moment.

        Raises
        ------
        UnknownNameError
            If there is no such survey.
        """
        with reading(self._engine, self.address) as connection:
            head = _head_or_refuse(connection, survey_id)
            last = chain_links.head_of(connection, survey_id)
            state = (head["revision"], head["additions"], last.sha256 if last else "")
            kept = self._kept.get(survey_id)
            if kept is not None and (kept.revision, kept.additions, kept.head) == state:
                return kept
            stored = StoredSurvey(_read(connection, head), *state)
        self._keep(stored)
        return stored

    def update(self, survey_id: str, expected_revision: int, **changed: Any) -> int:
        """Replace parts of a survey, unless somebody else changed it since it was read.

        Parameters
        ----------
        expected_revision : int
            The revision that the change was made on.
        changed : record or tuple of records
            New values of ``title``, ``note``, ``invented``, ``assignment``, ``dwelling``, ``places``,
            ``emitters``, ``meters``, ``visits``, ``media``, ``actions``, ``adopted_plan``, ``people``,
            ``photographs``, ``hot_spots``, ``ticks`` or ``archived``.

        Returns
        -------
        int
            The new revision.

        Raises
        ------
        ConflictError
            If the stored revision is another; nothing is written.
        StoreError
            If an observation refers to something that is to go.
        """
        if "sign_offs" in changed:
            raise InputError("a sign-off is added, not replaced.", mend="Use 'roomfield sign-off'.")
        bodies = {name: parts.encode(name, value) for name, value in changed.items()}
        with writing(self._engine, self.address) as connection:
            head = _head_or_refuse(connection, survey_id, lock=True)
            if head["revision"] != expected_revision:
                since = parts.changed_since(connection, survey_id, expected_revision)
                raise ConflictError(expected_revision, head["revision"], since, where=f"survey {survey_id}")
            if not bodies:
                return expected_revision
            revision = expected_revision + 1
            _refuse_new_impossible(connection, survey_id, changed)
            parts.write_parts(connection, survey_id, bodies, revision)
            what = ", ".join(sorted(bodies))
            _note_change(connection, survey_id, revision, what)
            chain_links.add_link(connection, survey_id, f"changed: {what}", bodies=bodies)
            _mark_changed(connection, survey_id, revision=revision, **_mirrored(changed))
            if _REFERRED_TO & set(changed):
                observations.refuse_broken_references(_read(connection, head))
        return revision

    def append(
        self,
        survey_id: str,
        items: Sequence[Observation],
        *,
        new_places: Sequence[Place] = (),
        files: Sequence[MediaItem] = (),
    ) -> int:
        """Add readings, bearings, recordings or logs; all of them are kept, or none.

        Parameters
        ----------
        items : sequence of Reading, Bearing, Recording or LogRecord
            One already stored with the same id and the same content is passed over.
        new_places : sequence of Place
            Places to add in the same transaction, because the observations refer to them.
        files : sequence of MediaItem
            Stored files that the observations rest on, listed in the same transaction.

        Returns
        -------
        int
            How many were new.

        Raises
        ------
        StoreError
            If an id is taken by something else, or a visit, radio state, meter or place does not exist.
        """
        by_field = observations.sorted_by_kind(items)
        for name, mine in (*by_field.items(), ("places", tuple(new_places))):
            refuse_impossible(mine, name)
        for item in files:
            self.media.path(item.sha256)
        with writing(self._engine, self.address) as connection:
            head = _head_or_refuse(connection, survey_id, lock=True)
            referred = parts.read_parts(connection, survey_id, _REFERRED_TO)
            referred["places"] = (*referred["places"], *new_places)
            observations.refuse_broken_references(_bare(head, **referred, **by_field))
            rows = observations.add_rows(connection, survey_id, by_field)
            added, revision, bodies = sum(map(len, rows.values())), head["revision"], {}
            if new_places:
                revision += 1
                bodies = {"places": parts.encode("places", referred["places"])}
                parts.write_parts(connection, survey_id, bodies, revision)
                _note_change(connection, survey_id, revision, "places")
            bodies |= _listed(connection, survey_id, files, head["revision"])
            if added or bodies:
                what = _added(rows, len(new_places), len(files) if "media" in bodies else 0)
                chain_links.add_link(connection, survey_id, what, rows, bodies)
                additions = head["additions"] + added + ("media" in bodies)
                _mark_changed(connection, survey_id, revision=revision, additions=additions)
        return added

    def amend(
        self, survey_id: str, observation_id: str, field: str, new: Any, *, reason: str, by: str, at: str = ""
    ) -> Amendment:
        """Correct one field of one observation; what was observed first stays in the record.

        Parameters
        ----------
        field : str
            Name of the field, or ``withdrawn`` with True to take the observation out of the findings.
        new : object
            The new value.
        reason, by : str
            Why and who; neither may be empty.
        at : str
            When, ISO 8601; now if empty.

        Raises
        ------
        InputError
            If reason or name is missing, nothing would change, or the value does not fit the field.
        UnknownNameError
            If there is no such survey or field.
        StoreError
            If there is no such observation, or the new value refers to what does not exist.
        """
        if not reason.strip() or not by.strip():
            raise InputError("an amendment needs a reason and a name.", where=observation_id, mend="Give both.")
        with writing(self._engine, self.address) as connection:
            head = _head_or_refuse(connection, survey_id, lock=True)
            target = observations.find_observation(connection, survey_id, observation_id)
            if target is None:
                raise StoreError(
                    f"there is no observation {observation_id!r}.",
                    where=f"survey {survey_id}",
                    mend="Load the survey again and choose one of its observations.",
                )
            earlier = observations.read_amendments(connection, survey_id, observation_id)
            old = amending.encoded(target, field, amending.current_value(target, earlier, field))
            amendment = Amendment(
                uuid4().hex,
                observation_id,
                field,
                old,
                amending.encoded(target, field, new),
                reason,
                by,
                at or _now(),
            )
            if amendment.old == amendment.new:
                raise InputError(f"{field} is {old} already.", where=observation_id, mend="Give another value.")
            referred = parts.read_parts(connection, survey_id, _REFERRED_TO)
            of_values = tuple(a for a in (*earlier, amendment) if a.field != WITHDRAWN)
            mine = observations.sorted_by_kind([target]) | {"amendments": of_values}
            corrected = _bare(head, **referred, **mine)
            observations.refuse_broken_references(corrected)
            for fault in amended_value_faults(corrected, as_amended(corrected)):
                raise fault
            rows = observations.add_rows(connection, survey_id, {"amendments": (amendment,)})
            chain_links.add_link(connection, survey_id, f"amended: {field} of {observation_id}", rows)
            _mark_changed(connection, survey_id, additions=head["additions"] + 1)
        return amendment

    def attach(self, survey_id: str, item: MediaItem) -> None:
        """Add a stored file to the survey's list of media, unless it stands there.

        Raises
        ------
        StoreError
            If the file itself has not been stored.
        """
        self.media.path(item.sha256)
        with writing(self._engine, self.address) as connection:
            head = _head_or_refuse(connection, survey_id, lock=True)
            bodies = _listed(connection, survey_id, (item,), head["revision"])
            if not bodies:
                return
            chain_links.add_link(connection, survey_id, f"file: {item.file_name}", bodies=bodies)
            _mark_changed(connection, survey_id, additions=head["additions"] + 1)

    def duplicate(self, survey_id: str, *, for_follow_up: bool = True, title: str = "") -> StoredSurvey:
        """A copy under a new id.

        Parameters
        ----------
        for_follow_up : bool
            True keeps everything observed and adds a follow-up visit with the radio states of the last one;
            False keeps dwelling, places, emitters and meters only, as the start of another survey.
        title : str
            Title of the copy; that of the original if empty.
        """
        original = self.load(survey_id).survey
        now = _now()
        copy = replace(
            original, id=uuid4().hex, created_at=now, title=title or original.title, archived=False, sign_offs=()
        )
        if for_follow_up:
            copy = replace(copy, visits=(*copy.visits, _follow_up(copy, now)))
        else:
            copy = replace(
                copy, visits=(), readings=(), bearings=(), recordings=(), logs=(), amendments=(), actions=(),
                adopted_plan=None, media=_plan_media(copy), photographs=(), hot_spots=(), ticks=(),
            )  # fmt: skip
        return self.create(copy, f"copied from survey {survey_id}")

    def delete(self, survey_id: str, typed_title: str) -> None:
        """Remove a survey with everything in it, once its title has been typed.

        Raises
        ------
        InputError
            If the typed title is another.
        """
        with writing(self._engine, self.address) as connection:
            head = _head_or_refuse(connection, survey_id, lock=True)
            if typed_title != head["title"]:
                raise InputError(
                    f"the title {typed_title!r} is not that of the survey.",
                    mend=f"Type {head['title']!r} to delete it.",
                )
            files = erasing.files_of(connection, survey_id)
            erasing.erase(connection, survey_id)
            unused = erasing.unused_of(connection, files)
        self._kept.pop(survey_id, None)
        for sha256 in unused:
            self.media.remove(sha256)
        self._fold_in(all_of_it=True)

    def history(self, survey_id: str) -> tuple[Link, ...]:
        """The chain of a survey: every entry and change with author, device and time, oldest first."""
        with reading(self._engine, self.address) as connection:
            _head_or_refuse(connection, survey_id)
            return chain_links.read_links(connection, survey_id)

    def chain_faults(self, survey_id: str) -> tuple[ChainFault, ...]:
        """Everything in a stored survey that does not fit its chain; empty if it is as it was written."""
        with reading(self._engine, self.address) as connection:
            _head_or_refuse(connection, survey_id)
            return chain_links.faults_in(connection, survey_id)

    def changes(self, survey_id: str) -> tuple[Change, ...]:
        """What was changed when, oldest first."""
        table = schema.survey_change
        query = select(table).where(table.c.survey_id == survey_id).order_by(table.c.revision)
        with reading(self._engine, self.address) as connection:
            _head_or_refuse(connection, survey_id)
            rows = connection.execute(query).mappings().all()
        return tuple(Change(row["revision"], row["at"], row["what"]) for row in rows)

    def sign_off(self, survey_id: str, item: SignOff, head: str) -> SignOff:
        """Keep a step of a report, with the account that the server knows, unless the survey changed meanwhile.

        Parameters
        ----------
        head : str
            Hash of the last link that the person had before them.

        Raises
        ------
        StoreError
            If something was written since.
        """
        with writing(self._engine, self.address) as connection:
            stored = _head_or_refuse(connection, survey_id, lock=True, of_own=item.stage is ReportStage.DRAFT)
            last = chain_links.head_of(connection, survey_id)
            if last is None or last.sha256 != head:
                raise StoreError(
                    "something was written to the survey while you looked at it; nothing was signed.",
                    where=f"survey {survey_id}",
                    mend="Look at the report again.",
                )
            item = replace(item, account=office.account_of(connection))
            earlier = parts.read_parts(connection, survey_id, ["sign_offs"]).get("sign_offs", ())
            bodies = {"sign_offs": parts.encode("sign_offs", (*earlier, item))}
            parts.write_parts(connection, survey_id, bodies, stored["revision"])
            chain_links.add_link(connection, survey_id, f"report {item.stage}", bodies=bodies)
            _mark_changed(connection, survey_id, additions=stored["additions"] + 1)
        return item

    def account(self) -> str:
        """The account of the server that acts; empty in a file."""
        with reading(self._engine, self.address) as connection:
            return office.account_of(connection)

    def accounts(self) -> dict[str, str]:
        """What each account of the server may do; empty in a file."""
        with reading(self._engine, self.address) as connection:
            return office.rights_of(connection)

    def owners(self, survey_id: str) -> tuple[Ownership, ...]:
        """Who had a survey on a server, the present owner last; empty in a file."""
        with reading(self._engine, self.address) as connection:
            _head_or_refuse(connection, survey_id)
            return office.owners_of(connection, survey_id)

    def hand_over(self, survey_id: str, account: str) -> None:
        """Give a survey to another assessor of the server; from then on only that one may write to it.

        Raises
        ------
        InputError
            If the record is a file, or the account is no assessor.
        RightsError
            If the survey belongs to somebody else.
        """
        with writing(self._engine, self.address) as connection:
            office.refuse_no_assessor(connection, account)
            head = _head_or_refuse(connection, survey_id, lock=True)
            chain_links.add_link(connection, survey_id, f"handed over to {account}")
            _mark_changed(connection, survey_id, additions=head["additions"] + 1)
            office.give_to(connection, survey_id, account)

    def grant(self, role: str, right: str) -> tuple[str, ...]:
        """Give an account of the server the right to ``assess``, ``review`` or ``read``; see `database_rights`."""
        with writing(self._engine, self.address) as connection:
            return database_rights.grant(connection, role, right)

    def back_up(self, target: Path) -> None:
        """Write a copy of the database, of one moment, while others may go on writing; media are not copied.

        Parameters
        ----------
        target : Path
            A new file.

        Raises
        ------
        StoreError
            If the file exists, cannot be written, or the database is on a server.
        """
        back_up(self._engine, self.address, target)

    def _fold_in(self, *, all_of_it: bool = False) -> None:
        fold_in(self._engine, all_of_it=all_of_it)

    def _keep(self, stored: StoredSurvey) -> None:
        kept = dict(self._kept)
        kept.pop(stored.survey.id, None)
        kept[stored.survey.id] = stored
        self._kept = dict(list(kept.items())[-_MOST_KEPT:])


def open_store(url_or_path: str | Path, *, media_folder: str | Path | None = None) -> Store:
    """Open a store, making it or bringing it up to date if need be.

    Parameters
    ----------
    url_or_path : str or Path
        A file, a folder (then ``roomfield.sqlite`` in it), or a URL that begins with ``postgresql://``.
    media_folder : str or Path, optional
        Where files are kept; left out: beside the database if it is a file, in it if it is on a server.

    Raises
    ------
    StoreError
        If it cannot be opened, was written by a newer release, or is not ours.
    """
    address = address_of(url_or_path)
    file = Path(address.shown)
    if address.beside is not None and address.beside.is_dir():
        refuse_if_empty(file)
        refuse_if_locked(file)
        if not is_there(file):
            make_record(file)
    engine = connect(address)
    try:
        with reading(engine, address.shown) as connection:
            refuse_wrong_encoding(connection, address.shown)
            refuse_bare(connection, address.shown)
            ready = is_up_to_date(connection)
        if not ready:
            with writing(engine, address.shown) as connection:
                bring_up_to_date(connection, address.shown)
    except StoreError:
        engine.dispose()
        raise
    media = MediaFolder.beside(address, media_folder)
    if address.beside is None and not media.is_named:
        media = DatabaseMedia(engine, address.shown)
    media.sweep()
    return Store(engine, address, media)


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def _head(connection: Connection, survey_id: str, *, lock: bool = False) -> Any:
    query = select(schema.survey).where(schema.survey.c.id == survey_id)
    return connection.execute(query.with_for_update() if lock else query).mappings().first()


def _head_or_refuse(connection: Connection, survey_id: str, *, lock: bool = False, of_own: bool = True) -> Any:
    head = _head(connection, survey_id)
    if head is None:
        known = connection.execute(select(schema.survey.c.id).limit(20)).scalars().all()
        raise UnknownNameError("survey", survey_id, known)
    if not lock:
        return head
    if of_own:
        office.refuse_stranger(connection, survey_id)
    return _head(connection, survey_id, lock=True)


def _head_row(survey: Survey) -> dict[str, Any]:
    own = {
        "id": survey.id,
        "created_at": survey.created_at,
        "revision": 1,
        "additions": 0,
        "changed_at": _now(),
    }
    return own | _mirrored(parts.parts_of(survey))


def _mirrored(changed: dict[str, Any]) -> dict[str, Any]:
    """What the list of surveys shows and searches, out of the parts that are changed."""
    row: dict[str, Any] = {name: changed[name] for name in ("title", "note", "invented") if name in changed}
    if "assignment" in changed:
        row |= {"client": changed["assignment"].client, "address": changed["assignment"].address}
    return row


def _mark_changed(connection: Connection, survey_id: str, **values: Any) -> None:
    statement = update(schema.survey).where(schema.survey.c.id == survey_id)
    connection.execute(statement.values(changed_at=_now(), **values))


def _note_change(connection: Connection, survey_id: str, revision: int, what: str) -> None:
    row = {"survey_id": survey_id, "revision": revision, "at": _now(), "what": what}
    connection.execute(insert(schema.survey_change), [row])


def _read(connection: Connection, head: Any) -> Survey:
    stored = parts.read_parts(connection, head["id"])
    return _bare(head, **stored, **observations.read_observations(connection, head["id"]))


def _bare(head: Any, **fields: Any) -> Survey:
    return Survey(**({"id": head["id"], "title": head["title"], "created_at": head["created_at"]} | fields))


def _added(rows: dict[str, list[Any]], places: int, files: int) -> str:
    counts = {**{table: len(some) for table, some in rows.items()}, "place": places, "file": files}
    return "added: " + ", ".join(f"{count} {table}" for table, count in counts.items() if count)


def _listed(connection: Connection, survey_id: str, files: Sequence[MediaItem], revision: int) -> dict[str, str]:
    """The list of media with these files at its end, written and given back; nothing if all stand there already."""
    if not files:
        return {}
    media = parts.read_parts(connection, survey_id, ["media"])["media"]
    known = {item.sha256 for item in media}
    fresh = tuple(item for item in files if item.sha256 not in known)
    if not fresh:
        return {}
    bodies = {"media": parts.encode("media", (*media, *fresh))}
    parts.write_parts(connection, survey_id, bodies, revision)
    return bodies


def _refuse_new_impossible(connection: Connection, survey_id: str, changed: dict[str, Any]) -> None:
    """Refuse values that cannot be; those that an earlier release let in may stay until they are mended."""
    faults = [fault for name, value in changed.items() for fault in value_faults(value, name)]
    if not faults:
        return
    stored = parts.read_parts(connection, survey_id, changed)
    known = {fault.sentence() for name, value in stored.items() for fault in value_faults(value, name)}
    for fault in faults:
        if fault.sentence() not in known:
            raise fault


def _follow_up(survey: Survey, now: str) -> Visit:
    last = survey.latest_visit
    return Visit(
        id=uuid4().hex,
        started_at=now,
        assessor=survey.assignment.assessor,
        purpose=VisitPurpose.FOLLOW_UP,
        radio_states=last.radio_states if last else (),
    )


def _plan_media(survey: Survey) -> tuple[MediaItem, ...]:
    used = {image.media_sha256 for image in survey.dwelling.plan_images}
    return tuple(item for item in survey.media if item.sha256 in used)
