"""What is done with findings: judged, proposed, looked at, decided, balanced."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models, transaction

from teardown.accounts.roles import demand
from teardown.cells.models import Cell
from teardown.diffraction.models import Review as FitReview
from teardown.dissection.models import Entry
from teardown.files.models import Run
from teardown.files.runs import ask
from teardown.files.tasks import ring_on_commit
from teardown.findings.models import (
    LOOKED_AT,
    THINGS,
    Balance,
    Decision,
    Evidence,
    Judgement,
    ModeAssignment,
    Stated,
    found_in,
)
from teardown.findings.rules import (
    OF_THING,
    USUAL,
    Claim,
    faults_of_judgement,
    faults_of_stated,
    kind_of_entry,
)
from teardown.imaging.models import Review as ImageReview
from teardown.records.actions import record
from teardown.records.models import Record
from teardown.records.rules import canonical, subject_of
from teardown.science.reliability.evidence import Piece
from teardown.vocabulary.models import Term


@dataclass(frozen=True, slots=True)
class Assigned:
    """One mode as the assessor gives it; evidence are rows that can be looked at."""

    mode: Term
    role: str
    confidence: str
    severity: int | None = None
    for_: Sequence[models.Model] = ()
    against: Sequence[models.Model] = ()
    words: str = ""

    def claim(self) -> Claim:
        """Reduce it to what the rules look at."""
        pieces = [Piece(_kind(row), speaks_for=True) for row in self.for_]
        pieces += [Piece(_kind(row), speaks_for=False) for row in self.against]
        both = {(type(row), row.pk) for row in self.for_} & {(type(row), row.pk) for row in self.against}
        faults = (f"{self.mode.words}: one piece of evidence cannot speak for and against.",) if both else ()
        return Claim(
            words=self.mode.words,
            role=self.role,
            confidence=self.confidence,
            pieces=tuple(pieces),
            closing=str(self.mode.data.get("closing", "")),
            said=self.words,
            faults=faults,
        )


def judge(
    *,
    cell: Cell,
    assigned: Sequence[Assigned],
    by: Any,
    note: str = "",
    proposal: bool = False,
    at: dt.datetime | None = None,
) -> Judgement:
    """Keep one person's reading of why a cell ended; it takes the place of their earlier one.

    Whether it counts as blind is worked out, never claimed: it is if the assessor had neither judged the cell
    before, nor looked at what others judged, nor seen it decided.

    Parameters
    ----------
    assigned : sequence of Assigned
        The modes, one root at most, each with what it rests on.
    proposal : bool
        Proposed at the bench, to be judged by others; counts nowhere.

    Raises
    ------
    PermissionDenied
        If this person may neither judge nor propose.
    ValidationError
        With one sentence for each thing that does not hold, such as a grade that the evidence does not hold
        up.
    """
    demand(by, "modes.propose" if proposal else "modes.judge")
    faults = faults_of_judgement([each.claim() for each in assigned])
    faults += _strangers(cell, assigned)
    if faults:
        raise ValidationError(faults)
    with transaction.atomic():
        Cell.objects.select_for_update().get(pk=cell.pk)
        mine = Judgement.objects.filter(cell=cell, assessor=by, proposal=proposal, superseded_by=None)
        before = mine.first()
        judgement = Judgement(
            cell=cell,
            assessor=by,
            blind=not proposal and before is None and not has_seen_others(cell, by),
            proposal=proposal,
            note=note,
            supersedes=before,
        )
        judgement.full_clean()
        judgement.save()
        _assign(judgement, assigned)
        record(
            verb="proposed modes of" if proposal else "judged",
            subject=cell,
            by=by,
            at=at,
            reason=note,
            payload=_told(judgement, assigned, before),
        )
    return judgement


def has_seen_others(cell: Cell, user: Any) -> bool:
    """Tell whether this person looked at what others judged of a cell, or may have seen it decided."""
    looked = Record.objects.filter(actor=user, verb=LOOKED_AT, subject=subject_of(cell))
    return looked.exists() or Decision.objects.filter(cell=cell).exists()


def look_at_judgements(*, cell: Cell, by: Any, at: dt.datetime | None = None) -> None:
    """Note that a judge looks at what others judged before judging: their own will not count as blind."""
    demand(by, "modes.judge")
    if has_seen_others(cell, by):
        return
    with transaction.atomic():
        record(verb=LOOKED_AT, subject=cell, by=by, at=at)


def decide(
    *, cell: Cell, outcome: Judgement, reason: str, by: Any, at: dt.datetime | None = None
) -> Decision:
    """Say which standing judgement of a cell holds, and why; all that stand were considered.

    Raises
    ------
    PermissionDenied
        If this person may not decide.
    ValidationError
        If no reason is given, or the judgement is another cell's, replaced, or a proposal.
    """
    demand(by, "modes.decide")
    if not reason.strip():
        raise ValidationError({"reason": "Say why this judgement holds."})
    with transaction.atomic():
        standing = list(Judgement.objects.standing().filter(cell=cell))
        if outcome not in standing:
            raise ValidationError({"outcome": "Choose one of the judgements of this cell that stand."})
        decision = Decision.objects.create(cell=cell, outcome=outcome, reason=reason.strip(), by=by)
        decision.judgements.set(standing)
        record(
            verb="decided",
            subject=cell,
            by=by,
            at=at,
            reason=reason.strip(),
            payload={"outcome": outcome.pk, "considered": sorted(each.pk for each in standing)},
        )
    return decision


def ask_balance(*, cell: Cell, by: Any, at: dt.datetime | None = None) -> Run:
    """Ask for the balance of a cell; nothing is computed again while nothing it rests on has changed."""
    if by is not None:
        demand(by, "measures.run")
    with transaction.atomic():
        run = ask("findings.balance", subject=cell, by=by, inputs=_balance_inputs(cell))
        if run.state == Run.State.QUEUED:
            record(verb="asked for the balance of", subject=cell, by=by, at=at, payload={"run": run.pk})
            ring_on_commit(run)
    return run


def state(
    *,
    cell: Cell,
    key: str,
    value: float | None,
    doubt: float = 0.0,
    source: str,
    by: Any,
    at: dt.datetime | None = None,
) -> Stated:
    """State of a cell what its balance would assume, and where it is from; no value takes it back.

    The balance that stands is not changed; one made from now on takes what was stated.

    Parameters
    ----------
    key : str
        One of `rules.USUAL`; its shape says what ``value`` and ``doubt`` are.

    Raises
    ------
    PermissionDenied
        If this person may not have measures made.
    ValidationError
        If it cannot be, or no source is told.
    """
    demand(by, "measures.run")
    usual = USUAL.get(key)
    if usual is None:
        raise ValidationError({"key": f"“{key}” is nothing that a balance assumes."})
    if not source.strip():
        raise ValidationError({"source": "Say where it is from."})
    faults = faults_of_stated(usual, value, doubt) if value is not None else []
    if faults:
        raise ValidationError(faults)
    with transaction.atomic():
        stated = Stated(cell=cell, key=key, value=value, doubt=doubt, source=source.strip(), by=by)
        stated.full_clean()
        stated.save()
        record(
            verb="stated of" if value is not None else "took back what was stated of",
            subject=cell,
            by=by,
            at=at,
            reason=source.strip(),
            payload={"key": key, "value": value, "doubt": doubt},
        )
    return stated


def _balance_inputs(cell: Cell) -> dict[str, Any]:
    """Name what a balance rests on: cell as built, bench, and the runs that made the other numbers."""
    entries = found_in(cell, "entry").current()
    sections, phases = found_in(cell, "sample_measure"), found_in(cell, "phase")
    rejected = ImageReview.objects.filter(verdict="reject", run__in=sections.values("run"))
    unfit = FitReview.objects.filter(verdict="reject", fit__in=phases.values("fit"))
    twins = Balance.objects.filter(
        cell__time_zero=True, cell__build__revision__recipe=cell.build.revision.recipe_id
    ).exclude(cell=cell)
    test = cell.tests.order_by("-number").values("pk", "version", "state_at_stop", "ended_at").first()
    told = {
        "build": [cell.pk, cell.version, cell.build.version],
        "test": test,
        "entries": list(entries.order_by("pk").values_list("pk", flat=True)),
        "stated": sorted(Stated.objects.filter(cell=cell).values_list("pk", flat=True)),
        "time zero": list(twins.order_by("pk").values_list("pk", flat=True)),
        "rejected": {
            "sections": sorted(rejected.values_list("run_id", flat=True)),
            "fits": sorted(unfit.values_list("fit_id", flat=True)),
        },
        "lots": list(cell.build.lot_uses.order_by("pk").values_list("role", "lot__purity", "lot__purity_u")),
        "instruments": list(
            entries.exclude(instrument=None).order_by("pk").values_list("pk", "instrument__u")
        ),
    }
    parts: dict[str, Any] = {"books": (cell, sha256(canonical(told).encode()).hexdigest())}
    summary = found_in(cell, "test_summary").order_by("-pk").first()
    phase = phases.order_by("-fit_id").first()
    if summary is not None:
        parts["cycling"] = summary.run
    if phase is not None:
        parts["phases"] = phase.fit.run
    for number, row in enumerate(sections.order_by("run_id")):
        parts[f"section {number + 1}"] = row.run
    return parts


def _kind(row: models.Model) -> Any:
    if isinstance(row, Entry):
        return kind_of_entry(row.term.key, row.term.data)
    return OF_THING[_column(row)]


def _column(row: models.Model) -> str:
    """Give the column of evidence that a row belongs into."""
    return next(name for name in THINGS if Evidence._meta.get_field(name).related_model is type(row))


def _assign(judgement: Judgement, assigned: Sequence[Assigned]) -> None:
    """Write modes and evidence, the root first so that consequences can name it."""
    ordered = sorted(assigned, key=lambda each: each.role != "root")
    root: ModeAssignment | None = None
    evidence: list[Evidence] = []
    for each in ordered:
        row = ModeAssignment(
            judgement=judgement,
            mode=each.mode,
            role=each.role,
            confidence=each.confidence,
            severity=each.severity,
            words=each.words,
            consequence_of=root if each.role == "consequence" else None,
        )
        row.full_clean()
        row.save()
        root = row if each.role == "root" else root
        for side, things in (("for", each.for_), ("against", each.against)):
            evidence += [Evidence(assignment=row, side=side, **{_column(thing): thing}) for thing in things]
    Evidence.objects.bulk_create(evidence)


def _told(judgement: Judgement, assigned: Sequence[Assigned], before: Judgement | None) -> dict[str, Any]:
    return {
        "judgement": judgement.pk,
        "blind": judgement.blind,
        "supersedes": before.pk if before else None,
        "modes": [
            {
                "mode": each.mode.key,
                "role": each.role,
                "confidence": each.confidence,
                "severity": each.severity,
                "words": each.words,
                "for": [subject_of(row) for row in each.for_],
                "against": [subject_of(row) for row in each.against],
            }
            for each in assigned
        ],
    }


def _strangers(cell: Cell, assigned: Sequence[Assigned]) -> list[str]:
    """Refuse evidence that belongs to another cell; one question for each kind of thing."""
    given: dict[str, set[int]] = {}
    for each in assigned:
        for row in (*each.for_, *each.against):
            given.setdefault(_column(row), set()).add(row.pk)
    strange = sum(
        len(keys - set(found_in(cell, kind).filter(pk__in=keys).values_list("pk", flat=True)))
        for kind, keys in given.items()
    )
    if not strange:
        return []
    return [f"{strange} of the things pointed at are not of this cell. Point at what was found in {cell}."]
