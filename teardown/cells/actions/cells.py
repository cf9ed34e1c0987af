"""Builds, cells as built, and named sets of cells."""

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from teardown.accounts.roles import demand
from teardown.cells.actions.search import refresh_search_text, words_of
from teardown.cells.models import Build, Cell, Lot, LotUse, RecipeRevision, Study
from teardown.cells.rules import fault_of_code, fold
from teardown.records.actions import record

AS_BUILT = (
    "build_mass_g",
    "iron_mass_g",
    "iron_mass_u_g",
    "inert_mass_g",
    "collector_mass_g",
    "electrode_width_mm",
    "electrode_height_mm",
    "electrode_thickness_um",
    "electrode_thickness_u_um",
    "porosity",
    "porosity_u",
    "electrolyte_volume_mL",
    "electrolyte_KOH_mol_L",
    "nominal_capacity_Ah",
)


@dataclass(frozen=True, slots=True)
class NewCell:
    """A cell to be added: its code, its build, and what it was when built (see ``AS_BUILT``; units in names).

    ``porosity`` is a fraction of 0 to 1.
    """

    code: str
    build: Build
    as_built: Mapping[str, float | None] = field(default_factory=dict)
    time_zero: bool = False
    twin_of: Cell | None = None
    air_electrode_lot: Lot | None = None
    note: str = ""


def add_build(
    *,
    code: str,
    revision: RecipeRevision,
    built_on: dt.date,
    by: Any,
    lots: Iterable[tuple[str, Lot]] = (),
    note: str = "",
    at: dt.datetime | None = None,
) -> Build:
    """Start a batch of cells made from one recipe revision; the revision is frozen by it.

    Parameters
    ----------
    lots : iterable of (role, Lot)
        Which delivery went in as what: ("iron", lot) ...
    """
    if by is not None:
        demand(by, "recipes.write")
    lots = list(lots)
    with transaction.atomic():
        build = write_build(code, revision, built_on, lots, note=note, at=at)
        record(
            verb="added",
            subject=build,
            by=by,
            at=at,
            payload={
                "revision": str(revision),
                "built_on": built_on,
                "lots": [f"{role}: {lot}" for role, lot in lots],
            },
        )
    return build


def write_build(
    code: str,
    revision: RecipeRevision,
    built_on: dt.date,
    lots: Sequence[tuple[str, Lot]],
    *,
    note: str = "",
    at: dt.datetime | None = None,
) -> Build:
    """Write a build and freeze its recipe, inside the transaction of a deed."""
    if fault := fault_of_code(code.strip()):
        raise ValidationError({"code": fault})
    build = Build(code=code.strip(), revision=revision, built_on=built_on, note=note)
    build.full_clean()
    build.save()
    for role, lot in lots:
        use = LotUse(build=build, lot=lot, role=role)
        use.full_clean()
        use.save()
    revision.freeze(at)
    return build


def add_cells(*, cells: Sequence[NewCell], by: Any, at: dt.datetime | None = None) -> list[Cell]:
    """Add cells as built, all or none.

    Raises
    ------
    ValidationError
        Naming each cell that cannot be, and why.
    """
    if by is not None:
        demand(by, "cells.import")
    with transaction.atomic():
        made = write_cells(cells)
        record(
            verb="added",
            subject=made[0] if len(made) == 1 else "cells.cell",
            by=by,
            at=at,
            payload={"cells": {cell.code: cell.pk for cell in made}},
        )
    return made


def write_cells(cells: Sequence[NewCell]) -> list[Cell]:
    """Write cells with their search text, inside the transaction of a deed.

    In few queries, since the whole laboratory waits meanwhile: values are checked here, the rest by the
    database, and only what it refuses is asked again one by one for words.
    """
    if not cells:
        raise ValidationError("No cell was given.")
    found_by = {pk: words_of(build) for pk, build in {new.build.pk: new.build for new in cells}.items()}
    made = [_unsaved(new, found_by[new.build.pk]) for new in cells]
    if faults := _faults(made):
        raise ValidationError(faults)
    try:
        with transaction.atomic():
            Cell.objects.bulk_create(made, batch_size=500)
    except IntegrityError as error:
        raise ValidationError(_refused_by_the_database(made)) from error
    return made


