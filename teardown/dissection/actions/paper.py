"""A paper sheet typed in: its photographed pages are the original, its critical numbers are keyed twice."""

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import File
from django.db import transaction
from django.utils import timezone

from teardown.accounts.models import User
from teardown.accounts.roles import demand
from teardown.dissection.actions.entries import Outcome, log_entries
from teardown.dissection.actions.photographs import PICTURES
from teardown.dissection.intake.older import when
from teardown.dissection.intake.words import NotRead
from teardown.dissection.models import Dissection, Keying, Sample, TranscribedPage, Transcription
from teardown.dissection.models.opening import OPENED
from teardown.dissection.rules.cards import is_keyed_twice
from teardown.dissection.rules.codes import NotACode, read_code
from teardown.dissection.rules.tiers import tiers_of
from teardown.files.store import keep
from teardown.page.numbers import UnreadableNumber, read_number
from teardown.records.actions import record
from teardown.vocabulary.models import Term

PAGES = (*PICTURES, "application/pdf")
MOST_PAGES = 40


@dataclass(frozen=True, slots=True)
class Typed:
    """One thing typed from the sheet: which (``term|component|number|place|sample``), what, and its clock."""

    slot: str
    said: Mapping[str, Any]
    clock: str = ""


def begin_paper(
    *,
    dissection: Dissection,
    pages: Iterable[File[Any]],
    dated_on: dt.date,
    by: User,
    observer: User | None = None,
    observer_named: str = "",
    at: dt.datetime | None = None,
) -> Transcription:
    """Keep the photographed sheet as the original of what is going to be typed in from it.

    Raises
    ------
    ValidationError
        If there is no page, one is no picture or PDF, or its day lies before the build or ahead.
    """
    demand(by, "entries.add")
    now, files = at or timezone.now(), list(pages)
    if not 0 < len(files) <= MOST_PAGES:
        raise ValidationError({"pages": f"Attach 1 to {MOST_PAGES} photographed pages, not {len(files)}."})
    if dated_on > timezone.localdate(now):
        raise ValidationError({"dated_on": "This day has not come yet."})
    if dated_on < dissection.cell.build.built_on:
        built = dissection.cell.build.built_on
        raise ValidationError({"dated_on": f"The cell was built on {built:%d %B %Y}, later than this."})
    receipts = [keep(file, by=by, name=str(file.name)) for file in files]
    if odd := next((receipt for receipt in receipts if receipt.file.kind not in PAGES), None):
        raise ValidationError({"pages": f"“{odd.name}” is {odd.file.kind}, neither a picture nor a PDF."})
    with transaction.atomic():
        sheet = Transcription.objects.create(
            kind=Transcription.Kind.PAPER, dissection=dissection, dated_on=dated_on, observer=observer,
            observer_named="" if observer else observer_named.strip()[:80], by=by, at=now,
        )  # fmt: skip
        for number, receipt in enumerate(receipts, 1):
            TranscribedPage.objects.create(transcription=sheet, receipt=receipt, number=number)
        record(
            verb="began typing in",
            subject=dissection,
            by=by,
            at=now,
            payload={"sheet": sheet.key, "pages": [receipt.file.sha256 for receipt in receipts]},
        )
    return sheet


def type_in(
    *, sheet: Transcription, typed: Iterable[Typed], by: User, at: dt.datetime | None = None
) -> list[tuple[str, Outcome | None, str]]:
    """Take what was typed: each is logged at once, but for critical numbers, which wait for a second keying.

    Returns
    -------
    list of (slot, Outcome or None, sentence)
        None where a critical number waits; a sentence where something was refused.
    """
    demand(by, "entries.add")
    now, typed = at or timezone.now(), list(typed)
    terms = {t.key: t for t in Term.objects.filter(key__in=[one.slot.split("|")[0] for one in typed])}
    told: list[tuple[str, Outcome | None, str]] = []
    straight: list[Typed] = []
    for one in typed:
        term = terms.get(one.slot.split("|")[0])
        if term is not None and is_keyed_twice(term.data) and "value" in one.said:
            told.append(
                (one.slot, None, _keyed(sheet, one.slot, term, one.said["value"], one.clock, 1, by, now))
            )
        else:
            straight.append(one)
    straight.sort(
        key=lambda one: not one.slot.startswith(f"{OPENED}|")
    )  # time zero first: others count from it
    return told + _log(sheet, straight, by, now)


def _log(
    sheet: Transcription, typed: list[Typed], by: User, now: dt.datetime
) -> list[tuple[str, Outcome | None, str]]:
    told: list[tuple[str, Outcome | None, str]] = []
    items, slots = [], []
    for one in typed:
        try:
            items.append(_item(sheet, one))
            slots.append(one.slot)
        except (NotRead, ValueError) as error:
            told.append((one.slot, None, str(error)))
    if items:
        assert sheet.dissection is not None
        outcomes = log_entries(dissection=sheet.dissection, items=items, by=by, at=now)
        told += [(s, o, " ".join(o.sentences)) for s, o in zip(slots, outcomes, strict=True)]
    return told


