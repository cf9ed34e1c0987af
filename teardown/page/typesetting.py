"""How numbers, formulas and times are set: as many digits as the doubt allows, the unit at its number.

Pure functions. The decimal mark of the reader is a context variable (`decimal_mark`), set for each
request; every function that sets a number obeys it, `plain_number` alone does not (it feeds fields and
exports).
"""

import re
from contextvars import ContextVar
from datetime import date, datetime, timedelta
from decimal import ROUND_HALF_EVEN, Decimal
from math import floor, isfinite, log10

from django.utils.html import conditional_escape, format_html_join
from django.utils.safestring import SafeString, mark_safe

from teardown.science.estimate import Estimate

decimal_mark: ContextVar[str] = ContextVar("decimal_mark", default=".")

THIN, NARROW, MINUS, DASH, TIMES = "\u2009", "\u202f", "\u2212", "\u2013", "\u00d7"
NOTHING = "\u2014"  # an empty place in a table is said, not left
_RAISED = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")
_WORDS = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


# --- numbers -------------------------------------------------------------------------------------------


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


# --- estimates -----------------------------------------------------------------------------------------


def estimate_parts(estimate: Estimate, *, percent: bool = False) -> tuple[str, str, str, str]:
    """Give value, low, high and unit as set: all with the digits that the interval allows.

    ``percent`` shows a fraction of 0 to 1 as percent; only a dimensionless estimate can be.
    """
    if percent and estimate.unit != "1":
        raise ValueError(f"An estimate in {estimate.unit} is not shown as percent.")
    factor, unit = (100, "%") if percent else (1, estimate.unit)
    value, low, high = (factor * v for v in (estimate.value, estimate.low, estimate.high))
    if high > low:
        decimals: int | None = decimals_for((high - low) / 2)
    else:
        decimals = None
    return number(value, decimals), number(low, decimals), number(high, decimals), unit


def interval(estimate: Estimate, *, percent: bool = False) -> str:
    """Set the 95 % interval with its unit: "66–76 %"."""
    _, low, high, unit = estimate_parts(estimate, percent=percent)
    return with_unit(span(low, high), unit)


def estimate_line(estimate: Estimate, *, percent: bool = False) -> str:
    """Set an estimate on one line: "71 % (66–76 %, n 5)"."""
    value, _, _, unit = estimate_parts(estimate, percent=percent)
    return f"{with_unit(value, unit)} ({interval(estimate, percent=percent)}, n{NARROW}{estimate.n})"


def estimate_cell(estimate: Estimate, *, percent: bool = False) -> str:
    """Set an estimate for a table whose head carries the unit: "71 (66–76)"."""
    value, low, high, _ = estimate_parts(estimate, percent=percent)
    return f"{value} ({span(low, high)})"


def plus_minus(value: float, half_width: float, unit: str = "") -> str:
    """Set value and half width alike: "0.976 ± 0.008"."""
    if half_width <= 0:
        return with_unit(number(value), unit)
    decimals = decimals_for(half_width)
    return with_unit(f"{number(value, decimals)}{THIN}±{THIN}{number(half_width, decimals)}", unit)


def fraction_as_percent(value: float, decimals: int = 0) -> str:
    """Set a fraction of 0 to 1 as percent: .45 as "45 %"."""
    return with_unit(number(100 * value, decimals), "%")


def as_count(n: int, one: str, many: str = "") -> str:
    """Set a count with its noun: "1 field", "5 fields"."""
    return f"{number(n, 0)} {one if n == 1 else many or one + 's'}"


def in_words(n: int) -> str:
    """Write a small whole number in words, a larger one in figures."""
    return _WORDS[n] if 0 <= n < len(_WORDS) else number(n, 0)


# --- formulas ------------------------------------------------------------------------------------------

_ELEMENTS = frozenset(
    [
        "H",
        "He",
        "Li",
        "Be",
        "B",
        "C",
        "N",
        "O",
        "F",
        "Ne",
        "Na",
        "Mg",
        "Al",
        "Si",
        "P",
        "S",
        "Cl",
        "Ar",
        "K",
        "Ca",
        "Sc",
        "Ti",
        "V",
        "Cr",
        "Mn",
        "Fe",
        "Co",
        "Ni",
        "Cu",
        "Zn",
        "Ga",
        "Ge",
        "As",
        "Se",
        "Br",
        "Kr",
        "Rb",
        "Sr",
        "Y",
        "Zr",
        "Nb",
        "Mo",
        "Tc",
        "Ru",
        "Rh",
        "Pd",
        "Ag",
        "Cd",
        "In",
        "Sn",
        "Sb",
        "Te",
        "I",
        "Xe",
        "Cs",
        "Ba",
        "La",
        "Ce",
        "Pr",
        "Nd",
        "Sm",
        "Eu",
        "Gd",
        "Tb",
        "Dy",
        "Ho",
        "Er",
        "Tm",
        "Yb",
        "Lu",
        "Hf",
        "Ta",
        "W",
        "Re",
        "Os",
        "Ir",
        "Pt",
        "Au",
        "Hg",
        "Tl",
        "Pb",
        "Bi",
        "Th",
        "U",
    ]
)
_SMALL_MOLECULES = frozenset({"H2", "O2", "N2", "O3", "S8", "Cl2"})
_CANDIDATE = re.compile(
    r"(?<![\w.-])[A-Z(][A-Za-z0-9()]*(?:[·*]\d*(?:\.\d+)?[A-Z][A-Za-z0-9()]*)?(?:\^\d?[+-])?(?![\w-])"
)
_PIECE = re.compile(
    r"\^(?P<charge>\d?[+-])|(?P<water>[·*])(?P<times>\d*(?:\.\d+)?)|(?P<number>(?<=[A-Za-z)])\d+)|(?P<rest>.)"
)


