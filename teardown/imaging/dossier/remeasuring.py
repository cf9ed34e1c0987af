"""What was measured again: which fields were made by an earlier version, and old beside new numbers."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from teardown.accounts.roles import may
from teardown.files.models import Run
from teardown.imaging.dossier.comparing import Beside, besides_of, measures_of
from teardown.imaging.models import Micrograph, RemeasuredField, Remeasuring, SectionResult
from teardown.imaging.runs import standing, verdicts_on

SHOWN = ("porosity", "oxide fraction", "oxide coverage", "mean oxide thickness")


@dataclass(frozen=True, slots=True)
class Versions:
    """How many fields of a set were measured by which version, and which version measures now."""

    now: str
    counts: tuple[tuple[str, int], ...]
    earlier: tuple[Micrograph, ...]
    waiting: int


@dataclass(frozen=True, slots=True)
class RemeasuredRow:
    """One field: old and new numbers, how far the work is, what a person said."""

    field: RemeasuredField
    state: str
    error: str
    rows: tuple[Beside, ...]
    verdict: str

    @property
    def beyond(self) -> bool:
        """Tell whether any number moved out of its interval."""
        return any(one.beyond for one in self.rows)


@dataclass(frozen=True, slots=True)
class Shift:
    """How far one quantity moved over all fields."""

    words: str
    n: int
    mean: str
    largest: str
    beyond: int


@dataclass(frozen=True, slots=True)
class RemeasuringPage:
    """A set of fields measured again."""

    remeasuring: Remeasuring
    rows: tuple[RemeasuredRow, ...]
    shifts: tuple[Shift, ...]
    done: int
    failed: int
    total: int
    open: int
    beyond: int
    may_review: bool

    @property
    def progress(self) -> float:
        """Give the share that is finished, one way or the other."""
        return (self.done + self.failed) / self.total if self.total else 1.0

    @property
    def running(self) -> bool:
        """Tell whether work goes on."""
        return self.done + self.failed < self.total


def versions_of(micrographs: Sequence[Micrograph]) -> Versions:
    """Tell by which version the standing numbers of these fields were made. Three queries."""
    from teardown.science.stereology.settings import VERSION

    stands = standing(micrographs)
    made = {pk: result.levels["version"] for pk, result in stands.items()}
    earlier = tuple(one for one in micrographs if made.get(one.pk, VERSION) != VERSION)
    counts = tuple(sorted(Counter(made.values()).items()))
    return Versions(VERSION, counts, earlier, len(micrographs) - len(made))


def remeasuring_of(made: Remeasuring, user: Any) -> RemeasuringPage:
    """Gather old and new numbers of every field. Six queries, however many fields."""
    fields = list(made.fields.select_related("micrograph__receipt", "after", "before"))
    runs = [run for field in fields for run in (field.before_id, field.after_id) if run]
    results = list(SectionResult.objects.filter(run__in=runs).defer("sums"))
    measures = measures_of(results)
    verdicts = verdicts_on([field.after_id for field in fields])
    rows = tuple(_row(field, measures, verdicts) for field in fields)
    done = sum(row.state == Run.State.DONE for row in rows)
    return RemeasuringPage(
        remeasuring=made,
        rows=rows,
        shifts=_shifts(rows),
        done=done,
        failed=sum(row.state == Run.State.FAILED for row in rows),
        total=len(rows),
        open=sum(row.state == Run.State.DONE and not row.verdict for row in rows),
        beyond=sum(row.beyond for row in rows),
        may_review=may(user, "measures.review"),
    )


def _shifts(rows: Sequence[RemeasuredRow]) -> tuple[Shift, ...]:
    """Sum up how each quantity moved, by its unit: the mean and the largest difference over the fields."""
    moved: dict[tuple[str, str], list[Beside]] = {}
    for row in rows:
        for one in row.rows:
            if one.difference is not None:
                moved.setdefault((one.words, one.unit), []).append(one)
    found = []
    for (words, _), every in moved.items():
        mean = sum(one.difference or 0.0 for one in every) / len(every)
        largest = max(every, key=lambda one: abs(one.difference or 0.0))
        told = every[0].tell(mean)
        found.append(Shift(words, len(every), told, largest.told, sum(one.beyond for one in every)))
    return tuple(found)


def _row(
    field: RemeasuredField, measures: dict[int, dict[str, Any]], verdicts: dict[int, str]
) -> RemeasuredRow:
    beside = besides_of(measures, field.before_id, field.after_id) if field.after_id in measures else ()
    verdict = {"accept": "taken up", "reject": "earlier kept"}.get(verdicts.get(field.after_id, ""), "")
    return RemeasuredRow(
        field,
        field.after.state,
        field.after.error,
        tuple(one for one in beside if one.words in SHOWN),
        verdict,
    )
