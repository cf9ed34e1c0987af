"""The books of a cell to its balance: reached by name, in the worker."""

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from django.db import models

from teardown.cells.models import Cell
from teardown.files.models import Run
from teardown.findings.measure.assumed import Assumed
from teardown.findings.measure.books import inputs_of
from teardown.findings.models import Balance as BalanceRow
from teardown.science.balance.closing import DRAWS, SEED, Balance, close_cell
from teardown.science.estimate import Estimate

WORDS = {
    "closure": "iron found, of the iron built in",
    "oxide_Ah": "charge held in oxide",
    "locked_Ah": "charge locked in oxide",
    "locked_share": "iron locked in oxide",
    "metal_share": "iron left as metal that was not reached",
    "reached_share": "iron reached by the last discharge",
    "shed_share": "iron shed or lost",
    "porosity": "porosity from masses",
    "image_porosity": "porosity that an image should show",
    "oxide_volume_share": "oxide by volume, from masses",
    "parasitic_Ah": "charge that made hydrogen",
    "parasitic_share": "share of all charge that made hydrogen",
    "hydrogen_g": "hydrogen made",
    "water_bound_g": "water bound by hydrogen and solids",
    "evaporated_g": "water lost to the air",
    "loss_Ah": "capacity lost",
    "utilisation": "iron used at the reference",
}


def balance(run: Run, beat: Callable[[float, str], None]) -> list[models.Model]:
    """Close charge, iron, volume and water of a cell against each other."""
    cell = Cell.objects.select_related("build__revision__recipe").get(pk=int(run.subject.rpartition(":")[2]))
    beat(0.1, "gathering the books of the cell")
    inputs, assumed = inputs_of(cell)
    beat(0.5, "drawing")
    found = close_cell(
        inputs, draws=int(run.settings.get("draws", DRAWS)), seed=int(run.settings.get("seed", SEED))
    )
    flags = [
        asdict(flag.remark) | {"causes": list(flag.causes), "decides": flag.decides} for flag in found.flags
    ]
    return [BalanceRow(cell=cell, run=run, rows=list(rows_of(found, assumed)), flags=flags)]


def rows_of(found: Balance, assumed: tuple[Assumed, ...]) -> list[dict[str, Any]]:
    """Write a balance as plain rows: quantities, marks, the ledger, what was assumed, one headline."""
    rows = [_quantity(found, key, words) for key, words in WORDS.items() if key in found.shown]
    rows += [{"kind": "mark", **asdict(mark)} for mark in found.marks]
    rows.append(_ledger(found))
    rows += [{"kind": "assumed", **asdict(each)} for each in assumed]
    locked, closure = found.shown["locked_Ah"], found.shown["closure"]
    rows.append(
        {
            "kind": "headline",
            "words": f"{locked.value:.3f} Ah locked in oxide, {100 * closure.value:.1f} % of the iron found",
        }
    )
    return rows


def _quantity(found: Balance, key: str, words: str) -> dict[str, Any]:
    name, share = found.narrowing.get(key, ("", 0.0))
    return {
        "kind": "quantity",
        "key": key,
        "words": words,
        **found.shown[key].as_dict(),
        "first_order": found.values[key],
        "u": found.u[key],
        "methods_differ": key in found.apart,
        "narrowed_by": name,
        "narrowed_share": share,
    }


def _ledger(found: Balance) -> dict[str, Any]:
    ledger = found.ledger
    return {
        "kind": "ledger",
        "loss": ledger.loss_Ah.as_dict(),
        "terms": [
            {
                "key": term.key,
                "words": term.words,
                "charge": _plain(term.charge_Ah),
                "share": _plain(term.share),
                "span": list(term.span) if term.span else None,
            }
            for term in ledger.terms
        ],
        "shares_shown": ledger.shares_shown,
        "why_no_shares": ledger.why_no_shares,
        "greyed": list(ledger.greyed),
        "bounds": [ledger.proportional_Ah, ledger.first_Ah],
    }


def _plain(found: Estimate | None) -> dict[str, Any] | None:
    return found.as_dict() if found else None
