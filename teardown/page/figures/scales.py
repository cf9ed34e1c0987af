"""From values to places on the paper, and where the ticks stand."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from math import ceil, floor, isfinite, log10, sqrt
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from teardown.page.figures.description import Axis
from teardown.page.typesetting import NARROW, number

_POWERS: dict[str, Callable[..., Any]] = {"linear": lambda v: v, "log": np.log10, "sqrt": np.sqrt}


@dataclass(frozen=True, slots=True)
class Scale:
    """Maps ``low..high`` onto ``start..end`` of the drawing."""

    kind: str
    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: ArrayLike) -> NDArray[np.float64]:
        """Place values; what cannot stand on this scale (zero on log) becomes NaN."""
        bend = _POWERS[self.kind]
        with np.errstate(divide="ignore", invalid="ignore"):
            bent = bend(np.asarray(value, dtype=float))
        bent = np.where(np.isfinite(bent), bent, np.nan)
        share = (bent - bend(self.low)) / (bend(self.high) - bend(self.low))
        return np.asarray(self.start + share * (self.end - self.start))

    def at(self, value: float) -> float:
        """Place one value."""
        return float(self(value))


NO_RANGE = 1e-200  # nothing that is measured spans less, and a float that small cannot be cut into steps


def scale_for(
    axis: Axis, values: Iterable[float], start: float, end: float, room: float = 60
) -> tuple[Scale, list[float]]:
    """Make the scale of an axis from its limits or its data, and its ticks about ``room`` units apart."""
    finite = np.array(
        [
            v
            for v in values
            if isfinite(v) and (axis.scale == "linear" or v > 0 or (axis.scale == "sqrt" and v == 0))
        ]
    )
    low = (
        axis.low
        if axis.low is not None
        else (float(finite.min()) if finite.size else (1.0 if axis.scale == "log" else 0.0))
    )
    high = axis.high if axis.high is not None else (float(finite.max()) if finite.size else low + 1.0)
    if high <= low or (axis.scale != "log" and high - low < NO_RANGE):
        wider = abs(low) * 0.1
        high = low * 10 if axis.scale == "log" else low + (wider if wider > NO_RANGE else 1.0)
    wanted = max(2, round(abs(end - start) / room))
    if axis.scale == "log":
        low, high, ticks = _log_ticks(low, high, wanted)
    else:
        step = nice_step(low, high, wanted, whole=axis.whole)
        if axis.scale == "sqrt":
            low = axis.low if axis.low is not None else 0.0
        elif axis.low is None and not axis.whole:
            low = floor(low / step + 1e-9) * step
        if axis.high is None and not axis.whole:
            high = ceil(high / step - 1e-9) * step
        ticks = _sqrt_ticks(low, high) if axis.scale == "sqrt" else linear_ticks(low, high, step)
    if axis.ticks is not None:
        ticks = [t for t in axis.ticks if low <= t <= high]
    return Scale(axis.scale, low, high, start, end), ticks


def nice_step(low: float, high: float, wanted: int, *, whole: bool = False) -> float:
    """Give a step of 1, 2 or 5 times a power of ten that cuts the range into about ``wanted`` pieces.

    After Heckbert, "Nice numbers for graph labels", Graphics Gems (1990).
    """
    raw = (high - low) / max(wanted, 1)
    power = 10.0 ** floor(log10(raw))
    lead = raw / power
    step = power * (1 if lead < 1.5 else 2 if lead < 3.5 else 5 if lead < 7.5 else 10)
    return max(step, 1.0) if whole else step


def linear_ticks(low: float, high: float, step: float) -> list[float]:
    """List the multiples of ``step`` from low to high."""
    first, last = ceil(low / step - 1e-9), floor(high / step + 1e-9)
    return [round(i * step, 12) for i in range(first, last + 1)]


def _sqrt_ticks(low: float, high: float) -> list[float]:
    pieces = np.linspace(sqrt(max(low, 0)), sqrt(high), 6) ** 2
    ticks = [0.0] if low <= 0 else []
    for piece in pieces[1:]:
        power = 10.0 ** floor(log10(piece))
        nice = min((1, 2, 5, 10), key=lambda lead: abs(lead - piece / power)) * power
        if low <= nice <= high and nice not in ticks:
            ticks.append(float(nice))
    return ticks


def _log_ticks(low: float, high: float, wanted: int) -> tuple[float, float, list[float]]:
    if low <= 0:
        low = high / 1e3
    first, last = floor(log10(low) + 1e-9), ceil(log10(high) - 1e-9)
    for leads in ((1, 2, 5), (1, 3), (1,)):
        ticks = [
            lead * 10.0**p
            for p in range(first, last + 1)
            for lead in leads
            if low * (1 - 1e-9) <= lead * 10.0**p <= high * (1 + 1e-9)
        ]
        if len(ticks) <= wanted + 1:
            break
    every = max(1, ceil(len(ticks) / (wanted + 1)))
    return low, high, ticks[::every]


def tick_words(ticks: list[float], axis: Axis) -> list[str]:
    """Set the ticks of one axis, all with as many decimals as the finest needs."""
    if axis.names and axis.ticks is not None:
        return [dict(zip(axis.ticks, axis.names, strict=True))[t] for t in ticks]
    shown = [100 * t for t in ticks] if axis.percent else list(ticks)
    unit = f"{NARROW}%" if axis.percent else ""
    if any(t and not 1e-4 <= abs(t) < 1e7 for t in shown):
        return [number(t) + unit for t in shown]
    if axis.scale != "linear":
        return [number(t) + unit for t in shown]
    decimals = max((_decimals(t) for t in shown), default=0)
    return [number(t, decimals) + unit for t in shown]


def _decimals(value: float) -> int:
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return len(text.partition(".")[2])
