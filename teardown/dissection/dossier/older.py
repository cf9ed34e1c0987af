"""An import of older records as its page shows it."""

from dataclasses import dataclass
from typing import Any

from teardown.dissection.intake.pictures import openings_of
from teardown.files.models import Delivery, Receipt
from teardown.page.typesetting import as_count

MOST = 300
"""Rows of a plan that the page shows; all of them are written."""


@dataclass(frozen=True, slots=True)
class OlderPage:
    """What an import would bring, or brought."""

    delivery: Delivery
    steps: tuple[dict[str, Any], ...]
    refused: int
    unusual: int
    coming: int
    same: int
    cells: int
    asks: bool
    photographs: bool
    unopened: int
    originals: tuple[Receipt, ...]

    @property
    def sentence(self) -> str:
        """Say where it stands."""
        if self.delivery.state == Delivery.State.WITHDRAWN:
            return "Withdrawn: what it brought stays to be seen, and counts no longer."
        if self.asks:
            return (
                "Kept as it came. Say what its columns are; nothing is written before you saw what it brings."
            )
        what = as_count(self.coming, "photograph" if self.photographs else "observation")
        of = f" of {as_count(self.cells, 'cell')}" if self.cells else ""
        if self.delivery.state == Delivery.State.APPLIED:
            waiting = as_count(self.unopened, "cell")
            waits = f" {waiting} of them without a day of opening: under Waiting still."
            return f"{what}{of} written, marked as transcribed.{waits if self.unopened else ''}"
        rest = f", {as_count(self.refused, 'value')} refused" if self.refused and not self.photographs else ""
        rest = f", {as_count(self.refused, 'file')} refused" if self.refused and self.photographs else rest
        same = f", {self.same} there already" if self.same else ""
        return f"{what}{of} understood{rest}{same}. Nothing is written yet."

    @property
    def more(self) -> int:
        """Tell how many rows of the plan the page does not show."""
        return len(self.delivery.planned) - len(self.steps)


def older_page(delivery: Delivery) -> OlderPage:
    """Gather the page."""
    steps = delivery.planned
    photographs = delivery.kind == "dissection.photographs"
    coming = [step for step in steps if step["does"] == "new"]
    originals = Receipt.objects.filter(pk__in=delivery.column_map.get("originals", [])).select_related("file")
    return OlderPage(
        delivery=delivery,
        steps=tuple(steps[:MOST]),
        refused=len(delivery.refusals),
        unusual=sum(bool(step.get("unusual")) for step in coming),
        coming=len(coming),
        same=len(steps) - len(coming),
        cells=len({step["code"] for step in coming}),
        asks=bool(delivery.column_map.get("asked")),
        photographs=photographs,
        unopened=len(openings_of(steps)) if photographs else 0,
        originals=tuple(originals) or (delivery.receipt,),
    )
