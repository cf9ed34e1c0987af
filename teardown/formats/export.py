"""Tables as they leave: CSV (RFC 4180) that no spreadsheet takes for a program.

A field that a spreadsheet would run as a formula is made text by a leading quotation mark, as ASVS 5.0.0,
1.2.10 asks. Numbers stay numbers: -0.88 is a potential, not a formula.
"""

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?", re.ASCII)
_DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\n", "\x00", "＝", "＋", "－", "＠")
MARK = "\ufeff"  # without it, spreadsheets take UTF-8 for something else and spoil µ and °


def neutral(value: Any) -> str:
    """Write a value as a field; what a spreadsheet would run gets a leading ``'``.

    >>> neutral("=1+1"), neutral("-0.88"), neutral(-0.5), neutral(None), neutral(True)
    ("'=1+1", '-0.88', '-0.5', '', 'yes')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = repr(float(value)).removesuffix(".0") if isinstance(value, float) else str(value)
    if text.lstrip(" \u00a0\u200b\ufeff").startswith(_DANGEROUS) and not _NUMBER.fullmatch(text):
        return "'" + text
    return text


class _Line:
    """Takes a line from the writer and gives it back."""

    def write(self, line: str) -> str:
        return line


def csv_lines(heads: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[str]:
    """Give a table line by line, byte order mark and heads first."""
    writer = csv.writer(_Line())
    yield MARK + str(writer.writerow([neutral(head) for head in heads]))
    for row in rows:
        yield str(writer.writerow([neutral(value) for value in row]))
