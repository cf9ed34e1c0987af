"""What is tapped on a photograph: the corners of the electrode, a place on it, the outline of a piece."""

import datetime as dt
from collections.abc import Sequence

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from teardown.accounts.models import User
from teardown.accounts.roles import demand
from teardown.dissection.actions.photographs import label_photograph, part_shown
from teardown.dissection.models import Outline, PhotoFrame, Photograph, PhotoLabel, Sample
from teardown.dissection.rules.frames import Frame, NotAFrame, centre, polygon
from teardown.dissection.rules.places import grid_of
from teardown.records.actions import record


def fix_electrode(
    *,
    photograph: Photograph,
    corners: Sequence[Sequence[float]],
    face: str,
    by: User,
    component: str = "iron_electrode",
    number: int = 1,
    at: dt.datetime | None = None,
) -> PhotoFrame:
    """Say where the four corners of an electrode lie on a photograph, so that its places can be read off it.

    Parameters
    ----------
    corners : sequence of four (x, y)
        Top left, top right, bottom right, bottom left as it lies before the eye, as fractions of the upright
        picture. Tapped again, the later corners count; the earlier ones stay to be seen.

    Raises
    ------
    ValidationError
        If the four are no corners of an electrode.
    """
    demand(by, "entries.add")
    now = at or timezone.now()
    if face not in ("A", "B"):
        raise ValidationError("Say which face is up: A or B.")
    try:
        frame = Frame(tuple((float(x), float(y)) for x, y in corners), face)
    except NotAFrame as error:
        raise ValidationError(str(error)) from error
    with transaction.atomic():
        part = part_shown(photograph.dissection, component, number)
        fixed = PhotoFrame(
            photograph=photograph, part=part, face=face, corners=[list(corner) for corner in frame.corners],
            supersedes=PhotoFrame.objects.on(photograph), by=by, at=now,
        )  # fmt: skip
        fixed.full_clean()
        fixed.save()
        record(
            verb="fixed the corners of",
            subject=photograph.dissection or photograph,
            by=by,
            payload={"photograph": photograph.key, "part": str(part), "face": face, "corners": fixed.corners},
            at=now,
        )
    return fixed


def mark_place(
    *, photograph: Photograph, x: float, y: float, by: User, at: dt.datetime | None = None
) -> PhotoLabel:
    """Say that a photograph shows one place: a point of it, read as an address on the electrode.

    What its label said before besides stays.

    Raises
    ------
    ValidationError
        If no corners were tapped on it, or the point lies off the electrode.
    """
    fixed = PhotoFrame.objects.on(photograph)
    if fixed is None or photograph.dissection is None:
        raise ValidationError("Tap the four corners of the electrode first; then a place has its address.")
    grid = grid_of(photograph.dissection.cell.electrode_width_mm)
    try:
        across, down = fixed.frame.to_electrode(x, y)
        place = fixed.frame.place(x, y, grid)
    except NotAFrame as error:
        raise ValidationError(str(error)) from error
    before = photograph.label
    frame, caption = (before.frame, before.caption) if before else ("", "")
    return label_photograph(
        photograph=photograph, by=by, part=fixed.part, place=place.address, x=round(across, 4),
        y=round(down, 4), frame=frame, caption=caption, at=at,
    )  # fmt: skip


def outline_piece(
    *,
    sample: Sample,
    photograph: Photograph,
    points: Sequence[Sequence[float]],
    by: User,
    at: dt.datetime | None = None,
) -> Outline:
    """Draw the outline of a piece on a photograph; drawn again, the later one counts.

    Parameters
    ----------
    points : sequence of (x, y)
        Corners of the polygon in their order, as fractions of the upright picture.

    Raises
    ------
    ValidationError
        If it is no outline, or the photograph is of another cell than the piece.
    """
    demand(by, "samples.cut")
    now = at or timezone.now()
    try:
        corners = polygon(points)
    except NotAFrame as error:
        raise ValidationError(str(error)) from error
    origin = sample.origin
    if origin is None or origin.dissection_id != photograph.dissection_id:
        raise ValidationError(f"Sample {sample} is not of the cell that this photograph shows.")
    fixed = PhotoFrame.objects.on(photograph)
    with transaction.atomic():
        outline = Outline(
            sample=sample, photograph=photograph, points=[list(corner) for corner in corners],
            frame=_around(fixed, corners), supersedes=sample.outlines.current().last(), by=by, at=now,
        )  # fmt: skip
        outline.full_clean()
        outline.save()
        record(
            verb="outlined",
            subject=sample,
            by=by,
            payload={"photograph": photograph.key, "points": outline.points},
            at=now,
        )
    return outline


def place_of_outline(*, photograph: Photograph, points: Sequence[Sequence[float]]) -> str:
    """Read the address of a piece off its outline, by its centre; empty where no electrode is fixed."""
    fixed = PhotoFrame.objects.on(photograph)
    if fixed is None or photograph.dissection is None:
        return ""
    grid = grid_of(photograph.dissection.cell.electrode_width_mm)
    try:
        return fixed.frame.place(*centre(polygon(points)), grid).address
    except NotAFrame:
        return ""


def _around(fixed: PhotoFrame | None, corners: Sequence[tuple[float, float]]) -> PhotoFrame | None:
    """Give the frame if the whole outline lies on its electrode; a piece beside it lies nowhere on it."""
    if fixed is None:
        return None
    try:
        for x, y in corners:
            fixed.frame.to_electrode(x, y)
    except NotAFrame:
        return None
    return fixed
