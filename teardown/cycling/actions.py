"""What a person does with cycling files: have one shown, applied, withdrawn; have a test summed up again."""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import File
from django.db import transaction

from teardown.accounts.roles import demand
from teardown.cells.models import ChannelAccuracy, Test
from teardown.cycling.intake import Plan, current_files, plan_import
from teardown.cycling.models import ColumnMap, CyclingFile
from teardown.cycling.store import curves_path
from teardown.files.models import Delivery, Run
from teardown.files.runs import ask
from teardown.files.store import derived, keep
from teardown.files.tasks import ring_on_commit
from teardown.records.actions import record
from teardown.records.rules import subject_of

KIND = "cycling.series"
WORK = "cycling.summarise"


def show_import(
    *,
    test: Test,
    upload: File[Any] | bytes,
    by: Any,
    name: str = "",
    column_map: Mapping[str, Any] | None = None,
    apart: bool = True,
    at: dt.datetime | None = None,
) -> Delivery:
    """Keep a cycling file and show what it would give. Nothing of it counts yet.

    Raises
    ------
    ValidationError
        If the bytes cannot be kept.
    """
    _demand(by)
    receipt = keep(upload, by=by, name=name)
    plan = plan_import(test, receipt, column_map=column_map, apart=apart)
    with transaction.atomic():
        delivery = Delivery(kind=KIND, receipt=receipt, subject=subject_of(test), by=by, **_planned(plan))
        delivery.save()
        record(
            verb="received", subject=delivery, by=by, at=at, payload={"test": str(test), "name": receipt.name}
        )
    return delivery


def reread_import(
    *, delivery: Delivery, column_map: Mapping[str, Any], by: Any, apart: bool = True
) -> Delivery:
    """Show a file again as another column map reads it.

    Raises
    ------
    ValidationError
        If the import is no longer only shown.
    """
    _demand(by)
    test = tested(delivery)
    plan = plan_import(test, delivery.receipt, column_map=column_map, apart=apart)
    with transaction.atomic():
        delivery = _held(delivery, Delivery.State.SHOWN)
        for key, value in _planned(plan).items():
            setattr(delivery, key, value)
        delivery.save()
        record(verb="mapped", subject=delivery, by=by, payload={"column_map": delivery.column_map})
    return delivery


def apply_import(*, delivery: Delivery, by: Any, at: dt.datetime | None = None) -> CyclingFile:
    """Take a shown file into the history of its test, remember its column map, and have the test summed up.

    Raises
    ------
    ValidationError
        If something stands against it, or it was applied or withdrawn meanwhile.
    """
    _demand(by)
    test = tested(delivery)
    with transaction.atomic():
        delivery = _held(delivery, Delivery.State.SHOWN)
        planned = delivery.planned[0]
        if delivery.refusals:
            raise ValidationError([f"{r['message']} {r['remedy']}".strip() for r in delivery.refusals])
        grows = (
            CyclingFile.objects.filter(pk=planned["grows"], superseded_by=None).first()
            if planned["grows"]
            else None
        )
        file = CyclingFile(
            test=test,
            receipt=delivery.receipt,
            column_map=delivery.column_map,
            problems=planned["remarks"],
            rows=planned["would"]["records"],
            supersedes=grows,
            delivery=delivery,
        )
        file.full_clean()
        file.save()
        _remember(planned["fingerprint"], delivery.column_map)
        delivery.state = Delivery.State.APPLIED
        delivery.save(update_fields=["state"])
        record(
            verb="imported",
            subject=file,
            by=by,
            at=at,
            payload={
                "test": str(test),
                "name": delivery.receipt.name,
                "sha256": delivery.receipt.file.sha256,
            },
        )
        _ask(test, by)
    return file


def withdraw_import(*, delivery: Delivery, by: Any, reason: str) -> CyclingFile | None:
    """Take an import back: the file stays kept, but nothing is computed from it any more.

    A file that had taken the place of a shorter one gives it back.

    Raises
    ------
    ValidationError
        Without a reason, or if it is withdrawn already.
    """
    _demand(by)
    if not reason.strip():
        raise ValidationError("Say why the import is withdrawn.")
    with transaction.atomic():
        delivery = _held(delivery, Delivery.State.SHOWN, Delivery.State.APPLIED)
        applied = CyclingFile.objects.filter(delivery=delivery, superseded_by=None, withdrawn=False).first()
        if delivery.state == Delivery.State.APPLIED and applied is None:
            raise ValidationError("A longer file has taken its place; withdraw that one first.")
        gone = None
        if applied is not None:
            gone = CyclingFile(
                test=applied.test,
                receipt=applied.receipt,
                rows=0,
                supersedes=applied,
                delivery=delivery,
                withdrawn=True,
            )
            gone.save()
            _give_back(applied)
        delivery.state = Delivery.State.WITHDRAWN
        delivery.save(update_fields=["state"])
        record(
            verb="withdrew", subject=delivery, by=by, reason=reason, payload={"name": delivery.receipt.name}
        )
        if applied is not None:
            _ask(applied.test, by)
    return gone


