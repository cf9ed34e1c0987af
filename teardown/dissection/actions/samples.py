"""Samples: cut and named, handed on, mounted, polished, sent to techniques and awaited."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from teardown.accounts.models import User
from teardown.accounts.roles import demand
from teardown.cells.models import Lot
from teardown.dissection.actions.entries import log_entry
from teardown.dissection.models import (
    BenchSession,
    Dissection,
    Entry,
    Mount,
    Mounted,
    Order,
    Part,
    Sample,
    Section,
    Transfer,
)
from teardown.dissection.rules.codes import NotACode, make_code, read_code
from teardown.dissection.rules.places import NotAPlace, read_place
from teardown.records.actions import record
from teardown.vocabulary.models import Term

WATER = "artefact.water"


def cut_sample(
    *,
    by: User,
    dissection: Dissection | None = None,
    component: str = "",
    number: int = 1,
    parent: Sample | None = None,
    blank_of: BenchSession | None = None,
    lot: Lot | None = None,
    place: str = "",
    code: str = "",
    session: BenchSession | None = None,
    at: dt.datetime | None = None,
    **facts: Any,
) -> Sample:
    """Cut and name a piece. It comes from exactly one thing.

    Parameters
    ----------
    dissection, component, number
        The part of a cell that it is cut from.
    parent : Sample
        The sample that it is taken from: a powder, a mount, an aliquot is a sample of its own.
    blank_of : BenchSession
        The sitting of which it is a blank.
    lot : Lot
        The lot of which it is a reference.
    code : str
        From a label printed before; else a new one is made.
    facts
        ``purpose``, ``mass_mg``, ``size_mm``, ``face_up``, ``rinsed``, ``atmosphere``, ``container``.
    """
    demand(by, "samples.cut")
    now = at or timezone.now()
    place = _place(place)
    code = _code(code)
    with transaction.atomic():
        cut = None
        if component:
            if dissection is None:
                raise ValidationError("Say of which cell the part is.")
            cut = _cut(dissection, component, number, place, code, by, session, now)
        sample = Sample(
            code=code, parent=parent, part=cut.part if cut else None, session=blank_of, lot=lot, cut=cut,
            place=place, by=by, at=now, minutes_since_opening=_minutes(cut, parent, now), **facts,
        )  # fmt: skip
        sample.full_clean()
        sample.save()
        record(
            verb="cut",
            subject=sample,
            by=by,
            payload={"code": code, "from": parent or (cut and cut.part) or blank_of or lot, "place": place}
            | facts,
            bench_session=str(session.key) if session else "",
            at=now,
        )
    return sample


def _place(text: str) -> str:
    try:
        return read_place(text).address
    except NotAPlace as error:
        raise ValidationError({"place": str(error)}) from error


def _code(text: str) -> str:
    try:
        code = read_code(text) if text else make_code()
    except NotACode as error:
        raise ValidationError({"code": str(error)}) from error
    if Sample.objects.filter(code=code).exists():
        raise ValidationError({"code": f"There is a sample {code} already; take the next label."})
    return code


def _cut(
    dissection: Dissection,
    component: str,
    number: int,
    place: str,
    code: str,
    by: User,
    session: BenchSession | None,
    now: dt.datetime,
) -> Entry:
    return log_entry(
        dissection=dissection, term="cut.cut", value=code, component=component, number=number, place=place,
        by=by, session=session, at=now, observed_at=now,
    )  # fmt: skip


def _minutes(cut: Entry | None, parent: Sample | None, now: dt.datetime) -> float | None:
    if cut is not None:
        return cut.minutes_since_opening
    if parent is not None and parent.minutes_since_opening is not None:
        return parent.minutes_since_opening + (now - parent.at).total_seconds() / 60
    return None


def hand_over(
    *,
    sample: Sample,
    by: User,
    to_place: str = "",
    to_person: User | None = None,
    disposal: bool = False,
    note: str = "",
    at: dt.datetime | None = None,
) -> Transfer:
    """Hand a sample on, to a place or a person; disposal is one too, and its way is noted.

    Raises
    ------
    ValidationError
        If it went nowhere, or was disposed of before.
    """
    demand(by, "custody.move")
    to_place = to_place or ("waste" if disposal else "")
    if not (to_place or to_person):
        raise ValidationError("Say to which place or to whom the sample went.")
    if sample.transfers.filter(disposal=True).exists():
        raise ValidationError(f"Sample {sample} was disposed of; it cannot go anywhere.")
    now = at or timezone.now()
    with transaction.atomic():
        transfer = Transfer(
            sample=sample, to_place=to_place, to_person=to_person, disposal=disposal, note=note, by=by, at=now
        )
        transfer.full_clean()
        transfer.save()
        record(
            verb="disposed of" if disposal else "handed on",
            subject=sample,
            by=by,
            payload={"place": to_place, "person": getattr(to_person, "pk", None), "note": note},
            at=now,
        )
    return transfer


def mount_samples(
    *,
    samples: Iterable[tuple[Sample, str]],
    by: User,
    code: str = "",
    at: dt.datetime | None = None,
    **facts: Any,
) -> Mount:
    """Put samples into a block of resin. Without its orientation a section is anonymous for ever.

    Parameters
    ----------
    samples : iterable of (Sample, str)
        Each with how it lies: section plane, and which edge is the air face.
    code : str
        Engraved; else the next number.
    facts
        ``resin``, ``resin_batch``, ``ratio``, ``dye``, ``vacuum_mbar``, ``cure_C``, ``cure_h``, ``note``.
    """
    demand(by, "samples.cut")
    now, contents = at or timezone.now(), list(samples)
    if not contents:
        raise ValidationError("A mount holds at least one sample.")
    with transaction.atomic():
        mount = Mount(code=code or f"M-{Mount.objects.count() + 1:04}", by=by, at=now, **facts)
        mount.full_clean()
        mount.save()
        for sample, orientation in contents:
            mounted = Mounted(mount=mount, sample=sample, orientation=orientation)
            mounted.full_clean()
            mounted.save()
        record(
            verb="mounted",
            subject=mount,
            by=by,
            payload={"samples": [s.code for s, _ in contents]} | facts,
            at=now,
        )
    return mount


def polish(
    *,
    mount: Mount,
    by: User,
    stages: Sequence[Mapping[str, Any]] = (),
    artefacts: Sequence[str] = (),
    depth_removed_um: float | None = None,
    note: str = "",
    at: dt.datetime | None = None,
) -> Section:
    """Polish a mount: a new plane, with its own number.

    Parameters
    ----------
    stages : sequence of mapping
        ``abrasive``, ``size_um``, ``lubricant``, ``force_N``, ``minutes``. Water as a lubricant marks the
        section: wet iron rusts within minutes, and its images are left out of oxide coverage by default.
    artefacts : sequence of str
        Keys, ``rust_bloom``.
    """
    demand(by, "samples.cut")
    now = at or timezone.now()
    keys = {key if key.startswith("artefact.") else f"artefact.{key}" for key in artefacts}
    if any("water" in str(stage.get("lubricant", "")).lower().split("-")[0] for stage in stages):
        keys.add(WATER)
    unknown = keys - set(
        Term.objects.filter(kind=Term.Kind.ARTEFACT, key__in=keys).values_list("key", flat=True)
    )
    if unknown:
        raise ValidationError(f"The vocabulary knows no {', '.join(sorted(unknown))}.")
    with transaction.atomic():
        section = Section(
            mount=mount,
            number=mount.sections.count() + 1,
            depth_removed_um=depth_removed_um,
            stages=[dict(stage) for stage in stages],
            artefacts=sorted(keys),
            note=note,
            by=by,
            at=now,
        )
        section.full_clean()
        section.save()
        record(
            verb="polished",
            subject=section,
            by=by,
            payload={"mount": mount.code, "number": section.number, "artefacts": sorted(keys)},
            at=now,
        )
    return section


def send_orders(
    *,
    samples: Iterable[Sample],
    technique: str,
    by: User,
    sent_on: dt.date | None = None,
    due_on: dt.date | None = None,
    note: str = "",
    at: dt.datetime | None = None,
) -> list[Order]:
    """Send samples to a technique and await the results; due after its usual days if no day is given."""
    demand(by, "custody.move")
    now = at or timezone.now()
    term = Term.objects.filter(
        kind=Term.Kind.TECHNIQUE, key=technique if "." in technique else f"technique.{technique}"
    ).first()
    if term is None:
        raise ValidationError(f"“{technique}” is no technique that the vocabulary knows.")
    sent_on = sent_on or timezone.localdate(now)
    if due_on is None and term.data.get("usual_days") is not None:
        due_on = sent_on + dt.timedelta(days=term.data["usual_days"])
    orders = []
    with transaction.atomic():
        for sample in samples:
            order = Order(sample=sample, technique=term, sent_on=sent_on, due_on=due_on, note=note)
            order.full_clean()
            order.save()
            orders.append(order)
        if orders:
            record(
                verb="sent",
                subject=orders[0],
                by=by,
                payload={"technique": term.key, "samples": [order.sample.code for order in orders]},
                at=now,
            )
    return orders


def receive_order(
    *,
    order: Order,
    by: User,
    state: str = Order.State.BACK,
    note: str = "",
    seen: int | None = None,
    at: dt.datetime | None = None,
) -> Order:
    """Note that a result is back, that nothing usable came of it, or that it was called off."""
    demand(by, "custody.move")
    with transaction.atomic():
        order.change(seen=order.version if seen is None else seen, state=state, note=note or order.note)
        record(verb="received", subject=order, by=by, payload={"state": state, "note": note}, at=at)
    return order


def part_of(sample: Sample) -> Part | None:
    """Follow a sample up to the part of the cell that it came from."""
    while sample.parent is not None:
        sample = sample.parent
    return sample.part
