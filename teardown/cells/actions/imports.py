"""Imports of recipes and cells: shown, applied, withdrawn.

The file is kept first. Showing plans and writes nothing but the plan itself. Applying plans again, on the
books as they stand then, and goes on only if the plan is still what the person saw. Rows that were refused
are left out only when the person says so. A withdrawn import marks what it brought and keeps its file.
"""

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import asdict
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.db.models import ForeignObjectRel
from django.utils import timezone

from teardown.accounts.roles import demand
from teardown.cells.actions.cells import NewCell, write_build, write_cells
from teardown.cells.actions.recipes import Part, write_revision
from teardown.cells.intake import KINDS, Plan, make_plan
from teardown.cells.models import (
    Build,
    Cell,
    Lot,
    LotUse,
    Material,
    Recipe,
    RecipePart,
    RecipeRevision,
    Withdrawable,
)
from teardown.cells.rules import elements_of, fold
from teardown.files.models import Delivery
from teardown.files.store import keep, read
from teardown.records.actions import record
from teardown.records.rules import subject_of

BROUGHT: dict[str, type[Withdrawable]] = {
    model._meta.label_lower: model for model in (Cell, Build, RecipeRevision, Recipe)
}
Row = dict[str, Any]


def show_import(
    *, upload: Any, by: Any, name: str = "", kind: str = "", at: dt.datetime | None = None
) -> Delivery:
    """Keep a table as it came and show what it would bring.

    Parameters
    ----------
    upload : File or bytes
        A CSV file or an XLSX workbook.
    kind : str
        "cells.recipes" or "cells.cells"; without it, the heads decide.

    Raises
    ------
    ReadingError
        If it is no table or its heads are not understood; the file is kept all the same.
    """
    if by is not None:
        demand(by, "cells.import")
    receipt = keep(upload, by=by, name=name)
    plan = make_plan(read(receipt.file), kind)
    with transaction.atomic():
        delivery = Delivery.objects.create(
            kind=plan.kind,
            receipt=receipt,
            column_map=plan.how,
            planned=_steps(plan),
            refusals=_refusals(plan),
            by=by,
        )
        record(
            verb="showed",
            subject=delivery,
            by=by,
            at=at,
            payload={
                "file": receipt.file.sha256,
                "understood": len(plan.steps),
                "refused": len(plan.refused),
            },
        )
    return delivery


def apply_import(
    *, delivery: Delivery, by: Any, leave_out_refused: bool = False, at: dt.datetime | None = None
) -> Delivery:
    """Write what was shown, whole or not at all.

    Parameters
    ----------
    leave_out_refused : bool
        The person says that refused rows stay out. Without it, one refused row keeps all from being written.

    Raises
    ------
    ValidationError
        If it was applied or withdrawn already, has refused rows, brings nothing, or the books changed since
        it was shown; then the new plan is shown and nothing else is written.
    """
    if by is not None:
        demand(by, "cells.import")
    plan = make_plan(read(delivery.receipt.file), delivery.kind)
    with transaction.atomic():
        delivery = _standing(delivery, Delivery.State.SHOWN)
        changed = _steps(plan) != delivery.planned or _refusals(plan) != delivery.refusals
        if changed:
            delivery.planned, delivery.refusals, delivery.column_map = _steps(plan), _refusals(plan), plan.how
            delivery.save()
        else:
            _apply(delivery, by, leave_out_refused, at)
    if changed:
        raise ValidationError(
            "The books changed since this was shown, and so did what it would do. Nothing was written: "
            "look at it again."
        )
    return delivery


