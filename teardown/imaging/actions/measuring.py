"""Have micrographs measured, judge what was measured, pin a session's levels."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from teardown.accounts.roles import demand
from teardown.dissection.models import Sample
from teardown.files.models import Run
from teardown.imaging.models import (
    FieldMeasure,
    HeldMeasure,
    ImagingSession,
    Levels,
    Micrograph,
    ReferenceField,
    Review,
    SectionResult,
)
from teardown.imaging.runs import ask_pooled, ask_section, manual_levels, standing, tie_of
from teardown.records.actions import record


@transaction.atomic
def measure_again(*, micrographs: Sequence[Micrograph], by: Any, **settings_: Any) -> list[Run]:
    """Have micrographs measured as things are known now; what was measured before stays."""
    demand(by, "measures.run")
    runs = [ask_section(micrograph, by=by, **settings_) for micrograph in micrographs]
    for micrograph, run in zip(micrographs, runs, strict=True):
        record(verb="asked to measure", subject=micrograph, by=by, payload={"run": run.pk, **settings_})
    return runs


@transaction.atomic
def name_reference(*, session: ImagingSession, micrograph: Micrograph, by: Any) -> ReferenceField:
    """Name the field of a session that shows resin, clean metal and thick oxide; drift is told from it.

    Raises
    ------
    ValidationError
        If the field is not of this session.
    """
    demand(by, "micrographs.add")
    if micrograph.session_id != session.pk:
        raise ValidationError(f"{micrograph} is not of this session.")
    made = ReferenceField.objects.create(session=session, micrograph=micrograph, by=by)
    record(verb="named the reference field", subject=session, by=by, payload={"micrograph": micrograph.pk})
    return made


@transaction.atomic
def measure_with_thresholds(
    *, micrograph: Micrograph, lower: float, upper: float, reason: str, by: Any
) -> Run:
    """Have a micrograph measured with two thresholds that a person set; what was measured before stays.

    ``lower`` is the grey that parts pore from oxide, ``upper`` oxide from metal, on the scale of the standing
    result's levels. Levels, blur and strictness else are those of that result.

    Raises
    ------
    ValidationError
        If nothing was measured yet, no reason is given, or the thresholds are out of order.
    """
    demand(by, "measures.run")
    result = standing([micrograph]).get(micrograph.pk)
    if result is None:
        raise ValidationError("The picture must be measured once before its levels can be adjusted.")
    if not reason.strip():
        raise ValidationError("Say why the levels are set by hand.")
    run = ask_section(
        micrograph,
        by=by,
        levels=manual_levels(result, lower, upper),
        edge_sigma_px=result.levels["edge_sigma_px"],
        reason=reason.strip(),
    )
    payload = {"run": run.pk, "lower": lower, "upper": upper, "from_run": result.run_id}
    record(verb="set levels by hand", subject=micrograph, by=by, reason=reason, payload=payload)
    return run


@transaction.atomic
def review(*, result: SectionResult, verdict: str, by: Any, reason: str = "") -> Review:
    """Accept or reject a measurement; the sample is pooled again from what stands.

    A measurement that was held for comparison becomes a number of the books when it is accepted.
    """
    demand(by, "measures.review")
    word = Review(micrograph=result.micrograph, run=result.run, verdict=verdict, reason=reason.strip(), by=by)
    word.full_clean()
    word.save()
    if result.held and verdict == Review.Verdict.ACCEPT:
        take_in(result)
    tied = tie_of(result.micrograph)
    if tied is not None and tied.sample is not None:
        ask_pooled(tied.sample, by=by)
    record(
        verb=word.get_verdict_display(),
        subject=result.micrograph,
        by=by,
        reason=reason,
        payload={"run": result.run_id},
    )
    return word


@transaction.atomic
def choose_coverage(
    *, sample: Sample, count: bool, reason: str, by: Any, at: dt.datetime | None = None
) -> Run:
    """Count fields of sections with an artefact in the coverage of a sample, or leave them out again.

    By default they are left out. The choice is written into the question that the sample's numbers answer,
    and holds for it until another choice is made; numbers that were pooled otherwise stay to be seen.

    Raises
    ------
    ValidationError
        If no reason is given, or no field of the sample bears such an artefact.
    """
    demand(by, "measures.review")
    if not reason.strip():
        raise ValidationError({"reason": "Say why."})
    moment = (at or timezone.now()).isoformat(timespec="milliseconds")
    chosen = {"count": count, "reason": reason.strip(), "by": by.name, "at": moment}
    run = ask_pooled(sample, by=by, chosen=chosen)
    if run is None or "coverage" not in run.settings:
        raise ValidationError(f"No measured field of {sample} is of a section with such an artefact.")
    verb = "counted in coverage" if count else "left out of coverage"
    record(verb=verb, subject=sample, by=by, reason=reason, payload={"run": run.pk}, at=at)
    return run


@transaction.atomic
def pin_levels(
    *,
    session: ImagingSession,
    pore: float,
    oxide: float,
    metal: float,
    by: Any,
    edge_sigma_px: float | None = None,
    source: str = "confirmed",
    evidence: Mapping[str, Any] | None = None,
) -> Levels:
    """Fix the grey levels of a microscope session; its fields are measured with them from now on."""
    demand(by, "micrographs.add")
    greys = (pore, oxide, metal, edge_sigma_px)
    before = list(session.levels.order_by("pk").values_list("pore", "oxide", "metal", "edge_sigma_px"))
    levels = Levels(
        session=session,
        pore=pore,
        oxide=oxide,
        metal=metal,
        edge_sigma_px=edge_sigma_px,
        source=source,
        evidence=dict(evidence or {}),
        by=by,
    )
    levels.full_clean()
    levels.save()
    # going back to levels that were pinned before is a question of its own, else nothing would answer it
    back: dict[str, Any] = {"pinned": levels.pk} if greys in before and before[-1] != greys else {}
    for micrograph in session.micrographs.filter(kind=Micrograph.Kind.SECTION):
        ask_section(micrograph, by=by, **back)
    record(
        verb="pinned levels",
        subject=session,
        by=by,
        payload={
            "pore": pore,
            "oxide": oxide,
            "metal": metal,
            "edge_sigma_px": edge_sigma_px,
            "source": source,
        },
    )
    return levels


def take_in(result: SectionResult) -> None:
    """Enter the numbers of a held run into the books, once."""
    if FieldMeasure.objects.filter(run=result.run_id).exists():
        return
    columns = (
        "micrograph_id",
        "run_id",
        "quantity",
        "value",
        "low",
        "high",
        "unit",
        "n",
        "method",
        "details",
    )
    FieldMeasure.objects.bulk_create(
        FieldMeasure(**{name: getattr(row, name) for name in columns})
        for row in HeldMeasure.objects.filter(run=result.run_id).order_by("pk")
    )
