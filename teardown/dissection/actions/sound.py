"""Notes spoken at the bench: kept as recorded, their gist typed by a person, never by a machine."""

import datetime as dt
import uuid
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile, File
from django.db import transaction
from django.utils import timezone

from teardown.accounts.models import User
from teardown.accounts.roles import demand
from teardown.dissection.actions.entries import log_entry
from teardown.dissection.models import AudioNote, BenchSession, Dissection, Entry
from teardown.dissection.rules.times import Moment, minutes_between
from teardown.dissection.store import on_disk
from teardown.files import store
from teardown.files.models import StoredFile
from teardown.formats.sound import LARGEST_BYTES, Sound, look_at_sound
from teardown.records.actions import record

LONGEST_GIST = 160
GIST = "note.audio"


def add_audio_note(
    *,
    file: "File[Any] | bytes",
    dissection: Dissection,
    by: User,
    session: BenchSession | None = None,
    key: uuid.UUID | None = None,
    name: str = "",
    digest_claimed: str = "",
    gist: str = "",
    seconds: float | None = None,
    step: str = "",
    spoken_at: dt.datetime | None = None,
    device_ms: int | None = None,
    clock: str = "",
    minutes_since_opening: float | None = None,
    at: dt.datetime | None = None,
) -> AudioNote:
    """Keep a spoken note as it was recorded, bit for bit. Call it outside of a transaction.

    Parameters
    ----------
    key : UUID
        The device's; a repeat gives the first note again, once its bytes are seen to lie there.
    gist : str
        One line of what it says, typed; it becomes an entry that names the note.

    Raises
    ------
    ValidationError
        If it is larger than a minute of speech can be, is no recording, is not what was sent, or the key
        belongs to another note.
    """
    demand(by, "entries.add")
    now = at or timezone.now()
    upload = ContentFile(file) if isinstance(file, bytes) else file
    if upload.size > LARGEST_BYTES:
        raise ValidationError(
            f"{upload.size // 2**20} MB is more than the {LARGEST_BYTES // 2**20} MB of a spoken note."
        )
    receipt = store.keep(upload, by=by, name=name, digest_claimed=digest_claimed)
    before = AudioNote.objects.filter(key=key).select_related("receipt__file").first() if key else None
    if before is not None:
        if before.receipt.file_id != receipt.file_id:
            raise ValidationError("Another note was kept under the same key before.", code="conflict")
        return before
    container = _container(receipt.file)
    spoken = spoken_at or now
    opened = dissection.opened()
    if minutes_since_opening is None and opened is not None:
        minutes = minutes_between(opened, Moment(spoken, device_ms, clock))
        minutes_since_opening = round(minutes, 2) if minutes >= 0 else None
    with transaction.atomic():
        note = AudioNote.objects.create(
            key=key or uuid.uuid4(), dissection=dissection, session=session, receipt=receipt, step=step,
            container=container, seconds=seconds, spoken_at=spoken, device_ms=device_ms, clock_id=clock,
            minutes_since_opening=minutes_since_opening, by=by,
        )  # fmt: skip
        record(
            verb="spoke a note on",
            subject=dissection,
            by=by,
            payload={"key": note.key, "sha256": receipt.file.sha256, "step": step, "spoken_at": spoken},
            bench_session=str(session.key) if session else "",
            at=now,
        )
        if gist.strip():
            type_gist(note=note, words=gist, by=by, session=session, at=now)
    return note


def _container(stored: StoredFile) -> str:
    """Have the limited child look at the container; refuse what holds no sound, or more. The bytes stay."""
    with on_disk(stored) as path:
        found = look_at_sound(path)
    if not isinstance(found, Sound):
        raise ValidationError(f"{found} Its bytes are kept, as no spoken note.")
    return found.kind


def type_gist(
    *,
    note: AudioNote,
    words: str,
    by: User,
    session: BenchSession | None = None,
    at: dt.datetime | None = None,
) -> Entry:
    """Type in one line what a spoken note says: an entry of the time at which it was spoken.

    Who types it says so in their own name: hearing is not seeing.
    """
    line = " ".join(words.split())
    if not 0 < len(line) <= LONGEST_GIST:
        raise ValidationError(f"Type one line of 1 to {LONGEST_GIST} characters; this has {len(line)}.")
    return log_entry(
        dissection=note.dissection, term=GIST, value=line, audio=note.key, step=note.step, by=by,
        session=session, observed_at=note.spoken_at, device_ms=note.device_ms, clock=note.clock_id,
        minutes_since_opening=note.minutes_since_opening, at=at,
    )  # fmt: skip
