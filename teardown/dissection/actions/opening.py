"""The plan of a cell, its dissection, the sittings at the bench, time zero, and the cautions shown."""

import datetime as dt
import hashlib
import uuid
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from teardown.accounts.models import Device, User
from teardown.accounts.roles import demand
from teardown.cells.models import Cell
from teardown.dissection.actions.entries import log_entry
from teardown.dissection.models import (
    BenchSession,
    BenchTime,
    CautionCard,
    CautionShown,
    Dissection,
    Entry,
    Plan,
    PlanItem,
    PlanTemplate,
)
from teardown.dissection.models.opening import OPENED
from teardown.dissection.rules.cautions import Raised, bring_up
from teardown.records.actions import record
from teardown.vocabulary.models import Term

MOST_QUESTIONS = 3


def make_plan(
    *,
    cell: Cell,
    by: User,
    items: Iterable[Mapping[str, str]] = (),
    template: PlanTemplate | None = None,
    questions: Sequence[str] = (),
    at: dt.datetime | None = None,
) -> Plan:
    """Decide before opening what is to be sampled, and what is asked of this cell.

    Parameters
    ----------
    items : iterable of mapping
        ``component``, ``technique`` (keys, with or without their first word), ``place``, ``purpose``,
        ``amount``. Added to those of the template, if one is given.
    questions : sequence of str
        At most three.
    """
    demand(by, "dissection.start")
    questions = [question.strip() for question in questions if question.strip()]
    if len(questions) > MOST_QUESTIONS:
        raise ValidationError(
            f"A cell is asked at most {MOST_QUESTIONS} questions; these are {len(questions)}."
        )
    rows = [_plan_row(row) for row in [*(template.items if template else []), *items]]
    with transaction.atomic():
        plan = Plan(cell=cell, by=by, template=template, questions=list(questions))
        plan.full_clean()
        plan.save()
        for row in rows:
            item = PlanItem(plan=plan, **row)
            item.full_clean()
            item.save()
        record(
            verb="planned", subject=plan, by=by, payload={"questions": questions, "items": len(rows)}, at=at
        )
    return plan


def _plan_row(row: Mapping[str, str]) -> dict[str, Any]:
    return {
        "component": _term(row["component"], "component"),
        "technique": _term(row["technique"], "technique"),
        **{name: row.get(name, "") for name in ("place", "purpose", "amount")},
    }


def _term(key: str, kind: str) -> Term:
    found = Term.objects.filter(kind=kind, key=key if key.startswith(f"{kind}.") else f"{kind}.{key}").first()
    if found is None:
        raise ValidationError(f"“{key}” is no {kind} that the vocabulary knows.")
    return found


def leave_out(
    *,
    item: PlanItem,
    by: User,
    reason: str,
    note: str = "",
    seen: int | None = None,
    at: dt.datetime | None = None,
) -> PlanItem:
    """Say why something planned was not done (``no_time``); forgotten is allowed, and useful."""
    demand(by, "samples.cut")
    why = _term(reason, "not_done")
    with transaction.atomic():
        item.change(seen=item.version if seen is None else seen, not_done=why, not_done_note=note)
        record(verb="left out", subject=item, by=by, reason=note or str(why), at=at)
    return item


def start_dissection(
    *,
    cell: Cell,
    by: User,
    assigned_to: User | None = None,
    day: dt.date | None = None,
    blinded: bool = True,
    at: dt.datetime | None = None,
) -> Dissection:
    """Begin the dissection of a cell whose test has ended.

    Raises
    ------
    ValidationError
        If its test still runs, or it was begun before.
    """
    demand(by, "dissection.start")
    if Cell.objects.on_test().filter(pk=cell.pk).exists():
        raise ValidationError(f"The test of {cell} still runs. End it first, with its reason.")
    if Dissection.objects.filter(cell=cell).exists():
        raise ValidationError(f"The dissection of {cell} was begun before; go on with that one.")
    plan = Plan.objects.filter(cell=cell).first()
    given = BenchTime.objects.filter(cell=cell).first()
    if given is not None:
        assigned_to = assigned_to or given.person
    with transaction.atomic():
        dissection = Dissection(
            cell=cell,
            assigned_to=assigned_to,
            day=day,
            blinded=blinded,
            plan_version=plan.version if plan else None,
        )
        dissection.full_clean()
        dissection.save()
        record(verb="began", subject=dissection, by=by, payload={"cell": cell.code}, at=at)
    return dissection


def assign(
    *, dissection: Dissection, by: User, assigned_to: User | None, day: dt.date | None, seen: int
) -> Dissection:
    """Give bench time: who opens the cell, and on which day."""
    demand(by, "bench.assign")
    with transaction.atomic():
        dissection.change(seen=seen, assigned_to=assigned_to, day=day)
        record(
            verb="assigned",
            subject=dissection,
            by=by,
            payload={"to": getattr(assigned_to, "pk", None), "day": day},
        )
    return dissection


