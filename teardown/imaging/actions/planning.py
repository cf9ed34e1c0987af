"""Lay out what a drop of pictures would become, and book it once a person has confirmed it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from teardown.accounts.roles import demand
from teardown.dissection.models import Sample
from teardown.files.models import Delivery, Receipt
from teardown.files.store import keep
from teardown.imaging.actions.adding import Added, Offered, as_files, book, told_of
from teardown.imaging.models import ImagingSession, Micrograph

KIND = "imaging.micrographs"
# a form with a field for each picture must stay below what a request may hold
MOST_PLANNED = 1500


@dataclass(frozen=True, slots=True)
class Plan:
    """What a drop, or a part of it, would become: None where no file could be kept; and what was refused."""

    delivery: Delivery | None
    refusals: list[dict[str, str]]


def plan_pictures(
    *,
    offered: Sequence[Offered],
    by: Any,
    session: ImagingSession | None = None,
    kind: str = Micrograph.Kind.SECTION,
    onto: Delivery | None = None,
) -> Plan:
    """Keep a drop of pictures and lay out what each would become; nothing is booked before it is confirmed.

    A drop of very many comes in parts: each is laid ``onto`` the plan that the parts before it made.

    Raises
    ------
    ValidationError
        If the plan that they are laid onto is another person's, booked already, or full.
    """
    demand(by, "micrographs.add")
    if onto is not None:
        _demand_room(onto, len(offered), by)
    rows, refusals = _kept(offered, by)
    if onto is not None:
        return Plan(_lay_onto(onto, rows, refusals, by), refusals)
    if not rows:
        return Plan(None, refusals)
    _mark_known(rows)
    made = Delivery.objects.create(
        kind=KIND,
        receipt_id=rows[0]["receipt"],
        planned=rows,
        refusals=refusals,
        column_map={"session": session.name if session else "", "kind": kind},
        by=by,
    )
    return Plan(made, refusals)


def _kept(offered: Sequence[Offered], by: Any) -> tuple[list[dict[str, Any]], list[dict[str, str]]]:
    """Keep the bytes of each picture that can be measured: a row for each, and the others with a reason."""
    from teardown.formats.gate import look

    with as_files(offered) as paths:
        facts = [told_of(path, fact) for path, fact in zip(paths, look(paths), strict=True)]
    rows, refusals = [], []
    for one, fact in zip(offered, facts, strict=True):
        if not fact["ok"]:
            refusals.append({"name": one.name, "reason": fact["reason"]})
            continue
        try:
            receipt = keep(one.picture, by=by, name=one.name, facts=fact)
        except ValidationError as error:
            refusals.append({"name": one.name, "reason": " ".join(error.messages)})
            continue
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
    return rows, refusals


@transaction.atomic
def _lay_onto(
    plan: Delivery, rows: list[dict[str, Any]], refusals: list[dict[str, str]], by: Any
) -> Delivery:
    held = Delivery.objects.select_for_update().get(pk=plan.pk)
    _demand_room(held, len(rows), by)  # once more: another window may have booked it meanwhile
    held.planned = [*held.planned, *rows]
    held.refusals = [*held.refusals, *refusals]
    _mark_known(held.planned)
    held.save(update_fields=["planned", "refusals"])
    return held


def _demand_room(plan: Delivery, more: int, by: Any) -> None:
    if plan.kind != KIND or plan.by_id != by.pk:
        raise ValidationError("This plan is another person's. Choose the pictures again.")
    if plan.state != Delivery.State.SHOWN:
        raise ValidationError("These pictures are booked already. Bring the others as another drop.")
    if len(plan.planned) + more > MOST_PLANNED:
        raise ValidationError(
            f"A plan holds at most {MOST_PLANNED} pictures; {len(plan.planned)} are in it and {more} more "
            "would come. Book these first, then bring the others."
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
        micrograph, new = book(
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
