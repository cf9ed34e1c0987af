"""What was found when a cell was opened: photographs, observations by component, samples, amendments."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from teardown.cells.models import Cell
from teardown.dissection.dossier.drawing import Drawing, drawings
from teardown.dissection.models import Dissection, Entry, Photograph, Sample
from teardown.page.navigation import address
from teardown.page.typesetting import fraction_as_percent, number, plus_minus, with_unit
from teardown.review.models import samples_of


@dataclass(frozen=True, slots=True)
class Picture:
    """A photograph as a page shows it."""

    pk: int
    src: str
    href: str
    words: str
    minutes: float | None
    face: bool = False
    marked: str = ""
    source: str = ""

    @property
    def caption(self) -> str:
        """Give place and minutes since opening."""
        age = "" if self.minutes is None else f"{number(self.minutes, 0)} min"
        return " · ".join(filter(None, [self.words or "not labelled yet", age, self.source]))


@dataclass(frozen=True, slots=True)
class Seen:
    """One observation in words."""

    pk: int
    what: str
    where: str
    answer: str
    doubt: str
    minutes: float | None
    by: str
    amended: bool


@dataclass(slots=True)
class Component:
    """What was seen of one component, and what was looked for there and absent."""

    name: str
    seen: list[Seen] = field(default_factory=list)
    absent: list[str] = field(default_factory=list)
    drawings: list[Drawing] = field(default_factory=list)

    @property
    def first(self) -> bool:
        """Tell whether the page unfolds it from the start: the electrode that this is all about."""
        return self.name == "iron electrode"


@dataclass(frozen=True, slots=True)
class Amendment:
    """An entry that replaced another, and why."""

    what: str
    before: str
    after: str
    reason: str
    by: str
    entry: Entry


@dataclass(frozen=True, slots=True)
class Opened:
    """The whole of a dissection as the cell's page tells it."""

    dissection: Dissection
    pictures: tuple[Picture, ...]
    components: tuple[Component, ...]
    amendments: tuple[Amendment, ...]
    samples: tuple[Sample, ...]
    n_entries: int
    n_cautions_read: int
    observers: tuple[str, ...]
    transcribed: int = 0

    @property
    def unblinded(self) -> bool:
        """Tell whether the curve was shown at the bench, with a reason that is in the records."""
        return not self.dissection.blinded


def answer_of(entry: Entry) -> str:
    """Say what an entry answers: number with unit and doubt, word, extent, or state."""
    if entry.value is not None:
        if entry.u:
            return plus_minus(entry.value, 2 * entry.u, entry.unit)
        return with_unit(entry.typed or number(entry.value), entry.unit)
    parts = [entry.answer.words if entry.answer else entry.value_text]
    if entry.extent_fraction is not None:
        parts.append(fraction_as_percent(entry.extent_fraction))
    elif entry.extent:
        parts.append(entry.get_extent_display())
    said = ", ".join(filter(None, parts))
    if entry.state == Entry.State.NOT_DONE:
        return f"not done: {entry.not_done}"
    return said or entry.get_state_display()


def opened_of(cell: Cell) -> Opened | None:
    """Tell what was found in a cell; None where nobody has opened it."""
    dissection = Dissection.objects.filter(cell=cell).first()
    if dissection is None:
        return None
    entries = list(
        Entry.objects.filter(dissection=dissection)
        .select_related("term", "answer", "not_done", "part__component", "sample", "observer", "reason")
        .order_by("pk")
    )
    replaced = {e.supersedes_id for e in entries if e.supersedes_id}
    current = [e for e in entries if e.pk not in replaced and e.state != Entry.State.WITHDRAWN]
    samples = Sample.objects.filter(pk__in=samples_of([cell.pk])).select_related(
        "part__component", "parent", "by"
    )
    return Opened(
        dissection=dissection,
        pictures=tuple(pictures_of([cell.pk]).get(cell.pk, [])),
        components=tuple(_by_component(current, cell)),
        amendments=tuple(_amendments(entries)),
        samples=tuple(samples.prefetch_related("orders__technique", "mounted__mount")),
        n_entries=len(current),
        n_cautions_read=dissection.cautions_shown.filter(read=True).count(),
        observers=tuple(dict.fromkeys(e.seen_by for e in current)),
        transcribed=sum(e.transcribed for e in current),
    )


