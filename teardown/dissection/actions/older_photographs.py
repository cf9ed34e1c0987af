"""Folders of older photographs: shown, applied whole, withdrawn. The files are kept first, bit for bit."""

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import File
from django.db import transaction
from django.utils import timezone

from teardown.accounts.models import User
from teardown.accounts.roles import demand
from teardown.cells.models import Cell, FormerCode
from teardown.cells.rules import fold
from teardown.dissection.actions.entries import log_entries
from teardown.dissection.actions.older import begun, standing, take_back_entries
from teardown.dissection.actions.older_plan import as_transcribed, people_by_name
from teardown.dissection.actions.photographs import PICTURES, label_photograph
from teardown.dissection.intake import older, pictures
from teardown.dissection.models import Dissection, Photograph, TranscribedPage, Transcription
from teardown.dissection.store import look_at_picture
from teardown.files.models import Delivery, Receipt
from teardown.files.store import keep
from teardown.formats.preview import PictureFacts
from teardown.records.actions import record
from teardown.vocabulary.models import Term

FOLDER = "dissection.photographs"


def show_older_photographs(
    *, files: Iterable[File[Any]], by: User, day: str = "", seen_by: str = "", at: dt.datetime | None = None
) -> Delivery:
    """Keep a folder of photographs and show of which cell and place each is.

    Parameters
    ----------
    files : iterable of File
        Pictures, a zip of them, and a table beside them (``file``, ``cell``, ``part``, ``place`` ...).
    day, seen_by : str
        What holds for those that do not say it themselves.

    Raises
    ------
    ValidationError
        If a zip cannot be unfolded, or there is no picture at all.
    """
    demand(by, "older.bring")
    sent = list(files)
    archives = [
        keep(one, by=by, name=str(one.name)) for one in sent if str(one.name).lower().endswith(".zip")
    ]
    every = pictures.unfold(sent)
    tables = [one for one in every if pictures.is_table(one)]
    photographs = [one for one in every if not pictures.is_table(one)]
    if not photographs:
        raise ValidationError("There is no photograph among the files: JPEG, PNG or TIFF, or a zip of them.")
    kept = [keep(one, by=by, name=str(one.name)) for one in tables]
    receipts = [keep(one, by=by, name=str(one.name)) for one in photographs]
    known = pictures.Known(_cells(), _parts(), day, seen_by)
    names = [str(one.name) for one in photographs]
    abouts, faults = pictures.read_names(names, [_bytes(one) for one in tables], known)
    steps, refused = _plan(abouts, receipts)
    with transaction.atomic():
        delivery = Delivery.objects.create(
            kind=FOLDER,
            receipt=(archives or kept or receipts)[0],
            column_map={"originals": [r.pk for r in (*archives, *kept)], "faults": faults},
            planned=steps,
            refusals=refused,
            by=by,
        )
        record(
            verb="showed",
            subject=delivery,
            by=by,
            at=at,
            payload={"photographs": len(steps), "refused": len(refused)},
        )
    return delivery


def _bytes(file: File[Any]) -> bytes:
    file.seek(0)
    return bytes(file.read())


def _cells() -> dict[str, str]:
    found = {
        fold(row.code): row.cell.code
        for row in FormerCode.objects.select_related("cell")
        if not row.cell.withdrawn_at
    }
    return found | {fold(code): code for code in Cell.objects.values_list("code", flat=True)}


def _parts() -> dict[str, str]:
    words = {fold(term.words): term.key for term in Term.objects.of("component")}
    short = {"iron": "component.iron_electrode", "air": "component.air_electrode"}
    return {name: key for name, key in short.items() if key in words.values()} | words


