"""Three tiers of numbers: the impossible is refused, the unusual asked about once, the rest is quiet.

Nothing true is ever kept out: an unusual number is taken after one word that it was read twice.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

Tier = Literal["quiet", "unusual", "impossible"]


@dataclass(frozen=True, slots=True)
class Range:
    """From low to high, ends included; None is open."""

    low: float | None = None
    high: float | None = None

    def holds(self, value: float) -> bool:
        """Tell whether the value lies inside."""
        return (self.low is None or value >= self.low) and (self.high is None or value <= self.high)

    def words(self, unit: str) -> str:
        """Say it: "0.2 to 0.9 S/cm", "at least 0 g"."""
        if self.low is not None and self.high is not None:
            return f"{self.low:g} to {self.high:g} {unit}"
        if self.low is not None:
            return f"at least {self.low:g} {unit}"
        return f"at most {self.high:g} {unit}" if self.high is not None else "any number"


@dataclass(frozen=True, slots=True)
class Tiers:
    """What a field takes: ``possible`` and ``usual``, in its unit."""

    unit: str
    possible: Range = Range()
    usual: Range = Range()

    def judge(self, value: float) -> tuple[Tier, str]:
        """Give the tier and, where it is not quiet, a sentence."""
        if not self.possible.holds(value):
            return "impossible", f"{value:g} {self.unit} cannot be: it is {self.possible.words(self.unit)}."
        if not self.usual.holds(value):
            return (
                "unusual",
                f"{value:g} {self.unit} is unusual here ({self.usual.words(self.unit)}). "
                "Read it again; if it is so, say that you read it twice.",
            )
        return "quiet", ""


def tiers_of(data: Mapping[str, Any], as_built: Mapping[str, float | None] | None = None) -> Tiers:
    """Read the tiers of a field; a range relative to the cell as built wins where that value is known."""
    usual = Range(*data.get("usual", (None, None)))
    built = data.get("of_build")
    if built and as_built and as_built.get(built["column"]):
        base = float(as_built[built["column"]] or 0)
        low, high = built["usual"]
        usual = Range(round(low * base, 6), round(high * base, 6))
    return Tiers(data.get("unit", ""), Range(*data.get("impossible", (None, None))), usual)
