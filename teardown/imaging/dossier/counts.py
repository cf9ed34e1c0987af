"""Counts by eye as a page shows them: one by one, beside the computer, and over the fields of a sample."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from teardown.dissection.models import Sample
from teardown.imaging.models import Count, Micrograph, Tie
from teardown.imaging.rules import LINE_SETS
from teardown.page.typesetting import number as typeset
from teardown.science.errors import Refusal
from teardown.science.estimate import Estimate

POINTS = ("pore", "oxide", "metal")


@dataclass(frozen=True, slots=True)
class ShownCount:
    """A count by eye: each share with its interval, and the computer's difference at the same points."""

    pk: int
    kind: str
    key: str
    by: str
    at: Any
    answers: int
    rows: tuple[tuple[str, Estimate, str], ...]
    notes: tuple[str, ...]

    @classmethod
    def of(cls, count: Count) -> "ShownCount":
        """Read a kept count."""
        found = count.found
        crossings = count.kind == Count.Kind.CROSSINGS
        names = ("coverage",) if crossings else POINTS
        rows = tuple(
            (name, Estimate(**found[name]), _beside(found.get("paired"), 1 if crossings else number))
            for number, name in enumerate(names)
        )
        return cls(
            count.pk,
            count.get_kind_display(),
            count.kind,
            str(count.by),
            count.at,
            len(count.answers),
            rows,
            tuple(_notes(found, crossings)),
        )


@dataclass(frozen=True, slots=True)
class SampleCount:
    """What counts on the fields of a sample say together."""

    words: str
    estimate: Estimate
    relative: float

    @property
    def fields(self) -> int:
        """Give how many fields were counted."""
        return self.estimate.n


def _beside(pair: dict[str, Any] | None, number: int) -> str:
    if not pair:
        return ""
    difference, error = pair["difference"][number] * 100, pair["standard_error"][number] * 100
    sign = "+" if difference >= 0.05 else ""
    told = f"computer {sign}{typeset(difference, 1)} ± {typeset(1.96 * error, 1)} points at the same places"
    return f"{told} (p {pair['p'][number]:.2g})"


def _percent(share: float) -> str:
    return f"{typeset(share * 100, 0)}\u202f%"


def _notes(found: dict[str, Any], crossings: bool) -> list[str]:
    notes = [LINE_SETS[found["lines"]]] if found.get("lines") in LINE_SETS else []
    pair = found.get("paired")
    if pair:
        what = "crossings" if crossings else "points"
        notes.append(f"both agree on {_percent(pair['agreement'])} of {pair['points']} {what}")
    if found.get("cannot_tell"):
        notes.append(f"{found['cannot_tell']} nobody could tell")
    notes += [
        f"{other['by']} said the same at {_percent(other['agreement'])} of {other['places']} places"
        for other in found.get("others", [])
    ]
    return notes


def counts_of(micrograph: Micrograph) -> tuple[ShownCount, ...]:
    """Give the counts on a micrograph, the latest first. One query."""
    return tuple(ShownCount.of(count) for count in micrograph.counts.select_related("by"))


def sample_counts_of(sample: Sample | None) -> tuple[SampleCount, ...]:
    """Pool the counts on the fields of a sample, field by field; nothing below two counted fields.

    Where several people counted one field, their shares are averaged: the field is what is repeated.
    """
    if sample is None:
        return ()
    latest: dict[int, int | None] = dict(
        Tie.objects.filter(micrograph__ties__sample=sample).order_by("pk").values_list("micrograph", "sample")
    )
    fields = [number for number, tied in latest.items() if tied == sample.pk]
    counts = list(Count.objects.filter(micrograph__in=fields).order_by("pk"))
    found = [_pooled(counts, Count.Kind.POINTS, name, name) for name in POINTS]
    found.append(_pooled(counts, Count.Kind.CROSSINGS, "coverage", "coverage by crossings"))
    return tuple(one for one in found if one is not None)


def _pooled(counts: Sequence[Count], kind: str, name: str, words: str) -> SampleCount | None:
    from teardown.science.stereology.counting import point_fraction

    shares: dict[int, list[tuple[float, int]]] = defaultdict(list)
    for count in counts:
        if count.kind == kind:
            shares[count.micrograph_id].append((count.found[name]["value"], count.found[name]["n"]))
    points = [min(n for _, n in field) for field in shares.values()]
    hits = [
        n * sum(value for value, _ in field) / len(field)
        for n, field in zip(points, shares.values(), strict=True)
    ]
    try:
        estimate = point_fraction(hits, points)
    except Refusal:
        return None
    half = max(estimate.high - estimate.value, estimate.value - estimate.low)
    return SampleCount(words, estimate, half / estimate.value if estimate.value else 0.0)
