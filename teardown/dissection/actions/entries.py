"""What is seen and measured: logged, said of all places at once, amended, withdrawn, moved, confirmed."""

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from teardown import __version__
from teardown.accounts.models import User
from teardown.accounts.roles import demand
from teardown.dissection.actions.items import Item
from teardown.dissection.actions.reading import Reader, Unusual, as_item
from teardown.dissection.models import BenchSession, Confirmation, Dissection, Entry
from teardown.dissection.models.opening import OPENED
from teardown.dissection.rules.places import all_places, grid_of
from teardown.records.actions import record

State = Literal["kept", "kept already", "unusual", "refused", "conflict"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one item. Refused ones carry sentences and go back to the person who made them."""

    key: uuid.UUID
    state: State
    entry: Entry | None = None
    sentences: tuple[str, ...] = ()

    @property
    def kept(self) -> bool:
        """Tell whether it is in the record."""
        return self.entry is not None and self.state in ("kept", "kept already")


def log_entries(
    *,
    dissection: Dissection,
    items: Iterable[Item | Mapping[str, Any]],
    by: User,
    session: BenchSession | None = None,
    at: dt.datetime | None = None,
) -> list[Outcome]:
    """Keep what was seen: each item checked first, so that one bad item blocks none.

    The same key with the same content gives the first answer again; with other content it is a conflict.

    Parameters
    ----------
    items : iterable of Item or mapping
        See `Item`.
    at : datetime, optional
        When they reached the server; now, unless a past deed is told.

    Returns
    -------
    list of Outcome
        One an item, in their order.
    """
    demand(by, "entries.add")
    now = at or timezone.now()
    read, outcomes = _read(items)
    reader = Reader(dissection, [item for _, item in read], now)
    before = {entry.key: entry for entry in Entry.objects.filter(key__in=[item.key for _, item in read])}
    with transaction.atomic():
        for place, item in read:
            outcomes[place] = _log_one(item, reader, by, session, before.get(item.key))
            if outcomes[place].state == "kept":
                before[item.key] = outcomes[place].entry  # type: ignore[assignment]
    return [outcomes[number] for number in sorted(outcomes)]


def _read(items: Iterable[Item | Mapping[str, Any]]) -> tuple[list[tuple[int, Item]], dict[int, Outcome]]:
    read, outcomes = [], {}
    for number, said in enumerate(items):
        try:
            read.append((number, Item.read(said)))
        except (ValidationError, TypeError, ValueError) as error:
            outcomes[number] = Outcome(_key_of(said), "refused", None, _sentences(error))
    return read, outcomes


def _key_of(said: Any) -> uuid.UUID:
    try:
        return uuid.UUID(str(said["key"]))
    except (KeyError, TypeError, ValueError):
        return uuid.UUID(int=0)


def _sentences(error: Exception) -> tuple[str, ...]:
    return tuple(error.messages) if isinstance(error, ValidationError) else (str(error),)


def _log_one(
    item: Item, reader: Reader, by: User, session: BenchSession | None, before: Entry | None
) -> Outcome:
    if before is not None:
        if before.payload_sha256 == item.digest():
            return Outcome(item.key, "kept already", before)
        return Outcome(item.key, "conflict", before, ("Something else was kept under the same key before.",))
    try:
        entry = reader.entry(item, by)
        if entry.scribe_id:
            demand(by, "entries.scribe")
        if entry.term.key == OPENED and (reader.opened is not None or dissection_opened(entry)):
            raise ValidationError("The cell was opened before; amend that time, with the reason.")
        with transaction.atomic():
            kept = _keep(entry, by=by, session=session, verb="logged")
    except Unusual as error:
        return Outcome(item.key, "unusual", None, _sentences(error))
    except (ValidationError, PermissionDenied, IntegrityError) as error:
        return Outcome(item.key, "refused", None, _sentences(error))
    if entry.term.key == OPENED and entry.timed:
        reader.opened = entry.moment
    return Outcome(item.key, "kept", kept)


def dissection_opened(entry: Entry) -> bool:
    """Tell whether the dissection has its time zero already, be it of a day alone."""
    return entry.dissection.pk is not None and entry.dissection.entries.opening() is not None


def _keep(entry: Entry, *, by: User, session: BenchSession | None, verb: str) -> Entry:
    """Save one entry with its record."""
    if entry.part is not None and entry.part.pk is None:
        entry.part.save()
        entry.part = entry.part
    entry.session, entry.release = session, __version__
    entry.record = record(
        verb=verb,
        subject=entry.dissection,
        by=by,
        reason=entry.reason_text or (str(entry.reason) if entry.reason_id else ""),
        payload={
            "key": entry.key,
            "term": entry.term.key,
            "said": entry.said,
            "place": entry.place,
            "observed_at": entry.observed_at,
            "observer": entry.observer_id,
            "supersedes": entry.supersedes.key if entry.supersedes else None,
            "payload_sha256": entry.payload_sha256,
        },
        bench_session=str(session.key) if session else "",
        at=entry.received_at,
    )
    entry.save(force_insert=True)
    return entry


def log_entry(
    *,
    dissection: Dissection,
    term: str,
    by: User,
    session: BenchSession | None = None,
    at: dt.datetime | None = None,
    **said: Any,
) -> Entry:
    """Keep one thing seen; see `Item` for what can be said.

    Raises
    ------
    ValidationError
        With what is wrong, where one item of `log_entries` would be refused.
    """
    outcome = log_entries(
        dissection=dissection, items=[Item.read({"term": term} | said)], by=by, session=session, at=at
    )[0]
    if not outcome.kept or outcome.entry is None:
        raise ValidationError(list(outcome.sentences), code=outcome.state)
    return outcome.entry


def all_the_same(
    *,
    dissection: Dissection,
    term: str,
    by: User,
    faces: str = "AB",
    session: BenchSession | None = None,
    at: dt.datetime | None = None,
    key: uuid.UUID | None = None,
    **said: Any,
) -> list[Outcome]:
    """Say the same of every place of the grid: as many explicit entries, each marked as said of all at once.

    ``key`` is the device's; the keys of the places follow from it, so that a repeat is recognised whole.
    """
    grid = grid_of(dissection.cell.electrode_width_mm)
    first = key or uuid.uuid4()
    base = Item.read({"term": term} | said)
    items = [
        replace(base, key=uuid.uuid5(first, place.address), place=place.address, grid=grid, uniform=True)
        for place in all_places(grid, faces)
    ]
    return log_entries(dissection=dissection, items=items, by=by, session=session, at=at)


def amend(
    *,
    entry: Entry,
    by: User,
    reason: str,
    reason_text: str = "",
    key: uuid.UUID | None = None,
    session: BenchSession | None = None,
    at: dt.datetime | None = None,
    **changes: Any,
) -> Entry:
    """Put a later entry in the place of one: both stay to be seen, with the reason.

    Parameters
    ----------
    reason : str
        Key of a reason, ``reason.misread`` or ``misread``.
    changes
        What is different, by the names of `Item`; the rest stays as it was, the time of seeing too.
    """
    demand(by, "entries.amend")
    now = at or timezone.now()
    item = as_item(
        entry,
        reason=reason,
        reason_text=reason_text,
        entered_at=now,
        **_as_said(changes),
        key=key or uuid.uuid4(),
    )
    return _supersede(entry, item, by=by, session=session, now=now, verb="amended")


def _as_said(changes: Mapping[str, Any]) -> dict[str, Any]:
    read = Item.read({"term": "any"} | dict(changes))
    new = {name: getattr(read, name) for name in changes}
    if "value" in new:
        new.setdefault("confirmed_unusual", False)
    if "value" in new or "answer" in new:
        new.setdefault("state", "present")
    return new


def _supersede(
    entry: Entry, item: Item, *, by: User, session: BenchSession | None, now: dt.datetime, verb: str
) -> Entry:
    before = Entry.objects.filter(key=item.key).first()
    if before is not None:
        if before.payload_sha256 == item.digest() or before.supersedes_id == entry.pk:
            return before
        raise ValidationError("Something else was kept under the same key before.", code="conflict")
    reader = Reader(entry.dissection, [item], now)
    reason = reader.reason(item)
    if reason.key == "reason.other" and not item.reason_text:
        raise ValidationError("Say in words what the other reason is.")
    checked = replace(item, state="absent") if item.state == Entry.State.WITHDRAWN else item
    new = reader.entry(checked, by, known_time=entry.observed_at)
    new.state = item.state
    if entry.transcribed:  # a slip of the pen does not change who had seen it
        new.observer, new.scribe = entry.observer, by
    if item.state == Entry.State.WITHDRAWN:
        new.answer, new.value, new.unit, new.u = entry.answer, entry.value, entry.unit, entry.u
    new.payload_sha256 = item.digest()
    new.supersedes, new.reason, new.reason_text = entry, reason, item.reason_text
    new.minutes_since_opening = entry.minutes_since_opening
    with transaction.atomic():
        return _keep(new, by=by, session=session, verb=verb)


def withdraw(
    *,
    entry: Entry,
    by: User,
    reason: str,
    reason_text: str = "",
    key: uuid.UUID | None = None,
    session: BenchSession | None = None,
    at: dt.datetime | None = None,
) -> Entry:
    """Take an entry back: it stays to be seen, struck through, and counts no longer."""
    demand(by, "entries.amend")
    now = at or timezone.now()
    item = as_item(
        entry,
        state="withdrawn",
        reason=reason,
        reason_text=reason_text,
        entered_at=now,
        key=key or uuid.uuid4(),
    )
    return _supersede(entry, item, by=by, session=session, now=now, verb="withdrew")


def move(
    *,
    entries: Iterable[Entry],
    to: Dissection,
    by: User,
    reason: str = "reason.wrong_cell",
    reason_text: str = "",
    session: BenchSession | None = None,
    at: dt.datetime | None = None,
) -> list[Entry]:
    """Move entries that were logged to the wrong cell: withdrawn there, copied here with their own times.

    Raises
    ------
    ValidationError
        If one of them is of a sample: that belongs to its cell.
    """
    demand(by, "entries.amend")
    entries, now = list(entries), at or timezone.now()
    if named := next((entry for entry in entries if entry.sample_id), None):
        raise ValidationError(
            f"“{named.term}” is of sample {named.sample}, which is of cell {named.dissection.cell}."
        )
    copies = []
    with transaction.atomic():
        for entry in entries:
            withdraw(entry=entry, by=by, reason=reason, reason_text=reason_text, session=session, at=now)
            item = as_item(entry, entered_at=entry.entered_at, confirmed_unusual=True, key=uuid.uuid4())
            copy = Reader(to, [item], now).entry(item, by, known_time=entry.observed_at)
            copy.observer, copy.scribe, copy.moved_from = entry.observer, entry.scribe, entry
            copies.append(_keep(copy, by=by, session=session, verb="moved"))
    return copies


def confirm(*, entries: Iterable[Entry], by: User, at: dt.datetime | None = None) -> list[Confirmation]:
    """Confirm, as their observer, what a scribe wrote down.

    Raises
    ------
    PermissionDenied
        If an entry was seen by somebody else.
    """
    entries = [entry for entry in entries if not entry.confirmations.filter(by=by).exists()]
    if other := next((entry for entry in entries if entry.observer_id != by.pk), None):
        raise PermissionDenied(f"“{other.term}” was seen by {other.observer}, who alone can confirm it.")
    if not entries:
        return []
    with transaction.atomic():
        made = [Confirmation.objects.create(entry=entry, by=by) for entry in entries]
        record(
            verb="confirmed",
            subject=entries[0].dissection,
            by=by,
            payload={"entries": [entry.key for entry in entries]},
            at=at,
        )
    return made
