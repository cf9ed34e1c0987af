"""What a cell did while it lived, as a figure."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from teardown.cells.models import Test
from teardown.cycling.models import Curves, TestSummary
from teardown.cycling.store import unpack
from teardown.files.models import Run
from teardown.page.figures import Axis, Band, Curve, Figure, Rule
from teardown.page.figures.description import End
from teardown.page.typesetting import as_count, fraction_as_percent, number
from teardown.records.rules import subject_of

Columns = Mapping[str, NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class History:
    """The last test of a cell with its curves and what they come to."""

    test: Test
    columns: Columns
    summary: TestSummary | None

    @property
    def end(self) -> End:
        """Say how the curve ends: "failed", "censored", or "" while it runs."""
        if self.test.end is None:
            return ""
        return "censored" if self.test.end.data.get("censors") else "failed"


def histories_of(cells: Iterable[int]) -> dict[int, History]:
    """Give the history of the last test of each cell. Three queries, however many cells."""
    tests = (
        Test.objects.filter(cell__in=list(cells))
        .select_related("end", "protocol__protocol")
        .order_by("number")
    )
    last = {test.cell_id: test for test in tests}
    ids = [test.pk for test in last.values()]
    curves = {c.test_id: unpack(c) for c in Curves.objects.filter(test__in=ids)}
    summaries = {s.test_id: s for s in TestSummary.objects.filter(test__in=ids).order_by("pk")}
    return {cell: History(t, curves.get(t.pk, {}), summaries.get(t.pk)) for cell, t in last.items()}


def summing_up(test: Test) -> str:
    """Tell whether a history without curves is being worked out (``waiting``) or failed (``failed``)."""
    run = Run.objects.filter(function="cycling.summarise", subject=subject_of(test)).order_by("-pk").first()
    if run is None or run.state == Run.State.DONE:
        return ""
    return "failed" if run.state == Run.State.FAILED else "waiting"


def capacity_figure(code: str, history: History, *, small: bool = False) -> Figure | None:
    """Draw capacity in ink and efficiency in accent over the cycles, the knee as wide as its interval.

    The capacity axis leaves air above, so that the two curves do not lie on each other.
    """
    columns, summary = history.columns, history.summary
    if "discharge_Ah" not in columns or not len(columns["discharge_Ah"]):
        return None
    cycle = columns.get("cycle", np.arange(1, len(columns["discharge_Ah"]) + 1, dtype=float))
    whole = columns.get("complete", np.ones_like(cycle)) > 0.5
    check_up = columns.get("check_up", np.zeros_like(cycle)) > 0.5
    capacity = np.where(whole & ~check_up, columns["discharge_Ah"], np.nan)
    q_ref = summary.q_ref_Ah if summary else None
    end_label = ""
    if summary and summary.retention is not None and history.end:
        end_label = fraction_as_percent(summary.retention)
    curves = [
        Curve(
            "capacity",
            tuple(cycle),
            tuple(capacity),
            end=history.end,
            end_label=end_label,
            key=f"cell:{code}",
            name=f"{code}, capacity in Ah",
        )
    ]
    if "coulombic_efficiency" in columns:
        share = np.where(whole, columns["coulombic_efficiency"], np.nan)
        named = f"{code}, coulombic efficiency"
        curves.append(
            Curve(
                "coulombic efficiency", tuple(cycle), tuple(share), style="accent", side="right", name=named
            )
        )
    if check_up.any() and not small:
        rates = (tuple(cycle[check_up]), tuple(columns["discharge_Ah"][check_up]))
        curves.append(Curve("", *rates, kind="points", hollow=True, name=f"{code}, check-up cycle"))
    limit = history.test.protocol.capacity_limit
    rules = (Rule(limit * q_ref, f"{fraction_as_percent(limit)} of peak"),) if limit and q_ref else ()
    top = float(np.nanmax(capacity)) if np.isfinite(capacity).any() else 1.0
    return Figure(
        title=f"Capacity of {code}",
        description=_told(history),
        x=Axis("cycle", whole=True),
        y=Axis("capacity, Ah", low=0.0, high=1.3 * top),
        curves=tuple(curves),
        right=Axis("efficiency", low=0.0, high=1.0, percent=True, ticks=(0.0, 1.0)),
        bands=_knee(summary),
        rules=rules,
        width=270 if small else 640,
        height=132 if small else 330,
        plain=small,
    )


def _knee(summary: TestSummary | None) -> tuple[Band, ...]:
    if summary is None or summary.knee_cycle is None:
        return ()
    low, high = summary.knee_low or summary.knee_cycle, summary.knee_high or summary.knee_cycle
    return (Band(low, high, f"knee {number(summary.knee_cycle, 0)} ({number(low, 0)}–{number(high, 0)})"),)


def _told(history: History) -> str:
    summary = history.summary
    if summary is None or summary.q_ref_Ah is None or summary.q_last_Ah is None:
        return "Capacity and coulombic efficiency over the cycles."
    return (
        f"From a reference of {number(summary.q_ref_Ah)} Ah to {number(summary.q_last_Ah)} Ah at the last of "
        f"{as_count(summary.n_complete, 'complete cycle')}."
    )


def caption(history: History) -> str:
    """Say what the figure shows, mark by mark."""
    summary = history.summary
    parts = [f"{as_count(summary.n_complete, 'complete cycle')}." if summary else ""]
    if history.test.end is not None:
        mark = "Open point: stopped, not failed" if history.end == "censored" else "Point: ended"
        parts.append(f"{mark} ({history.test.end.words}).")
    if summary and summary.knee_cycle is not None:
        parts.append("Band: knee with its 95 % interval.")
    return " ".join(filter(None, parts))