def formula(text: str) -> SafeString:
    """Set a formula: Bi2S3 with its subscripts, K2CO3·1.5H2O with its water, SO4^2- with its charge."""
    pieces = []
    for piece in _PIECE.finditer(text):
        if piece["charge"]:
            pieces.append(("<sup>", piece["charge"].replace("-", MINUS), "</sup>"))
        elif piece["water"]:
            pieces.append(("", "·" + piece["times"], ""))
        elif piece["number"]:
            pieces.append(("<sub>", piece["number"], "</sub>"))
        else:
            pieces.append(("", piece["rest"], ""))
    return format_html_join("", "{}{}{}", ((mark_safe(a), t, mark_safe(b)) for a, t, b in pieces))  # noqa: S308 - a and b are the tags above


def chemistry(text: str) -> SafeString:
    """Set the formulas within a sentence and leave every other word alone; anything else is escaped."""
    parts, end = [], 0
    for match in _CANDIDATE.finditer(text):
        if _is_formula(match[0]):
            parts += [conditional_escape(text[end : match.start()]), formula(match[0])]
            end = match.end()
    return mark_safe("".join([*parts, conditional_escape(text[end:])]))  # noqa: S308 - every part was escaped


def _is_formula(word: str) -> bool:
    bare = re.sub(r"\^\d?[+-]$", "", word)
    symbols = re.findall(r"[A-Z][a-z]?", bare)
    if (
        not symbols
        or any(s not in _ELEMENTS for s in symbols)
        or re.search(r"[a-z]", re.sub(r"[A-Z][a-z]?", "", bare))
    ):
        return False
    if bare.count("(") != bare.count(")"):
        return False
    return (
        bare in _SMALL_MOLECULES
        or (len(symbols) > 1 and bool(re.search(r"[A-Za-z)]\d", bare)))
        or bare != word
    )


# --- times ---------------------------------------------------------------------------------------------


def day(when: date) -> str:
    """Set a day: "3 March 2026"."""
    return f"{when.day}{NARROW}{_MONTHS[when.month - 1]} {when.year}"


def short_day(when: date, *, year: bool = False) -> str:
    """Set a day where room is short: "3 Mar", with the year where asked."""
    return f"{when.day}{NARROW}{_MONTHS[when.month - 1][:3]}{f' {when.year}' if year else ''}"


def moment(when: datetime) -> str:
    """Set a moment: "3 Mar 2026, 05:10"."""
    return f"{short_day(when, year=True)}, {when:%H:%M}"


def duration(length: timedelta) -> str:
    """Set a length of time with its two largest units: "6 min 24 s", "9 h", "12 days 4 h"."""
    seconds = round(abs(length.total_seconds()))
    days, rest = divmod(seconds, 86400)
    hours, rest = divmod(rest, 3600)
    minutes, seconds = divmod(rest, 60)
    units = [(days, "day" if days == 1 else "days"), (hours, "h"), (minutes, "min"), (seconds, "s")]
    first = next((i for i, (count, _) in enumerate(units) if count), 3)
    shown = [pair for pair in units[first : first + 2] if pair[0]] or [units[3]]
    return " ".join(f"{number(count, 0)}{NARROW}{unit}" for count, unit in shown)


def duration_in_words(length: timedelta) -> str:
    """Write a length of time for a sentence: "nine hours", "three days", "about four months"."""
    seconds = abs(length.total_seconds())
    sizes = (
        (365.25 * 86400, "year", 2),
        (30.44 * 86400, "month", 2),
        (86400, "day", 2),
        (3600, "hour", 1),
        (60, "minute", 1),
    )
    for size, word, least in sizes:
        if seconds >= least * size:
            count = round(seconds / size)
            about = "about " if word in ("year", "month") else ""
            return f"{about}{in_words(count)} {word}{'' if count == 1 else 's'}"
    return "less than a minute"
