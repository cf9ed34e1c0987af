"""The smallest step that each column of a file was written with."""

import re

import numpy as np

from teardown.formats.series_cells import Table
from teardown.formats.series_clocks import printed_step
from teardown.formats.series_draft import CORE, Draft
from teardown.science.electrochemistry.columns import Array


def resolutions(draft: Draft) -> dict[str, float]:
    """Find the smallest written step of time, current, voltage and each counter, in canonical units."""
    wanted = {
        c.quantity: c
        for c in draft.map.columns
        if c.quantity in draft.columns
        and c.kind == "number"
        and (c.quantity in CORE or c.quantity.endswith(("_ah", "_wh")))
    }
    printed = {q: printed_step(_ungrouped(draft.table, c.name)) for q, c in wanted.items()}
    digits = {q: d for q, (_, d) in printed.items()}
    step = {q: s for q, (s, _) in printed.items()}
    if draft.table.trims_zeros([c.name for q, c in wanted.items() if step[q] > 0]):
        # such a writer shows its digits by the longest; those of a constant current are those of the voltage
        step = {q: min(s, 10.0 ** -digits[q]) for q, s in step.items()}
        if "current_ampere" in step and draft.table.text is not None:
            finest = max(digits.get("voltage_volt", 0), digits["current_ampere"])
            step["current_ampere"] = (
                0.0 if step.get("voltage_volt") == 0 else min(step["current_ampere"], 10.0**-finest)
            )
    found = {q: s * abs(wanted[q].factor) for q, s in step.items()}
    if draft.table.text is None:
        found = {q: s or _distinct_step(draft.columns[q]) for q, s in found.items()}
    if "current_ampere" in found:
        full = step.get("voltage_volt") == 0
        least = 10.0 ** -max(digits.get("voltage_volt", 0), digits["current_ampere"])
        known = 0.0 if full else least * abs(wanted["current_ampere"].factor)
        if (full or draft.table.text is None) and _is_set_point(draft.columns["current_ampere"], found):
            found["current_ampere"] = min(found["current_ampere"], known)
    clock = draft.map.column("test_time_second") or draft.map.column("unix_time_second")
    if clock is not None and clock.kind != "number":
        cells = draft.table.sample(clock.name) if draft.table.text is not None else []
        found["test_time_second"] = _clock_step(draft.columns["test_time_second"], cells)
    return found


def _ungrouped(table: Table, name: str) -> list[str]:
    """Give some cells of a column without the marks that group their digits."""
    cells = [re.sub(r"(?<=\d)[ '’](?=\d{3})", "", cell) for cell in table.sample(name)]
    if table.text is not None and table.text.decimal_comma:
        return [cell.replace(".", "") for cell in cells]
    return cells


def _is_set_point(current_A: Array, found: dict[str, float]) -> bool:
    """Tell whether a current stands still from switch to switch, at values of few digits such as 0.2: those
    say nothing of how finely it is written, which the voltage beside it shows.
    """
    few = found["current_ampere"] > 0.001 * float(np.nanmax(np.abs(current_A)))
    moves = np.count_nonzero(np.diff(current_A))
    return few and bool(moves < 0.1 * current_A.size) and np.unique(current_A).size <= 12


def _distinct_step(values: Array) -> float:
    """Give the smallest step between distinct values of some records; 0 where they are of full precision."""
    some = np.unique(values[np.isfinite(values)][:: max(1, values.size // 5000)])
    if some.size < 2:
        return 0.0
    steps = np.diff(some)
    least = float(steps.min())
    whole = np.abs(some / least - np.round(some / least))
    return least if least > 1e-9 * float(np.max(np.abs(some))) and float(whole.max()) < 1e-3 else 0.0


def _clock_step(time_s: Array, cells: list[str]) -> float:
    """Give one second for a clock that shows whole seconds, a minute where it shows none, else a
    thousandth.
    """
    held = [cell for cell in cells if ":" in cell]
    if held and not any(re.search(r"\d:\d\d:\d\d", cell) for cell in held):
        return 60.0
    return 1.0 if np.all(np.abs(time_s[:5000] - np.round(time_s[:5000])) < 1e-9) else 0.001
