"""One sample with its way: whence it came, what was seen of it, who had it, what was made of it."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet

from teardown.accounts.roles import may
from teardown.dissection.dossier.drawing import Drawing, drawings, outlines_of
from teardown.dissection.dossier.titration import TitrationShown, work_out
from teardown.dissection.models import (
    CautionCard,
    Dissection,
    Entry,
    Mount,
    Order,
    Outline,
    Part,
    Sample,
    Transfer,
)
from teardown.dissection.rules.cautions import Situation, bring_up
from teardown.dissection.rules.times import exposure_words


def samples_visible(user: Any) -> QuerySet[Sample]:
    """Give the samples that this person may see: those of cells that they may see, and of no cell."""
    rows = Sample.objects.with_custody().order_by("-pk")
    if may(user, "cells.see_open"):
        return rows
    seen = Dissection.objects.visible_to(user)
    return rows.filter(
        Q(part__dissection__in=seen)
        | Q(parent__part__dissection__in=seen)
        | Q(parent__parent__part__dissection__in=seen)
    )


@dataclass(frozen=True, slots=True)
class SampleShown:
    """What the page of a sample shows."""

    sample: Sample
    part: Part | None
    dissection: Dissection | None
    exposure: str
    children: tuple[Sample, ...]
    entries: tuple[Entry, ...]
    transfers: tuple[Transfer, ...]
    orders: tuple[Order, ...]
    mounts: tuple[Mount, ...]
    cautions: tuple[CautionCard, ...]
    titration: TitrationShown | None
    disposed: bool
    drawings: tuple[Drawing, ...] = ()
    outlined: tuple[Outline, ...] = ()

    @property
    def titration_list(self) -> list[TitrationShown]:
        """Give the titration as the list that its piece of a page takes."""
        return [self.titration] if self.titration else []


def sample_shown(sample: Sample) -> SampleShown:
    """Gather the page of a sample."""
    part = sample.origin
    dissection = part.dissection if part else None
    entries = tuple(Entry.objects.current().filter(sample=sample).with_words())
    readings = [entry for entry in entries if entry.step == "titration"]
    transfers, outlined = tuple(sample.transfers.all()), outlines_of([sample.pk])
    return SampleShown(
        sample=sample,
        part=part,
        dissection=dissection,
        exposure=exposure_words(sample.minutes_since_opening),
        children=tuple(sample.children.with_custody()),
        entries=entries,
        transfers=transfers,
        orders=tuple(sample.orders.select_related("technique").order_by("pk")),
        mounts=tuple(
            Mount.objects.filter(contents__sample=sample).prefetch_related("sections", "contents__sample")
        ),
        cautions=tuple(_cautions(dissection)),
        titration=work_out([sample], {sample: readings}, []) if readings else None,
        disposed=any(transfer.disposal for transfer in transfers),
        drawings=tuple(drawings(dissection.cell, outlines=outlined)) if dissection else (),
        outlined=tuple(outlined),
    )


def _cautions(dissection: Dissection | None) -> list[CautionCard]:
    """Give what to mind when a sample is sent, mounted or ground: what the recipe underlines, and no less."""
    cards = {card.key: card for card in CautionCard.objects.in_force()}
    rules = [(card.key, card.rule) for card in cards.values()]
    constituents = (dissection.constituents() or None) if dissection else None
    states = dissection.states() if dissection else frozenset()
    found: dict[str, CautionCard] = {}
    for step in ("send", "grind", "mount"):
        for raised in bring_up(rules, Situation(step, constituents, states)):
            if raised.underlined or step == "send":
                found[raised.key] = cards[raised.key]
    return list(found.values())
