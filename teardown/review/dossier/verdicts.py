"""Why cells ended, in the few words of a list, as one person may see it."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from teardown.findings.models import Decision, Judgement, ModeAssignment


@dataclass(frozen=True, slots=True)
class Standing:
    """What holds for a cell: the decision, or the judgements that nobody superseded.

    ``hidden`` is how many stand that this person does not see, so that their own will be their own.
    """

    judgements: tuple[Judgement, ...]
    decision: Decision | None
    hidden: int = 0

    @property
    def outcome(self) -> Judgement | None:
        """Give the judgement that holds: the one decided for, or the first of those that agree."""
        if self.decision is not None:
            return next((j for j in self.judgements if j.pk == self.decision.outcome_id), None)
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
        if self.hidden:
            return "hidden until you have judged"
        if not self.judgements:
            return ""
        if self.outcome is None:
            return "judgements differ"
        return f"{self.root.mode.words}, {self.root.confidence}" if self.root else "undetermined"

    @property
    def asks(self) -> str:
        """Say what is open, in the few words of the strip."""
        count = len(self.judgements) + self.hidden
        if self.decision is not None:
            return "decided"
        if self.hidden:
            return f"by {count}, hidden from you"
        if not self.agree:
            return "open: judgements differ"
        return f"{count} of {count} agree" if count > 1 else "by one"


def root_of(judgement: Judgement) -> ModeAssignment | None:
    """Give the root mode of a judgement."""
    return next((a for a in judgement.assignments.all() if a.role == "root"), None)


def standing_of(cells: Iterable[int], user: Any) -> dict[int, Standing]:
    """Give what holds for each cell, as this person may see it. A fixed number of queries."""
    wanted = list(cells)
    every = Judgement.objects.standing().filter(cell__in=wanted)
    count = Counter(every.values_list("cell", flat=True))
    judgements: dict[int, list[Judgement]] = defaultdict(list)
    for judgement in every.visible_to(user).prefetch_related("assignments__mode").order_by("pk"):
        judgements[judgement.cell_id].append(judgement)
    decisions = {d.cell_id: d for d in Decision.objects.latest_each().filter(cell__in=wanted)}
    return {
        cell: Standing(tuple(judgements[cell]), decisions.get(cell), count[cell] - len(judgements[cell]))
        for cell in wanted
    }
