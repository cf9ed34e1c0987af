"""What a reader of the per-cycle charges must know: edges, gaps, and counters that say something else."""

from collections.abc import Mapping

import numpy as np

from teardown.science.electrochemistry.columns import Array, Series
from teardown.science.electrochemistry.counters import StepCounts
from teardown.science.electrochemistry.integration import StepIntegrals
from teardown.science.electrochemistry.steps import Steps, gap_limit_s
from teardown.science.errors import Level, Remark

SURE = 1e-6  # of a charge; less of a doubt is none
SURE_ENERGY = 1e-4
FLOOR = (
    0.001  # below this share, a difference between integral and counter is the sampling of a falling current
)


def charge_doubts(
    series: Series,
    steps: Steps,
    sums: StepIntegrals,
    counts: StepCounts | None,
    table: Mapping[str, Array],
    joint_u_Ah: Mapping[str, Array],
) -> list[Remark]:
    """Collect the remarks on the charge of a history; ``joint_u_Ah`` is that of integral and counter
    together.
    """
    return [
        *_gaps(series, sums),
        *_edges(steps, sums, table),
        *_counter_doubts(counts, table, joint_u_Ah),
        *_resets(counts),
    ]


def _gaps(series: Series, sums: StepIntegrals) -> list[Remark]:
    gaps = np.flatnonzero(sums.gaps)
    if not gaps.size:
        return []
    length = series.time_s[gaps + 1] - series.time_s[gaps]
    row = int(gaps[np.argmax(length)]) + 2
    text = (
        f"{gaps.size} gap(s) longer than {gap_limit_s(series.time_s):.0f} s while current flowed "
        f"(longest {length.max():.0f} s at data row {row}): charge there is uncertain."
    )
    remedy = "Look whether another file holds the missing records."
    return [Remark("GAP_UNDER_CURRENT", "warning", text, float(length.max()), f"data row {row}", remedy)]


def charge_uncertain(doubt: Array, cycle: Array) -> list[Remark]:
    """Say so where the charge of a cycle is in doubt, whatever the reason; by more than 0.1 %, as a
    warning.
    """
    largest = float(np.max(doubt, initial=0.0))
    if largest <= SURE:
        return []
    limits = ((0.01, "1 %"), (0.001, "0.1 %"), (SURE, "one part in a million"))
    limit, words = next((limit, words) for limit, words in limits if largest > limit)
    bad = np.flatnonzero(doubt > limit)
    worst = int(bad[np.argmax(doubt[bad])])
    text = (
        f"In {bad.size} cycle(s) the charge is uncertain by more than {words}, most in cycle "
        f"{cycle[worst]:.0f}: {100 * doubt[worst]:.2g} % (one standard deviation)."
    )
    remedy = "Export more digits of current and time, a charge counter, or the missing records."
    level: Level = "info" if limit == SURE else "warning"
    return [Remark("CHARGE_UNCERTAIN", level, text, float(doubt[worst]), f"cycle {cycle[worst]:.0f}", remedy)]


def energy_uncertain(doubt: Array, cycle: Array) -> list[Remark]:
    """Say so where the energy of a cycle is in doubt by more than 0.01 %; by more than 5 %, as a warning."""
    worst = int(np.argmax(doubt)) if doubt.size else 0
    if not doubt.size or doubt[worst] <= SURE_ENERGY:
        return []
    text = (
        f"The energy of cycles is uncertain, most in cycle {cycle[worst]:.0f}: {100 * doubt[worst]:.2g} % "
        "(one standard deviation)."
    )
    remedy = "Have the cycler log more often where the voltage moves, or export its energy counter."
    level: Level = "warning" if doubt[worst] > 0.05 else "info"
    where = f"cycle {cycle[worst]:.0f}"
    return [Remark("ENERGY_UNCERTAIN", level, text, float(doubt[worst]), where, remedy)]


def _edges(steps: Steps, sums: StepIntegrals, table: Mapping[str, Array]) -> list[Remark]:
    """Say so where steps begin or end without a record and no counter makes up for it."""
    total = sums.charge_Ah[0] + sums.charge_Ah[1]
    usual = float(np.median(total[total > 0])) if np.any(total > 0) else 0.0
    big = total >= 0.02 * usual
    share = np.where(big & (total > 0), sums.edge_Ah / np.where(total > 0, total, 1.0), 0.0)
    largest = float(share.max(initial=0.0))
    if largest <= 1e-6:
        return []
    rescued = _counter_won(table)
    row = int(steps.first[int(np.argmax(share))]) + 1
    text = (
        f"{int(np.sum(share > 1e-6))} step(s) begin or end without a record at the switch of current: "
        f"an integral alone is uncertain there by up to {200 * largest:.2g} %"
        + ("; the counter was used instead." if rescued else ", and so is the charge shown.")
    )
    level: Level = "info" if rescued or largest < 1e-4 else "warning"
    return [
        Remark(
            "EDGES_NOT_LOGGED",
            level,
            text,
            2 * largest,
            f"most in the step from data row {row}",
            "Have the cycler log a record at every switch, or export its charge counter.",
        )
    ]


