"""Numbers, units and ranges: true minus, thin spaces, no more digits than the doubt allows."""

import re
from contextvars import ContextVar
from decimal import ROUND_HALF_EVEN, Decimal
from math import floor, isfinite, log10

decimal_mark: ContextVar[str] = ContextVar("decimal_mark", default=".")

THIN, NARROW, MINUS, DASH, TIMES = "\u2009", "\u202f", "\u2212", "\u2013", "\u00d7"
NOTHING = "\u2014"  # an empty place in a table is said, not left
_RAISED = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")
_WORDS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip


def decimals_for(half_width: float, most: int = 9) -> int:
    """How many decimals a value keeps whose 95 % half width is this.

    Two digits of the doubt are kept when it reads 100 to 354, one when it reads 355 to 949, and 950 and
    above count as 1000: the rounding rule of the Review of Particle Physics (Particle Data Group,
    introduction, "Rounding"). Below zero means rounding to tens and hundreds.
    """
    if not isfinite(half_width) or half_width <= 0:
        raise ValueError(f"A half width of {half_width} says nothing about digits.")
    order = floor(log10(half_width))
    lead = half_width / 10.0**order * 100
    kept = 1 if 354.5 <= lead < 949.5 else 2
    if lead >= 949.5:
        order += 1
    return min(kept - 1 - order, most)


def number(value: float, decimals: int | None = None) -> str:
    """Set one number: true minus, thousands parted by thin spaces, powers of ten where zeros would pile up.

    Without ``decimals`` it keeps up to four figures.
    """
    if not isfinite(value):
        return NOTHING
    if value and not 1e-4 <= abs(value) < 1e7:
        return _with_power(value, decimals)
    if decimals is None:
        decimals = max(0, 3 - floor(log10(abs(value)))) if value else 0
        return _grouped(_trimmed(_rounded(value, decimals)))
    return _grouped(_rounded(value, decimals))


def plain_number(value: float) -> str:
    """Give the shortest text that reads back to the same number, with a point and no ``.0`` at the end."""
    text = repr(float(value))
    return text.removesuffix(".0")


def _rounded(value: float, decimals: int) -> str:
    step = Decimal(1).scaleb(-decimals)
    rounded = Decimal(repr(float(value))).quantize(step, rounding=ROUND_HALF_EVEN)
    return f"{rounded + 0:.{max(decimals, 0)}f}"  # + 0 turns -0 into 0


def _trimmed(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text


def _grouped(text: str) -> str:
    sign, bare = (MINUS, text[1:]) if text.startswith("-") else ("", text)
    whole, _, part = bare.partition(".")
    if len(whole) > 4:
        whole = re.sub(r"(?<=\d)(?=(\d{3})+$)", NARROW, whole)
    return sign + whole + (decimal_mark.get() + part if part else "")


def _with_power(value: float, decimals: int | None) -> str:
    order = floor(log10(abs(value)))
    digits = 3 if decimals is None else max(0, decimals + order)
    mantissa = _rounded(value / 10.0**order, min(digits, 9))
    if mantissa.lstrip("-").startswith("10"):
        order, mantissa = order + 1, _rounded(value / 10.0 ** (order + 1), min(digits, 9))
    text = _trimmed(mantissa) if decimals is None else mantissa
    return f"{_grouped(text)}{THIN}{TIMES}{THIN}10{str(order).translate(_RAISED)}"


def with_unit(text: str, unit: str) -> str:
    """Put the unit at its number with a space that does not break (percent too: ISO 80000-1, 7.1.4)."""
    return text if unit in ("", "1") else f"{text}{NARROW}{'°C' if unit == 'C' else unit}"


def span(low: str, high: str) -> str:
    """Set a range: an en dash, or the word "to" where a minus would stand beside the dash."""
    return f"{low} to {high}" if MINUS in low + high or TIMES in low + high else f"{low}{DASH}{high}"


def fraction_as_percent(value: float, decimals: int = 0) -> str:
    """Set a fraction of 0 to 1 as percent: .45 as "45 %"."""
    return with_unit(number(100 * value, decimals), "%")


def as_count(n: int, one: str, many: str = "") -> str:
    """Set a count with its noun: "1 field", "5 fields"."""
    return f"{number(n, 0)} {one if n == 1 else many or one + 's'}"


def in_words(n: int) -> str:
    """Write a small whole number in words, a larger one in figures."""
    return _WORDS[n] if 0 <= n < len(_WORDS) else number(n, 0)
