"""Is this a powder pattern that can be fitted? What is refused, and what is merely remarked."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import Level, MeasurementError, Remark

Array = NDArray[np.float64]
FEWEST_POINTS = 100
LOW_COUNTS = 2000.0
NOISY = 3.0  # scatter over that of counting statistics, as variances


class TooFewPoints(MeasurementError):
    """A pattern needs more points than there are."""

    code = "crystallography.E010"
    hint = "Give the whole scan; a pattern holds hundreds to thousands of points."


class NotNumbers(MeasurementError):
    """Some values of the pattern are not finite numbers."""

    code = "crystallography.E011"
    hint = "Remove or repair these rows."


class AnglesOutOfOrder(MeasurementError):
    """The angles do not rise from point to point."""

    code = "crystallography.E012"
    hint = "Sort the rows by angle, each angle once; join repeated scans before."


class NotDegrees(MeasurementError):
    """The first column is not an angle 2θ in degrees."""

    code = "crystallography.E013"
    hint = "Export the scan against 2θ in degrees."


class NothingMeasured(MeasurementError):
    """The counts say nothing: all alike, or below zero throughout."""

    code = "crystallography.E014"
    hint = "Check which column holds the counts."


@dataclass(frozen=True, slots=True)
class Quality:
    """What the counts look like.

    ``noise_factor`` is the scatter from point to point over that of counting statistics: 1 for raw counts;
    ``scatter_variance`` is that scatter itself, at the quieter points, in counts squared.
    ``smoothness`` compares scatter over one and over four steps: near 1 for raw counts, small once smoothed.
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


def checked(two_theta_deg: Array, counts: Array) -> tuple[Array, Array]:
    """Give angles and counts as arrays of floats, or refuse them.

    Raises
    ------
    TooFewPoints, NotNumbers, AnglesOutOfOrder, NotDegrees, NothingMeasured
    """
    x, y = np.asarray(two_theta_deg, dtype=np.float64).ravel(), np.asarray(counts, dtype=np.float64).ravel()
    if len(x) != len(y):
        raise NotNumbers(f"There are {len(x)} angles and {len(y)} counts.")
    bad = np.flatnonzero(~(np.isfinite(x) & np.isfinite(y)))
    if len(bad):
        raise NotNumbers(
            f"{len(bad)} of {len(x)} points are not finite numbers, the first in row {bad[0] + 1}."
        )
    if len(x) < FEWEST_POINTS:
        raise TooFewPoints(f"The pattern has {len(x)} points, and at least {FEWEST_POINTS} are needed.")
    _check_angles(x)
    if float(y.max()) <= 0 or float(y.max()) == float(y.min()):
        raise NothingMeasured(f"The counts run from {y.min():g} to {y.max():g}.")
    return x, y


def _check_angles(x: Array) -> None:
    """Refuse angles in another unit, that fall, or repeat: the unit first, for it explains the rest."""
    _check_unit(float(x.min()), float(x.max()))
    steps = np.diff(x)
    if (steps <= 0).any():
        if (steps < 0).all():
            raise AnglesOutOfOrder(f"The angles fall from {x[0]:g} to {x[-1]:g}.")
        at = int(np.flatnonzero(steps <= 0)[0])
        raise AnglesOutOfOrder(f"After row {at + 1} the angle goes from {x[at]:g} to {x[at + 1]:g}.")


def _check_unit(low: float, high: float) -> None:
    """Refuse a range that no scan in degrees has."""
    if low <= 0 or high >= 180:
        raise NotDegrees(f"The first column runs from {low:g} to {high:g}, which cannot be 2θ in degrees.")
    if high < 3.2:
        raise NotDegrees(f"The first column ends at {high:g}: these look like radians, or d in nm.")
    if high < 15:
        raise NotDegrees(
            f"The first column ends at {high:g}: this looks like q in 1/Å or d in Å, not 2θ in degrees."
        )


def quality(two_theta_deg: Array, counts: Array) -> Quality:
    """Look at a pattern before any phase is named.

    Raises
    ------
    TooFewPoints, NotNumbers, AnglesOutOfOrder, NotDegrees, NothingMeasured
    """
    x, y = checked(two_theta_deg, counts)
    base = float(np.percentile(y, 25))
    whole = bool(np.all(np.abs(y - np.round(y)) < 1e-6))
    factor, variance, smooth = _scatter(y)
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
    )
    return replace(found, remarks=_remarks(found, x, y))


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
            q.highest <= 100.5 and not q.counts_are_whole,
            "NORMALISED",
            "warning",
            (
                f"The highest point is {q.highest:g}: the pattern looks scaled to 100, so weights "
                "are taken from its scatter."
            ),
            q.highest,
            "Give raw counts.",
        ),
        (
            q.highest > 100.5 and not q.counts_are_whole,
            "NON_INTEGER",
            "warning",
            "The counts are not whole numbers: weights are taken from their scatter.",
            None,
            "Give raw counts, or a column of uncertainties.",
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
            bool((y >= 0).all()) and q.noise_factor > NOISY,
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
            q.smoothness < 0.7,
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


def weights(counts: Array, q: Quality, sigma: Array | None = None) -> Array:
    """Give the standard uncertainty of each count: as given, from counting, or from scatter if scaled."""
    if sigma is not None and np.all(np.isfinite(sigma)) and np.all(sigma > 0):
        return np.asarray(sigma, dtype=np.float64)
    if q.noise_factor > NOISY or bool((counts < 0).any()):
        # Counting noise of what was taken off is still there: it is read from the quiet points.
        net = np.maximum(counts - q.background_level, 0.0)
        return np.asarray(np.sqrt(net + max(q.scatter_variance, 1e-12)), dtype=np.float64)
    if q.counts_are_whole:
        return np.asarray(np.sqrt(np.maximum(counts, 1.0)), dtype=np.float64)
    floor = max(float(np.percentile(np.abs(counts), 5)), 1e-6 * q.highest)
    return np.asarray(np.sqrt(max(q.noise_factor, 1e-12) * np.maximum(counts, floor)), dtype=np.float64)