def _counter_won(table: Mapping[str, Array]) -> bool:
    counter, chosen = table["discharge_counter_Ah"], table["discharge_Ah"]
    known = np.isfinite(counter) & (chosen > 0)
    return bool(known.any() and np.mean(counter[known] == chosen[known]) > 0.5)


def _counter_doubts(
    counts: StepCounts | None, table: Mapping[str, Array], joint_u_Ah: Mapping[str, Array]
) -> list[Remark]:
    """Compare counter and integral: a wrong direction or unit is an error, a difference a warning."""
    if counts is None:
        return []
    where = ", ".join(counts.names)
    if counts.misplaced > 0.5:
        text = f"{counts.misplaced:.0%} of what the counters gained came while current flowed the other way."
        remedy = "Counters may be swapped, or the sign of the current is wrong: correct the map."
        return [Remark("COUNTER_DIRECTION", "error", text, counts.misplaced, where, remedy)]
    found, ratio = _differences(table, joint_u_Ah)
    if found and not 0.4 < ratio < 2.5:
        text = f"The counter gives {ratio:.4g} times the integral of the current."
        remedy = "A unit is wrong: mA taken for A, hours for seconds, or mAh for Ah. Correct the map."
        return [Remark("COUNTER_SCALE", "error", text, ratio, where, remedy)]
    return [_disagrees(table, found)] if found else []


def _differences(
    table: Mapping[str, Array], joint_u_Ah: Mapping[str, Array]
) -> tuple[list[tuple[float, str, int, float]], float]:
    """Give the half-cycles that differ (share, direction, place, times their joint doubt), and the usual
    ratio.
    """
    found: list[tuple[float, str, int, float]] = []
    ratios: list[float] = []
    for way in ("charge", "discharge"):
        integral, counter = table[f"{way}_integral_Ah"], table[f"{way}_counter_Ah"]
        u, larger = joint_u_Ah[way], np.maximum(integral, counter)
        differ = np.abs(counter - integral)
        big = larger > 0.2 * float(np.median(integral)) if integral.size else np.zeros(0, bool)
        told = big & (integral > 0)
        ratios += (counter[told] / integral[told]).tolist()
        bad = np.flatnonzero(big & (differ > 3 * u) & (differ > FLOOR * larger)).tolist()
        found += [
            (differ[k] / larger[k], way, k, float(differ[k] / u[k]) if u[k] > 0 else np.inf) for k in bad
        ]
    return found, float(np.median(ratios)) if ratios else 1.0


def _disagrees(table: Mapping[str, Array], found: list[tuple[float, str, int, float]]) -> Remark:
    share, way, k, times = max(found)
    cycle = table["cycle"][k]
    text = (
        f"Counter and integral differ in {len(found)} half-cycle(s); most in the {way} of cycle {cycle:.0f}: "
        f"counter {table[f'{way}_counter_Ah'][k]:.4g} Ah, integral {table[f'{way}_integral_Ah'][k]:.4g} Ah, "
        f"{min(times, 9999):.0f} times their joint uncertainty."
    )
    remedy = "The one with the smaller uncertainty is shown; look at resets, gaps and printed digits."
    return Remark("COUNTER_DISAGREES", "warning", text, share, f"cycle {cycle:.0f}", remedy)


def _resets(counts: StepCounts | None) -> list[Remark]:
    if counts is None or not counts.resets_inside:
        return []
    text = (
        f"The charge counter was set back {counts.resets_inside} time(s) inside a step; gains were added up."
    )
    return [
        Remark(
            "COUNTER_RESET",
            "info",
            text,
            float(counts.resets_inside),
            ", ".join(counts.names),
            "Nothing needs to be done if charges look right.",
        )
    ]


def energy_doubts(energies: StepCounts | None, apart: list[Array], cycle: Array) -> list[Remark]:
    """Say where the counter of energy was taken, and where it contradicts the integral and was not."""
    if energies is None:
        return []
    where = ", ".join(energies.names)
    taken = int(sum(np.sum(part == 0.0) for part in apart))
    remarks = []
    if taken:
        text = (
            f"In {taken} half-cycle(s) the energy is that of the counter, which is surer than the integral."
        )
        remedy = "Nothing needs to be done."
        remarks.append(Remark("ENERGY_FROM_COUNTER", "info", text, float(taken), where, remedy))
    off = np.concatenate([np.nan_to_num(part) for part in apart])
    if not off.any():
        return remarks
    worst = int(np.argmax(np.abs(off)))
    text = (
        f"Counter and integral of the energy differ in {int(np.sum(off != 0))} half-cycle(s), most in cycle "
        f"{cycle[worst % cycle.size]:.0f}: by {off[worst]:+.1%}; the integral is shown."
    )
    remedy = "Look at the unit of the counter, at its resets and at gaps."
    return [*remarks, Remark("ENERGY_COUNTER_DISAGREES", "warning", text, float(off[worst]), where, remedy)]
