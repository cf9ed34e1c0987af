"""The desk sheet: the same dissection on one page, each field with its answer, minutes and who saw it."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass

from django.utils import timezone

from teardown.accounts.models import User
from teardown.cells.models import Cell
from teardown.dissection.dossier.cards import Ask, part_buttons, people, stack
from teardown.dissection.dossier.controls import Beside, Slot, beside, controls_of, of_slot
from teardown.dissection.dossier.drawing import Drawing, drawings
from teardown.dissection.dossier.titration import TitrationShown, titrations
from teardown.dissection.models import AudioNote, Dissection, Entry
from teardown.dissection.models.closing import later_than_signed, weighing_of
from teardown.dissection.rules.cards import Card
from teardown.dissection.rules.places import all_places
from teardown.dissection.rules.times import Moment
from teardown.page.typesetting import moment, short_day
from teardown.records.models import Record
from teardown.records.rules import subject_of
from teardown.science.electrolyte.weighing import WeighingClosure
from teardown.vocabulary.models import Term


@dataclass(frozen=True, slots=True)
class Said:
    """An entry with its minutes since opening by the time zero that counts now."""

    entry: Entry
    minutes: float | None


@dataclass(frozen=True, slots=True)
class Box:
    """Something to fill in: the name of its field, what was typed, what is known."""

    name: str
    ask: Ask
    about: str
    typed: str
    twice: bool
    said: tuple[Said, ...]
    beside: str = ""
    asked_since: str = ""

    @property
    def base(self) -> str:
        """Give the name of the field up to its place."""
        return f"{self.name.removesuffix('||')}|"

    @property
    def slot(self) -> str:
        """Give the name of the field without its cell."""
        return self.name.partition("|")[2]

    @property
    def whole(self) -> str:
        """Give the name of the field where it is said of the whole part."""
        return f"{self.name.removesuffix('||')}|whole|"


@dataclass(frozen=True, slots=True)
class SheetPart:
    """One card of the sheet."""

    card: Card
    boxes: tuple[Box, ...]
    map_rows: tuple[tuple[str, tuple[tuple[Said, ...], ...]], ...] = ()
    no_acid: bool = False
    drawings: tuple[Drawing, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole sheet."""

    parts: tuple[SheetPart, ...]
    opened: Moment | None
    weighing: WeighingClosure | None
    titrations: tuple[TitrationShown, ...]
    spoken: tuple[AudioNote, ...]
    people: tuple[User, ...]
    constituents: tuple[str, ...]
    form_key: str
    later: int
    superseded: int
    opening: Entry | None = None
    transcribed: int = 0
    controls: str = ""
    controls_hidden: bool = False
    unblinded: str = ""


def sheet_of(dissection: Dissection, typed: Mapping[str, str] | None = None) -> Sheet:
    """Gather the sheet; ``typed`` is what could not be kept and stays in its boxes."""
    typed = typed or {}
    whole = stack(dissection)
    said: dict[tuple[str, str, int, str, str], list[Said]] = {}
    for entry in whole.entries:
        key = (
            entry.term.key,
            entry.part.component.key if entry.part else "",
            entry.part.number if entry.part else 1,
            entry.place,
            entry.sample.code if entry.sample else "",
        )
        said.setdefault(key, []).append(Said(entry, entry.minutes_since(whole.opened)))
    parts = part_buttons(dissection)
    hidden = dissection.blinded and dissection.cell.closed_at is None
    controls = controls_of(dissection.cell)
    held = {} if hidden else beside(dissection, controls)
    boxes = _Boxes(dissection.cell.code, said, typed, held, asked_later(whole.opening))
    return Sheet(
        parts=tuple(
            SheetPart(
                shown.card,
                tuple(boxes.of(shown.card, shown.asks, parts)),
                tuple(_map(shown.card, shown.asks, said, whole.grid)),
                shown.no_acid,
                tuple(_drawn(shown.card, dissection.cell, whole.entries)),
            )
            for shown in whole.cards
            if shown.asks or shown.no_acid
        ),
        opened=whole.opened,
        weighing=weighing_of(dissection),
        titrations=tuple(titrations(dissection)),
        spoken=tuple(dissection.audio_notes.with_gist()),
        people=tuple(people()),
        constituents=whole.constituents,
        form_key=typed.get("form_key") or str(uuid.uuid4()),
        later=later_than_signed(dissection) if dissection.cell.closed_at else 0,
        superseded=dissection.entries.count() - len(whole.entries),
        opening=whole.opening,
        transcribed=sum(entry.transcribed for entry in whole.entries),
        controls="" if hidden else controls.words,
        controls_hidden=hidden and bool(controls.words),
        unblinded="" if dissection.blinded else unblinded(dissection),
    )