def import_file(
    *,
    test: Test,
    upload: File[Any] | bytes,
    by: Any,
    name: str = "",
    column_map: Mapping[str, Any] | None = None,
    apart: bool = True,
    at: dt.datetime | None = None,
) -> CyclingFile:
    """Show and apply in one go, for files that need no second look.

    Raises
    ------
    ValidationError
        With every reason why the file is refused; it stays kept as a shown import.
    """
    delivery = show_import(
        test=test, upload=upload, by=by, name=name, column_map=column_map, apart=apart, at=at
    )
    return apply_import(delivery=delivery, by=by, at=at)


def sum_up_again(*, test: Test, by: Any) -> Run | None:
    """Have a test summed up with the facts as they are now; None where it has no cycling file.

    Where nothing changed but what is kept beside the database is gone, it is made again.
    """
    _demand(by)
    latest = Run.objects.filter(function=WORK, subject=subject_of(test)).order_by("-pk").first()
    gone = latest is not None and not derived().exists(curves_path(test.pk, latest.key))
    with transaction.atomic():
        if not CyclingFile.objects.filter(test=test).exists():
            return None
        run = _ask(test, by, again=latest.pk if latest and gone and latest.state == "done" else None)
        record(verb="asked", subject=test, by=by, payload={"run": run.pk})
        return run


def when_test_ends(*, test: Test, by: Any, **_: Any) -> None:
    """Have a test summed up again in the transaction that ends it."""
    if CyclingFile.objects.filter(test=test).exists():
        _ask(test, by)


def tested(delivery: Delivery) -> Test:
    """Give the test that a delivery belongs to."""
    return Test.objects.select_related("cell", "end", "protocol").get(
        pk=int(delivery.subject.rsplit(":", 1)[1])
    )


def _demand(by: Any) -> None:
    if by is not None:
        demand(by, "cycling.import")


def _planned(plan: Plan) -> dict[str, Any]:
    """Give a plan as the fields of a delivery."""
    row = {key: plan.looked[key] for key in ("names", "first_rows", "rows", "fingerprint", "would", "clock")}
    row |= {"grows": plan.grows.pk if plan.grows else None, "remarks": plan.remarks}
    return {"column_map": plan.looked["map"], "planned": [row], "refusals": plan.refusals}


def _held(delivery: Delivery, *states: str) -> Delivery:
    """Take a delivery under the lock, if it still is in one of these states."""
    held = Delivery.objects.select_for_update().select_related("receipt__file").get(pk=delivery.pk)
    if held.state not in states:
        raise ValidationError(f"This import is {held.get_state_display()} already.")
    return held


def _remember(fingerprint: str, document: Mapping[str, Any]) -> None:
    """Keep a column map for the next file with this header; where its table stands is found anew each
    time.
    """
    kept = {key: value for key, value in document.items() if key not in ("encoding", "dialect")}
    ColumnMap.objects.update_or_create(fingerprint=fingerprint, defaults={"document": kept})


def _give_back(applied: CyclingFile) -> None:
    """Let the shorter file count again whose place a withdrawn one had taken."""
    shorter = applied.supersedes
    if shorter is None:
        return
    CyclingFile.objects.create(
        test=shorter.test,
        receipt=shorter.receipt,
        column_map=shorter.column_map,
        problems=shorter.problems,
        rows=shorter.rows,
        delivery=shorter.delivery,
    )


def _ask(test: Test, by: Any, *, again: int | None = None) -> Run:
    """Ask for the summary of a test from files and facts that count now; ``again`` names a run to repeat."""
    files = current_files(test)
    latest = CyclingFile.objects.filter(test=test).order_by("-pk").values_list("pk", flat=True).first()
    run = ask(
        WORK,
        subject=test,
        by=by,
        settings_=facts_of(test) | {"as_of": latest} | ({"again": again} if again else {}),
        inputs={f"file:{f.pk}": f.receipt.file for f in files},
    )
    ring_on_commit(run)
    return run


def facts_of(test: Test) -> dict[str, Any]:
    """Give what the lab knows of a test that its numbers depend on."""
    cell = test.cell
    seat = test.seats.order_by("-since").first()
    accuracy = None
    if seat is not None and seat.channel_id:
        accuracy = (
            ChannelAccuracy.objects.filter(channel=seat.channel_id, valid_from__lte=test.started_at.date())
            .order_by("-valid_from")
            .first()
        )
    iron = cell.build.lot_uses.filter(role="iron").select_related("lot")
    purity = {use.lot.purity for use in iron if use.lot.purity}
    return {
        "iron_mass_g": cell.iron_mass_g,
        "iron_purity": purity.pop() if len(purity) == 1 else 1.0,
        "end": test.end.words if test.end else None,
        "opens": test.protocol.begins_with,
        "channel": (
            {
                "range_A": accuracy.range_A,
                "gain": accuracy.gain_pct / 100,
                "offset": accuracy.offset_pct / 100,
            }
            if accuracy
            else None
        ),
    }
