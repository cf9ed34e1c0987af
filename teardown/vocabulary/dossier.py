"""What the pages of the vocabulary show."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.db.models import Count, Q

from teardown.vocabulary.models import Term, Version
from teardown.vocabulary.rules import FIXED, may_be_retired


@dataclass(frozen=True, slots=True)
class ListLine:
    """One list of words: how many stand in it and whether a laboratory may extend it."""

    kind: str
    words: str
    standing: int
    retired: int
    fixed: bool


@dataclass(frozen=True, slots=True)
class TermLine:
    """A term with its answers."""

    term: Term
    answers: list[Term]
    facts: str
    kept_because: str


def lists() -> list[ListLine]:
    """Count the words of each list."""
    counts: dict[str, Any] = {
        row["kind"]: row
        for row in Term.objects.order_by()
        .values("kind")
        .annotate(
            standing=Count("pk", filter=Q(retired_at=None)),
            retired=Count("pk", filter=Q(retired_at__isnull=False)),
        )
    }
    return [
        ListLine(
            kind.value,
            str(kind.label),
            counts.get(kind.value, {}).get("standing", 0),
            counts.get(kind.value, {}).get("retired", 0),
            kind.value in FIXED,
        )
        for kind in Term.Kind
        if kind != Term.Kind.ANSWER
    ]


def grouped_terms(kind: str) -> list[tuple[str, list[TermLine]]]:
    """Give the terms of a list with their answers, by family or card, in their fixed order."""
    terms = (
        Term.objects.filter(kind=kind)
        .select_related("asked_since", "merged_into")
        .prefetch_related("answers__asked_since", "answers__merged_into")
        .order_by("order", "pk")
    )
    lines = [
        TermLine(term, list(term.answers.all()), facts_of(term), may_be_retired(term.kind, term.key))
        for term in terms
    ]
    ordered = sorted(lines, key=lambda line: _group(line.term))
    return [(name, list(group)) for name, group in groupby(ordered, key=lambda line: _group(line.term))]


def _group(term: Term) -> str:
    return term.family or str(term.data.get("card", "")).replace("_", " ")


def facts_of(term: Term) -> str:
    """Say what a term is beside its words: what answers it, whether it censors."""
    return "; ".join(_said(term.data))


def _said(data: dict[str, Any]) -> Iterator[str]:
    if "censors" in data:
        yield "no failure: the test is censored" if data["censors"] else "a failure"
    if data.get("kind"):
        unit = f", in {data['unit']}" if data.get("unit") else ""
        yield f"{data['kind']}{unit}, for each {data.get('per', 'cell')}"
    if data.get("usual"):
        yield f"usual {data['usual'][0]:g} to {data['usual'][1]:g}"
    if data.get("usual_days"):
        yield f"usually back in {data['usual_days']} days"
    if data.get("out_of_coverage"):
        yield "leaves an image out of oxide coverage"


def newest() -> int:
    """Give the number of the newest version."""
    last = Version.objects.order_by("-number").first()
    return last.number if last else 0
