"""Cycles: the file's own numbers where they can be believed, else counted from the half-cycles."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from teardown.science.electrochemistry.columns import Array, Index, Series
from teardown.science.electrochemistry.steps import Steps
from teardown.science.errors import Remark

PULSE_SHARE = 0.02  # of the usual half-cycle: smaller ones are pulses and switching, and open no cycle
Opening = Literal["charge", "discharge"]


@dataclass(frozen=True, slots=True)
class Cycles:
    """The cycle of each step.

    Attributes
    ----------
    of_step : ndarray of int, shape (steps,)
        Place of the step's cycle in ``number``.
    number : ndarray of int, shape (cycles,)
        Numbers as shown.
    derived : bool
        True where they were counted here.
    """

    of_step: Index
    number: Index
    derived: bool

    def __len__(self) -> int:
        """Count the cycles."""
        return int(self.number.size)


def number_cycles(
    series: Series, steps: Steps, step_charge_Ah: Array, *, opens: Opening = "charge"
) -> tuple[Cycles, list[Remark]]:
    """Give every step its cycle.

    Parameters
    ----------
    series : Series
    steps : Steps
    step_charge_Ah : ndarray of float, shape (steps,)
        Charge that flowed in each step, above zero.
    opens : "charge" or "discharge"
        Which half-cycle opens a cycle, where they are counted here.

    Returns
    -------
    Cycles, list of Remark
    """
    ours = count_cycles(steps, step_charge_Ah, opens=opens)
    own = series.get("cycle_count")
    if own is None:
        return ours, [
            Remark(
                "CYCLES_COUNTED",
                "info",
                f"The file numbers no cycles; {len(ours)} were counted here.",
                float(len(ours)),
                "cycle column",
                "Nothing needs to be done; map a column as cycle if the file has one.",
            )
        ]
    doubt = _doubt(own, steps, ours)
    if doubt is not None:
        return ours, [doubt]
    # in its middle: some cyclers move the number on a few records before or behind the switch
    at_middle = np.nan_to_num(own[(steps.first + steps.last) // 2]).astype(np.int64)
    number, of_step = np.unique(at_middle, return_inverse=True)
    theirs = Cycles(of_step.astype(np.int64), number, derived=False)
    whole, counted = (_both_ways(cycles, steps, step_charge_Ah) for cycles in (theirs, ours))
    if counted >= 3 and whole < 0.2 * counted:
        text = f"The file numbers {len(theirs)} cycles, and only {whole} of them hold charge and discharge; "
        return ours, [
            Remark(
                "CYCLE_HALVES",
                "warning",
                text + "they were counted here.",
                float(len(theirs)),
                "cycle column",
                "It looks like a number of half-cycles: map another column, or none, as cycle.",
            )
        ]
    return theirs, []


def _both_ways(cycles: Cycles, steps: Steps, step_charge_Ah: Array) -> int:
    """Count the cycles that hold a charge and a discharge, pulses left out."""
    flowing = np.flatnonzero(steps.kind != 0)
    big = flowing[_is_big(steps.kind[flowing], step_charge_Ah[flowing])]
    up, down = (np.unique(cycles.of_step[big[steps.kind[big] == way]]) for way in (1, -1))
    return int(np.intersect1d(up, down).size)


def count_cycles(steps: Steps, step_charge_Ah: Array, *, opens: Opening = "charge") -> Cycles:
    """Count cycles: one opens at the first opening half-cycle that follows an opposite one.

    Half-cycles below 2 % of the usual one open nothing. The usual one is the charge-weighted median, so that
    a thousand pulses do not pass for cycles.
    """
    flowing = np.flatnonzero(steps.kind != 0)
    big = flowing[_is_big(steps.kind[flowing], step_charge_Ah[flowing])]
    kind = steps.kind[big]
    way = 1 if opens == "charge" else -1
    opening = np.zeros(len(steps), dtype=np.int64)
    turns = big[1:][(kind[1:] == way) & (kind[:-1] == -way)]
    opening[turns] = 1
    of_step = np.cumsum(opening)
    return Cycles(of_step, np.arange(1, int(of_step[-1]) + 2), derived=True)


def _is_big(kind: Index, charge: Array) -> Array:
    """Mark the steps whose half-cycle is more than a pulse."""
    if not kind.size:
        return np.zeros(0, dtype=bool)
    run = np.concatenate(([0], np.cumsum(np.diff(kind) != 0)))
    half = np.bincount(run, weights=charge)
    order = np.sort(half)[::-1]
    usual = order[np.searchsorted(np.cumsum(order), order.sum() / 2)]
    big: Array = half[run] >= PULSE_SHARE * usual
    return big


def _doubt(own: Array, steps: Steps, ours: Cycles) -> Remark | None:
    """Say why the file's own cycle numbers cannot be used, if so."""
    complete = bool(np.isfinite(own).all())
    known = own if complete else own[np.isfinite(own)]
    odd = known[np.abs(known - np.round(known)) > 1e-6]
    if odd.size:
        return Remark(
            "CYCLE_NOT_INTEGER",
            "error",
            f"Cycle numbers are not whole, e.g. {odd[0]:.12g}.",
            float(odd[0]),
            "cycle column",
            "A converter spoiled them: leave the cycle column out of the map to have cycles counted here.",
        )
    change = np.diff(own)
    fall = np.flatnonzero(change < 0)
    if fall.size:
        row = int(fall[0]) + 2
        return Remark(
            "CYCLE_BACKWARDS",
            "warning",
            f"Cycle numbers go back {fall.size} time(s); they were counted here.",
            float(fall.size),
            f"data row {row}",
            "Compare the first cycles after that row with the test program.",
        )
    numbers = int(np.count_nonzero(change)) + 1 if complete else np.unique(known).size
    if len(ours) >= 3 and numbers < 0.5 * len(ours):
        return Remark(
            "CYCLE_TOO_FEW",
            "warning",
            f"The file numbers {numbers} cycles, the current turns for {len(ours)}; they were counted here.",
            float(numbers),
            "cycle column",
            "Map another column, or none, as cycle.",
        )
    if len(ours) >= 3 and numbers > 3 * len(ours) + 3:
        return Remark(
            "CYCLE_TOO_MANY",
            "warning",
            f"The file numbers {numbers} cycles, the current turns for {len(ours)}; they were counted here.",
            float(numbers),
            "cycle column",
            "It looks like a step or record number: map another column, or none.",
        )
    if len(np.unique(steps.of_record[np.flatnonzero(change) + 1])) < 0.5 * (numbers - 1):
        return Remark(
            "CYCLE_INSIDE_STEP",
            "warning",
            "Cycle numbers change inside steps; they were counted here.",
            float(numbers),
            "cycle column",
            "Map another column, or none, as cycle.",
        )
    return None
