"""Bring micrographs: one, many, or a drop that is planned first."""

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
from teardown.files.models import Delivery, Receipt
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

    with _as_files(offered) as paths:
        facts = [_told(path, fact) for path, fact in zip(paths, look(paths), strict=True)]
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
        micrograph, new = _book(one, fact, receipt, by=by, session=session, kind=kind, measure=measure)
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


def plan_pictures(
    *,
    offered: Sequence[Offered],
    by: Any,
    session: ImagingSession | None = None,
    kind: str = Micrograph.Kind.SECTION,
) -> Delivery | None:
    """Keep a drop of pictures and lay out what each would become; nothing is booked before it is confirmed.

    Returns
    -------
    Delivery or None
        None if none of them could be kept.
    """
    demand(by, "micrographs.add")
    from teardown.formats.gate import look

    with _as_files(offered) as paths:
        facts = [_told(path, fact) for path, fact in zip(paths, look(paths), strict=True)]
    rows, refusals, first = [], [], None
    for one, fact in zip(offered, facts, strict=True):
        if not fact["ok"]:
            refusals.append({"name": one.name, "reason": fact["reason"]})
            continue
        try:
            receipt = keep(one.picture, by=by, name=one.name, facts=fact)
        except ValidationError as error:
            refusals.append({"name": one.name, "reason": " ".join(error.messages)})
            continue
        first = first or receipt
        rows.append(
            {
                "receipt": receipt.pk,
                "name": receipt.name,
                "sample": one.sample.code if one.sample else "",
                "field_number": one.field_number,
                "pixel_size_um": one.pixel_size_um,
                "sidecar": one.sidecar[:20_000],
                "file": receipt.file_id,
                "about": _about(one, fact),
            }
        )
    if first is None:
        return None
    _mark_known(rows)
    return Delivery.objects.create(
        kind="imaging.micrographs",
        receipt=first,
        planned=rows,
        refusals=refusals,
        column_map={"session": session.name if session else "", "kind": kind},
        by=by,
    )


def _about(one: Offered, fact: Mapping[str, Any]) -> dict[str, Any]:
    """Give what a plan tells of a picture: size, depth, pages, and the hint of scale that counts."""
    from teardown.formats.pixel_size import ScaleCandidate, choose_scale, read_sidecar

    hints = [ScaleCandidate(**candidate) for candidate in fact["candidates"]]
    scale = choose_scale([*hints, *read_sidecar(one.sidecar)])
    size = one.pixel_size_um or (scale.chosen.pixel_width_um if scale.chosen else None)
    told = {name: fact[name] for name in ("width", "height", "bits", "pages")}
    conflict = not one.pixel_size_um and any(remark.code == "scale_conflict" for remark in scale.remarks)
    return told | {"pixel_um": size, "conflict": conflict}


def _mark_known(rows: Sequence[dict[str, Any]]) -> None:
    """Say of each picture whether its bytes are here already, or twice in this drop. One query."""
    files = [row["file"] for row in rows]
    known = set(Micrograph.objects.filter(receipt__file__in=files).values_list("receipt__file", flat=True))
    first: dict[int, str] = {}
    for row in rows:
        row["known"] = row["file"] in known
        row["same_as"] = first.get(row["file"], "")
        first.setdefault(row["file"], row["name"])


@transaction.atomic
def apply_pictures(*, delivery: Delivery, samples: Mapping[int, Sample | None], by: Any) -> Added:
    """Book the pictures of a plan, each with the sample that was confirmed for it.

    Raises
    ------
    ValidationError
        If the plan was applied already.
    """
    demand(by, "micrographs.add")
    if delivery.state != Delivery.State.SHOWN:
        raise ValidationError("These pictures are booked already.")
    session = None
    if delivery.column_map.get("session"):
        session, _ = ImagingSession.objects.get_or_create(name=delivery.column_map["session"])
    receipts = Receipt.objects.select_related("file").in_bulk([row["receipt"] for row in delivery.planned])
    added = Added([], [], [])
    for number, row in enumerate(delivery.planned):
        receipt = receipts[row["receipt"]]
        one = Offered(
            b"",
            row["name"],
            samples.get(number),
            None,
            row["field_number"],
            row["pixel_size_um"],
            row["sidecar"],
        )
        micrograph, new = _book(
            one,
            receipt.file.facts,
            receipt,
            by=by,
            session=session,
            kind=delivery.column_map.get("kind") or Micrograph.Kind.SECTION,
            measure=True,
        )
        (added.micrographs if new else added.known).append(micrograph)
    Delivery.objects.filter(pk=delivery.pk).update(state=Delivery.State.APPLIED)
    return added


def _told(path: Path, fact: dict[str, Any]) -> dict[str, Any]:
    """Say of an empty file that it is empty, whatever else might be said of it."""
    if fact["ok"] or path.stat().st_size:
        return fact
    return fact | {"reason": "The file is empty. Copy it again from the microscope."}


@contextmanager
def _as_files(offered: Sequence[Offered]) -> Iterator[list[Path]]:
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
def _book(
    one: Offered,
    fact: Mapping[str, Any],
    receipt: Receipt,
    *,
    by: Any,
    session: ImagingSession | None,
    kind: str,
    measure: bool,
) -> tuple[Micrograph, bool]:
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
