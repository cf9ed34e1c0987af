"""The sentence that opens a cell's page, made from the record."""

import datetime as dt
from collections.abc import Sequence

from teardown.cells.models import Cell, RecipePart, Test
from teardown.page.typesetting import as_count, day, duration_in_words, number, with_unit


def amount(part: RecipePart) -> str:
    """Set a part of a recipe with its amount: "4 % Bi2S3", "6 mol/L KOH"."""
    name = part.material.formula or part.material.name
    if part.unit == "1":
        percent = 100 * part.amount
        return f"{with_unit(number(percent, 0 if abs(percent - round(percent)) < 1e-9 else 1), '%')} {name}"
    if part.unit == "mol/L":
        return f"{with_unit(number(part.amount), 'mol/L')} {name}"
    return name


_ORDER = ("iron", "iron oxide", "additive", "alkali", "electrolyte additive")


def made_of(parts: Sequence[RecipePart], *, amounts: bool = True) -> str:
    """Name iron, additives and alkali in one phrase; without their amounts for those who are blinded."""
    shown = [part for role in _ORDER for part in parts if part.role == role]
    words = [p.material.name if p.role in _ORDER[:2] or not amounts else amount(p) for p in shown]
    phrase = ", ".join(words) or "recipe without parts"
    return phrase[0].upper() + phrase[1:]


ENDS = {
    "end.capacity_limit": "ended by its capacity limit",
    "end.voltage_limit": "ended by its voltage limit on discharge",
    "end.cannot_charge": "ended because it could not be charged",
    "end.short": "ended by a short or lost voltage",
    "end.leak": "ended by a leak",
    "end.gas": "ended by gas",
    "end.planned": "stopped as planned",
    "end.diagnosis": "stopped for diagnosis",
    "end.lab_fault": "stopped by a fault of the lab",
}


def tested(test: Test | None, temperature_C: float | None, cycles: int | None, now: dt.datetime) -> str:
    """Say how the cell was cycled and how that ended."""
    if test is None:
        return "not on test yet"
    warm = f" at {with_unit(number(temperature_C), 'C')}" if temperature_C is not None else ""
    count = f" for {as_count(cycles, 'complete cycle')}" if cycles else ""
    if test.ended_at is None or test.end is None:
        since = f"since {day(test.started_at)}, {duration_in_words(now - test.started_at)}"
        return f"cycling{warm}{count}, {since} so far"
    ended = ENDS.get(test.end.key, f"ended: {test.end.words}")
    return f"cycled{warm}{count}; {ended} on {day(test.ended_at)}"


def opened(opened_at: dt.datetime | None, test: Test | None) -> str:
    """Say when it was opened, counted from the end of its test, and in which state of charge."""
    if opened_at is None:
        return "not opened yet"
    when = f"opened on {day(opened_at)}"
    if test and test.ended_at and opened_at >= test.ended_at:
        when = f"opened {duration_in_words(opened_at - test.ended_at)} later"
    state = {
        "charged": " in the charged state",
        "discharged": " in the discharged state",
        "part": " part charged",
    }
    return when + (state.get(test.state_at_stop, "") if test else "")


def opening(
    parts: Sequence[RecipePart],
    test: Test | None,
    *,
    cell: Cell,
    cycles: int | None,
    opened_at: dt.datetime | None,
    now: dt.datetime,
    amounts: bool = True,
) -> str:
    """Put the sentence together: what it is, what it did, how it ended, when it was opened."""
    zero = "a time-zero cell, opened after formation; " if cell.time_zero else ""
    told = tested(test, getattr(cell, "temperature_C", None), cycles, now)
    joined = ", " if test is not None and test.ended_at else "; "
    return f"{made_of(parts, amounts=amounts)}; {zero}{told}{joined}{opened(opened_at, test)}."
