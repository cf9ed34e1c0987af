"""Whether the numbers of a history can be: their size, and what comes out against what was put in."""

import numpy as np
from numpy.typing import NDArray

from teardown.science.electrochemistry.columns import Array
from teardown.science.electrochemistry.table import CycleTable
from teardown.science.errors import Remark

FEW_SHARE = 0.02  # of the charge of all iron; less is no wrong unit for sure, and no usual cell


def size_doubts(table: CycleTable, most_Ah: float | None) -> list[Remark]:
    """Compare the largest half-cycle with what the iron could give, and the usual one with a minute."""
    largest = float(max(table["charge_Ah"].max(initial=0.0), table["discharge_Ah"].max(initial=0.0)))
    remarks = []
    if most_Ah and (largest > 1.5 * most_Ah or largest < 0.001 * most_Ah):
        text = (
            f"Largest half-cycle {largest:.4g} Ah against {most_Ah:.4g} Ah "
            f"that this much iron could give: factor {largest / most_Ah:.3g}."
        )
        remarks.append(
            Remark(
                "CAPACITY_IMPLAUSIBLE",
                "error",
                text,
                largest / most_Ah,
                "largest half-cycle",
                "mA taken for A, hours for seconds, wrong iron mass or cell: correct it.",
            )
        )
    elif most_Ah and largest < FEW_SHARE * most_Ah:
        share_said = f"{100 * largest / most_Ah:.2g} %"
        text = f"Largest half-cycle {largest:.4g} Ah: {share_said} of what this much iron could give."
        remedy = "If that is too little: minutes taken for seconds, wrong unit of the current, wrong cell?"
        share = largest / most_Ah
        remarks.append(Remark("CAPACITY_SMALL", "warning", text, share, "largest half-cycle", remedy))
    hours = table["rate_h"][table["complete"] > 0]
    if hours.size and float(np.median(hours)) < 1 / 60:
        text = f"The usual discharge lasts {3600 * float(np.median(hours)):.3g} s."
        remarks.append(
            Remark(
                "HALF_CYCLE_SHORT",
                "warning",
                text,
                float(np.median(hours)),
                "time column",
                "Check the unit of time: hours may have been read as seconds.",
            )
        )
    return remarks


def more_out_than_in(table: CycleTable) -> list[Remark]:
    """Say so where cycles usually give more charge or energy than they took."""
    whole = table["complete"] > 0
    above = {}
    for name, unit in (("coulombic", "Ah"), ("energy", "Wh")):
        usual = _usual(table[f"{name}_efficiency"])
        if usual and usual > 1.01 + 3 * doubt_of(table, unit, whole):
            above[name] = usual
    if not above:
        return []
    name, value = next(iter(above.items()))
    text = f"The usual {name} efficiency is {value:.3g}: more comes out than was put in."
    remedy = (
        "Charge and discharge may be taken for each other: check the sign of the current and the voltage."
    )
    return [Remark("MORE_OUT_THAN_IN", "warning", text, value, "complete cycles", remedy)]


def _usual(values: Array) -> float | None:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else None


def doubt_of(table: CycleTable, unit: str, like: Array | NDArray[np.bool_]) -> float:
    """Give the usual relative uncertainty of one discharge over one charge, of charges (Ah) or energies (Wh).

    Rounding and few records are alike in every cycle, so they do not average out over them.
    """
    parts = [table[f"u_{way}_{unit}"][like] / table[f"{way}_{unit}"][like] for way in ("charge", "discharge")]
    return float(np.median(np.hypot(*parts)))
