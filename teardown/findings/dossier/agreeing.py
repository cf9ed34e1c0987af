"""How well two assessors agree who judged the same cells without seeing each other's judgement."""

from collections import Counter
from dataclasses import dataclass

from django.db.models import QuerySet

from teardown.cells.models import Cell
from teardown.findings.models import ModeAssignment
from teardown.page.typesetting import as_count, estimate_line, fraction_as_percent
from teardown.science.reliability.agreement import ENOUGH_DOUBLE_READINGS, Agreement, agreement, table_of

NO_ROOT = "no root"
FEWEST = 5
"""Below this many double readings only their number is said."""


@dataclass(frozen=True, slots=True)
class ModeAgreement:
    """Agreement on one mode: named by either assessor, by both, and beyond chance."""

    words: str
    either: int
    both: int
    found: Agreement


@dataclass(frozen=True, slots=True)
class Agreed:
    """Agreement on the root over the cells read twice; ``found`` is None below five."""

    found: Agreement | None
    modes: tuple[ModeAgreement, ...]
    read_twice: int = 0

    @property
    def sentence(self) -> str:
        """Say how many cells were read twice, and in how many the root was the same."""
        if not self.read_twice:
            return "No cell that fits was judged twice by assessors who did not see each other’s judgement."
        if self.found is None:
            read = as_count(self.read_twice, "cell")
            return f"{read} judged twice, blind: too few to say how well they agree."
        kappa = f"kappa {estimate_line(self.found.kappa)}" if self.found.kappa else "kappa cannot be given"
        return (
            f"{as_count(self.found.n, 'cell')} judged twice, blind; the same root in"
            f" {fraction_as_percent(self.found.observed)}, {kappa}, AC1 {estimate_line(self.found.ac1)}."
        )

    @property
    def caution(self) -> str:
        """Say where there are too few for a verdict."""
        if self.found is None or self.found.enough:
            return ""
        return f"Fewer than {ENOUGH_DOUBLE_READINGS} double readings give no verdict on agreement."


def agreed_on(cells: QuerySet[Cell]) -> Agreed:
    """Compare the first two blind judgements of each cell: one question."""
    rows = ModeAssignment.objects.filter(
        judgement__cell__in=cells, judgement__blind=True, judgement__proposal=False
    ).order_by("judgement_id", "pk")
    roots: dict[int, dict[int, str]] = {}
    people: dict[int, dict[int, int]] = {}
    for cell, judgement, person, role, words in rows.values_list(
        "judgement__cell_id", "judgement_id", "judgement__assessor_id", "role", "mode__words"
    ):
        if judgement not in roots.setdefault(cell, {}):
            if person in people.setdefault(cell, {}).values():
                continue
            people[cell][judgement] = person
            roots[cell][judgement] = NO_ROOT
        if role == "root":
            roots[cell][judgement] = words
    pairs = [tuple(list(named.values())[:2]) for named in roots.values() if len(named) > 1]
    if len(pairs) < FEWEST:
        return Agreed(None, (), len(pairs))
    first, second = [pair[0] for pair in pairs], [pair[1] for pair in pairs]
    counted = Counter(words for pair in pairs for words in set(pair) if words != NO_ROOT)
    modes = tuple(_on(words, first, second) for words, _ in counted.most_common())
    return Agreed(agreement(table_of(first, second)), modes, len(pairs))


def _on(words: str, first: list[str], second: list[str]) -> ModeAgreement:
    """Reduce the answers to one mode: named or not, by either and by both."""
    both = sum(a == b == words for a, b in zip(first, second, strict=True))
    one = sum(a == words != b for a, b in zip(first, second, strict=True))
    other = sum(b == words != a for a, b in zip(first, second, strict=True))
    table = [[both, one], [other, len(first) - both - one - other]]
    return ModeAgreement(words, both + one + other, both, agreement(table))
