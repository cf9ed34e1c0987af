"""Old photographs to be looked at for what is asked only now."""

from dataclasses import dataclass
from typing import Any

from teardown.dissection.models import Dissection, Entry, Photograph
from teardown.records.models import Record
from teardown.vocabulary.models import Term

MOST = 200


@dataclass(frozen=True, slots=True)
class LookBack:
    """For one field: photographs still to be looked at, and what came of those that were.

    Cells that were opened before it was asked read "not asked" until somebody looks.
    """

    term: Term
    photographs: tuple[Photograph, ...]
    present: int
    absent: int
    cannot_tell: int
    asked: int
    not_asked: int

    def next_after(self, photograph: Photograph) -> Photograph | None:
        """Give the next one to look at."""
        later = [each for each in self.photographs if each.pk != photograph.pk]
        return later[0] if later else None


def look_back(term: Term, user: Any, known_at: int | None = None) -> LookBack:
    """Gather photographs of the component that the field is about, of cells where it has no answer yet.

    ``known_at`` is the record up to which is counted: the same question then gives the answer of then.
    """
    seen = Dissection.objects.visible_to(user)
    if known_at is not None:
        begun = Record.objects.filter(verb="began", seq__lte=known_at).values_list("subject", flat=True)
        seen = seen.filter(pk__in=[int(subject.rpartition(":")[2]) for subject in begun])
    standing = Entry.objects.current() if known_at is None else Entry.objects.as_known_at(known_at)
    answers = standing.filter(term=term, dissection__in=seen)
    by_cell: dict[int, str] = dict(answers.order_by("pk").values_list("dissection", "state"))
    photographs = (
        Photograph.objects.filter(
            dissection__in=seen, labels__part__component__key=term.data.get("component", "")
        )
        .exclude(dissection__in=by_cell)
        .evidence()
        .with_labels()
        .order_by("pk")
        .distinct()
    )
    states = list(by_cell.values())
    return LookBack(
        term=term,
        photographs=tuple(photographs[:MOST]),
        present=states.count("present"),
        absent=states.count("absent"),
        cannot_tell=states.count("cannot tell"),
        asked=len(states),
        not_asked=seen.count() - len(states),
    )
