"""Say what a micrograph is of, how large its pixels are, and what on it counts."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from teardown.accounts.roles import demand
from teardown.dissection.models import Sample, Section
from teardown.imaging.models import Micrograph, Region, ScaleClaim, Tie
from teardown.imaging.runs import (
    ask_pooled,
    ask_rescaled,
    ask_section,
    is_being_measured,
    scale_of,
    standing,
    tie_of,
)
from teardown.records.actions import record

NEARLY_SQUARE = 0.01


def claim(
    micrograph: Micrograph, width: float, height: float, source: str, *, by: Any, **more: Any
) -> ScaleClaim:
    claim = ScaleClaim(
        micrograph=micrograph,
        pixel_width_um=width,
        pixel_height_um=height,
        source=source,
        chosen=True,
        evidence=more,
        by=by,
    )
    claim.full_clean()
    claim.save()
    return claim


def tie_row(
    micrograph: Micrograph,
    sample: Sample | None,
    section: Section | None,
    field_number: int | None,
    reason: str,
    by: Any,
) -> Tie:
    tie = Tie(
        micrograph=micrograph,
        sample=sample,
        section=section,
        field_number=field_number,
        reason=reason,
        by=by,
    )
    tie.full_clean()
    tie.save()
    return tie


@transaction.atomic
def tie(
    *,
    micrographs: Sequence[Micrograph],
    sample: Sample,
    by: Any,
    section: Section | None = None,
    reason: str = "",
) -> list[Tie]:
    """Say what micrographs are of; the samples they leave and join are pooled again."""
    demand(by, "micrographs.add")
    made = []
    for micrograph in micrographs:
        before = tie_of(micrograph)
        if before is not None and before.sample_id != sample.pk and not reason:
            raise ValidationError("Say why the micrograph belongs to another sample.")
        made.append(tie_row(micrograph, sample, section, None, reason, by))
        if before is not None and before.sample is not None and before.sample_id != sample.pk:
            ask_pooled(before.sample, by=by)
    ask_pooled(sample, by=by)
    record(
        verb="tied micrographs",
        subject=sample,
        by=by,
        reason=reason,
        payload={"micrographs": [micrograph.pk for micrograph in micrographs]},
    )
    return made


@transaction.atomic
def claim_scale(
    *,
    micrograph: Micrograph,
    pixel_size_um: float,
    by: Any,
    source: str = ScaleClaim.Source.TYPED,
    evidence: Mapping[str, Any] | None = None,
) -> ScaleClaim:
    """Say how large a pixel is. Lengths follow at once, without another look at the pixels."""
    demand(by, "micrographs.add")
    return _scaled(micrograph, (pixel_size_um, pixel_size_um), source, by=by, **(evidence or {}))


@transaction.atomic
def choose_claim(*, chosen: ScaleClaim, by: Any) -> ScaleClaim:
    """Say which of several hints of a pixel's size holds; lengths follow at once."""
    demand(by, "micrographs.add")
    size = chosen.pixel_width_um, chosen.pixel_height_um
    return _scaled(chosen.micrograph, size, chosen.source, by=by, claim=chosen.pk)


def _scaled(
    micrograph: Micrograph, size_um: tuple[float, float], source: str, *, by: Any, **evidence: Any
) -> ScaleClaim:
    before = scale_of(micrograph)
    made = claim(micrograph, *size_um, source, by=by, **evidence)
    result = standing([micrograph]).get(micrograph.pk)
    # pixels that are not square were brought to squares before they were measured: that is another look
    same_shape = abs(_stretch(made) / _stretch(before) - 1) <= NEARLY_SQUARE
    if result is not None and same_shape:
        ask_rescaled(result, made, by=by)
    if micrograph.kind == Micrograph.Kind.SECTION and (
        result is None or not same_shape or is_being_measured(micrograph)
    ):
        ask_section(micrograph, by=by)
    payload = {"pixel_size_um": made.pixel_width_um, "source": source}
    record(verb="scaled", subject=micrograph, by=by, payload=payload)
    return made


def _stretch(scale: ScaleClaim | None) -> float:
    return scale.pixel_height_um / scale.pixel_width_um if scale else 1.0


@transaction.atomic
def draw_region(
    *,
    micrograph: Micrograph,
    kind: str,
    points: Sequence[Sequence[float]],
    by: Any,
    name: str = "",
    measure: bool = True,
    fresh: bool = False,
) -> Region:
    """Outline something on a micrograph, or with no points take an outline away; measured again with it.

    What is left out and has no name is one more to be left out; else the next version of what has that name,
    unless it is ``fresh``: then it is one more of that name, as a second scratch is.
    An information strip of no height says that there is none.

    Raises
    ------
    ValidationError
        If it has fewer than three corners (a face: two) or leaves the picture.
    """
    demand(by, "micrographs.add")
    corners = [[float(x), float(y)] for x, y in points]
    _check_corners(micrograph, kind, corners)
    if kind == Region.Kind.EXCLUSION and corners and (fresh or not name):
        name = _next_name(micrograph, name)
    before = micrograph.regions.filter(kind=kind, name=name).order_by("-version").first()
    region = Region(
        micrograph=micrograph,
        kind=kind,
        name=name,
        version=before.version + 1 if before else 1,
        points=corners,
        by=by,
    )
    region.full_clean(exclude=["points"])
    region.save()
    if measure and micrograph.kind == Micrograph.Kind.SECTION:
        ask_section(micrograph, by=by)
    record(
        verb="outlined" if corners else "took an outline away",
        subject=micrograph,
        by=by,
        payload={"kind": kind, "name": name, "version": region.version, "corners": len(corners)},
    )
    return region


def _next_name(micrograph: Micrograph, name: str) -> str:
    """Give what is left out a name of its own: scratch, scratch 2; without a name a number."""
    taken = set(micrograph.regions.filter(kind=Region.Kind.EXCLUSION).values_list("name", flat=True))
    if name and name not in taken:
        return name
    numbers = range(2 if name else 1, len(taken) + 3)
    tried = (f"{name[:36]} {number}".strip() for number in numbers)
    return next(one for one in tried if one not in taken)


def _check_corners(micrograph: Micrograph, kind: str, corners: Sequence[Sequence[float]]) -> None:
    least = 2 if kind in (Region.Kind.FACE, Region.Kind.STRIP) else 3
    if corners and len(corners) < least:
        raise ValidationError(
            f"An outline of this kind needs at least {least} corners; {len(corners)} were given."
        )
    if len(corners) > 2000:
        raise ValidationError("An outline has at most 2,000 corners. Draw it with fewer.")
    for x, y in corners:
        if not (-1 <= x <= micrograph.width_px + 1 and -1 <= y <= micrograph.height_px + 1):
            raise ValidationError(
                f"The corner {x:.0f}, {y:.0f} lies outside the picture. Drag it inside, or draw again."
            )
