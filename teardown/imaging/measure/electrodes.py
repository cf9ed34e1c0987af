"""From the samples of an electrode to the electrode."""

from collections.abc import Callable, Iterable

from django.db import models

from teardown.files.models import Run
from teardown.imaging.models import SampleMeasure
from teardown.science.estimate import Estimate
from teardown.science.stereology.pooling import pool_samples

Beat = Callable[[float, str], None]


def electrode(run: Run, beat: Beat) -> Iterable[models.Model]:
    """Pool the samples of an electrode that its run names, and give the rows to be written.

    A quantity that only one of the samples has, or that they have in unlike units, is left out: one sample
    tells nothing of the scatter between samples.
    """
    beat(0.2, "gathering the samples")
    by_quantity: dict[str, list[SampleMeasure]] = {}
    measured = SampleMeasure.objects.filter(run__in=run.settings["runs"]).order_by("pk")
    for row in measured:
        by_quantity.setdefault(row.quantity, []).append(row)
    part = int(run.subject.rsplit(":", 1)[1])
    found = []
    for quantity, rows in by_quantity.items():
        pooled = pool_samples(
            [Estimate(row.value, row.low, row.high, row.unit, row.n, row.method) for row in rows]
        )
        if pooled.estimate is not None:
            found.append(_row(run, part, quantity, rows, pooled.estimate, pooled.between_samples))
    return found


def _row(
    run: Run,
    part: int,
    quantity: str,
    rows: list[SampleMeasure],
    estimate: Estimate,
    between_samples: float | None,
) -> SampleMeasure:
    runs = sorted({number for row in rows for number in row.details.get("runs", [])})
    details = {
        "samples": run.settings["samples"],
        "fields": sum(row.details.get("fields", row.n) for row in rows),
        "between_samples": between_samples,
        "levels": sorted({source for row in rows for source in row.details.get("levels", [])}),
        "runs": runs,
    }
    return SampleMeasure(
        part_id=part,
        run=run,
        quantity=quantity,
        value=estimate.value,
        low=estimate.low,
        high=estimate.high,
        unit=estimate.unit,
        n=estimate.n,
        method=estimate.method,
        details=details,
    )
