"""Estimates as they are set: value, interval, unit and n, all with the digits that the interval allows."""

from math import floor, log10

from teardown.page.typesetting.numbers import NARROW, THIN, decimals_for, number, span, with_unit
from teardown.science.estimate import Estimate


def estimate_parts(estimate: Estimate, *, percent: bool = False) -> tuple[str, str, str, str]:
    """Give value, low, high and unit as set: all with the digits that the interval allows.

    ``percent`` shows a fraction of 0 to 1 as percent; only a dimensionless estimate can be.
    """
    if percent and estimate.unit != "1":
        raise ValueError(f"An estimate in {estimate.unit} is not shown as percent.")
    factor, unit = (100, "%") if percent else (1, estimate.unit)
    value, low, high = (factor * v for v in (estimate.value, estimate.low, estimate.high))
    if high > low:
        # an interval may be too narrow to be meant: nothing here is known to more than six digits
        most = 5 - floor(log10(abs(value))) if value else 9
        decimals: int | None = min(decimals_for((high - low) / 2), most)
    else:
        decimals = None
    return number(value, decimals), number(low, decimals), number(high, decimals), unit


def interval(estimate: Estimate, *, percent: bool = False) -> str:
    """Set the 95 % interval with its unit: "66–76 %"."""
    _, low, high, unit = estimate_parts(estimate, percent=percent)
    return with_unit(span(low, high), unit)


def estimate_line(estimate: Estimate, *, percent: bool = False) -> str:
    """Set an estimate on one line: "71 % (66–76 %, n 5)"."""
    value, _, _, unit = estimate_parts(estimate, percent=percent)
    return f"{with_unit(value, unit)} ({interval(estimate, percent=percent)}, n{NARROW}{estimate.n})"


def estimate_cell(estimate: Estimate, *, percent: bool = False) -> str:
    """Set an estimate for a table whose head carries the unit: "71 (66–76)"."""
    value, low, high, _ = estimate_parts(estimate, percent=percent)
    return f"{value} ({span(low, high)})"


def plus_minus(value: float, half_width: float, unit: str = "") -> str:
    """Set value and half width alike: "0.976 ± 0.008"."""
    if half_width <= 0:
        return with_unit(number(value), unit)
    decimals = decimals_for(half_width)
    return with_unit(f"{number(value, decimals)}{THIN}±{THIN}{number(half_width, decimals)}", unit)
