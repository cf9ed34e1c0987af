"""A day at the bench: which cells are open or to be opened, and one step across all of them."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, F, Q

from teardown.cells.models import Cell
from teardown.dissection.dossier.cards import Ask, buttons_of, fields
from teardown.dissection.models import Dissection, Entry, Order
from teardown.dissection.rules.cards import BY_KEY, CARDS, Card
from teardown.dissection.rules.tiers import tiers_of
from teardown.dissection.rules.times import Moment
from teardown.vocabulary.models import Term

MOST_TO_OPEN = 20


@dataclass(frozen=True, slots=True)
class DayRow:
    """One cell at the bench: how far it is."""

    dissection: Dissection
    opened: Moment | None
    steps_done: frozenset[str]
    last_step: str
    entries: int
    unlabelled: int

    @property
    def step_words(self) -> str:
        """Give the card on which something was said last."""
        return BY_KEY[self.last_step].title if self.last_step in BY_KEY else "nothing logged yet"


@dataclass(frozen=True, slots=True)
class Day:
    """The bench today."""

    rows: tuple[DayRow, ...]
    to_open: tuple[Cell, ...]
    overdue: int
    today: dt.date


def day_at_the_bench(user: Any, today: dt.date) -> Day:
    """Gather dissections that are not closed, today's first, and ended cells that nobody has begun."""
    underway = list(
        Dissection.objects.visible_to(user)
        .underway()
        .select_related("cell__build__revision__recipe", "assigned_to")
        .annotate(unlabelled=Count("photographs", filter=Q(photographs__labels__isnull=True), distinct=True))
        .order_by(F("day").asc(nulls_first=True), "cell__code")
    )
    underway.sort(key=lambda dissection: dissection.day != today)
    entries: dict[int, list[Entry]] = {}
    for entry in (
        Entry.objects.current().filter(dissection__in=underway).select_related("term").order_by("pk")
    ):
        entries.setdefault(entry.dissection_id, []).append(entry)
    rows = tuple(_row(dissection, entries.get(dissection.pk, [])) for dissection in underway)
    waiting = Cell.objects.visible_to(user).ended().filter(dissection__isnull=True).order_by("code")
    return Day(rows, tuple(waiting[:MOST_TO_OPEN]), Order.objects.overdue(today).count(), today)


def _row(dissection: Dissection, entries: list[Entry]) -> DayRow:
    opening = next((entry for entry in reversed(entries) if entry.term.key == "opening.opened"), None)
    return DayRow(
        dissection=dissection,
        opened=opening.moment if opening else None,
        steps_done=frozenset(entry.step for entry in entries),
        last_step=entries[-1].step if entries else "",
        entries=len(entries),
        unlabelled=dissection.unlabelled,  # type: ignore[attr-defined]
    )


@dataclass(frozen=True, slots=True)
class Slot:
    """One box of the strip: one field of one cell."""

    name: str
    ask: Ask
    entry: Entry | None


@dataclass(frozen=True, slots=True)
class Strip:
    """One step across the cells of a day: a row a cell, a column a field."""

    card: Card
    asks: tuple[Ask, ...]
    rows: tuple[tuple[Dissection, tuple[Slot, ...]], ...]


def strip(dissections: Sequence[Dissection], step: str) -> Strip:
    """Lay one step across several cells. Only fields of whole cells and of one part lie side by side."""
    card = BY_KEY[step]
    terms = [term for term in fields() if term.data.get("card") == step and term.data["kind"] != "moment"]
    entries = {
        (entry.dissection_id, entry.term_id): entry
        for entry in Entry.objects.current()
        .filter(dissection__in=dissections, term__in=terms)
        .with_words()
        .order_by("pk")
    }
    rows = tuple(
        (
            dissection,
            tuple(
                Slot(
                    f"{dissection.cell.code}|{term.key}|{term.data.get('component', '')}|1|{_place(term)}|",
                    ask_of(term),
                    entries.get((dissection.pk, term.pk)),
                )
                for term in terms
            ),
        )
        for dissection in dissections
    )
    return Strip(card, tuple(ask_of(term) for term in terms), rows)


def _place(term: Term) -> str:
    return "whole" if term.data.get("per") == "place" else ""


def ask_of(term: Term) -> Ask:
    """Give a field apart from any cell."""
    data = term.data
    tiers = tiers_of(data)
    return Ask(
        term.key, term.words, data["kind"], data.get("unit", ""), term.help, data.get("component", ""),
        buttons_of(term), {"usual": tiers.usual.words(tiers.unit)} if data["kind"] == "number" else None,
        data.get("quantity", ""),
    )  # fmt: skip


def side_by_side_steps() -> list[Card]:
    """Give the steps that make sense across cells."""
    return [card for card in CARDS if card.per == "cell" and not card.frames]