_ELSEWHERE = frozenset({"opening.opened", "cut.cut"})  # said by the strip, and by the list of samples


def _by_component(current: list[Entry], cell: Cell) -> Iterable[Component]:
    found: dict[str, Component] = {}
    entries: dict[str, list[Entry]] = defaultdict(list)
    for entry in current:
        if entry.term.key in _ELSEWHERE:
            continue
        name = str(entry.part or (f"sample {entry.sample}" if entry.sample else "the cell as a whole"))
        component = found.setdefault(name, Component(name))
        entries[name].append(entry)
        if entry.state == Entry.State.ABSENT:
            component.absent.append(" ".join(filter(None, [entry.term.words, entry.place])))
        else:
            component.seen.append(_seen(entry))
    for name, component in found.items():
        component.seen = _joined(component.seen)
        component.drawings = drawings(cell, entries[name])
    return sorted(found.values(), key=lambda component: not component.first)


def _joined(seen: list[Seen]) -> list[Seen]:
    """Say once what was seen alike at several places: "black, matte" at A.T2, A.M2 and A.B2."""
    alike: dict[tuple[str, str, str, str, bool], Seen] = {}
    for one in seen:
        key = (one.what, one.answer, one.doubt, one.by, one.amended)
        known = alike.get(key)
        where = ", ".join(filter(None, dict.fromkeys([known.where, one.where]))) if known else one.where
        alike[key] = replace(known or one, where=where)
    return list(alike.values())


def _seen(entry: Entry) -> Seen:
    doubt = entry.certainty if entry.certainty not in ("", "sure") else ""
    if entry.transcribed:
        doubt = ", ".join(filter(None, [doubt, "transcribed"]))
    return Seen(
        entry.pk, entry.term.words, entry.place_words, answer_of(entry), doubt, entry.minutes_since_opening,
        entry.seen_by, entry.supersedes_id is not None,
    )  # fmt: skip


def _amendments(entries: list[Entry]) -> Iterable[Amendment]:
    by_pk = {e.pk: e for e in entries}
    for entry in entries:
        if entry.supersedes_id is None:
            continue
        before = by_pk.get(entry.supersedes_id)
        reason = ": ".join(filter(None, [str(entry.reason or ""), entry.reason_text]))
        after = "withdrawn" if entry.state == Entry.State.WITHDRAWN else answer_of(entry)
        yield Amendment(
            entry.term.words, answer_of(before) if before else "", after, reason, str(entry.observer), entry
        )


def pictures_of(cells: Iterable[int]) -> dict[int, list[Picture]]:
    """Give the photographs of each cell as taken, what is no evidence left out. Three queries."""
    photographs = (
        Photograph.objects.filter(dissection__cell__in=list(cells))
        .select_related("dissection")
        .prefetch_related("labels__part__component")
        .order_by("taken_at", "pk")
    )
    found: dict[int, list[Picture]] = defaultdict(list)
    for photograph in photographs:
        label = max(photograph.labels.all(), key=lambda row: row.pk, default=None)
        if label is not None and label.not_evidence:
            continue
        words = (
            ", ".join(filter(None, [str(label.part or ""), label.frame or label.place, label.caption]))
            if label
            else ""
        )
        found[photograph.dissection.cell_id].append(  # type: ignore[union-attr]
            Picture(
                photograph.pk,
                address("photograph_picture", photograph.key, "small"),
                address("photograph", photograph.key),
                words,
                photograph.minutes_since_opening,
                face="face" in words,
                marked=address("marks", "photograph", photograph.pk),
                source="transcribed" if photograph.transcription_id else "",
            )
        )
    return found
