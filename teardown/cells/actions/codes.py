"""A wrongly named cell named anew: everything stays tied to it, and its former code still leads there."""

import datetime as dt
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from teardown.accounts.roles import demand
from teardown.cells.actions.search import refresh_search_text
from teardown.cells.models import Cell, FormerCode
from teardown.cells.rules import fault_of_code, fold
from teardown.records.actions import record


def recode_cell(
    *,
    cell: Cell,
    code: str,
    reason: str,
    by: Any,
    seen: int,
    swap: bool = False,
    at: dt.datetime | None = None,
) -> Cell:
    """Name a cell anew. Tests, files, entries, photographs, samples and judgements stay tied to it.

    Parameters
    ----------
    code : str
        The right code. If another cell bears it, ``swap`` gives that one the code of this one: the labels of
        two cells were exchanged.
    seen : int
        Version of the cell that the person saw.

    Raises
    ------
    ValidationError
        If no reason is given, the code is none, is the same, or belongs to another cell and is not swapped.
    StaleVersion
        If the cell was changed meanwhile.
    """
    demand(by, "codes.mend")
    code, now = code.strip(), at or timezone.now()
    if not reason.strip():
        raise ValidationError({"reason": "Say why it is named anew."})
    if fault := fault_of_code(code):
        raise ValidationError({"code": fault})
    if code == cell.code:
        raise ValidationError({"code": f"It is called {code} already."})
    other = next((each for each in Cell.objects.filter(code__iexact=code).exclude(pk=cell.pk)), None)
    if other is not None and not swap:
        raise ValidationError(
            {"code": f"{other} is another cell. If their labels were exchanged, say so: both change."}
        )
    old = cell.code
    with transaction.atomic():
        if other is None:
            cell.change(seen=seen, code=code)
        else:
            other.change(seen=other.version, code=_free(old))
            cell.change(seen=seen, code=code)
            other.change(seen=other.version, code=old)
        for each, former in [(cell, old)] + ([(other, code)] if other else []):
            FormerCode.objects.create(cell=each, code=former, reason=reason[:400], by=by, at=now)
            refresh_search_text([each])
            record(
                verb="named anew",
                subject=each,
                by=by,
                reason=reason,
                at=now,
                payload={"before": former, "after": each.code, "swapped": other is not None},
            )
    return cell


def _free(code: str) -> str:
    """Give a code that no cell bears, for the moment of a swap."""
    number = 1
    while Cell.all_ever.filter(code=f"{code[:30]}~{number}").exists():
        number += 1
    return f"{code[:30]}~{number}"


def cell_once_called(code: str) -> Cell | None:
    """Find the cell that bore a code before; None where a cell bears it now, or none ever did."""
    if Cell.objects.filter(code=code).exists():
        return None
    rows = FormerCode.objects.filter(cell__withdrawn_at=None).select_related("cell").order_by("-pk")
    exact = rows.filter(code=code).first() or next((r for r in rows.filter(code__iexact=code)), None)
    return exact.cell if exact and fold(exact.code) == fold(code) else None
