"""The figures of one test."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from teardown.cells.models import Test
from teardown.cycling.dossier.axes import Column, View
from teardown.cycling.models import TestSummary
from teardown.page.figures import Axis, Band, Curve, Figure, Rule
from teardown.page.figures.description import Dash, End, Style
from teardown.page.typesetting import fraction_as_percent, number
from teardown.science.constants import GAS_CONSTANT_J_PER_MOL_K, FARADAY_Ah_PER_MOL

Columns = Mapping[str, Column]
LITRES_PER_AH = GAS_CONSTANT_J_PER_MOL_K * 298.15 / 101_325 * 1000 / (2 * FARADAY_Ah_PER_MOL)
LINES: tuple[tuple[Style, Dash], ...] = (
    ("ink", ""),
    ("accent", ""),
    ("soft", ""),
    ("ink", "dashed"),
    ("accent", "dashed"),
    ("soft", "dashed"),
)


def end_of(test: Test) -> End:
    """Say how the curve of a test ends."""
    if test.end is None:
        return ""
    return "censored" if test.end.data.get("censors") else "failed"


def capacity(test: Test, columns: Columns, summary: TestSummary | None, view: View) -> Figure:
    """Draw capacity, efficiencies, the 80 % line, the knee with its interval, and how the test ended."""
    x, whole = view.x(columns), columns["complete"] > 0.5
    like = whole & (columns["check_up"] < 0.5)
    capacity_Ah = columns["discharge_Ah"] * view.factor
    code = test.cell.code
    curves = [
        Curve(
            "capacity",
            _list(x),
            _list(np.where(like, capacity_Ah, np.nan)),
            end=end_of(test),
            key=f"cell:{code}",
            name="discharge capacity",
        )
    ]
    curves += _apart(columns, x, capacity_Ah) + _efficiencies(columns, x)
    top = float(np.nanmax(capacity_Ah)) if capacity_Ah.size else 1.0
    return Figure(
        title=f"Capacity and efficiency of {code}",
        description=_told(summary),
        x=view.x_axis(),
        y=Axis(view.y_label, low=0.0, high=1.35 * top),
        right=Axis("efficiency", low=0.0, high=1.0, percent=True),
        curves=tuple(curves),
        rules=_limit(summary, view),
        bands=_knee(summary, columns, view),
        width=760,
        height=380,
    )


def _apart(columns: Columns, x: Column, capacity: Column) -> list[Curve]:
    """Set open points for cycles that count in no comparison."""
    groups: tuple[tuple[str, NDArray[np.bool_], Style], ...] = (
        ("check-up", columns["check_up"] > 0.5, "ink"),
        ("not complete", columns["complete"] < 0.5, "soft"),
    )
    return [
        Curve(
            "",
            _list(x[mask]),
            _list(capacity[mask]),
            kind="points",
            hollow=True,
            style=style,
            name=f"{label} cycle",
        )
        for label, mask, style in groups
        if mask.any()
    ]


def _efficiencies(columns: Columns, x: Column) -> list[Curve]:
    """Draw coulombic and energy efficiency of complete cycles on the right axis."""
    shares: tuple[tuple[str, str, Style], ...] = (
        ("coulombic_efficiency", "coulombic", "accent"),
        ("energy_efficiency", "energy", "soft"),
    )
    whole = columns["complete"] > 0.5
    return [
        Curve(
            words,
            _list(x),
            _list(np.where(whole, columns[name], np.nan)),
            style=style,
            side="right",
            name=f"{words} efficiency",
        )
        for name, words, style in shares
    ]


def _limit(summary: TestSummary | None, view: View) -> tuple[Rule, ...]:
    if summary is None or not summary.q_ref_Ah:
        return ()
    return (Rule(0.8 * summary.q_ref_Ah * view.factor, "80 % of peak"),)


def _knee(summary: TestSummary | None, columns: Columns, view: View) -> tuple[Band, ...]:
    if summary is None or summary.knee_cycle is None:
        return ()
    low, high = summary.knee_low or summary.knee_cycle, summary.knee_high or summary.knee_cycle
    words = f"knee {number(summary.knee_cycle, 0)} ({number(low, 0)}–{number(high, 0)})"
    return (Band(view.place(columns, low), view.place(columns, high), words),)


def _told(summary: TestSummary | None) -> str:
    if summary is None or summary.q_ref_Ah is None or summary.retention is None:
        return "Capacity and efficiencies over the test."
    return (
        f"Capacity peaks at {number(summary.q_ref_Ah)} Ah and stands at "
        f"{fraction_as_percent(summary.retention)} of it after {summary.n_complete} complete cycles."
    )


def voltages(columns: Columns, view: View) -> Figure | None:
    """Draw mean voltages on charge and discharge, and the voltages that rests end at."""
    x, whole = view.x(columns), columns["complete"] > 0.5
    named: tuple[tuple[str, str, Style, Dash], ...] = (
        ("mean_charge_V", "mean, charge", "ink", ""),
        ("mean_discharge_V", "mean, discharge", "ink", ""),
        ("rest_after_charge_V", "rest after charge", "soft", "dashed"),
        ("rest_after_discharge_V", "rest after discharge", "soft", "dashed"),
    )
    curves = [
        Curve(
            words,
            _list(x),
            _list(np.where(whole, columns[name], np.nan)),
            style=style,
            dash=dash,
            name=f"{words}, V",
        )
        for name, words, style, dash in named
        if np.isfinite(columns[name][whole]).any()
    ]
    if not curves:
        return None
    return Figure(
        "Voltages over the test",
        "Mean voltages and the voltages at the end of rests; their gap is the polarisation.",
        view.x_axis(),
        Axis("voltage, V"),
        tuple(curves),
        width=620,
        height=300,
    )


def resistance(columns: Columns, view: View) -> Figure | None:
    """Draw the resistance with its delay in the name of the axis."""
    x, ohm = view.x(columns), np.where(columns["complete"] > 0.5, columns["resistance_ohm"], np.nan)
    if not np.isfinite(ohm).any():
        return None
    delay = float(np.nanmedian(columns["resistance_delay_s"]))
    curves = [Curve("", _list(x), _list(ohm), name="resistance, ohm")]
    written = columns.get("written_ohm", np.full(x.size, np.nan))  # not in what older runs kept
    if np.isfinite(written).any():
        name = "as the cycler wrote it, ohm"
        curves.append(Curve("as the cycler wrote it", _list(x), _list(written), style="soft", name=name))
    return Figure(
        "Resistance over the test",
        "Change of voltage over change of current where the discharge begins.",
        view.x_axis(),
        Axis(f"resistance after {number(delay, 0)} s, ohm", low=0.0),
        tuple(curves),
        width=620,
        height=300,
    )


def loss(columns: Columns, view: View) -> Figure | None:
    """Draw the cumulative coulombic loss, with the hydrogen that it would be on the second axis."""
    lost = columns["loss_Ah"]
    if not lost.size or not np.isfinite(lost).all():
        return None
    top = max(float(lost.max()), 1e-9) * 1.05
    low = min(float(lost.min()), 0.0) * 1.05
    return Figure(
        "Charge lost",
        "Charge taken less charge given since the test began, and the hydrogen it would be.",
        view.x_axis(),
        Axis("charge lost, Ah", low=low, high=top),
        (Curve("", _list(view.x(columns)), _list(lost), name="charge lost, Ah"),),
        right=Axis("hydrogen it would be, L", low=low * LITRES_PER_AH, high=top * LITRES_PER_AH),
        width=620,
        height=300,
    )


def _list(values: Sequence[float] | Column) -> tuple[float, ...]:
    return tuple(float(v) for v in values)
