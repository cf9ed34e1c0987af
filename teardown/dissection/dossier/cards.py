"""One dissection as a stack of cards: what is asked, what was answered, which cautions come up."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch

from teardown.accounts.models import User
from teardown.dissection.models import CautionCard, Dissection, Entry, Instrument, Sample
from teardown.dissection.models.closing import later_than_signed
from teardown.dissection.rules.cards import CARDS, Card
from teardown.dissection.rules.cautions import Raised, Situation, acid_is_offered, bring_up
from teardown.dissection.rules.places import GRIDS, HEIGHTS, ZONES, drawn_row, grid_of
from teardown.dissection.rules.tiers import tiers_of
from teardown.dissection.rules.times import Moment
from teardown.vocabulary.models import Term, Version

BENCH_PARTS = (
    ("component.iron_electrode", 1), ("component.separator", 1), ("component.separator", 2),
    ("component.air_electrode", 1), ("component.air_electrode", 2), ("component.third_electrode", 1),
    ("component.collector", 1), ("component.case", 1), ("component.reference", 1),
)  # fmt: skip
READINGS = ("titration",)


@dataclass(frozen=True, slots=True)
class Button:
    """One thing that can be said with one touch; ``said`` is its wire form, ``answer:iron.colour.green``."""

    said: str
    words: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Ask:
    """One field of a card, open or answered."""

    key: str
    words: str
    kind: str
    unit: str = ""
    help: str = ""
    component: str = ""
    buttons: tuple[Button, ...] = ()
    bounds: Mapping[str, Any] | None = None
    quantity: str = ""
    critical: bool = False
    not_below: str = ""
    answer: Entry | None = None

    @property
    def title(self) -> str:
        """Give its words with a capital, unless they begin with a sign that has its own, as pH."""
        return self.words if self.words[1:2].isupper() else f"{self.words[:1].upper()}{self.words[1:]}"

    @property
    def said(self) -> str:
        """Give what was answered, or that it was not asked yet."""
        return _said(self.answer) if self.answer else "not asked yet"


def _said(entry: Entry) -> str:
    """Give an answer in words; that a cell was opened is said by when."""
    return entry.when if entry.term.data["kind"] == "moment" and entry.state == "present" else entry.said


@dataclass(frozen=True, slots=True)
class CautionSaid:
    """A caution card as shown: its words, and why it is underlined, if it is."""

    card: CautionCard
    because: str = ""


@dataclass(frozen=True, slots=True)
class CardShown:
    """One card: its fields and the cautions of its step."""

    card: Card
    asks: tuple[Ask, ...]
    cautions: tuple[CautionSaid, ...]
    answered: frozenset[str]
    no_acid: bool = False
    instruments: tuple[Instrument, ...] = ()

    @property
    def rows_about(self) -> int:
        """Count the rows that say what is spoken of: a place and how sure, a part, a sample."""
        whole = 0 if self.card.component else 1
        return {"cell": 0, "part": whole, "place": 2, "sample": 1}[self.card.per]

    @property
    def complete(self) -> bool:
        """Tell whether each of its fields was said something of, wherever that was."""
        return all(ask.key in self.answered for ask in self.asks)

    @property
    def first_open(self) -> Ask | None:
        """Give the field to open: the first that was not asked."""
        return next((ask for ask in self.asks if ask.answer is None), self.asks[0] if self.asks else None)


@dataclass(frozen=True, slots=True)
class Stack:
    """The whole stack of one dissection."""

    dissection: Dissection
    cards: tuple[CardShown, ...]
    opened: Moment | None
    opening: Entry | None
    entries: tuple[Entry, ...]
    constituents: tuple[str, ...]
    grid: str
    unlabelled: int
    last: tuple[Entry, ...]
    vocabulary: int
    later: int

    def shown(self, key: str) -> CardShown:
        """Give a card by its key, or the first that has something to ask."""
        by_key = {shown.card.key: shown for shown in self.cards}
        if key in by_key:
            return by_key[key]
        return next((shown for shown in self.cards if not shown.complete), self.cards[0])


@dataclass(frozen=True, slots=True)
class About:
    """What a card is being answered about: a part, a place on it, a sample."""

    place: str = ""
    component: str = ""
    number: int = 1
    sample: str = ""


def fields() -> list[Term]:
    """Give every field with its answers, in their fixed order."""
    answers = Prefetch("answers", queryset=Term.objects.filter(retired_at=None).order_by("order", "pk"))
    return list(Term.objects.of("field").prefetch_related(answers))


def stack(dissection: Dissection, about: About | None = None) -> Stack:
    """Gather the stack of a dissection; where a card asks by place, part or sample, of that."""
    about = about or About()
    entries = tuple(dissection.entries.current().with_words().order_by("pk"))
    constituents = dissection.constituents()
    opening = next((entry for entry in reversed(entries) if entry.term.key == "opening.opened"), None)
    states = dissection.states()
    cautions = list(CautionCard.objects.in_force())
    cell = dissection.cell
    as_built = {
        name: getattr(cell, name) for name in ("build_mass_g", "iron_mass_g", "electrode_thickness_um")
    }
    by_card: dict[str, list[Term]] = {}
    for term in fields():
        by_card.setdefault(term.data.get("card", ""), []).append(term)
    acid = acid_is_offered(constituents or None)
    known = list(Instrument.objects.filter(retired_at=None).exclude(quantity="").prefetch_related("checks"))
    cards = []
    for card in CARDS:
        situation = Situation(card.cautions, constituents or None, states)
        no_acid = card.key in READINGS and not acid
        terms = [] if no_acid else by_card.get(card.key, [])
        asks = tuple(_ask(term, card, about, entries, as_built) for term in terms)
        cards.append(
            CardShown(
                card,
                asks,
                _cautions(cautions, situation),
                frozenset(entry.term.key for entry in entries if entry.step == card.key),
                no_acid,
                instruments_of(asks, known) if card.per != "sample" else (),
            )
        )
    return Stack(
        dissection=dissection,
        cards=tuple(cards),
        opened=opening.moment if opening and opening.timed else None,
        opening=opening,
        entries=entries,
        constituents=tuple(sorted(constituents)),
        grid=grid_of(cell.electrode_width_mm),
        unlabelled=dissection.photographs.unlabelled().count(),
        last=entries[-3:],
        vocabulary=Version.objects.order_by("-number").values_list("number", flat=True).first() or 1,
        later=later_than_signed(dissection) if cell.closed_at else 0,
    )


def _cautions(cards: list[CautionCard], situation: Situation) -> tuple[CautionSaid, ...]:
    by_key = {card.key: card for card in cards}
    raised: Iterable[Raised] = bring_up([(card.key, card.rule) for card in cards], situation)
    return tuple(CautionSaid(by_key[each.key], each.because) for each in raised)


def _ask(
    term: Term, card: Card, about: About, entries: tuple[Entry, ...], as_built: Mapping[str, float | None]
) -> Ask:
    data = term.data
    bounds = None
    if data["kind"] == "number":
        tiers = tiers_of(data, as_built)
        bounds = {
            "possible": [tiers.possible.low, tiers.possible.high],
            "usual": [tiers.usual.low, tiers.usual.high],
        }
    matching = [
        entry for entry in entries if entry.term_id == term.pk and _is_about(entry, card, about, term)
    ]
    return Ask(
        key=term.key,
        words=term.words,
        kind=data["kind"],
        unit=data.get("unit", ""),
        help=term.help,
        component=data.get("component", ""),
        buttons=buttons_of(term),
        bounds=bounds,
        quantity=data.get("quantity", ""),
        critical=bool(data.get("critical")),
        not_below=data.get("not_below", ""),
        answer=matching[-1] if matching else None,
    )


def _is_about(entry: Entry, card: Card, about: About, term: Term) -> bool:
    if card.per == "place":
        return entry.place == about.place
    if card.per == "sample":
        return bool(entry.sample and entry.sample.code == about.sample)
    if card.per == "part" and not term.data.get("component"):
        return bool(
            entry.part and entry.part.component.key == about.component and entry.part.number == about.number
        )
    return True


def buttons_of(term: Term) -> tuple[Button, ...]:
    """Give what a field can be answered by with one touch. "None" is looked for and absent, never blank."""
    data = term.data
    tell = Button("state:cannot tell", "cannot tell")
    if data["kind"] == "choice":
        said = [Button(f"answer:{answer.key}", answer.words) for answer in term.answers.all()]
        none = [Button("state:absent", data["absent"], "looked for")] if data.get("absent") else []
        return (*none, *said, tell)
    if data["kind"] == "presence" and data.get("extent"):
        extents = [(value, *_bracket(label)) for value, label in Entry.Extent.choices if value != "none"]
        return (
            Button("state:absent", "absent", "looked for"),
            *(Button(f"extent:{value}", words, note) for value, words, note in extents),
            tell,
        )
    if data["kind"] == "presence":
        return (Button("state:present", "yes"), Button("state:absent", "no", "looked for"), tell)
    return ()


def _bracket(label: str) -> tuple[str, str]:
    words, _, note = label.partition(" (")
    return words, note.rstrip(")")


@dataclass(frozen=True, slots=True)
class Spot:
    """A place on the drawing of one face, as it lies before the eye."""

    address: str
    words: str
    seen: int


def faces(grid: str, entries: Iterable[Entry], step: str) -> list[tuple[str, list[list[Spot]]]]:
    """Draw both faces as rows of places, with how much was seen at each; face B is mirrored."""
    seen: dict[str, int] = {}
    for entry in entries:
        if entry.step == step:
            seen[entry.place] = seen.get(entry.place, 0) + 1
    return [
        (
            face,
            [
                [
                    Spot(place.address, place.words.partition(", ")[2], seen.get(place.address, 0))
                    for place in drawn_row(height, face, grid)
                ]
                for height in HEIGHTS
            ],
        )
        for face in "AB"
    ]


def zones() -> list[tuple[str, str]]:
    """Give the special zones with their words."""
    return list(ZONES.items())


def part_buttons(dissection: Dissection) -> list[tuple[str, int, str]]:
    """Give the parts that a card can be about: component, number, words."""
    words = dict(Term.objects.of("component").values_list("key", "words"))
    known = {(part.component.key, part.number) for part in dissection.parts.select_related("component")}
    keys = [*BENCH_PARTS, *sorted(known - set(BENCH_PARTS))]
    return [(key, number, f"{words[key]} {number}" if number > 1 else words[key]) for key, number in keys]


def about_words(about: About, dissection: Dissection) -> str:
    """Say what a card is about."""
    words = {(key, number): name for key, number, name in part_buttons(dissection)}
    return words.get((about.component, about.number), "")


def grid_words(grid: str) -> str:
    """Say which grid the electrode has."""
    return GRIDS[grid][1]


def vials(dissection: Dissection) -> list[Sample]:
    """Give the samples of this cell, those of electrolyte first."""
    samples = list(Sample.objects.of(dissection).with_custody())
    return sorted(samples, key=lambda s: not (s.origin and s.origin.component.key == "component.electrolyte"))


def instruments_of(asks: Iterable[Ask], known: Iterable[Instrument]) -> tuple[Instrument, ...]:
    """Give the instruments that read what a card asks, eight at most."""
    quantities = {ask.quantity for ask in asks if ask.quantity}
    return tuple(instrument for instrument in known if instrument.quantity in quantities)[:8]


def wire(entry: Entry) -> dict[str, Any]:
    """Give what a tablet must know of an entry that is on the server."""
    return {
        "key": str(entry.key),
        "term": entry.term.key,
        "component": entry.part.component.key if entry.part else "",
        "number": entry.part.number if entry.part else 1,
        "sample": entry.sample.code if entry.sample else "",
        "place": entry.place,
        "x": entry.x,
        "y": entry.y,
        "said": _said(entry),
        "value": entry.value,
        "step": entry.step,
    }


def people() -> list[User]:
    """Give who can log at the bench."""
    everyone = User.objects.filter(is_active=True).prefetch_related("grants")
    return [person for person in everyone if person.may("entries.add")]


def not_done_reasons() -> list[Term]:
    """Give why something may not have been done."""
    return list(Term.objects.of("not_done"))


def set_ups(dissection: Dissection) -> list[tuple[Card, Dissection]]:
    """Give each card of set-up with the cell whose set-up was logged last, to be carried over."""
    cards = [card for card in CARDS if card.copies]
    others = (
        Entry.objects.current().filter(step__in=[card.key for card in cards]).exclude(dissection=dissection)
    )
    latest = dict(others.order_by("pk").values_list("step", "dissection"))
    found = Dissection.objects.select_related("cell").in_bulk(set(latest.values()))
    return [(card, found[latest[card.key]]) for card in cards if card.key in latest]