def _plan(
    abouts: list[pictures.About], receipts: list[Receipt]
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    there: dict[int, str] = {}
    for file, code in Photograph.objects.filter(receipt__file__in=[r.file_id for r in receipts]).values_list(
        "receipt__file", "dissection__cell__code"
    ):
        there[file] = code or "no cell yet"
    running = set(
        Cell.objects.on_test().filter(code__in={a.cell for a in abouts}).values_list("code", flat=True)
    )
    words = {term.key: term.words for term in Term.objects.of("component")}
    steps, refused, seen = [], [], dict[int, str]()
    for about, receipt, fact in zip(abouts, receipts, _facts(receipts), strict=True):
        fault = _fault(about, receipt, there, seen, running) or _unseen(fact)
        seen.setdefault(receipt.file_id, about.name)
        if fault:
            refused.append({"row": 0, "column": about.name, "value": about.cell, "message": fault})
            continue
        steps.append(
            {
                "name": about.name,
                "receipt": receipt.pk,
                "code": about.cell,
                "does": "same" if there.get(receipt.file_id) == about.cell else "new",
                "part": about.part,
                "part_words": words.get(about.part, ""),
                "number": about.number,
                "place": about.place,
                "frame": about.frame,
                "caption": about.caption,
                "seen_by": about.seen_by,
                "by_table": about.by_table,
                "facts": asdict(fact) if fact else {},
                "made": "",
            }
            | about.time
        )
    return steps, refused


def _fault(
    about: pictures.About, receipt: Receipt, there: dict[int, str], seen: dict[int, str], running: set[str]
) -> str:
    if about.faults:
        return " ".join(about.faults)
    if receipt.file.kind not in PICTURES:
        return f"It is {receipt.file.kind}, no JPEG, PNG or TIFF, whatever its name says. Its bytes are kept."
    if receipt.file_id in seen:
        return f"Byte for byte the same as {seen[receipt.file_id]}; it is taken once."
    if there.get(receipt.file_id, about.cell) != about.cell:
        other = there[receipt.file_id]
        return f"Byte for byte a photograph of {other} already; one picture is not of two cells."
    if about.cell in running:
        return f"The test of {about.cell} still runs here; nothing older can be of its dissection."
    return ""


def _facts(receipts: list[Receipt]) -> list[PictureFacts | None]:
    """Ask the limited child about each picture, two at a time."""

    def one(receipt: Receipt) -> PictureFacts | None:
        return look_at_picture(receipt.file) if receipt.file.kind in PICTURES else None

    with ThreadPoolExecutor(2) as two:
        return list(two.map(one, receipts))


def _unseen(fact: PictureFacts | None) -> str:
    if fact is None:
        return "It cannot be opened as a picture, or has more than 120 megapixels. Its bytes are kept."
    return ""


def apply_older_photographs(
    *,
    delivery: Delivery,
    by: User,
    leave_out_refused: bool = False,
    opened: bool = False,
    at: dt.datetime | None = None,
) -> Delivery:
    """Write what was shown, whole or not at all: each photograph with what it shows, and whence it came.

    ``opened`` says that each cell of which an inner part is shown was opened on the day of its first such
    photograph, where nothing else says when; else it would go on waiting for the bench.

    Raises
    ------
    ValidationError
        If some were refused and nobody said that they stay out, or there is nothing to write.
    """
    demand(by, "older.bring")
    now = at or timezone.now()
    coming = [step for step in delivery.planned if step["does"] == "new"]
    if delivery.refusals and not leave_out_refused:
        raise ValidationError(
            f"{len(delivery.refusals)} files were refused. Send them again as they should be, or say "
            "that they stay out."
        )
    if not coming:
        raise ValidationError("There is nothing to write: all of them are in the record already.")
    with transaction.atomic():
        delivery = standing(delivery, Delivery.State.SHOWN)
        source = Transcription.objects.create(
            kind=Transcription.Kind.PHOTOGRAPHS, delivery=delivery, by=by, at=now
        )
        originals = delivery.column_map["originals"] or [delivery.receipt_id]
        for number, pk in enumerate(originals, 1):
            TranscribedPage.objects.create(transcription=source, receipt_id=pk, number=number)
        people = people_by_name()
        for step in delivery.planned:
            if step["does"] == "new":
                step["made"] = str(_bring(step, source, people, by, now).key)
        days = _log_openings(coming, source, by, now) if opened else {}
        delivery.state = Delivery.State.APPLIED
        delivery.save()
        record(
            verb="applied",
            subject=delivery,
            by=by,
            at=now,
            payload={"photographs": [step["made"] for step in coming], "left out": len(delivery.refusals)}
            | ({"opened": days} if days else {}),
        )
    return delivery


def _log_openings(
    coming: Iterable[Mapping[str, Any]], source: Transcription, by: User, now: dt.datetime
) -> dict[str, str]:
    """Log the opening of each cell on the day of that photograph; give the days."""
    people, days = people_by_name(), dict[str, str]()
    for code, step in pictures.openings_of(coming).items():
        day = str(step["observed_at"])[:10]
        said = older.when(dt.date.fromisoformat(day), "") | {
            "term": "opening.opened", "state": "present", "key": str(uuid.uuid4()),
            "seen_by": step["seen_by"], "transcription": str(source.key),
            "source_words": f"{step['name']}: opened that day, as said of the whole folder"[:240],
        }  # fmt: skip
        dissection = Dissection.objects.select_related("cell__build").get(cell__code=code)
        (outcome,) = log_entries(dissection=dissection, items=[as_transcribed(said, people)], by=by, at=now)
        if outcome.entry is None:
            raise ValidationError(f"{code}: {' '.join(outcome.sentences)} Nothing was written.")
        days[code] = day
    return days


def _bring(
    step: dict[str, Any],
    source: Transcription,
    people: dict[str, str],
    by: User,
    now: dt.datetime,
) -> Photograph:
    receipt = Receipt.objects.select_related("file").get(pk=step["receipt"])
    cell = Cell.objects.select_related("build").get(code=step["code"])
    if Photograph.objects.filter(receipt__file=receipt.file_id).exists():
        raise ValidationError(f"{step['name']} came in by another way meanwhile. Show the folder again.")
    taken = dt.datetime.fromisoformat(step["observed_at"])
    known = people.get(fold(step["seen_by"]), "") if step["seen_by"] else ""
    photograph = Photograph.objects.create(
        key=uuid.uuid4(),
        dissection=begun(cell, taken.date(), by, now),
        receipt=receipt,
        **step["facts"],
        taken_at=taken,
        taken_precision=step["observed_precision"],
        by=User.objects.get(username=known) if known else by,
        taken_by="" if known else step["seen_by"] or "not said",
        transcription=source,
    )
    record(
        verb="brought a photograph",
        subject=photograph.dissection,
        by=by,
        payload={"key": photograph.key, "sha256": receipt.file.sha256, "from": step["name"]},
        at=now,
    )
    label_photograph(
        photograph=photograph, by=by, component=step["part"], number=step["number"], place=step["place"],
        frame=step["frame"], caption=step["caption"], at=now,
    )  # fmt: skip
    return photograph


def withdraw_older_photographs(
    *, delivery: Delivery, reason: str, by: User, at: dt.datetime | None = None
) -> Delivery:
    """Take a folder back: its photographs stay kept, marked as no evidence with the reason."""
    demand(by, "older.bring")
    if not reason.strip():
        raise ValidationError({"reason": "Say why it is withdrawn."})
    now = at or timezone.now()
    with transaction.atomic():
        delivery = standing(delivery, Delivery.State.SHOWN, Delivery.State.APPLIED)
        for photograph in Photograph.objects.filter(transcription__delivery=delivery).select_related(
            "dissection"
        ):
            label_photograph(
                photograph=photograph, by=by, not_evidence=f"import withdrawn: {reason}"[:120], at=now
            )
        take_back_entries(delivery, reason, by, now)
        delivery.state = Delivery.State.WITHDRAWN
        delivery.save()
        record(verb="withdrew", subject=delivery, by=by, reason=reason, at=now, payload={})
    return delivery
