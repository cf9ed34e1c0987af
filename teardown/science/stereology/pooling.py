"""From fields to a sample, and from samples to an electrode: what is known, and how well.

Fields are pooled by ratios of sums, never by averaging ratios. The doubt about the levels does not shrink
with more fields, so it is kept apart and added at the end.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import hypot, sqrt

import numpy as np
from scipy.special import chdtrc, stdtrit

from teardown.science.errors import MeasurementError, Remark
from teardown.science.estimate import Estimate
from teardown.science.stereology.ratios import QUANTITIES, Parts, Quantity

MOST_FIELDS = 400


class NothingToPool(MeasurementError):
    """No field was given."""

    code = "stereology.E020"
    hint = "Measure at least one field first."


@dataclass(frozen=True, slots=True)
class FieldSummary:
    """What pooling needs of a field: sums in pixels, standard uncertainties in the estimate's unit,
    pixel size, and how much lower or higher a share may be for what cannot be seen or told."""

    parts: Mapping[str, Parts]
    sampling_error: Mapping[str, float]
    threshold_uncertainty: Mapping[str, float]
    pixel_size_um: float | None = None
    open_below: Mapping[str, float] = field(default_factory=dict)
    open_above: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Pooled:
    """One quantity over the fields of a sample, with the parts of its interval.

    ``sampling_half_width`` is Student's t over fields (for one field, its own covariance),
    ``threshold_half_width`` 1.96 standard uncertainties of the levels, ``covariance_half_width`` what the
    fields' own covariances give.
    """

    estimate: Estimate
    sampling_half_width: float
    threshold_half_width: float
    covariance_half_width: float
    between_fields: float | None


@dataclass(frozen=True, slots=True)
class SampleResult:
    """All quantities over the fields of a sample, flags, and how many more fields the goal asks for."""

    quantities: dict[str, Pooled]
    fields: int
    fields_needed: int | None
    flags: tuple[Remark, ...]

    @property
    def estimates(self) -> dict[str, Estimate]:
        """Give the estimates alone."""
        return {key: pooled.estimate for key, pooled in self.quantities.items()}


def pool_fields(fields: Sequence[FieldSummary], *, goal_half_width: float = 0.02) -> SampleResult:
    """Pool the fields of one sample.

    Raises
    ------
    NothingToPool
        If no field is given.
    """
    if not fields:
        raise NothingToPool("There are no fields.")
    scaled = [one for one in fields if one.pixel_size_um is not None]
    quantities = {}
    for quantity in QUANTITIES:
        # lengths of unscaled fields cannot join those in micrometres
        usable = scaled if scaled and quantity.power else fields
        pooled = _pool_one(quantity, usable, scaled=bool(scaled) and len(usable) == len(scaled))
        if pooled is not None:
            quantities[quantity.key] = pooled
    porosity = quantities.get("porosity")
    needed = _needed(porosity, len(fields), goal_half_width) if porosity else None
    return SampleResult(quantities, len(fields), needed, _flags(fields, len(scaled)))


def _pool_one(quantity: Quantity, fields: Sequence[FieldSummary], *, scaled: bool) -> Pooled | None:
    above, below, errors, doubts, sides = [], [], [], [], []
    for one in fields:
        part = one.parts.get(quantity.key)
        if part is None:
            continue
        size = one.pixel_size_um or 1.0 if scaled else 1.0
        above.append(part.above * size ** (quantity.power + quantity.below_power))
        below.append(part.below * size**quantity.below_power)
        errors.append(one.sampling_error.get(quantity.key, 0.0))
        doubts.append(one.threshold_uncertainty.get(quantity.key, 0.0))
        sides.append([one.open_below.get(quantity.key, 0.0), one.open_above.get(quantity.key, 0.0)])
    x, y = np.array(above), np.array(below)
    n, total = len(x), float(y.sum())
    if n == 0 or total <= 0:
        return None
    ratio = float(x.sum()) / total
    own = 1.96 * float(np.sqrt(((y * np.array(errors)) ** 2).sum())) / total
    between = None
    sampling = own
    method = "one field, from its own covariance, with the levels' doubt"
    if n > 1:
        spread = float(np.sqrt(n * ((x - ratio * y) ** 2).sum() / (n - 1))) / total
        between = spread * sqrt(n)
        sampling = float(stdtrit(n - 1, 0.975)) * spread
        method = "ratio of sums over fields, Student's t, with the levels' doubt"
    # the levels are shared by the fields, so their doubt is averaged and not divided by the root of n
    doubt = 1.96 * float((y * np.array(doubts)).sum()) / total
    half = hypot(sampling, doubt)
    # what cannot be seen in a field stays unseen, however many there are
    lower, higher = (y[:, None] * np.array(sides)).sum(axis=0) / total
    low, high = max(ratio - half - float(lower), 0.0), ratio + half + float(higher)
    if quantity.bounded:
        high = min(high, 1.0)
    unit = quantity.unit(scaled and all(one.pixel_size_um is not None for one in fields))
    value = Estimate(ratio, min(low, ratio), max(high, ratio), unit, n, method)
    return Pooled(value, sampling, doubt, own, between)


def fields_needed(spread: float, goal_half_width: float) -> int | None:
    """Count the fields whose Student interval is within the goal, for a scatter between fields of ``spread``.

    Returns
    -------
    int or None
        At least 2; None if more than 400 would be needed.
    """
    for n in range(2, MOST_FIELDS + 1):
        if float(stdtrit(n - 1, 0.975)) * spread / sqrt(n) <= goal_half_width:
            return n
    return None


def _needed(porosity: Pooled, n: int, goal: float) -> int | None:
    """Count fields still to be taken."""
    spread = porosity.between_fields if n >= 3 else None
    if spread is None:
        spread = porosity.covariance_half_width / 1.96 * sqrt(n)
    wanted = fields_needed(spread, goal)
    return None if wanted is None else max(wanted - n, 0)


def _flags(fields: Sequence[FieldSummary], scaled: int) -> tuple[Remark, ...]:
    found = []
    n = len(fields)
    if n < 3:
        found.append(
            Remark(
                "few_fields",
                "info",
                f"Only {n} field{'s' if n > 1 else ''} of this sample {'are' if n > 1 else 'is'} measured.",
                float(n),
                "",
                "Take at least five, on a grid fixed before looking.",
            )
        )
    if 0 < scaled < n:
        found.append(
            Remark(
                "mixed_scale",
                "warning",
                f"{n - scaled} of {n} fields have no scale; lengths rest on the others.",
                float(n - scaled),
                "",
                "Give their scale.",
            )
        )
    p = disagreement(fields)
    if p is not None and p < 0.01:
        found.append(
            Remark(
                "fields_disagree",
                "warning",
                f"The fields' porosities differ more than their own scatter allows (p = {p:.2g}).",
                p,
                "",
                "Look whether the sample is layered, or one field is faulty.",
            )
        )
    return tuple(found)


def disagreement(fields: Sequence[FieldSummary], key: str = "porosity") -> float | None:
    """Give the chance of fields differing this much if only their own sampling errors part them."""
    known = [
        (part.value, one.sampling_error.get(key, 0.0))
        for one in fields
        if (part := one.parts.get(key)) is not None and part.value is not None
    ]
    known = [(value, error) for value, error in known if error > 0]
    if len(known) < 2:
        return None
    values, errors = (np.array(column, float) for column in zip(*known, strict=True))
    weights = 1 / errors**2
    mean = float((weights * values).sum() / weights.sum())
    return float(chdtrc(len(values) - 1, float((weights * (values - mean) ** 2).sum())))


@dataclass(frozen=True, slots=True)
class ElectrodeResult:
    """One quantity over the samples of an electrode."""

    estimate: Estimate | None
    mean: float
    between_samples: float | None
    samples: int
    words: str


def pool_samples(values: Sequence[Estimate]) -> ElectrodeResult:
    """Pool sample values to an electrode: the sample, not the field, is what is repeated.

    With one sample the scatter between samples is unknown, so no interval is given.

    Raises
    ------
    NothingToPool
        If no sample is given.
    """
    if not values:
        raise NothingToPool("There are no samples.")
    numbers = np.array([value.value for value in values])
    mean, n = float(numbers.mean()), len(numbers)
    if n == 1:
        return ElectrodeResult(
            None, mean, None, 1, "One sample: nothing is known of the scatter between samples."
        )
    spread = float(numbers.std(ddof=1))
    half = float(stdtrit(n - 1, 0.975)) * spread / sqrt(n)
    low, high = mean - half, mean + half
    if values[0].unit == "1":
        low, high = max(low, 0.0), min(high, 1.0)
    estimate = Estimate(mean, low, high, values[0].unit, n, "mean of samples, Student's t over samples")
    return ElectrodeResult(estimate, mean, spread, n, f"{n} samples.")
