"""From the fields of a sample to the sample."""

from collections.abc import Callable, Iterable

from django.db import models

from teardown.dissection.models import Sample
from teardown.files.models import Run
from teardown.imaging.measure.plain import flag_data, quantity_name, read_summary
from teardown.imaging.models import SampleMeasure, SectionResult
from teardown.imaging.runs import ElectrodeAfter
from teardown.science.stereology.pooling import pool_fields

Beat = Callable[[float, str], None]


def sample(run: Run, beat: Beat) -> Iterable[models.Model | ElectrodeAfter]:
    """Pool the fields of a sample that its run names, and give the rows to be written."""
    beat(0.2, "gathering the fields")
    results = SectionResult.objects.filter(run__in=run.settings["runs"]).order_by("pk")
    pooled = pool_fields([read_summary(result.sums) for result in results])
    pooled_sample = Sample.objects.get(pk=int(run.subject.rsplit(":", 1)[1]))
    details = {
        "fields": pooled.fields,
        "levels": sorted({result.levels["source"] for result in results}),
        "fields_needed": pooled.fields_needed,
        "flags": [flag_data(flag) for flag in pooled.flags],
        "runs": run.settings["runs"],
    }
    rows = [
        SampleMeasure(
            run=run,
            sample=pooled_sample,
            quantity=quantity_name(key, one.estimate.unit),
            value=one.estimate.value,
            low=one.estimate.low,
            high=one.estimate.high,
            unit=one.estimate.unit,
            n=one.estimate.n,
            method=one.estimate.method,
            details=details
            | {
                "half_width_sampling": one.sampling_half_width,
                "half_width_levels": one.threshold_half_width,
                "half_width_covariance": one.covariance_half_width,
                "between_fields": one.between_fields,
            },
        )
        for key, one in pooled.quantities.items()
    ]
    return [*rows, ElectrodeAfter(pooled_sample, run.asked_by)]