def _unsaved(new: NewCell, words: str) -> Cell:
    if strange := set(new.as_built) - set(AS_BUILT):
        raise ValidationError(f"{new.code}: nothing known as {', '.join(sorted(strange))}.")
    code = new.code.strip()
    return Cell(
        code=code,
        build=new.build,
        time_zero=new.time_zero,
        twin_of=new.twin_of,
        air_electrode_lot=new.air_electrode_lot,
        note=new.note,
        search_text=fold(code, words, new.note),
        **new.as_built,
    )


def _faults(cells: Sequence[Cell]) -> list[str]:
    """Say what is wrong with each cell, with one query for all of them."""
    times = Counter(cell.code for cell in cells)
    known = set(Cell.objects.filter(code__in=times).values_list("code", flat=True))
    faults = []
    for cell in cells:
        if fault := fault_of_code(cell.code):
            faults.append(fault)
        if cell.code in known:
            faults.append(f"{cell.code}: There is a cell of this code already.")
        if times[cell.code] > 1:
            faults.append(f"{cell.code} was given {times[cell.code]} times.")
        try:
            cell.clean_fields(exclude=["code", "build", "twin_of", "air_electrode_lot"])
        except ValidationError as error:
            faults += [f"{cell.code}: {message}" for message in error.messages]
    return faults


def _refused_by_the_database(cells: Sequence[Cell]) -> list[str]:
    faults = []
    for cell in cells:
        cell.pk = None
        try:
            cell.validate_constraints()
        except ValidationError as error:
            faults += [f"{cell.code}: {message}" for message in error.messages]
    return faults or ["The database refused the cells: something they name changed in between. Try again."]


def amend_cell(
    *, cell: Cell, seen: int, reason: str, by: Any, at: dt.datetime | None = None, **values: Any
) -> Cell:
    """Correct what was written of a cell as built, with the reason.

    Raises
    ------
    StaleVersion
        If someone changed it in between.
    ValidationError
        If no reason is given, or a value cannot be.
    """
    if by is not None:
        demand(by, "cells.import")
    if not reason.strip():
        raise ValidationError({"reason": "Say why it is corrected."})
    allowed = {*AS_BUILT, "time_zero", "twin_of", "air_electrode_lot", "note"}
    if strange := set(values) - allowed:
        raise ValidationError(f"{', '.join(sorted(strange))} cannot be corrected here.")
    before = {name: getattr(cell, name) for name in values}
    with transaction.atomic():
        cell.change(seen=seen, **values)
        refresh_search_text([cell])
        record(
            verb="amended",
            subject=cell,
            by=by,
            reason=reason,
            at=at,
            payload={"before": before, "after": {n: getattr(v, "text", v) for n, v in values.items()}},
        )
    return cell


def keep_study(
    *, name: str, cells: Iterable[Cell], by: Any, note: str = "", at: dt.datetime | None = None
) -> Study:
    """Keep a named set of cells, for export and filter."""
    if by is not None:
        demand(by, "studies.keep")
    cells = list(cells)
    with transaction.atomic():
        study = Study(name=name.strip(), note=note)
        study.full_clean()
        study.save()
        study.cells.set(cells)
        record(verb="added", subject=study, by=by, at=at, payload={"cells": [c.code for c in cells]})
    return study


def change_study(
    *,
    study: Study,
    seen: int,
    by: Any,
    name: str,
    note: str,
    cells: Iterable[Cell],
    at: dt.datetime | None = None,
) -> Study:
    """Change the name, note or cells of a set that still is at the version the person saw."""
    if by is not None:
        demand(by, "studies.keep")
    cells = list(cells)
    before = sorted(study.cells.values_list("code", flat=True))
    with transaction.atomic():
        study.change(seen=seen, name=name.strip(), note=note)
        study.cells.set(cells)
        record(
            verb="changed",
            subject=study,
            by=by,
            at=at,
            payload={"name": name, "before": before, "after": sorted(c.code for c in cells)},
        )
    return study
