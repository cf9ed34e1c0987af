"""Old photographs to be looked at for what is asked only now."""

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from teardown.dissection.models import Dissection, Entry, Photograph
from teardown.dissection.models.photographs import PhotographQuerySet
from teardown.page.numbers import UnreadableNumber, read_number
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


@dataclass(frozen=True, slots=True)
class Only:
    """Which photographs are looked at: of one face, taken within so many minutes of opening; else of all."""

    face: str = ""
    within_min: float | None = None

    @classmethod
    def read(cls, face: str, within: str) -> "Only":
        """Read both from an address; what is neither face nor minutes is taken for all."""
        try:
            minutes = read_number(within) if within.strip() else None
        except UnreadableNumber:
            minutes = None
        return cls(face if face in ("A", "B") else "", minutes)

    @property
    def query(self) -> str:
        """Give it as an address carries it."""
        given = {"face": self.face, "within": "" if self.within_min is None else f"{self.within_min:g}"}
        return urlencode({name: value for name, value in given.items() if value})

    def of(self, photographs: PhotographQuerySet, component: str) -> PhotographQuerySet:
        """Give the photographs of a component that it leaves."""
        label = {"labels__part__component__key": component}
        if self.face:
            label["labels__place__startswith"] = self.face
        found = photographs.filter(**label)
        return found if self.within_min is None else found.filter(minutes_since_opening__lte=self.within_min)


def look_back(term: Term, user: Any, known_at: int | None = None, only: Only | None = None) -> LookBack:
    """Gather photographs of the component that the field is about, of cells where it has no answer yet.

    ``known_at`` is the record up to which is counted: the same question then gives the answer of then.
    ``only`` chooses among the photographs; it changes no count.
    """
    seen = Dissection.objects.visible_to(user)
    if known_at is not None:
        begun = Record.objects.filter(verb="began", seq__lte=known_at).values_list("subject", flat=True)
        seen = seen.filter(pk__in=[int(subject.rpartition(":")[2]) for subject in begun])
    standing = Entry.objects.current() if known_at is None else Entry.objects.as_known_at(known_at)
    answers = standing.filter(term=term, dissection__in=seen)
    by_cell: dict[int, str] = dict(answers.order_by("pk").values_list("dissection", "state"))
    photographs = (
        (only or Only())
        .of(Photograph.objects.filter(dissection__in=seen), term.data.get("component", ""))
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
