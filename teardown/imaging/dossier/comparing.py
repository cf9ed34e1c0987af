"""Two results of one micrograph, side by side: what changed, pixel by pixel and number by number."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, log10
from typing import Any

from teardown.imaging.dossier.numbers import WORDS, count_levels, key_of
from teardown.imaging.models import FieldMeasure, HeldMeasure, Micrograph, SectionResult
from teardown.imaging.rules import SOURCES
from teardown.imaging.runs import standing, verdicts_on
from teardown.imaging.store import changes_of
from teardown.page.typesetting import number
from teardown.science.estimate import Estimate

CLASSES = ("pore", "oxide", "metal", "left out", "brighter than metal")


@dataclass(frozen=True, slots=True)
class Offered:
    """One result that may be chosen, in words."""

    run: int
    words: str


@dataclass(frozen=True, slots=True)
class Change:
    """Pixels that went from one class to another."""

    before: str
    after: str
    pixels: int
    share: float


@dataclass(frozen=True, slots=True)
class Beside:
    """One quantity before and after."""

    words: str
    before: Estimate | None
    after: Estimate | None
    percent: bool

    @property
    def difference(self) -> float | None:
        """Give after less before, in points where it is a share."""
        if self.before is None or self.after is None:
            return None
        return (self.after.value - self.before.value) * (100 if self.percent else 1)

    @property
    def unit(self) -> str:
        """Give the unit of the difference."""
        if self.percent:
            return "points"
        return self.before.unit if self.before else ""

    @property
    def alone(self) -> str:
        """Say where only one of the two has the number."""
        if self.before is None:
            return "nothing stood"
        return "not found any more" if self.after is None else ""

    @property
    def told(self) -> str:
        """Give the difference in words: shares to a hundredth of a point, lengths to two figures."""
        return "" if self.difference is None else self.tell(self.difference)

    def tell(self, difference: float) -> str:
        """Say a difference of this quantity in words."""
        size = abs(difference)
        decimals = 2 if self.percent or size == 0 else max(1 - floor(log10(size)), 0)
        return f"{number(difference, decimals)} {self.unit}"

    @property
    def beyond(self) -> bool:
        """Tell whether the later value lies outside the interval of the earlier one."""
        if self.before is None or self.after is None:
            return False
        return not self.before.low <= self.after.value <= self.before.high


@dataclass(frozen=True, slots=True)
class ComparisonPage:
    """Two results of one micrograph."""

    micrograph: Micrograph
    offered: tuple[Offered, ...]
    before: SectionResult
    after: SectionResult
    words: tuple[str, str]
    rows: tuple[Beside, ...]
    changes: tuple[Change, ...]
    changed: int
    area: int
    tiles: int

    @property
    def bright(self) -> bool:
        """Tell whether matter brighter than metal was found in either, so that the key names it."""
        return any(one.levels.get("bright") is not None for one in (self.before, self.after))

    @property
    def left_out(self) -> bool:
        """Tell whether part of the picture does not count in either, so that the key names it."""
        return self.area < self.micrograph.width_px * self.micrograph.height_px or any(
            "left out" in (one.before, one.after) for one in self.changes
        )

    @property
    def share(self) -> float:
        """Give the share of the section that changed class."""
        return self.changed / self.area if self.area else 0.0


def comparison_of(
    micrograph: Micrograph, before: int | None = None, after: int | None = None
) -> ComparisonPage | None:
    """Lay two results beside each other: those asked for, else the standing one and the latest other.

    Returns
    -------
    ComparisonPage or None
        None where there are not two results with class maps.
    """
    results = {
        one.run_id: one
        for one in micrograph.results.filter(class_map__isnull=False)
        .select_related("run", "class_map", "micrograph")
        .defer("sums")
        .order_by("run_id")
    }
    if len(results) < 2:
        return None
    first, second = _chosen(micrograph, results, before, after)
    verdicts = verdicts_on(results)
    offered = tuple(Offered(run, _words(one, verdicts.get(run, ""))) for run, one in results.items())
    named = {one.run: one.words for one in offered}
    table = changes_of(first, second)
    changes = sorted(_changes(table), key=lambda one: -one.pixels)
    return ComparisonPage(
        micrograph=micrograph,
        offered=offered,
        before=first,
        after=second,
        words=(named[first.run_id], named[second.run_id]),
        rows=besides_of(measures_of([first, second]), first.run_id, second.run_id),
        changes=tuple(changes),
        changed=sum(one.pixels for one in changes),
        area=_area(table),
        tiles=count_levels(micrograph.width_px, micrograph.height_px),
    )


def _chosen(
    micrograph: Micrograph, results: dict[int, SectionResult], before: int | None, after: int | None
) -> tuple[SectionResult, SectionResult]:
    runs = list(results)
    if after not in results:
        after = next((run for run in reversed(runs) if run != before), runs[-1])
    if before not in results or before == after:
        stands = standing([micrograph]).get(micrograph.pk)
        before = stands.run_id if stands and stands.run_id != after and stands.run_id in results else None
        before = before or next(run for run in reversed(runs) if run != after)
    return results[before], results[after]


def _words(result: SectionResult, verdict: str) -> str:
    said = {"accept": ", accepted", "reject": ", rejected"}.get(verdict, ", held" if result.held else "")
    source = SOURCES.get(result.levels["source"], result.levels["source"])
    return f"run {result.run_id}: levels {source}, method {result.levels['version']}{said}"


def measures_of(results: Sequence[SectionResult]) -> dict[int, dict[str, Any]]:
    """Give the numbers of results by run and quantity, taken up or held. Two queries."""
    runs = [one.run_id for one in results]
    found: dict[int, dict[str, Any]] = {run: {} for run in runs}
    for kind in (HeldMeasure, FieldMeasure):
        for row in kind.objects.filter(run__in=runs).order_by("pk"):
            found[row.run_id][row.quantity] = row
    return found


def besides_of(measures: dict[int, dict[str, Any]], before: int | None, after: int) -> tuple[Beside, ...]:
    """Lay the numbers of two runs beside each other, in the order of the page."""
    one, other = measures.get(before or 0, {}), measures.get(after, {})
    order = list(WORDS)
    quantities = sorted(
        {**one, **other}, key=lambda name: order.index(key_of(name)) if key_of(name) in order else len(order)
    )
    rows = []
    for name in quantities:
        row = one.get(name) or other[name]
        pair = [_estimate(side.get(name)) for side in (one, other)]
        rows.append(Beside(WORDS.get(key_of(name), key_of(name)), pair[0], pair[1], row.unit == "1"))
    return tuple(rows)


def _estimate(row: Any) -> Estimate | None:
    if row is None:
        return None
    return Estimate(row.value, row.low, row.high, row.unit.replace("um", "µm"), row.n, row.method)


def _area(table: list[list[int]]) -> int:
    """Count the pixels that belong to the section in either result."""
    return sum(map(sum, table)) - table[3][3]


def _changes(table: list[list[int]]) -> list[Change]:
    area = _area(table)
    return [
        Change(CLASSES[a], CLASSES[b], pixels, pixels / area if area else 0.0)
        for a, row in enumerate(table)
        for b, pixels in enumerate(row)
        if a != b and pixels
    ]
