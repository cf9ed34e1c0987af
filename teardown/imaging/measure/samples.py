"""From the fields of a sample to the sample."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict
from typing import Any

from django.db import models

from teardown.dissection.models import Sample
from teardown.files.models import Run
from teardown.imaging.measure.plain import flag_data, quantity_name, read_summary
from teardown.imaging.models import SampleMeasure, SectionResult
from teardown.imaging.rules import COVERAGE
from teardown.imaging.runs import ElectrodeAfter
from teardown.science.stereology.layers import Seen, UnlikeLayers, pool_layers
from teardown.science.stereology.pooling import Pooled, SampleResult, pool_fields

Beat = Callable[[float, str], None]


def sample(run: Run, beat: Beat) -> Iterable[models.Model | ElectrodeAfter]:
    """Pool the fields of a sample that its run names, and give the rows to be written."""
    beat(0.2, "gathering the fields")
    results = SectionResult.objects.filter(run__in=run.settings["runs"]).order_by("pk")
    counted = [result for result in results if result.run_id not in left_out_of(run)]
    pooled = pool_fields([read_summary(result.sums) for result in results])
    covered = pool_fields([read_summary(result.sums) for result in counted]) if counted else None
    pooled_sample = Sample.objects.get(pk=int(run.subject.rsplit(":", 1)[1]))
    details = {
        "fields": pooled.fields,
        "levels": sorted({result.levels["source"] for result in results}),
        "fields_needed": pooled.fields_needed,
        "flags": [flag_data(flag) for flag in pooled.flags],
        "runs": run.settings["runs"],
    }
    if layers := _layers(results, left_out_of(run)):
        details["layers"] = layers
    marks = _marks(run)
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
            | marks
            | {
                "half_width_sampling": one.sampling_half_width,
                "half_width_levels": one.threshold_half_width,
                "half_width_covariance": one.covariance_half_width,
                "between_fields": one.between_fields,
            },
        )
        for key, one in _quantities(pooled, covered)
    ]
    return [*rows, ElectrodeAfter(pooled_sample, run.asked_by)]


def _layers(results: Iterable[SectionResult], left_out: set[int]) -> list[dict[str, Any]]:
    """Give the layers below the face over those fields that have one drawn; nothing below two of them.

    The metal outline of fields that are left out of coverage does not count in that of the layers either.
    """
    fields = [
        [_seen(layer, outlined=result.run_id not in left_out) for layer in profile]
        for result in results
        if (profile := result.sums.get("profile"))
    ]
    try:
        return [asdict(layer) for layer in pool_layers(fields)]
    except UnlikeLayers:
        return []


def _seen(layer: dict[str, Any], *, outlined: bool) -> Seen:
    """Read back a layer of one field; one that was measured earlier does not tell of its metal outline."""
    outline = [layer.get("covered_px"), layer.get("outline_px"), layer.get("outline_steps", 0)]
    return Seen(
        layer["start"],
        layer["end"],
        layer["area_px"],
        layer["porosity"],
        layer["oxide_fraction"],
        *(outline if outlined else [0.0, 0.0, 0]),
    )


def left_out_of(run: Run) -> set[int]:
    """Give the fields' runs that do not count in coverage, for an artefact of their section."""
    asked = run.settings.get("coverage", {})
    return set() if asked.get("chosen", {}).get("count") else {int(one) for one in asked.get("marked", {})}


def _quantities(pooled: SampleResult, covered: SampleResult | None) -> Iterator[tuple[str, Pooled]]:
    """Give each quantity over all fields, those of coverage over the fields that count in it."""
    for key, one in pooled.quantities.items():
        if key not in COVERAGE:
            yield key, one
        elif covered is not None and key in covered.quantities:
            yield key, covered.quantities[key]


def _marks(run: Run) -> dict[str, Any]:
    """Say how many fields bear an artefact, and whether they count in coverage by choice."""
    asked = run.settings.get("coverage", {})
    out = left_out_of(run)
    if not asked:
        return {}
    number = len(asked["marked"])
    words = sorted({word for marks in asked["marked"].values() for word in marks})
    return {"marked": {"fields": number, "artefacts": words, "counted": not out}}
