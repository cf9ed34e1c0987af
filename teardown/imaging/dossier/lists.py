"""What the list of micrographs shows."""

from collections.abc import Sequence
from dataclasses import dataclass

from teardown.files.models import Run
from teardown.imaging.dossier.numbers import SAMPLING, Shown, shown_of
from teardown.imaging.models import FieldMeasure, Micrograph, SectionResult
from teardown.imaging.rules import by_a_person
from teardown.imaging.runs import standing, verdicts_on


@dataclass(frozen=True, slots=True)
class ListedMicrograph:
    """One row of the list."""

    micrograph: Micrograph
    sample: str
    porosity: Shown | None
    coverage: Shown | None
    flags: tuple[str, ...]
    status: str
    by_hand: str


def rows_of(micrographs: Sequence[Micrograph], pending: dict[int, Run]) -> list[ListedMicrograph]:
    """Give the rows of the list. Five queries, however many rows."""
    results = standing(micrographs)
    measures: dict[int, dict[str, Shown]] = {}
    for row in FieldMeasure.objects.filter(
        run__in=[one.run_id for one in results.values()], quantity__in=["porosity", "oxide_coverage"]
    ):
        measures.setdefault(row.micrograph_id, {}).update(dict(shown_of([row])))
    verdicts = verdicts_on([one.run_id for one in results.values()])
    rows = []
    for one in micrographs:
        result = results.get(one.pk)
        run = pending.get(one.pk)
        found = measures.get(one.pk, {})
        ties = list(one.ties.all())
        sample = ties[-1].sample if ties else None
        codes = tuple(
            flag["message"]
            for flag in (result.flags if result else ())
            if flag["level"] != "info" and flag["code"] not in SAMPLING
        )
        status = _status(result, run, verdicts)
        rows.append(
            ListedMicrograph(
                one,
                sample.code if sample else "",
                found.get("porosity"),
                found.get("oxide_coverage"),
                codes,
                status,
                by_a_person([result.levels.get("source", "")]) if result else "",
            )
        )
    return rows


def _status(result: SectionResult | None, run: Run | None, verdicts: dict[int, str]) -> str:
    if result is not None:
        return {"accept": "accepted", "reject": "rejected"}.get(verdicts.get(result.run_id, ""), "proposed")
    if run is None:
        return "not measured"
    return {"failed": "refused", "queued": "waiting", "running": "being measured"}[run.state]
