"""One value of a phase as people write it, and what the head of its column says of it."""

import re
from dataclasses import dataclass

from teardown.science.errors import ReadingError

VALUE = re.compile(
    r"""^\s*(?P<below><\s*)?(?P<number>[+-]?\d+(?:[.,]\d+)?)\s*
        (?:\((?P<digits>\d+(?:[.,]\d+)?)\)|(?:±|\+/-|\+-)\s*(?P<plus>\d+(?:[.,]\d+)?))?\s*
        (?:%|wt\s?%|wt\.\s?%|wt)?\s*$""",
    re.VERBOSE | re.IGNORECASE,
)
PHASE_HEADS = {"phase", "name", "phase name", "compound", "mineral"}
ESD_HEADS = {"esd", "e.s.d.", "su", "s.u.", "sigma", "error", "uncertainty", "±", "+/-", "std", "u"}
FRACTION_HEADS = {"fraction", "weight fraction", "mass fraction", "w"}
PERCENT_HEADS = {
    "wt%",
    "wt %",
    "wt.%",
    "wt",
    "weight %",
    "weight",
    "mass %",
    "percent",
    "%",
    "weight percent",
}
NOT_BY_MASS = re.compile(r"\b(mol|mole|at|atom|atomic|vol|volume)\b|mol\.?%|at\.?%|vol\.?%", re.IGNORECASE)
WIDER = re.compile(r"\b([23])\s*[·x*]?\s*(?:σ|sigma|esd|e\.s\.d\.?|s\.?u\.?|s\.?d\.?|std)", re.IGNORECASE)
NINETY_FIVE = re.compile(r"95\s*%|\bci\b|\bu95\b", re.IGNORECASE)
TOTALS = {"sum", "total", "sum total", "summe", "gesamt", "somme", "σ", "∑"}


class NotAFraction(ReadingError):
    """A value is not a number that a weight fraction can have."""

    code = "powder.E000"
    hint = "Write it like 23.4(5), 23.4 ± 0.5, or < 0.7."


class NotByMass(ReadingError):
    """Shares are given by volume or by number of atoms, not by mass."""

    code = "powder.E004"
    hint = "Turn them into weight percent with the densities or molar masses used, and bring these."


@dataclass(frozen=True, slots=True)
class Value:
    """A number as written: value, standard uncertainty where given, and whether it is an upper limit."""

    value: float
    esd: float | None = None
    is_limit: bool = False

    def scaled(self, by: float) -> "Value":
        """Give the same value in another unit."""
        return Value(self.value * by, None if self.esd is None else self.esd * by, self.is_limit)


def parse_value(text: str) -> Value:
    """Read ``23.4(5)``, ``23,4``, ``23.4 ± 0.5`` or ``< 0.7``.

    Digits in brackets count in the last place of the number, so 23.4(12) is 23.4 with 1.2.

    Raises
    ------
    NotAFraction
        If the text is anything else.
    """
    match = VALUE.match(text.replace("−", "-"))
    if match is None:
        raise NotAFraction(f'"{text.strip()}" is not a value.')
    number = match["number"].replace(",", ".")
    esd = None
    if match["plus"]:
        esd = float(match["plus"].replace(",", "."))
    elif match["digits"]:
        esd = _in_last_place(number, match["digits"].replace(",", "."))
    return Value(float(number), esd, match["below"] is not None)


def _in_last_place(number: str, digits: str) -> float:
    """Scale bracketed digits to the last place of their number; a point inside them means they are whole."""
    if "." in digits:
        return float(digits)
    return float(f"{digits}e{-len(number.partition('.')[2])}")


def spread_factor(head: str) -> float | None:
    """Give how many standard uncertainties the values under a head are; None if it is no head of spreads."""
    plain = head.casefold().strip()
    if plain in ESD_HEADS:
        return 1.0
    if wider := WIDER.search(plain):
        return float(wider[1])
    return 1.96 if NINETY_FIVE.search(plain) else None
