"""What a cell is held against: its uncycled twin, its sisters of one build, the blanks of the sitting."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import mean

from django.db.models import Q

from teardown.cells.models import Cell, Test
from teardown.dissection.models import Dissection, Entry
from teardown.page.typesetting import number
from teardown.vocabulary.models import Term

Slot = tuple[str, str, int]
"""Field, component, number: what is comparable between cells; places are averaged."""


@dataclass(frozen=True, slots=True)
class Controls:
    """The cells that a cell is held against; twins were never cycled, or opened after formation."""

    twins: tuple[Cell, ...]
    sisters: tuple[Cell, ...]

    @property
    def words(self) -> str:
        """Name them."""
        named = []
        if self.twins:
            named.append(f"uncycled: {', '.join(cell.code for cell in self.twins)}")
        if self.sisters:
            named.append(f"sisters: {', '.join(cell.code for cell in self.sisters)}")
        return "; ".join(named)


def controls_of(cell: Cell) -> Controls:
    """Find the controls of a cell: named twins, uncycled or time-zero cells of its build, and its sisters.

    Two questions.
    """
    related = Q(pk=cell.twin_of_id) | Q(twin_of=cell.pk) | Q(build=cell.build_id)
    cells = list(Cell.objects.filter(related).exclude(pk=cell.pk).order_by("code"))
    cycled = set(Test.objects.filter(cell__in=cells).values_list("cell_id", flat=True))
    twins = [each for each in cells if each.time_zero or each.pk not in cycled]
    return Controls(tuple(twins), tuple(each for each in cells if each not in twins))


@dataclass(frozen=True, slots=True)
class Spread:
    """One number over one or more cells: their mean, and from lowest to highest where there are several."""

    values: tuple[float, ...]
    unit: str
    figures: int = 4

    @property
    def words(self) -> str:
        """Say it: "3.41 g", "3.2 g (3.0 to 3.4, n 3)"."""
        if not self.values:
            return ""
        unit = "" if self.unit in ("", "1") else f" {self.unit}"
        middle = f"{self._set(mean(self.values))}{unit}"
        if len(self.values) == 1:
            return middle
        low, high = self._set(min(self.values)), self._set(max(self.values))
        return f"{middle} ({low} to {high}, n {len(self.values)})"

    def _set(self, value: float) -> str:
        return number(float(f"{value:.{self.figures}g}"))


@dataclass(frozen=True, slots=True)
class Beside:
    """What stands beside one measure: the same of the twin, of the sisters, of the blank."""

    twin: Spread
    sisters: Spread
    blank: Spread

    @property
    def words(self) -> str:
        """Say what there is of it, shortly."""
        told = [("twin", self.twin), ("sisters", self.sisters), ("blank", self.blank)]
        return "; ".join(f"{name} {spread.words}" for name, spread in told if spread.values)


def beside(dissection: Dissection, controls: Controls) -> dict[Slot, Beside]:
    """Give, for each number that was taken of a control, what to hold a measure against. Two questions."""
    twins = {cell.pk for cell in controls.twins}
    cells = [*controls.twins, *controls.sisters]
    rows = Entry.objects.current().filter(dissection__cell__in=cells, value__isnull=False, sample=None)
    by_cell: dict[Slot, dict[int, list[float]]] = defaultdict(lambda: defaultdict(list))
    units: dict[Slot, str] = {}
    for entry in rows.select_related("term", "part__component", "dissection").order_by("pk"):
        slot = slot_of(entry)
        by_cell[slot][entry.dissection.cell_id].append(entry.value or 0.0)
        units[slot] = entry.unit
    blanks = _blanks(dissection, units)
    slots = {*by_cell, *((term, "", 1) for term in blanks)}
    found = {}
    for slot in slots:
        means = {cell: mean(values) for cell, values in by_cell.get(slot, {}).items()}
        unit = units.get(slot, units.get((slot[0], "", 1), ""))
        found[slot] = Beside(
            Spread(tuple(value for cell, value in means.items() if cell in twins), unit),
            Spread(tuple(value for cell, value in means.items() if cell not in twins), unit),
            Spread(blanks.get(slot[0], ()), unit),
        )
    return found


def _blanks(dissection: Dissection, units: dict[Slot, str]) -> dict[str, tuple[float, ...]]:
    """Give what was read of the blanks of the sittings at which this cell was worked on."""
    sessions = dissection.entries.exclude(session=None).values("session")
    found: dict[str, list[float]] = defaultdict(list)
    rows = Entry.objects.current().filter(
        Q(sample__session__in=sessions) | Q(sample__parent__session__in=sessions), value__isnull=False
    )
    for entry in rows.select_related("term"):
        found[entry.term.key].append(entry.value or 0.0)
        units.setdefault((entry.term.key, "", 1), entry.unit)
    return {term: tuple(values) for term, values in found.items()}


def slot_of(entry: Entry) -> Slot:
    """Tell which number an entry is, whatever its place."""
    part = entry.part
    return (entry.term.key, part.component.key if part else "", part.number if part else 1)


def of_slot(found: Mapping[Slot, Beside], term: str, component: str, which: int) -> Beside | None:
    """Give what stands beside a field of a part, or of the cell as a whole."""
    return found.get((term, component, which)) or found.get((term, "", 1))


COMPARED = (
    ("dry.mass_g", "component.iron_electrode"),
    ("iron.thickness_um", "component.iron_electrode"),
    ("part.mass_g", "component.iron_electrode"),
    ("mass.received_g", ""),
    ("electrolyte.density", "component.electrolyte"),
    ("electrolyte.conductivity", "component.electrolyte"),
)
"""Numbers of the bench that the page of a cell holds against its controls."""


@dataclass(frozen=True, slots=True)
class Compared:
    """One number of the bench of a cell, beside the same of its controls."""

    words: str
    own: Spread
    beside: Beside


def compared(dissection: Dissection, controls: Controls) -> tuple[Compared, ...]:
    """Hold the numbers of the bench against those of the controls; only what both have."""
    found = beside(dissection, controls)
    own: dict[Slot, list[float]] = defaultdict(list)
    units: dict[Slot, str] = {}
    keys = [term for term, _ in COMPARED]
    rows = dissection.entries.current().filter(term__key__in=keys, value__isnull=False, sample=None)
    for entry in rows.select_related("term", "part__component"):
        own[slot_of(entry)].append(entry.value or 0.0)
        units[slot_of(entry)] = entry.unit
    words = dict(Term.objects.filter(key__in=keys).values_list("key", "words"))
    return tuple(_compared(own, units, found, words))


def _compared(
    own: Mapping[Slot, list[float]],
    units: Mapping[Slot, str],
    found: Mapping[Slot, Beside],
    words: Mapping[str, str],
) -> Iterable[Compared]:
    for term, component in COMPARED:
        slot = (term, component, 1)
        told = of_slot(found, term, component, 1)
        if own.get(slot) and told is not None and told.words:
            yield Compared(words[term], Spread((mean(own[slot]),), units[slot]), told)
