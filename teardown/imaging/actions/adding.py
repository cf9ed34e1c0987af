"""Bring micrographs: one, or many."""

import os
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import File
from django.db import transaction

from teardown.accounts.roles import demand
from teardown.dissection.models import Sample, Section
from teardown.files.models import Receipt
from teardown.files.store import keep
from teardown.imaging.actions.describing import claim, tie_row
from teardown.imaging.models import ImagingSession, Micrograph, ScaleClaim
from teardown.imaging.runs import ask_section
from teardown.records.actions import record


@dataclass(frozen=True, slots=True)
class Offered:
    """A picture that someone brings, and what is known of it."""

    picture: File[Any] | bytes
    name: str = ""
    sample: Sample | None = None
    section: Section | None = None
    field_number: int | None = None
    pixel_size_um: float | None = None
    sidecar: str = ""


@dataclass(frozen=True, slots=True)
class Refused:
    """A picture that was not taken, and why."""

    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class Added:
    """What came of bringing pictures: those kept, those here already, those refused."""

    micrographs: list[Micrograph]
    known: list[Micrograph]
    refused: list[Refused]


def add_micrographs(
    *,
    offered: Sequence[Offered],
    by: Any,
    session: ImagingSession | None = None,
    kind: str = Micrograph.Kind.SECTION,
    measure: bool = True,
) -> Added:
    """Keep pictures as they came, each as a micrograph, and have cross sections measured.

    Each is opened first by a child process with limits; a bad one is refused with its reason and hinders no
    other. The same bytes for the same sample are taken once.
    """
    demand(by, "micrographs.add")
    from teardown.formats.gate import look

    with as_files(offered) as paths:
        facts = [told_of(path, fact) for path, fact in zip(paths, look(paths), strict=True)]
    added = Added([], [], [])
    for one, fact in zip(offered, facts, strict=True):
        name = one.name or getattr(one.picture, "name", "") or "picture"
        if not fact["ok"]:
            added.refused.append(Refused(name, fact["reason"]))
            continue
        try:
            receipt = keep(one.picture, by=by, name=name, facts=fact)
        except ValidationError as error:
            added.refused.append(Refused(name, " ".join(error.messages)))
            continue
        micrograph, new = book(one, fact, receipt, by=by, session=session, kind=kind, measure=measure)
        (added.micrographs if new else added.known).append(micrograph)
    return added


def add_micrograph(*, picture: File[Any] | bytes, by: Any, name: str = "", **known: Any) -> Micrograph:
    """Keep one picture; as :func:`add_micrographs`.

    Raises
    ------
    ValidationError
        With the reason, if it is refused.
    """
    options = {key: known.pop(key) for key in ("session", "kind", "measure") if key in known}
    added = add_micrographs(offered=[Offered(picture, name, **known)], by=by, **options)
    if added.refused:
        raise ValidationError(added.refused[0].reason)
    return [*added.micrographs, *added.known][0]


def told_of(path: Path, fact: dict[str, Any]) -> dict[str, Any]:
    """Say of an empty file that it is empty, whatever else might be said of it."""
    if fact["ok"] or path.stat().st_size:
        return fact
    return fact | {"reason": "The file is empty. Copy it again from the microscope."}


@contextmanager
def as_files(offered: Sequence[Offered]) -> Iterator[list[Path]]:
    """Give each picture a path for the child to open: its own upload, or a copy that goes afterwards."""
    paths, made = [], []
    try:
        for one in offered:
            path = getattr(one.picture, "temporary_file_path", None)
            if path is not None:
                paths.append(Path(path()))
                continue
            handle, name = tempfile.mkstemp(prefix="micrograph-")
            made.append(Path(name))
            with os.fdopen(handle, "wb") as out:
                if isinstance(one.picture, bytes):
                    out.write(one.picture)
                else:
                    one.picture.seek(0)
                    for piece in one.picture.chunks():
                        out.write(piece)
            paths.append(Path(name))
        yield paths
    finally:
        for path in made:
            path.unlink(missing_ok=True)


@transaction.atomic
def book(
    one: Offered,
    fact: Mapping[str, Any],
    receipt: Receipt,
    *,
    by: Any,
    session: ImagingSession | None,
    kind: str,
    measure: bool,
) -> tuple[Micrograph, bool]:
    """Enter a kept picture as a micrograph; the one that is here already where its bytes and sample are."""
    same = Micrograph.objects.filter(receipt__file=receipt.file_id).order_by("pk")
    if one.sample is not None:
        same = same.filter(ties__sample=one.sample)
    known = same.first()
    if known is not None:
        record(verb="brought again", subject=known, by=by, payload={"name": receipt.name})
        return known, False
    micrograph = Micrograph(
        receipt=receipt,
        kind=kind,
        width_px=fact["width"],
        height_px=fact["height"],
        bit_depth=fact["bits"],
        session=session,
        metadata={"about": fact["about"], "pages": fact["pages"], "strip_rows": fact["strip_rows"]},
        by=by,
    )
    micrograph.full_clean()
    micrograph.save()
    claims_of_file(micrograph, fact["candidates"], one)
    if one.pixel_size_um:
        claim(micrograph, one.pixel_size_um, one.pixel_size_um, ScaleClaim.Source.TYPED, by=by)
    if one.sample is not None or one.section is not None:
        tie_row(micrograph, one.sample, one.section, one.field_number, "", by)
    if measure and kind == Micrograph.Kind.SECTION:
        ask_section(micrograph, by=by)
    payload = {"name": receipt.name, "sample": one.sample.code if one.sample else ""}
    record(verb="added", subject=micrograph, by=by, payload=payload)
    return micrograph, True


def claims_of_file(micrograph: Micrograph, candidates: Sequence[Mapping[str, Any]], one: Offered) -> None:
    """Keep every hint of the file and of the text beside it; the most trusted is chosen."""
    from teardown.formats.pixel_size import ScaleCandidate, choose_scale, read_sidecar

    found = [ScaleCandidate(**candidate) for candidate in candidates]
    if one.sidecar:
        found += read_sidecar(one.sidecar)
    chosen = choose_scale(found).chosen
    for candidate in found:
        ScaleClaim.objects.create(
            micrograph=micrograph,
            pixel_width_um=candidate.pixel_width_um,
            pixel_height_um=candidate.pixel_height_um,
            source=candidate.source,
            chosen=candidate is chosen,
            evidence=candidate.evidence | {"trusted": candidate.trusted},
        )
