"""Can this powder pattern be fitted? What is refused, how it looks, and the weight of each count."""

import numpy as np
from numpy.typing import NDArray

from teardown.science.crystallography.looks import NOISY, Quality, looks_of
from teardown.science.errors import MeasurementError

__all__ = ["NOISY", "Quality", "checked", "quality", "weights"]

Array = NDArray[np.float64]
FEWEST_POINTS = 100


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
    """The counts say nothing: all alike, below zero throughout, or rising as angles do."""

    code = "crystallography.E014"
    hint = "Check which column holds the counts."


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
    steps = np.diff(y)
    if (steps >= 0).all() or (steps <= 0).all():
        way = "rise" if y[-1] > y[0] else "fall"
        raise NothingMeasured(
            f"The counts {way} all along from {y[0]:g} to {y[-1]:g}, as angles and spacings do, not counts."
        )
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
    if low <= 0 and 15 <= high < 180:
        raise NotDegrees(
            f"The first column goes down to {low:g}; no line lies at 0 or below: cut such rows if it is 2θ."
        )
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
    return looks_of(*checked(two_theta_deg, counts))


def weights(counts: Array, q: Quality, sigma: Array | None = None) -> Array:
    """Give the standard uncertainty of each count: as given, from counting, or from scatter if scaled."""
    if sigma is not None and np.all(np.isfinite(sigma)) and np.all(sigma > 0):
        return np.asarray(sigma, dtype=np.float64)
    if q.unit > 1:  # one event was booked as so many
        return np.asarray(np.sqrt(q.unit * np.maximum(counts, q.unit)), dtype=np.float64)
    if q.noise_factor > NOISY or bool((counts < 0).any()):
        # Counting noise of what was taken off is still there: it is read from the quiet points.
        net = np.maximum(counts - q.background_level, 0.0)
        return np.asarray(np.sqrt(net + max(q.scatter_variance, 1e-12)), dtype=np.float64)
    if q.counts_are_whole and not q.scaled:
        return np.asarray(np.sqrt(np.maximum(counts, 1.0)), dtype=np.float64)
    floor = max(float(np.percentile(np.abs(counts), 5)), 1e-6 * q.highest)
    return np.asarray(np.sqrt(max(q.noise_factor, 1e-12) * np.maximum(counts, floor)), dtype=np.float64)