def unblind(*, dissection: Dissection, by: User, reason: str, at: dt.datetime | None = None) -> Dissection:
    """Show recipe amounts and curve at the bench, with the reason. Hazards were never hidden."""
    demand(by, "entries.add")
    if not reason.strip():
        raise ValidationError("Say why recipe and curve must be seen before the observations are done.")
    with transaction.atomic():
        dissection.change(seen=dissection.version, blinded=False)
        record(verb="unblinded", subject=dissection, by=by, reason=reason, at=at)
    return dissection


def begin_session(
    *,
    by: User,
    day: dt.date | None = None,
    place: str = "",
    atmosphere: str = "",
    device: Device | None = None,
    credential: str = "",
    at: dt.datetime | None = None,
) -> BenchSession:
    """Begin a sitting at the bench.

    ``credential`` is the secret that the tablet made for it: what the tablet queues in this sitting is its
    person's, even when it arrives after somebody else has signed in. Only its digest is kept.
    """
    demand(by, "entries.add")
    now = at or timezone.now()
    with transaction.atomic():
        session = BenchSession(
            day=day or timezone.localdate(now),
            place=place,
            atmosphere=atmosphere,
            device=device,
            person=by,
            credential_sha256=hashlib.sha256(credential.encode()).hexdigest() if credential else "",
        )
        session.full_clean()
        session.save()
        record(verb="sat down", subject=session, by=by, bench_session=str(session.key), at=now)
    return session


def end_session(*, session: BenchSession, by: User, at: dt.datetime | None = None) -> BenchSession:
    """End a sitting."""
    now = at or timezone.now()
    with transaction.atomic():
        session.change(seen=session.version, ended_at=now)
        record(verb="got up", subject=session, by=by, bench_session=str(session.key), at=now)
    return session


def open_cell(
    *,
    dissection: Dissection,
    by: User,
    minutes_ago: float = 0,
    key: uuid.UUID | None = None,
    session: BenchSession | None = None,
    at: dt.datetime | None = None,
    **said: Any,
) -> Entry:
    """Set time zero: the cell is open. Once; later the time can be amended with a reason.

    ``minutes_ago`` is for a button pressed late; ``at`` is when it was pressed.
    """
    now = at or timezone.now()
    return log_entry(
        dissection=dissection,
        term=OPENED,
        by=by,
        session=session,
        at=now,
        key=key or uuid.uuid4(),
        observed_at=now - dt.timedelta(minutes=minutes_ago),
        entered_at=now,
        observed_precision="minute" if minutes_ago else "second",
        **said,
    )


def cautions_of(
    dissection: Dissection, step: str, techniques: frozenset[str] = frozenset()
) -> list[tuple[CautionCard, Raised]]:
    """Give the cards that a step brings up for this cell, underlined ones first."""
    cards = {card.key: card for card in CautionCard.objects.in_force()}
    raised = bring_up(
        [(key, card.rule) for key, card in cards.items()], dissection.situation(step, techniques)
    )
    return [(cards[each.key], each) for each in raised]


def show_cautions(
    *,
    dissection: Dissection,
    step: str,
    by: User,
    read: bool = False,
    cards: Iterable[str] = (),
    techniques: frozenset[str] = frozenset(),
    session: BenchSession | None = None,
    at: dt.datetime | None = None,
) -> list[CautionShown]:
    """Note that the cards of a step were shown to somebody, or marked as read. It permits nothing.

    ``cards`` narrows it to some keys. What was noted for the person and step before is not noted again.
    """
    demand(by, "entries.add")
    now, only = at or timezone.now(), set(cards)
    known = set(
        CautionShown.objects.filter(dissection=dissection, step=step, person=by, session=session, read=read)
        .values_list("card_id", flat=True)
    )  # fmt: skip
    wanted = [
        card
        for card, _ in cautions_of(dissection, step, techniques)
        if card.pk not in known and (not only or card.key in only)
    ]
    if not wanted:
        return []
    with transaction.atomic():
        shown = [
            CautionShown.objects.create(
                dissection=dissection, card=card, session=session, step=step, read=read, person=by, at=now
            )
            for card in wanted
        ]
        record(
            verb="read cautions of" if read else "was shown cautions of",
            subject=dissection,
            by=by,
            payload={"step": step, "cards": [f"{card.key} {card.number}" for card in wanted]},
            bench_session=str(session.key) if session else "",
            at=now,
        )
    return shown


def revise_caution(
    *, card: CautionCard, by: User, at: dt.datetime | None = None, **changes: Any
) -> CautionCard:
    """Write a new version of a card: the laboratory's own text, owner, day of review, or its words."""
    demand(by, "cautions.edit")
    fields = {
        name: getattr(card, name)
        for name in (
            "key",
            "title",
            "facts",
            "cautions",
            "source",
            "rule",
            "owner",
            "review_by",
            "lab_text",
            "retired",
        )
    } | changes
    with transaction.atomic():
        new = CautionCard(**fields, number=card.number + 1)
        new.full_clean(exclude=["rule"])  # an empty rule means: at every step
        new.save()
        record(
            verb="revised",
            subject=new,
            by=by,
            payload={name: changes[name] for name in sorted(changes)},
            at=at,
        )
    return new
