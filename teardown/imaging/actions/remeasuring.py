"""Measure fields again by another version of the method, look, and only then take the numbers up."""

from collections.abc import Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from teardown.accounts.roles import demand
from teardown.files.models import Run
from teardown.imaging.actions.measuring import take_in
from teardown.imaging.models import (
    Micrograph,
    RemeasuredField,
    Remeasuring,
    Review,
    SectionResult,
)
from teardown.imaging.runs import ask_pooled, ask_section, standing, tie_of, verdicts_on
from teardown.records.actions import record


@transaction.atomic
def remeasure(*, micrographs: Sequence[Micrograph], reason: str, by: Any) -> Remeasuring:
    """Have fields measured again as things are known now, beside what stands.

    Nothing that stands is replaced: what is found is held until someone takes it up.

    Raises
    ------
    ValidationError
        If there is no field, or no reason.
    """
    demand(by, "measures.run")
    from teardown.science.stereology.settings import VERSION

    fields = [one for one in micrographs if one.kind == Micrograph.Kind.SECTION]
    if not fields:
        raise ValidationError("None of these pictures is a cross section; there is nothing to measure.")
    if not reason.strip():
        raise ValidationError("Say why the fields are measured again.")
    made = Remeasuring(version=VERSION, reason=reason.strip(), by=by)
    made.full_clean()
    made.save()
    stands = standing(fields)
    for one in fields:
        before = stands.get(one.pk)
        RemeasuredField.objects.create(
            remeasuring=made,
            micrograph=one,
            before=before.run if before else None,
            after=ask_section(one, by=by, held=True, version=VERSION),
        )
    payload = {"fields": len(fields), "version": VERSION}
    record(verb="asked to measure again", subject=made, by=by, reason=reason, payload=payload)
    return made


@transaction.atomic
def take_up(*, fields: Sequence[RemeasuredField], by: Any) -> int:
    """Accept what was measured again on these fields, where it is done and unjudged; give how many."""
    demand(by, "measures.review")
    results = _unjudged(fields)
    for field, result in results:
        Review.objects.create(
            micrograph=result.micrograph,
            run=result.run,
            verdict=Review.Verdict.ACCEPT,
            reason=f"taken up from {field.remeasuring}",
            by=by,
        )
        take_in(result)
    _pool_again([field.micrograph for field, _ in results], by)
    if results:
        payload = {"runs": [result.run_id for _, result in results]}
        record(verb="took up new numbers", subject=results[0][0].remeasuring, by=by, payload=payload)
    return len(results)


@transaction.atomic
def keep_earlier(*, fields: Sequence[RemeasuredField], reason: str, by: Any) -> int:
    """Reject what was measured again on these fields; what stood keeps standing. Gives how many.

    Raises
    ------
    ValidationError
        If no reason is given.
    """
    demand(by, "measures.review")
    if not reason.strip():
        raise ValidationError("Say why the earlier numbers are kept.")
    results = _unjudged(fields)
    for _, result in results:
        Review.objects.create(
            micrograph=result.micrograph,
            run=result.run,
            verdict=Review.Verdict.REJECT,
            reason=reason.strip(),
            by=by,
        )
    if results:
        payload = {"runs": [result.run_id for _, result in results]}
        subject = results[0][0].remeasuring
        record(verb="kept earlier numbers", subject=subject, by=by, reason=reason, payload=payload)
    return len(results)


def _unjudged(fields: Sequence[RemeasuredField]) -> list[tuple[RemeasuredField, SectionResult]]:
    runs = [field.after_id for field in fields]
    judged = verdicts_on(runs)
    done = SectionResult.objects.filter(run__in=runs, run__state=Run.State.DONE).select_related(
        "run", "micrograph"
    )
    by_run = {result.run_id: result for result in done}
    return [
        (field, by_run[field.after_id])
        for field in fields
        if field.after_id in by_run and field.after_id not in judged
    ]


def _pool_again(micrographs: Sequence[Micrograph], by: Any) -> None:
    samples = {
        tied.sample_id: tied.sample
        for one in micrographs
        if (tied := tie_of(one)) is not None and tied.sample is not None
    }
    for _, sample in sorted(samples.items()):
        ask_pooled(sample, by=by)
