"""Photographs: kept first, labelled later, never lost meanwhile."""

import datetime as dt
import uuid
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import File
from django.db import transaction
from django.utils import timezone

from teardown.accounts.models import Device, User
from teardown.accounts.roles import demand
from teardown.dissection.models import BenchSession, Dissection, Part, Photograph, PhotoLabel, Sample
from teardown.dissection.rules.times import Moment, minutes_between
from teardown.dissection.store import look_at_picture
from teardown.files import store
from teardown.files.models import StoredFile
from teardown.formats.preview import PictureFacts
from teardown.records.actions import record
from teardown.vocabulary.models import Term

PICTURES = ("image/jpeg", "image/png", "image/tiff")


def add_photograph(
    *,
    file: "File[Any] | bytes",
    by: User,
    dissection: Dissection | None = None,
    session: BenchSession | None = None,
    key: uuid.UUID | None = None,
    name: str = "",
    digest_claimed: str = "",
    step: str = "",
    taken_at: dt.datetime | None = None,
    device: Device | None = None,
    device_ms: int | None = None,
    clock: str = "",
    clock_offset_ms: int | None = None,
    minutes_since_opening: float | None = None,
    size_px: tuple[int, int] | None = None,
    at: dt.datetime | None = None,
) -> Photograph:
    """Keep a photograph as the camera made it, bit for bit. Call it outside of a transaction.

    Parameters
    ----------
    key : UUID
        The device's; a repeat gives the first photograph again, once its bytes are seen to lie there.
    digest_claimed : str
        SHA-256 that the device computed; other bytes are refused.
    size_px : tuple of int, optional
        Width and height, where the caller knows them.

    Raises
    ------
    ValidationError
        If it is no picture, is not what was sent, or the key belongs to another picture.
    """
    demand(by, "entries.add")
    now = at or timezone.now()
    receipt = store.keep(file, by=by, name=name, device=device, digest_claimed=digest_claimed)
    before = Photograph.objects.filter(key=key).select_related("receipt__file").first() if key else None
    if before is not None:
        if before.receipt.file_id != receipt.file_id:
            raise ValidationError("Another photograph was kept under the same key before.", code="conflict")
        return before
    if receipt.file.kind not in PICTURES:
        raise ValidationError(
            f"“{receipt.name}” is {receipt.file.kind}, no JPEG, PNG or TIFF. "
            "Its bytes are kept, as no photograph."
        )
    taken = taken_at or now
    opened = dissection.opened() if dissection else None
    if minutes_since_opening is None and opened is not None:
        minutes = minutes_between(opened, Moment(taken, device_ms, clock))
        minutes_since_opening = round(minutes, 2) if minutes >= 0 else None
    facts = PictureFacts(*size_px, None) if size_px else _facts(receipt.file)
    with transaction.atomic():
        photograph = Photograph.objects.create(
            key=key or uuid.uuid4(), dissection=dissection, session=session, receipt=receipt, step=step,
            taken_at=taken, minutes_since_opening=minutes_since_opening, device_ms=device_ms, clock_id=clock,
            clock_offset_ms=clock_offset_ms, width_px=facts.width_px, height_px=facts.height_px,
            sharpness=facts.sharpness, by=by,
        )  # fmt: skip
        record(
            verb="photographed",
            subject=dissection or photograph,
            by=by,
            payload={"key": photograph.key, "sha256": receipt.file.sha256, "step": step, "taken_at": taken},
            bench_session=str(session.key) if session else "",
            at=now,
        )
    return photograph


def _facts(stored: StoredFile) -> PictureFacts:
    """Ask the limited child how large and sharp it is; refuse what it cannot open. The bytes stay kept."""
    facts = look_at_picture(stored)
    if facts is None:
        raise ValidationError(
            "It cannot be opened as a picture, or has more than 120 megapixels. "
            "Its bytes are kept; take it again."
        )
    return facts


def label_photograph(
    *,
    photograph: Photograph,
    by: User,
    component: str = "",
    number: int = 1,
    part: Part | None = None,
    sample: Sample | None = None,
    place: str = "",
    frame: str = "",
    caption: str = "",
    not_evidence: str = "",
    x: float | None = None,
    y: float | None = None,
    dissection: Dissection | None = None,
    at: dt.datetime | None = None,
) -> PhotoLabel:
    """Say what a photograph shows, or why it is no evidence; a later label takes the place of an earlier one.

    Parameters
    ----------
    component : str
        Key of a component, ``iron_electrode``; or give the ``part``.
    frame : str
        What is in the picture: "outside, front", "face A, whole".
    not_evidence : str
        Why it is none: "accidental". It is kept, and hidden by default.
    x, y : float
        The point that ``place`` was read from, as fractions of the electrode.
    """
    demand(by, "entries.add")
    now = at or timezone.now()
    with transaction.atomic():
        if component:
            part = part_shown(dissection or photograph.dissection, component, number)
        if not (part or sample or frame or not_evidence):
            raise ValidationError(
                "Say which part or sample it shows, what is in the picture, or why it is no evidence."
            )
        label = PhotoLabel(
            photograph=photograph,
            part=part,
            sample=sample,
            place=place,
            x=x,
            y=y,
            frame=frame,
            caption=caption,
            not_evidence=not_evidence,
            supersedes=photograph.labels.current().last(),
            by=by,
        )
        label.full_clean()
        label.save()
        record(
            verb="labelled",
            subject=photograph.dissection or photograph,
            by=by,
            payload={"photograph": photograph.key, "label": label.words},
            at=now,
        )
    photograph.__dict__.pop("current_labels", None)
    return label


def part_shown(dissection: Dissection | None, component: str, number: int) -> Part:
    """Give the part of the cell that a photograph shows, made when it is first spoken of."""
    if dissection is None:
        raise ValidationError("The photograph belongs to no cell yet.")
    key = component if component.startswith("component.") else f"component.{component}"
    term = Term.objects.filter(key=key, kind=Term.Kind.COMPONENT).first()
    if term is None:
        raise ValidationError(f"A cell has no “{component}”.")
    return Part.objects.get_or_create(dissection=dissection, component=term, number=number)[0]
