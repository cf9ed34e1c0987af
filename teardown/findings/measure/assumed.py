"""What a balance takes for want of a measurement, and what a person stated in its place."""

from dataclasses import dataclass, field

from teardown.cells.models import Cell
from teardown.findings.models import Stated
from teardown.findings.rules import NO_SOURCE, USUAL
from teardown.science.balance.inputs import Quantity


@dataclass(frozen=True, slots=True)
class Assumed:
    """Something a balance took for want of a measurement, or that a person stated in its place."""

    key: str
    words: str
    said: str
    source: str
    mend: str
    stated: bool = False


@dataclass
class Books:
    """What was found, and what had to be assumed, in words."""

    cell: Cell
    stated: dict[str, Stated] = field(default_factory=dict)
    assumed: dict[str, Assumed] = field(default_factory=dict)

    def note(self, key: str, words: str) -> None:
        """Note an assumption that has no number, once."""
        self.assumed[key] = Assumed(key, words, "", NO_SOURCE, "")

    def take(self, key: str, why: str = "") -> Quantity:
        """Take what was stated of a cell, else the usual, and note it with the reason why it was needed."""
        usual, own = USUAL[key], self.stated.get(key)
        found = Quantity(usual.value, usual.doubt)
        source = usual.source
        if own is not None and own.value is not None:
            found = Quantity(own.value, own.doubt)
            source = f"stated by {own.by or 'the laboratory'}: {own.source}"
        words = f"{usual.words}, {why}" if why else usual.words
        self.assumed[key] = Assumed(
            key, words, usual.said(found.value, found.u), source, usual.mend, own is not None
        )
        return found

    def span(self, key: str, why: str = "") -> tuple[float, float]:
        """Take a range."""
        found = self.take(key, why)
        return found.value - found.u, found.value + found.u


def stated_of(cell: Cell) -> dict[str, Stated]:
    """Give what stands stated of a cell, by the key of the assumption; what was taken back is left out."""
    latest: dict[str, Stated] = {}
    for row in Stated.objects.filter(cell=cell).select_related("by"):
        latest.setdefault(row.key, row)
    return {key: row for key, row in latest.items() if row.value is not None}
