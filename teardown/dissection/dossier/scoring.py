"""Photographs to be scored again, and how far the two who scored them agree."""

import hashlib
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from teardown.dissection.dossier.cards import Button, buttons_of, fields
from teardown.dissection.models import Dissection, Entry, Photograph, PhotoLabel, Score
from teardown.page.typesetting import as_count, estimate_line, fraction_as_percent
from teardown.science.estimate import Estimate
from teardown.science.reliability.agreement import (
    ENOUGH_DOUBLE_READINGS,
    agreement,
    table_of,
    weighted_kappa,
)
from teardown.vocabulary.models import Term

FEWEST = 5
"""Below this many double scores only their number is said."""
STEPS = ("absent", "trace", "some", "much", "nearly all")
SEEN_ON_PHOTOGRAPHS = frozenset({"iron", "iron_whole", "collector", "separator", "air", "seal", "sediment"})
NOT_SEEN = frozenset({"iron.magnet", "iron.adhesion", "tab.creep_mm"})
"""Cards whose fields a photograph can show, less what takes a hand or a magnet to tell."""
BOUNDS = (0.0, 0.05, 0.25, 0.75)


@dataclass(frozen=True, slots=True)
class ToScore:
    """One photograph with what somebody else said of its part and place; the page shows no word of it."""

    photograph: Photograph
    label: PhotoLabel
    first: Entry


@dataclass(frozen=True, slots=True)
class Agreed:
    """How far two persons agree on one field over the same photographs."""

    term: Term
    n: int
    unsure: int
    same: int
    kappa: Estimate | None
    ordered: bool

    @property
    def sentence(self) -> str:
        """Say it, and where there are too few to say it."""
        if not self.n and not self.unsure:
            return "not scored twice yet"
        line = f"{as_count(self.n, 'photograph')} scored twice"
        if self.unsure:
            line += f", {self.unsure} more where one could not tell"
        if self.n < FEWEST:
            return f"{line}: too few to say how well they agree"
        line += f"; the same in {fraction_as_percent(self.same / self.n)}"
        if self.kappa is not None:
            name = "weighted kappa" if self.ordered else "kappa"
            line += f", {name} {estimate_line(self.kappa)}"
        return (
            line if self.n >= ENOUGH_DOUBLE_READINGS else f"{line}; under {ENOUGH_DOUBLE_READINGS} no verdict"
        )


@dataclass(frozen=True, slots=True)
class Again:
    """One field: what waits for this person, and how far it was agreed on so far."""

    term: Term
    waiting: tuple[ToScore, ...]
    agreed: Agreed
    buttons: tuple[Button, ...]


def again(user: Any, only: str = "") -> list[Again]:
    """Gather, for each field that a photograph can show, what this person may score again: four questions."""
    terms = {term.pk: term for term in fields() if _can_be_seen(term)}
    if only:
        terms = {pk: term for pk, term in terms.items() if term.key == only}
    waiting: dict[int, list[ToScore]] = {pk: [] for pk in terms}
    for pair in pairs(user, terms):
        waiting[pair.first.term_id].append(pair)
    scores = list(
        Score.objects.filter(term__in=terms, first__dissection__in=Dissection.objects.visible_to(user))
        .select_related("first__answer", "answer")
        .order_by("pk")
    )
    return [
        Again(
            term,
            tuple(waiting[pk]),
            agreed_on(term, [s for s in scores if s.term_id == pk]),
            buttons_of(term),
        )
        for pk, term in terms.items()
    ]


def _can_be_seen(term: Term) -> bool:
    shown = term.data.get("card") in SEEN_ON_PHOTOGRAPHS and term.key not in NOT_SEEN
    return bool(shown and term.data["kind"] in ("choice", "presence") and term.data.get("component"))


def pairs(user: Any, terms: dict[int, Term]) -> list[ToScore]:
    """Give photographs that show the part and place of something that another person said, drawn in an order.

    What was withdrawn, is no evidence, or this person has scored already is left out.
    """
    seen = Dissection.objects.visible_to(user)
    entries = (
        Entry.objects.current()
        .filter(dissection__in=seen, term__in=terms, part__isnull=False)
        .exclude(state=Entry.State.NOT_DONE)
        .exclude(observer=user)
        .exclude(scribe=user)
        .select_related("term", "part")
    )
    by_place: dict[tuple[int, str], list[Entry]] = {}
    by_photo: dict[int, list[Entry]] = {}
    for entry in entries:
        assert entry.part_id is not None
        by_place.setdefault((entry.part_id, entry.place), []).append(entry)
        if entry.photo_id:
            by_photo.setdefault(entry.photo_id, []).append(entry)
    done = set(Score.objects.filter(by=user).values_list("first", flat=True))
    rows = Photograph.objects.filter(dissection__in=seen, labels__part__isnull=False).evidence().with_labels()
    found = []
    for photograph in rows.distinct():
        label = photograph.label
        if label is None or label.part_id is None:
            continue
        place = label.place or "whole"
        there = by_place.get((label.part_id, place), []) + by_place.get((label.part_id, ""), [])
        said = {entry.pk: entry for entry in there + by_photo.get(photograph.pk, [])}
        found += [ToScore(photograph, label, e) for pk, e in said.items() if pk not in done]
    drawn = sorted(found, key=lambda pair: _draw(pair.photograph))
    once: dict[int, ToScore] = {}
    for pair in drawn:  # several photographs of one part are one answer, not several
        once.setdefault(pair.first.pk, pair)
    return list(once.values())


def _draw(photograph: Photograph) -> bytes:
    return hashlib.sha256(photograph.key.bytes).digest()


def agreed_on(term: Term, scores: Iterable[Score]) -> Agreed:
    """Compare first and second answers of one field, the first two persons of each photograph alone."""
    once: dict[tuple[int, int], Score] = {}
    for each in scores:
        once.setdefault((each.photograph_id, each.first_id), each)
    ordered = term.data["kind"] == "presence" and bool(term.data.get("extent"))
    answers = [(_answer(each.first, ordered), _answer(each, ordered)) for each in once.values()]
    told = [(a, b) for a, b in answers if a and b]
    same = sum(a == b for a, b in told)
    return Agreed(term, len(told), len(answers) - len(told), same, _kappa(told, ordered), ordered)


def _kappa(told: list[tuple[str, str]], ordered: bool) -> Estimate | None:
    if len(told) < FEWEST:
        return None
    if not ordered:
        return agreement(table_of([a for a, _ in told], [b for _, b in told])).kappa
    counted = Counter(told)
    return weighted_kappa([[counted[a, b] for b in STEPS] for a in STEPS])


def _answer(said: Entry | Score, ordered: bool) -> str:
    """Give an answer as a category; "" where one could not tell."""
    if said.state == Entry.State.CANNOT_TELL:
        return ""
    if said.state == Entry.State.ABSENT:
        return "absent"
    if not ordered:
        return said.answer.key if said.answer else "present"
    share = getattr(said, "extent_fraction", None)
    if share is not None:
        return STEPS[sum(share > bound for bound in BOUNDS)]
    return said.extent if said.extent in STEPS else ""