def _apply(delivery: Delivery, by: Any, leave_out_refused: bool, at: dt.datetime | None) -> None:
    if delivery.refusals and not leave_out_refused:
        raise ValidationError(
            f"{len({one['row'] for one in delivery.refusals})} rows were refused. Mend the file and send it "
            "again, or say that they stay out."
        )
    if all(step["does"] == "same" for step in delivery.planned):
        raise ValidationError("There is nothing to write: all that was understood is in the books already.")
    write: Callable[[list[Row], dt.datetime | None], None] = _WRITE[delivery.kind]
    write(delivery.planned, at)
    delivery.state = Delivery.State.APPLIED
    delivery.save()
    record(
        verb="applied",
        subject=delivery,
        by=by,
        at=at,
        payload={
            "made": [made for step in delivery.planned for made in step["made"]],
            "left out": sorted({one["row"] for one in delivery.refusals}),
        },
    )


def withdraw_import(*, delivery: Delivery, reason: str, by: Any, at: dt.datetime | None = None) -> Delivery:
    """Take a whole import back: what it brought is marked withdrawn and its codes are free again.

    Materials and lots stay known. The file and the plan are kept.

    Raises
    ------
    ValidationError
        If no reason is given, or something hangs on what it brought: a test, a dissection, a later revision.
    """
    if by is not None:
        demand(by, "cells.import")
    if not reason.strip():
        raise ValidationError({"reason": "Say why it is withdrawn."})
    with transaction.atomic():
        delivery = _standing(delivery, Delivery.State.SHOWN, Delivery.State.APPLIED)
        rows = _brought(delivery)
        if hanging := what_hangs(rows):
            raise ValidationError(
                [f"{words}. It would lose what it stands on, so the import stays." for words in hanging[:5]]
            )
        for model in BROUGHT.values():
            mine = [row.pk for row in rows if isinstance(row, model)]
            model._default_manager.filter(pk__in=mine).update(withdrawn_at=at or timezone.now())
        delivery.state = Delivery.State.WITHDRAWN
        delivery.save()
        record(
            verb="withdrew",
            subject=delivery,
            by=by,
            reason=reason,
            at=at,
            payload={"withdrawn": [subject_of(row) for row in rows]},
        )
    return delivery


def what_hangs(rows: Iterable[models.Model]) -> list[str]:
    """Say what outside of these rows points at one of them, whichever app it belongs to."""
    by_model: dict[type[models.Model], dict[Any, models.Model]] = {}
    for row in rows:
        by_model.setdefault(type(row), {})[row.pk] = row
    hanging = []
    for model, own in by_model.items():
        for relation in model._meta.get_fields(include_hidden=True):
            if isinstance(relation, ForeignObjectRel):
                hanging += _pointing(relation, own, by_model)
    return hanging


def _pointing(
    relation: ForeignObjectRel, own: dict[Any, models.Model], ours: dict[type[models.Model], dict[Any, Any]]
) -> list[str]:
    """Say which rows of another table point at these through one relation."""
    other: Any = relation.related_model
    if other in (RecipePart, LotUse) or other._meta.auto_created:  # parts of what is withdrawn
        return []
    path = relation.field.name
    found = other._default_manager.filter(**{f"{path}__in": list(own)}).exclude(
        pk__in=list(ours.get(other, {}))
    )
    return [
        f"{own[pk]} has a {other._meta.verbose_name}: {row}"
        for row in found[:5]
        for pk in _pointed_at(row, path, own)
    ]


def _pointed_at(row: models.Model, path: str, own: dict[Any, models.Model]) -> list[Any]:
    if row._meta.get_field(path).many_to_many:
        return list(getattr(row, path).filter(pk__in=list(own)).values_list("pk", flat=True)[:2])
    return [getattr(row, f"{path}_id")]


def _standing(delivery: Delivery, *states: str) -> Delivery:
    now = Delivery.objects.select_for_update().get(pk=delivery.pk)
    if now.state not in states:
        raise ValidationError(f"This import is {now.get_state_display()} already.")
    if now.kind not in KINDS:
        raise ValidationError("This import belongs to another page.")
    return now


def _brought(delivery: Delivery) -> list[models.Model]:
    keys: dict[str, list[int]] = {}
    for step in delivery.planned:
        for made in step["made"]:
            label, _, pk = made.rpartition(":")
            if label in BROUGHT:
                keys.setdefault(label, []).append(int(pk))
    return [row for label, pks in keys.items() for row in BROUGHT[label]._default_manager.filter(pk__in=pks)]


