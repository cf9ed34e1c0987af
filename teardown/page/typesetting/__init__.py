"""How numbers, formulas and times are set: as many digits as the doubt allows, the unit at its number.

Pure functions. The decimal mark of the reader is a context variable (`decimal_mark`), set for each
request; every function that sets a number obeys it, `plain_number` alone does not (it feeds fields and
exports).
"""

from teardown.page.typesetting.estimates import (
    estimate_cell,
    estimate_line,
    estimate_parts,
    interval,
    plus_minus,
)
from teardown.page.typesetting.formulas import chemistry, formula
from teardown.page.typesetting.numbers import (
    DASH,
    MINUS,
    NARROW,
    NOTHING,
    THIN,
    TIMES,
    as_count,
    decimal_mark,
    decimals_for,
    fraction_as_percent,
    in_words,
    number,
    plain_number,
    span,
    with_unit,
)
from teardown.page.typesetting.times import day, duration, duration_in_words, moment, short_day

__all__ = [
    "DASH", "MINUS", "NARROW", "NOTHING", "THIN", "TIMES", "as_count", "chemistry", "day", "decimal_mark",
    "decimals_for", "duration", "duration_in_words", "estimate_cell", "estimate_line", "estimate_parts",
    "formula", "fraction_as_percent", "in_words", "interval", "moment", "number", "plain_number",
    "plus_minus",
    "short_day", "span", "with_unit",
]  # fmt: skip
