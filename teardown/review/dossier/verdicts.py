"""Why cells ended, as people judged it."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from teardown.findings.models import Decision, Judgement, ModeAssignment


@dataclass(frozen=True, slots=True)
class Standing:
    """What holds for a cell: the decision, or the judgements that nobody superseded."""

    judgements: tuple[Judgement, ...]
    decision: Decision | None

    @property
    def outcome(self) -> Judgement | None:
        """Give the judgement that holds: the one decided for, or the first of those that agree."""
        if self.decision is not None:
            return next(
                (j for j in self.judgements if j.pk == self.decision.outcome_id), self.decision.outcome
            )
        return self.judgements[0] if self.judgements and self.agree else None

    @property
    def agree(self) -> bool:
        """Tell whether all standing judgements name the same root, or none."""
        return len({root.mode_id if (root := root_of(j)) else None for j in self.judgements}) <= 1

    @property
    def root(self) -> ModeAssignment | None:
        """Give the root mode that holds, if one does."""
        return root_of(self.outcome) if self.outcome else None

    @property
    def words(self) -> str:
        """Say it for a row of a table: "passivation, probable"; "judgements differ"; or nothing."""
        if not self.judgements:
            return ""
        if self.outcome is None:
            return "judgements differ"
        root = self.root
        return f"{root.mode.words}, {root.confidence}" if root else "undetermined"

    @property
    def asks(self) -> str:
        """Say what is open, in the few words of the strip."""
        if self.decision is None and not self.agree:
            return "open: judgements differ"
        count = len(self.judgements)
        return f"{count} of {count}, agree" if count > 1 else "once"


NOBODY = Standing((), None)


def root_of(judgement: Judgement) -> ModeAssignment | None:
    """Give the root mode of a judgement."""
    return next((a for a in judgement.assignments.all() if a.role == "root"), None)


def standing_of(cells: Iterable[int], *, with_evidence: bool = False) -> dict[int, Standing]:
    """Give what holds for each cell. Four queries, however many cells; a few more with evidence."""
    wanted = list(cells)
    rows = Judgement.objects.filter(cell__in=wanted, proposal=False, superseded_by=None).select_related(
        "assessor"
    )
    rows = rows.prefetch_related("assignments__mode").order_by("pk")
    if with_evidence:
        rows = rows.prefetch_related(
            "assignments__evidence__entry__term",
            "assignments__evidence__entry__answer",
            "assignments__evidence__photograph",
            "assignments__evidence__field_measure",
            "assignments__evidence__sample_measure__sample",
            "assignments__evidence__phase__fit",
            "assignments__evidence__test_summary",
            "assignments__evidence__balance",
        )
    judgements: dict[int, list[Judgement]] = defaultdict(list)
    for judgement in rows:
        judgements[judgement.cell_id].append(judgement)
    decisions = {
        d.cell_id: d
        for d in Decision.objects.filter(cell__in=wanted).select_related("by", "outcome").order_by("pk")
    }
    return {cell: Standing(tuple(judgements[cell]), decisions.get(cell)) for cell in wanted}