def _steps(plan: Plan) -> list[Row]:
    return [step.plain() for step in plan.steps]


def _refusals(plan: Plan) -> list[Row]:
    return [asdict(one) for one in plan.refused]


def _write_recipes(steps: list[Row], at: dt.datetime | None) -> None:
    materials = {fold(material.name): material for material in Material.objects.all()}
    for step in steps:
        if step["does"] == "same":
            continue
        parts = []
        for part in step["values"]["parts"]:
            material = materials.get(fold(part["material"]))
            if material is None:
                material = _new_material(part)
                materials[fold(material.name)] = material
                step["made"].append(subject_of(material))
            parts.append(Part(part["role"], material, part["amount"], part["unit"], part["basis"]))
        if step["does"] == "new recipe":
            recipe = Recipe(code=step["code"], title=step["values"]["title"])
            recipe.full_clean()
            recipe.save()
            step["made"].append(subject_of(recipe))
        else:
            recipe = Recipe.objects.get(code=step["code"])
        because = step["values"]["because"] or (
            "brought by an import" if step["does"] != "new recipe" else ""
        )
        step["made"].append(subject_of(write_revision(recipe, parts, because)))


def _new_material(part: Row) -> Material:
    material = Material(
        name=part["material"],
        kind=part["role"],
        formula=part["formula"][:60],
        constituents=elements_of(part["formula"]),
    )
    material.full_clean()
    material.save()
    return material


def _write_cells(steps: list[Row], at: dt.datetime | None) -> None:
    coming = [step for step in steps if step["does"] == "new cell"]
    builds = {
        build.code: build
        for build in Build.objects.filter(code__in={step["values"]["build"] for step in coming})
    }
    for step in coming:
        if step["values"]["build"] not in builds:
            build = _new_build(step, at)
            builds[build.code] = build
            step["made"].append(subject_of(build))
    made: dict[str, Cell] = {}
    new = [
        NewCell(
            code=step["code"],
            build=builds[step["values"]["build"]],
            as_built=step["values"]["as_built"],
            time_zero=step["values"]["time_zero"],
            air_electrode_lot=_air_electrode_lot(step, builds[step["values"]["build"]]),
            note=step["values"]["note"],
        )
        for step in coming
    ]
    made = {cell.code: cell for cell in write_cells(new)}
    for step in coming:
        cell = made[step["code"]]
        step["made"].append(subject_of(cell))
        if twin := step["values"]["twin_of"]:
            other = made.get(twin) or Cell.objects.get(code=twin)
            Cell.objects.filter(pk=cell.pk).update(twin_of=other)


def _new_build(step: Row, at: dt.datetime | None) -> Build:
    values = step["values"]
    revision = RecipeRevision.objects.select_related("recipe").get(
        recipe__code=values["recipe"], recipe__withdrawn_at=None, number=values["revision"]
    )
    lots = []
    for role, code in values["lots"].items():
        part = revision.parts.select_related("material").filter(role=role).first()
        if part is not None:
            lots.append((role, _lot(part.material, code, step)))
    return write_build(values["build"], revision, dt.date.fromisoformat(values["built_on"]), lots, at=at)


def _air_electrode_lot(step: Row, build: Build) -> Lot | None:
    code = step["values"]["lots"].get("air electrode")
    part = (
        build.revision.parts.select_related("material").filter(role="air electrode").first() if code else None
    )
    return _lot(part.material, code, step) if part else None


def _lot(material: Material, code: str, step: Row) -> Lot:
    lot = material.lots.filter(code__iexact=code).first()
    if lot is None:
        lot = Lot(material=material, code=code)
        lot.full_clean()
        lot.save()
        step["made"].append(subject_of(lot))
    return lot


_WRITE = {"cells.recipes": _write_recipes, "cells.cells": _write_cells}
