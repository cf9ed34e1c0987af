"""What still stands open before a dissection can be signed, worked out from its entries."""

from dataclasses import dataclass

from django.db.models import Q

from teardown.dissection.models.entries import Entry, EntryQuerySet
from teardown.dissection.models.opening import Dissection, PlanItem, Signature
from teardown.dissection.models.samples import Sample
from teardown.science.electrolyte.weighing import WeighingClosure, close_weighing

BEYOND = 0.02
MASSES = ("part.mass_g", "electrolyte.blots_g", "sediment.mass_mg", "loss.named_g")


@dataclass(frozen=True, slots=True)
class OpenPoint:
    """One thing that stands open: how many of it, in a sentence. ``asks`` is asked, and stops nothing."""

    key: str
    number: int
    sentence: str
    asks: bool = False


def weighing_of(dissection: Dissection) -> WeighingClosure | None:
    """Compare what came in with its parts; None where the cell or all of its parts were not weighed."""
    values = _values(dissection)
    received = values.get("mass.cleaned_g") or values.get("mass.received_g")
    parts: dict[str, float] = {}
    for entry in dissection.entries.current().filter(term__key__in=MASSES, value__isnull=False).with_words():
        share = (entry.value or 0) / 1000 if entry.unit == "mg" else (entry.value or 0)
        parts[f"{entry.term} {entry.part or ''} {entry.pk}"] = share
    tare, gross = values.get("electrolyte.tare_g"), values.get("electrolyte.gross_g")
    if tare is not None and gross is not None and gross >= tare:
        parts["electrolyte"] = gross - tare
    return close_weighing(received, parts) if received and parts else None


def _values(dissection: Dissection) -> dict[str, float]:
    keys = ("mass.received_g", "mass.cleaned_g", "electrolyte.tare_g", "electrolyte.gross_g")
    rows = dissection.entries.current().filter(term__key__in=keys, value__isnull=False).order_by("pk")
    return {key: value for key, value in rows.values_list("term__key", "value") if value is not None}


def open_plan_items(dissection: Dissection) -> list[PlanItem]:
    """Give what was planned, not sampled for, and not said to be left out."""
    cut = Sample.objects.of(dissection).select_related("part", "parent__part", "parent__parent__part")
    orders = cut.filter(orders__isnull=False).values_list("pk", "orders__technique")
    of = {sample.pk: sample.origin.component_id for sample in cut if sample.origin}
    sent = {(of.get(sample), technique) for sample, technique in orders}
    meant = {(of.get(sample.pk), sample.purpose.lower()) for sample in cut if sample.purpose}
    items = PlanItem.objects.filter(plan__cell=dissection.cell_id, not_done=None).select_related(
        "component", "technique"
    )
    return [item for item in items if not _names(item) & (sent | meant)]


def _names(item: PlanItem) -> set[tuple[int | None, object]]:
    """Give by what a sample can be told to be the one that was planned: technique, its words, the purpose."""
    names: list[object] = [item.technique_id, item.technique.words.lower()]
    if item.purpose:
        names.append(item.purpose.lower())
    return {(item.component_id, name) for name in names}


def open_points(dissection: Dissection) -> list[OpenPoint]:
    """Work out the checklist of closing."""
    unlabelled = dissection.photographs.unlabelled().count()
    placeless = Sample.objects.of(dissection).unplaced().count()
    planned = len(open_plan_items(dissection))
    unconfirmed = dissection.entries.unconfirmed().count()
    points = [
        OpenPoint("opened", int(dissection.entries.opening() is None), "The time of opening was not logged."),
        OpenPoint("photographs", unlabelled, f"{_many(unlabelled, 'photograph')} without a component."),
        OpenPoint("samples", placeless, f"{_many(placeless, 'sample')} with no place where it lies."),
        OpenPoint("plan", planned, f"{_many(planned, 'planned piece')} neither cut nor said to be left out."),
        OpenPoint(
            "scribed",
            unconfirmed,
            f"{_many(unconfirmed, 'entry', 'entries')} not confirmed by the one who saw.",
        ),
        *_weighing_points(dissection),
    ]
    return [point for point in points if point.number]


def _weighing_points(dissection: Dissection) -> list[OpenPoint]:
    closure = weighing_of(dissection)
    if closure is None:
        return [
            OpenPoint(
                "weighing", 1, "The masses cannot be compared: cell or parts were not weighed.", asks=True
            )
        ]
    return [
        OpenPoint("weighing", 1, f"{remark.message} {remark.remedy}", asks=True) for remark in closure.remarks
    ]


def _many(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"


def later_than_signed(dissection: Dissection) -> int:
    """Count what was logged or amended after the last closing signature."""
    return later_entries(dissection).count()


def later_entries(dissection: Dissection) -> EntryQuerySet:
    """Give what was logged or amended after the last closing signature, in its order."""
    last = dissection.signatures.filter(meaning="closed").order_by("pk").last()
    if last is None:
        return Entry.objects.none()
    rows = Entry.objects.filter(Q(dissection=dissection), record__seq__gt=last.record_seq)
    return rows.with_words().select_related("record__actor").order_by("pk")


def last_signature(dissection: Dissection) -> Signature | None:
    """Give the signature that closed it."""
    return dissection.signatures.filter(meaning="closed").order_by("pk").last()
