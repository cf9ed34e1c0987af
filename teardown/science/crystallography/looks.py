"""What the counts of a pattern look like before any phase is named, and what is remarked of it."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.stretches import of_stretches
from teardown.science.errors import Level, Remark

Array = NDArray[np.float64]
# Thresholds are our own, set on drawn patterns; no source
LOW_COUNTS = 2000.0
NOISY = 3.0  # scatter over that of counting statistics, as variances
QUIETER = 1 / 3  # below this the counts were divided before they were rounded
SCALED_TO = (100.0, 1000.0)


@dataclass(frozen=True, slots=True)
class Quality:
    """What the counts look like.

    ``noise_factor`` is the scatter from point to point over that of counting statistics: 1 for raw counts;
    ``scatter_variance`` is that scatter itself, at the quieter points, in counts squared.
    ``smoothness`` compares scatter over one and over four steps: near 1 for raw counts, small once smoothed.
    ``unit`` is the number that all counts are whole multiples of; ``scaled`` says that whole numbers scatter
    less than counts do, or end at a round number, as after a division.
    """

    n: int
    first_deg: float
    last_deg: float
    step_deg: float
    highest: float
    background_level: float
    noise_factor: float
    scatter_variance: float
    smoothness: float
    counts_are_whole: bool
    remarks: tuple[Remark, ...]
    unit: int = 1
    scaled: bool = False


def looks_of(x: Array, y: Array) -> Quality:
    """Look at a pattern that was checked: rising angles in degrees, and its counts."""
    base = float(np.percentile(y, 25))
    whole = bool(np.all(np.abs(y - np.round(y)) < 1e-6))
    factor, variance, smooth = _scatter(y)
    unit = _unit(y) if whole else 1
    # few points tell their scatter badly, and few counts are mostly zeros
    divided = factor < QUIETER and len(y) > 900 and base >= 20 and smooth >= 0.7
    found = Quality(
        len(x),
        float(x[0]),
        float(x[-1]),
        float(np.median(np.diff(x))),
        float(y.max()),
        base,
        factor,
        variance,
        smooth,
        whole,
        (),
        unit,
        whole and unit == 1 and (divided or float(y.max()) in SCALED_TO),
    )
    return replace(found, remarks=(*_remarks(found, x, y), *of_stretches(x, y, max(factor, 0.05))))


def _unit(y: Array) -> int:
    """Give the largest whole number that all counts are multiples of."""
    return max(1, int(np.gcd.reduce(np.round(np.abs(y)).astype(np.int64))))


def _scatter(y: Array) -> tuple[float, float, float]:
    """Give noise factor, variance and smoothness from differences of neighbours on the quieter points."""
    second = y[:-2] - 2 * y[1:-1] + y[2:]
    wide = y[:-8] - 2 * y[4:-4] + y[8:]
    whole = bool(np.all(np.abs(y - np.round(y)) < 1e-6))
    level = np.maximum(y[1:-1], max(1.0 if whole else 0.1 * float(np.percentile(y, 25)), 1e-9))
    quiet = level <= np.percentile(level, 35)
    factor = float(np.median((second**2 / (6 * level))[quiet])) / 0.4549  # the median of chi² with one degree
    variance = float(np.median((second**2 / 6)[quiet])) / 0.4549
    near, far = float(np.median(np.abs(second[quiet]))), float(np.median(np.abs(wide[quiet[3:-3]])))
    return factor, variance, near / far if far > 0 else 1.0


def _remarks(q: Quality, x: Array, y: Array) -> tuple[Remark, ...]:
    """Say what the numbers show, in the order in which it matters."""
    rows: list[tuple[bool, str, Level, str, float | None, str]] = [
        (
            q.highest in SCALED_TO if q.counts_are_whole else q.highest <= 100.5,
            "NORMALISED",
            "warning",
            (
                f"The highest point is {q.highest:g}: the pattern looks scaled to it, so weights "
                "are taken from its scatter."
            ),
            q.highest,
            "Give raw counts.",
        ),
        (
            q.highest > 100.5 and not q.counts_are_whole,
            "NON_INTEGER",
            "warning",
            "The counts are not whole numbers, as rates are not: weights are taken from their scatter.",
            None,
            "Give raw counts, not counts per second, or a column of uncertainties.",
        ),
        (
            bool((y < 0).any()),
            "NEGATIVE",
            "warning",
            f"{int((y < 0).sum())} counts are below zero: a background was taken off before.",
            float(y.min()),
            "Give the pattern with its background.",
        ),
        (
            q.unit > 1,
            "COUNTS_MULTIPLIED",
            "warning",
            f"All counts are whole multiples of {q.unit}: they were multiplied, and weights allow for it.",
            float(q.unit),
            "Give raw counts.",
        ),
        (
            q.scaled and q.highest not in SCALED_TO,
            "COUNTS_DIVIDED",
            "warning",
            (
                f"Quiet points scatter only {np.sqrt(max(q.noise_factor, 0.0)):.2f} times as much as counts "
                "do, as rates or divided counts once rounded. Weights follow the scatter."
            ),
            q.noise_factor,
            "Give raw counts, not counts per second.",
        ),
        (
            bool((y >= 0).all()) and q.noise_factor > NOISY and q.unit == 1,
            "BACKGROUND_TAKEN_OFF",
            "warning",
            (
                f"Quiet points scatter {np.sqrt(q.noise_factor):.1f} times more than their counts allow: a "
                "background was taken off before, or the counts were multiplied. Weights follow the scatter."
            ),
            q.noise_factor,
            "Give the pattern as measured.",
        ),
        (
            not 0.8 < _stretch(x) < 1.25,
            "UNEVEN_STEPS",
            "warning",
            (
                f"The step at the end of the scan is {_stretch(x):.2f} of that at its start, as when the "
                "axis is q or d and not 2θ."
            ),
            _stretch(x),
            "Check that the first column is 2θ in degrees.",
        ),
        (
            # whole counts that scatter as counts do are not smoothed, however steep the lines between them
            q.smoothness < 0.7 and not (q.counts_are_whole and q.unit == 1 and q.noise_factor > 0.7),
            "SMOOTHED",
            "warning",
            "Neighbouring points are more alike than counting allows: the pattern was smoothed.",
            q.smoothness,
            "Give the pattern as measured.",
        ),
        (
            q.counts_are_whole and q.highest - q.background_level < LOW_COUNTS,
            "LOW_COUNTS",
            "warning",
            (
                f"The strongest line stands {q.highest - q.background_level:.0f} counts above the "
                "rest; minor phases will not show."
            ),
            q.highest - q.background_level,
            "Count longer.",
        ),
        (
            q.background_level > 0.3 * (q.highest - q.background_level),
            "FLUORESCENCE",
            "warning",
            (
                "The background is "
                f"{100 * q.background_level / max(q.highest - q.background_level, 1e-9):.0f} % of "
                "the strongest line, as when the specimen fluoresces; read the limits first."
            ),
            q.background_level / max(q.highest, 1e-9),
            "Use a monochromator, an energy window, or another tube (Co or Mo for iron).",
        ),
        (
            q.last_deg - q.first_deg < 40,
            "RANGE_SHORT",
            "warning",
            f"The scan spans {q.last_deg - q.first_deg:.0f} degrees; 60 or more keep phases apart.",
            q.last_deg - q.first_deg,
            "Scan further.",
        ),
    ]
    return tuple(
        Remark(code, level, message, value, remedy=remedy)
        for holds, code, level, message, value, remedy in rows
        if holds
    )


def _stretch(x: Array) -> float:
    """Give the step in the last tenth over that in the first; 1 for a scan in even steps of 2θ."""
    steps, tenth = np.diff(x), max(3, len(x) // 10)
    return float(np.mean(steps[-tenth:]) / np.mean(steps[:tenth]))
