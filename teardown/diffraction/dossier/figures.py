"""A fit drawn: where lines stand, the counts with what was calculated, and what is left over.

The three stand over one axis, in this order, so that the eye goes from a line down to what it explains.
"""

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from teardown.page.figures import Axis, Curve, Figure, Mark, Rule
from teardown.page.figures.labels import text_width

Array = NDArray[np.float64]
Scale = Literal["linear", "log", "sqrt"]
WIDTH = 1180
ROW = 22
BAND_POINTS = 1500  # seen from further away the band is no wider than the line


@dataclass(frozen=True, slots=True)
class View:
    """Which stretch of the pattern is looked at, and on which scale."""

    low: float | None = None
    high: float | None = None
    scale: Scale = "sqrt"


def unpacked(curves: bytes | memoryview) -> dict[str, Array]:
    """Give the curves of a fit as arrays of floats."""
    with np.load(io.BytesIO(bytes(curves)), allow_pickle=False) as data:
        return {name: data[name].astype(np.float64) for name in data.files}


def figures_of(curves: Mapping[str, Array], names: Mapping[str, str], view: View) -> tuple[Figure, ...]:
    """Draw a fit: ladder of lines, counts, residual."""
    x = curves["two_theta_deg"]
    low = float(x[0]) if view.low is None else max(view.low, float(x[0]))
    high = float(x[-1]) if view.high is None else min(view.high, float(x[-1]))
    inside = (x >= low) & (x <= high)
    if inside.sum() < 10:
        low, high, inside = float(x[0]), float(x[-1]), np.ones(len(x), dtype=bool)
    part = {k: v[inside] for k, v in curves.items() if len(v) == len(x)}
    ticks = {k.removeprefix("ticks/"): v for k, v in curves.items() if k.startswith("ticks/")}
    sides = (max([48.0, *(text_width(names.get(k, k)) + 10 for k in ticks)]), 84.0)
    return (
        _ladder(ticks, names, low, high, sides),
        _counts(part, low, high, view.scale, sides),
        _residual(part, low, high, sides),
    )


Sides = tuple[float, float]


def _ladder(
    ticks: Mapping[str, Array], names: Mapping[str, str], low: float, high: float, sides: Sides
) -> Figure:
    """Set the lines of each phase on a rung of its own."""
    keys = list(ticks)
    marks = tuple(
        Mark(float(place), len(keys) - row, "", "tick", "ink", key=f"phase:{key}")
        for row, key in enumerate(keys)
        for place in ticks[key]
        if low <= place <= high
    )
    rungs = tuple(float(len(keys) - row) for row in range(len(keys)))
    return Figure(
        title="Where the lines stand",
        description="; ".join(
            f"{names.get(k, k)}: {sum(low <= p <= high for p in ticks[k])} lines" for k in keys
        ),
        x=Axis("", low, high, ticks=()),
        y=Axis(
            "lines of each phase",
            0.4,
            len(keys) + 0.6,
            ticks=rungs,
            names=tuple(names.get(k, k) for k in keys),
        ),
        marks=marks,
        width=WIDTH,
        height=48 + ROW * len(keys),
        sides=sides,
    )


def _counts(part: Mapping[str, Array], low: float, high: float, scale: Scale, sides: Sides) -> Figure:
    """Lay the calculated curve over the counts, with the background under both."""
    floor = 1.0 if scale == "log" else 0.0
    x = part["two_theta_deg"]
    measured, calculated, background = (
        np.maximum(part[k], floor) for k in ("measured", "calculated", "background")
    )
    near = len(x) <= BAND_POINTS
    top = float(max(measured.max(), calculated.max()))
    bottom = float(min(measured.min(), background.min()))
    return Figure(
        title="Counts",
        description=f"Measured and calculated counts from {low:.1f} to {high:.1f} degrees, up to {top:.0f}.",
        x=Axis("", low, high, ticks=()),
        y=Axis("counts", low=max(floor, 0.8 * bottom) if scale == "log" else None, scale=scale),
        curves=(
            Curve(
                "measured",
                _t(x),
                _t(measured),
                style="soft",
                low=_t(np.maximum(measured - 2 * part["sigma"], floor)) if near else None,
                high=_t(measured + 2 * part["sigma"]) if near else None,
                name="measured",
            ),
            Curve("background", _t(x), _t(background), style="faint", dash="dotted", name="background"),
            Curve("calculated", _t(x), _t(calculated), style="ink", name="calculated"),
        ),
        width=WIDTH,
        height=380,
        sides=sides,
    )


def _residual(part: Mapping[str, Array], low: float, high: float, sides: Sides) -> Figure:
    """Draw what is left over in standard deviations of the counts."""
    x = part["two_theta_deg"]
    left = (part["measured"] - part["calculated"]) / part["sigma"]
    reach = max(6.0, float(np.percentile(np.abs(left), 99.8)) * 1.1)
    worst = int(np.argmax(np.abs(left)))
    return Figure(
        title="Left over",
        description=f"Measured less calculated; most at {x[worst]:.2f}°: {left[worst]:.1f} deviations.",
        x=Axis("2θ, degrees", low, high),
        y=Axis("left over, in standard deviations", -reach, reach),
        curves=(Curve("", _t(x), _t(np.clip(left, -reach, reach)), style="accent", name="left over"),),
        rules=(Rule(3.0), Rule(-3.0)),
        width=WIDTH,
        height=170,
        sides=sides,
    )


def _t(values: Array) -> Sequence[float]:
    """Give plain floats."""
    found: Any = values.tolist()
    return tuple(found)