def unblinded(dissection: Dissection) -> str:
    """Say who had recipe and curve shown at the bench, when, and why."""
    told = (
        Record.objects.filter(verb="unblinded", subject=subject_of(dissection)).select_related("actor").last()
    )
    if told is None:
        return ""
    return f"Shown by {told.actor} on {moment(timezone.localtime(told.at))}: {told.reason}."


def asked_later(opening: Entry | None) -> dict[str, str]:
    """Say of each field that came into the vocabulary after a cell was opened since when it is asked."""
    if opening is None:
        return {}
    later = Term.objects.of("field").filter(asked_since__since__gt=opening.observed_at)
    return {
        term.key: f"asked since {term.asked_since}, {short_day(term.asked_since.since, year=True)}"
        for term in later.select_related("asked_since")
    }


class _Boxes:
    """Makes the boxes of a card: one a field, or one a field and part."""

    def __init__(
        self,
        code: str,
        said: dict[tuple[str, str, int, str, str], list[Said]],
        typed: Mapping[str, str],
        held: Mapping[Slot, Beside],
        since: Mapping[str, str],
    ) -> None:
        self.code, self.said, self.typed, self.held, self.since = code, said, typed, held, since

    def of(self, card: Card, asks: tuple[Ask, ...], parts: list[tuple[str, int, str]]) -> list[Box]:
        if card.per == "place":
            return [self.box(ask, ask.component, 1, "", "") for ask in asks]
        boxes = []
        for ask in asks:
            wanted = [(ask.component, 1, "")]
            if card.per == "part" and not ask.component:
                wanted = [part for part in parts if card.key == "parts" or self.any_of(ask, part)]
            boxes += [self.box(ask, component, number, about, "") for component, number, about in wanted]
        return boxes

    def any_of(self, ask: Ask, part: tuple[str, int, str]) -> bool:
        return (ask.key, part[0], part[1], "", "") in self.said or part[0] == "component.iron_electrode"

    def box(self, ask: Ask, component: str, number: int, about: str, place: str) -> Box:
        name = f"{self.code}|{ask.key}|{component}|{number}|{place}|"
        found = [
            each
            for (term, of, nr, _, _), entries in self.said.items()
            if term == ask.key and (of, nr) in {(component, number), ("", 1)}
            for each in entries
        ]
        control = of_slot(self.held, ask.key, component, number) if ask.kind == "number" else None
        return Box(
            name,
            ask,
            about,
            self.typed.get(name, ""),
            self.typed.get(f"twice|{name}") == "on",
            tuple(found),
            control.words if control else "",
            self.since.get(ask.key, ""),
        )


def _drawn(card: Card, cell: Cell, entries: tuple[Entry, ...]) -> list[Drawing]:
    """Draw the points that were put on this card's electrode."""
    of_card = [entry for entry in entries if entry.step == card.key] if card.per == "place" else []
    return drawings(cell, of_card)


def _map(
    card: Card, asks: tuple[Ask, ...], said: dict[tuple[str, str, int, str, str], list[Said]], grid: str
) -> list[tuple[str, tuple[tuple[Said, ...], ...]]]:
    """Lay what was seen out by place: a row a place, a column a field."""
    if card.per != "place":
        return []
    known = {place for (term, _, _, place, _) in said if term in {ask.key for ask in asks}}
    order = [place.address for place in all_places(grid)]
    rows = [address for address in order if address in known] + sorted(known - set(order))
    return [
        (
            address,
            tuple(
                tuple(
                    each
                    for (term, _, _, place, _), entries in said.items()
                    if term == ask.key and place == address
                    for each in entries
                )
                for ask in asks
            ),
        )
        for address in rows
    ]
