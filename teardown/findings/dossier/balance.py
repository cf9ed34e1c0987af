"""What is shown of the balance of a cell: the ledger, the row of agreement, the flags, the making."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from teardown.cells.models import Cell
from teardown.files.models import Run
from teardown.findings.models import Balance
from teardown.page.figures import Bar, Waterfall
from teardown.page.figures.description import Style
from teardown.page.typesetting import estimate_parts, fraction_as_percent, interval, number, with_unit
from teardown.records.rules import subject_of
from teardown.science.errors import Remark
from teardown.science.estimate import Estimate

TIME_ZERO = (
    "This cell was opened at time zero: it is what other cells of its recipe are compared with, and has"
    " nothing before it to be compared with itself."
)


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity of the balance as shown."""

    key: str
    words: str
    estimate: Estimate
    narrowed_by: str
    narrowed_share: float
    methods_differ: bool

    @property
    def said(self) -> str:
        """Set value and interval: "0.419 Ah (0.386–0.451 Ah)"."""
        percent = self.estimate.unit == "1"
        value, _, _, unit = estimate_parts(self.estimate, percent=percent)
        return f"{with_unit(value, unit)} ({interval(self.estimate, percent=percent)})"


@dataclass(frozen=True)
class Shown:
    """The balance of one cell, or how far the asking for one is."""

    cell: Cell
    balance: Balance | None
    run: Run | None

    @property
    def waits(self) -> bool:
        """Tell whether a newer balance is being made."""
        return self.run is not None and self.run.state in (Run.State.QUEUED, Run.State.RUNNING)

    @property
    def refused(self) -> str:
        """Say why the latest asking came to nothing."""
        return self.run.error if self.run is not None and self.run.state == Run.State.FAILED else ""

    def _rows(self, kind: str) -> list[dict[str, Any]]:
        return [row for row in self.balance.rows if row["kind"] == kind] if self.balance else []

    @cached_property
    def quantities(self) -> tuple[Quantity, ...]:
        """Give the quantities in their order."""
        return tuple(
            Quantity(
                row["key"],
                row["words"],
                _estimate(row),
                row["narrowed_by"],
                row["narrowed_share"],
                row["methods_differ"],
            )
            for row in self._rows("quantity")
        )

    @property
    def marks(self) -> list[dict[str, Any]]:
        """Give the six comparisons."""
        return self._rows("mark")

    @property
    def assumed(self) -> list[dict[str, Any]]:
        """Say what was assumed for want of a measurement: words, number, source, where it is asked for."""
        return self._rows("assumed")

    @property
    def ledger(self) -> dict[str, Any] | None:
        """Give the ledger; that of a time-zero cell lacks nothing that another such cell would tell."""
        found = next(iter(self._rows("ledger")), None)
        if found and found["why_no_shares"] and self.cell.time_zero:
            return found | {"why_no_shares": TIME_ZERO}
        return found

    @property
    def bounds(self) -> str:
        """Say what locked oxide alone could explain, where its share is not known."""
        if self.ledger is None or self.ledger["shares_shown"] or self.cell.time_zero:
            return ""
        least, most = sorted(max(bound, 0.0) for bound in self.ledger["bounds"])
        return (
            f"Locked oxide by itself would explain {number(least, 3)} Ah if it was taken from reached and"
            f" unreached iron alike, and {number(most, 3)} Ah if from reached iron first."
        )

    @property
    def greyed(self) -> list[str]:
        """Say why the ledger is not to be relied on, where it is not."""
        return list(self.ledger["greyed"]) if self.ledger else []

    @property
    def flags(self) -> list[tuple[Remark, list[str]]]:
        """Give what does not add up, each with its possible causes."""
        if self.balance is None:
            return []
        names = ("code", "level", "message", "value", "where", "remedy")
        return [
            (Remark(**{name: flag[name] for name in names}), flag["causes"]) for flag in self.balance.flags
        ]

    @property
    def sentence(self) -> str:
        """Say first what became of the capacity."""
        if self.balance is None:
            if self.waits:
                return "The balance is being made."
            return "Charge, iron, volume and water of this cell have not been closed against each other yet."
        loss = _estimate(self.ledger["loss"]) if self.ledger else None
        lost = f"{number(loss.value, 3)} Ah of capacity was lost" if loss else "The cell was closed"
        words = {mark["verdict"] for mark in self.marks}
        if "contradiction" in words:
            return f"{lost}, and techniques contradict each other."
        if "look" in words:
            return f"{lost}; not everything agrees: look at what is marked."
        return f"{lost}; what can be compared agrees."

    @property
    def narrowest(self) -> str:
        """Name the measurement that would narrow locked charge most."""
        found = next((each for each in self.quantities if each.key == "locked_Ah"), None)
        if found is None or not found.narrowed_by:
            return ""
        share = fraction_as_percent(found.narrowed_share)
        return f"Of the variance of the locked charge, {share} comes from {found.narrowed_by}."

    @property
    def waterfall(self) -> Waterfall | None:
        """Draw the loss in its parts; those that no time-zero cell told stand hatched over their range."""
        if self.ledger is None:
            return None
        bars = []
        for term in self.ledger["terms"]:
            if term["charge"] is not None:
                found = _estimate(term["charge"])
                style: Style = "oxide" if term["key"] == "ledger_locked_Ah" else "soft"
                bars.append(Bar(term["words"], found.value, found.low, found.high, style))
            elif term["span"] is not None:
                low, high = term["span"]
                bars.append(Bar(term["words"], (low + high) / 2, low, high, bounds_only=True))
        loss = _estimate(self.ledger["loss"])
        bars.append(Bar("capacity lost", loss.value, loss.low, loss.high, "ink", total=True))
        return Waterfall(
            title=f"Where the capacity of {self.cell} went",
            description=self.sentence,
            unit="Ah",
            bars=tuple(bars),
        )


def balance_of(cell: Cell) -> Shown:
    """Gather the latest balance of a cell and the latest asking for one: two questions."""
    latest = Balance.objects.filter(cell=cell).select_related("run").first()
    runs = Run.objects.filter(function="findings.balance", subject=subject_of(cell))
    return Shown(cell, latest, runs.order_by("-pk").first())


def _estimate(row: dict[str, Any]) -> Estimate:
    return Estimate(row["value"], row["low"], row["high"], row["unit"], row["n"], row["method"])
