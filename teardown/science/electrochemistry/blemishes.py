"""What a meter adds to current and voltage of a history: noise, an offset, single wild records."""

from dataclasses import dataclass

import numpy as np

from teardown.science.electrochemistry.columns import Array, Index, Series
from teardown.science.electrochemistry.steps import (
    SMALL_SHARE,
    Steps,
    largest_current_A,
    noise_of,
    rest_offset_A,
)
from teardown.science.errors import Remark

JUMP_I, JUMP_V = 0.05, 0.03  # of the largest current, of the usual voltage: less of a jump is no wild record
FEW = 0.01  # of the records; more jumps than that are a program of pulses


@dataclass(frozen=True, slots=True)
class Blemishes:
    """What a meter adds.

    Attributes
    ----------
    u_charge_As, u_energy_Ws : ndarray, shape (steps,)
        Doubt that it leaves on each step's charge, A s, and on its energy at the charge given, W s.
    offset_A : float
        Current that is written while none flows, 0 where there is none.
    noise_A : float
        Of single records under current, one standard deviation.
    wild : ndarray of int
        Records whose current or voltage jumps away from both neighbours.
    """

    u_charge_As: Array
    u_energy_Ws: Array
    offset_A: float
    noise_A: float
    wild: Index


def find_blemishes(series: Series, steps: Steps) -> Blemishes:
    """Look for noise, offset and wild records, and say what doubt they leave on each step.

    Parameters
    ----------
    series : Series
    steps : Steps

    Returns
    -------
    Blemishes
    """
    current, voltage = series.current_A, series.voltage_V
    largest = largest_current_A(current)
    flowing = steps.kind != 0
    length_s = series.time_s[steps.last] - series.time_s[steps.first]
    noise = noise_of(current[np.abs(current) > SMALL_SHARE * largest])
    offset = rest_offset_A(current, series.step_of("current_ampere"))
    intervals = np.maximum(steps.last - steps.first, 1)
    charge = 2 * noise * length_s / np.sqrt(intervals) + abs(offset) * length_s
    energy = np.zeros(len(steps))
    usual_V = float(np.median(np.abs(voltage[:: max(1, voltage.size // 20_000)])))
    wild_I = _wild(series, steps, current, max(JUMP_I * largest, 20 * noise_of(current)))
    wild_V = _wild(series, steps, voltage, max(JUMP_V * usual_V, 20 * noise_of(voltage)))
    wild_V = wild_V[flowing[steps.of_record[wild_V]]]
    np.add.at(charge, steps.of_record[wild_I], _reach(series, current, wild_I))
    np.add.at(energy, steps.of_record[wild_V], _reach(series, voltage, wild_V) * np.abs(current[wild_V]))
    wild = np.union1d(wild_I, wild_V).astype(np.int64)
    return Blemishes(np.where(flowing, charge, 0.0), energy, offset, noise, wild)


def _wild(series: Series, steps: Steps, values: Array, least: float) -> Index:
    """Find single records that jump away from both neighbours of the same step, and back."""
    change = np.diff(values)
    large = np.abs(change) > least
    at = np.flatnonzero(large[1:] & large[:-1]) + 1
    at = at[change[at - 1] * change[at] < 0]
    jump = np.minimum(np.abs(change[at - 1]), np.abs(change[at]))
    at = at[jump > 5 * np.abs(values[at + 1] - values[at - 1])]
    own = steps.of_record
    at = at[(own[at - 1] == own[at]) & (own[at + 1] == own[at])]
    few = at.size <= max(FEW * len(series), 3)
    return at.astype(np.int64) if few else np.zeros(0, dtype=np.int64)


def _reach(series: Series, values: Array, at: Index) -> Array:
    """Give how much of an integral over time hangs on single records."""
    away = np.abs(values[at] - (values[at - 1] + values[at + 1]) / 2)
    reach: Array = away * (series.time_s[at + 1] - series.time_s[at - 1]) / 2
    return reach


def blemish_doubts(series: Series, found: Blemishes) -> list[Remark]:
    """Say what a meter added to a history."""
    remarks = []
    largest = largest_current_A(series.current_A)
    if found.offset_A:
        text = (
            f"While the cell rests, a current of {found.offset_A:+.3g} A is written, after charge and after "
            "discharge alike: an offset of the meter, which counts in every charge too."
        )
        remarks.append(
            Remark(
                "CURRENT_OFFSET",
                "warning",
                text.replace("-", "−", 1) if found.offset_A < 0 else text,
                found.offset_A,
                "current column",
                "Have the channel calibrated, or correct it in the column map: offset of the current.",
            )
        )
    if found.noise_A > 0.002 * largest:
        text = (
            f"The current wavers by {found.noise_A:.2g} A from record to record "
            f"({found.noise_A / largest:.1%} of the largest); charges are uncertain by what is left of it."
        )
        remarks.append(
            Remark(
                "CURRENT_NOISY",
                "warning",
                text,
                found.noise_A,
                "current column",
                "Have the cycler log means, or export its charge counter.",
            )
        )
    if found.wild.size:
        row = int(found.wild[0])
        text = (
            f"{found.wild.size} single record(s) jump away from both neighbours, first at data row {row + 1} "
            f"({series.current_A[row]:.4g} A, {series.voltage_V[row]:.4g} V); "
            "charge and energy there are uncertain."
        )
        remarks.append(
            Remark(
                "SINGLE_RECORD_JUMPS",
                "warning",
                text,
                float(found.wild.size),
                f"data row {row + 1}",
                "Look at the record: a fault of the meter can be taken out of the export.",
            )
        )
    return remarks
