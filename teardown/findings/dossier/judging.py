"""What is shown of the judgements of a cell, and on the page where one is given."""

from dataclasses import dataclass
from typing import Any

from teardown.accounts.roles import may
from teardown.cells.models import Cell
from teardown.findings.dossier.evidence import Group, Item, evidence_in, shown
from teardown.findings.models import Decision, Judgement, ModeAssignment
from teardown.findings.rules import SEVERITIES
from teardown.science.reliability.evidence import Grounds, Piece, grounds_of


@dataclass(frozen=True, slots=True)
class Rested:
    """One mode of a judgement with what it rests on."""

    assignment: ModeAssignment
    for_: tuple[Item, ...]
    against: tuple[Item, ...]
    grounds: Grounds
    severity: str

    @property
    def next_missing(self) -> tuple[str, ...]:
        """Say what the next higher grade lacks; nothing where it is confirmed or closes a case."""
        missing = list(self.grounds.missing.values())
        return missing[-1] if missing and not self.assignment.mode.data.get("closing") else ()


@dataclass(frozen=True, slots=True)
class Given:
    """One judgement that stands."""

    judgement: Judgement
    modes: tuple[Rested, ...]
    holds: bool


@dataclass(frozen=True, slots=True)
class Judgements:
    """The judgements of a cell as one person may see them.

    ``hidden`` is how many stand that this person does not see yet; ``undecided`` tells that the roots of
    those that stand differ and nobody has decided.
    """

    cell: Cell
    given: tuple[Given, ...]
    proposed: tuple[Given, ...]
    hidden: int
    decision: Decision | None
    undecided: bool
    may_judge: bool
    may_propose: bool
    may_decide: bool

    @property
    def sentence(self) -> str:
        """Say in one sentence where the cell stands."""
        held = next((each for each in self.given if each.holds), None)
        root = held.judgement.root if held else None
        if root is not None:
            return f"{root.mode.words[:1].upper()}{root.mode.words[1:]}, {root.confidence}; decided."
        if self.undecided:
            return "Open disagreement: the assessors name different roots, and nobody has decided."
        if self.given:
            root = self.given[0].judgement.root
            told = f"{root.mode.words}, {root.confidence}" if root else "no root named"
            who = "one assessor" if len(self.given) == 1 else f"{len(self.given)} assessors"
            return f"{told[:1].upper()}{told[1:]}; judged by {who}."
        if self.hidden:
            return "Judged by another assessor; it opens to you when you have given your own judgement."
        return "Nobody has judged why this cell ended."


def judgements_of(cell: Cell, user: Any) -> Judgements:
    """Gather the judgements of a cell for one person, in a fixed number of questions."""
    all_ = list(Judgement.objects.filter(cell=cell, superseded_by=None).visible_to(user).with_grounds())
    standing = [each for each in all_ if not each.proposal]
    decision = Decision.objects.filter(cell=cell).select_related("by", "outcome__assessor").first()
    outcome = decision.outcome_id if decision else None
    given = tuple(_given(each, holds=each.pk == outcome) for each in standing)
    roots = {each.root.mode_id if each.root else None for each in standing}
    return Judgements(
        cell=cell,
        given=given,
        proposed=tuple(_given(each, holds=False) for each in all_ if each.proposal),
        hidden=Judgement.objects.standing().filter(cell=cell).count() - len(standing),
        decision=decision,
        undecided=decision is None and len(roots) > 1,
        may_judge=may(user, "modes.judge"),
        may_propose=may(user, "modes.propose"),
        may_decide=may(user, "modes.decide"),
    )


@dataclass(frozen=True, slots=True)
class JudgePage:
    """The page where a judgement is given: what can be pointed at, and what stands already."""

    judgements: Judgements
    groups: tuple[Group, ...]

    @property
    def items(self) -> dict[str, Item]:
        """Give everything that can be pointed at by its reference."""
        return {item.reference: item for group in self.groups for item in group.items}


def judge_page(cell: Cell, user: Any) -> JudgePage:
    """Gather the page."""
    curve = may(user, "recipes.see")
    return JudgePage(judgements_of(cell, user), evidence_in(cell, curve=curve))


def own_judgement(cell: Cell, user: Any) -> Judgement | None:
    """Give this person's standing judgement or proposal, to begin from."""
    mine = Judgement.objects.filter(
        cell=cell, assessor=user, superseded_by=None, proposal=not may(user, "modes.judge")
    )
    return mine.with_grounds().first()


def _given(judgement: Judgement, *, holds: bool) -> Given:
    modes = sorted(judgement.assignments.all(), key=lambda each: (each.role != "root", each.pk))
    return Given(judgement, tuple(_rested(each) for each in modes), holds)


def _rested(assignment: ModeAssignment) -> Rested:
    sides: dict[str, list[Item]] = {"for": [], "against": []}
    for each in assignment.evidence.all():
        sides[each.side].append(shown(each))
    pieces = [Piece(item.kind, speaks_for=side == "for") for side, items in sides.items() for item in items]
    severity = SEVERITIES[assignment.severity] if assignment.severity else ""
    return Rested(assignment, tuple(sides["for"]), tuple(sides["against"]), grounds_of(pieces), severity)