def _item(sheet: Transcription, one: Typed) -> dict[str, Any]:
    term, component, number, place, sample = one.slot.split("|")
    assert sheet.dated_on is not None
    return {
        "term": term,
        "component": component,
        "number": int(number or 1),
        "place": place,
        "sample": sample,
        "key": str(uuid.uuid5(sheet.key, one.slot)),
        "source": "transcribed",
        "transcription": str(sheet.key),
        "observer": sheet.observer.username if sheet.observer else "",
        "observer_named": sheet.observer_named,
        **when(sheet.dated_on, one.clock),
        **one.said,
    }


def _keyed(
    sheet: Transcription, slot: str, term: Term, text: str, clock: str, turn: int, by: User, now: dt.datetime
) -> str:
    """Keep one keying of a critical number; give a sentence where it cannot be one."""
    try:
        number = read_number(str(text))
        if clock and sheet.dated_on:
            when(sheet.dated_on, clock)
    except (UnreadableNumber, NotRead) as error:
        return f"“{term}”: {error}"
    assert sheet.dissection is not None
    if fault := _vial_fault(sheet.dissection, slot, term):
        return fault
    cell = sheet.dissection.cell
    as_built = {
        name: getattr(cell, name) for name in ("build_mass_g", "iron_mass_g", "electrode_thickness_um")
    }
    tier, sentence = tiers_of(term.data, as_built).judge(float(number))
    if tier == "impossible":
        return f"“{term}”: {sentence}"
    with transaction.atomic():
        made, new = Keying.objects.get_or_create(
            transcription=sheet, slot=slot, turn=turn,
            defaults={"text": number.text, "clock": clock, "by": by, "at": now},
        )  # fmt: skip
    if not new and made.text != number.text:
        return f"“{term}” was keyed before; it waits for its second keying."
    return ""


def _vial_fault(dissection: Dissection, slot: str, term: Term) -> str:
    """Say what is wrong with the sample that a reading is of, before anybody keys it a second time."""
    code = slot.rpartition("|")[2]
    if term.data.get("per") != "sample":
        return ""
    if not code:
        return f"“{term}”: say of which vial, by the code on its label."
    try:
        known = Sample.objects.of(dissection).filter(code=read_code(code)).exists()
    except NotACode as error:
        return f"“{term}”: {error}"
    return "" if known else f"“{term}”: sample {code} is none of this cell."


def key_again(
    *, sheet: Transcription, numbers: Mapping[str, str], by: User, at: dt.datetime | None = None
) -> list[tuple[str, Outcome | None, str]]:
    """Key critical numbers again, blind to the first time: what agrees is logged, what differs is asked."""
    demand(by, "entries.add")
    now = at or timezone.now()
    told: list[tuple[str, Outcome | None, str]] = []
    for slot, text in numbers.items():
        first = sheet.keyings.filter(slot=slot, turn=Keying.Turn.FIRST).first()
        if first is None:
            raise ValidationError("This number was not keyed a first time.")
        term = Term.objects.get(key=slot.split("|")[0])
        if fault := _keyed(sheet, slot, term, text, "", Keying.Turn.SECOND, by, now):
            told.append((slot, None, fault))
        elif float(read_number(text)) == float(read_number(first.text)):
            told += _log_number(sheet, slot, first.text, first.clock, "keyed twice alike", by, now)
        else:
            told.append((slot, None, ""))
    return told


def compare_keyings(
    *, sheet: Transcription, numbers: Mapping[str, str], by: User, at: dt.datetime | None = None
) -> list[tuple[str, Outcome | None, str]]:
    """Say, with the sheet in hand, what stands where two keyings differ. All three stay to be seen."""
    demand(by, "entries.add")
    now = at or timezone.now()
    told: list[tuple[str, Outcome | None, str]] = []
    for slot, text in numbers.items():
        turns = {each.turn: each for each in sheet.keyings.filter(slot=slot)}
        if not {Keying.Turn.FIRST, Keying.Turn.SECOND} <= turns.keys():
            raise ValidationError("Two keyings are compared, and this number has not been keyed twice.")
        term = Term.objects.get(key=slot.split("|")[0])
        if fault := _keyed(sheet, slot, term, text, "", Keying.Turn.COMPARED, by, now):
            told.append((slot, None, fault))
            continue
        words = f"keyed {turns[1].text}, then {turns[2].text}; compared with the sheet"
        told += _log_number(sheet, slot, read_number(text).text, turns[1].clock, words, by, now)
    return told


def _log_number(
    sheet: Transcription, slot: str, text: str, clock: str, words: str, by: User, now: dt.datetime
) -> list[tuple[str, Outcome | None, str]]:
    said = {
        "value": text,
        "keyed_twice": True,
        "confirmed_unusual": True,
        "source_words": f"on paper: {words}",
    }
    return _log(sheet, [Typed(slot, said, clock)], by, now)
