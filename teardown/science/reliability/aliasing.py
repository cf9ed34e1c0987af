"""Which factors changed together, so that their effects cannot be told apart."""

from collections.abc import Hashable, Sequence
from math import sqrt

import numpy as np

TOGETHER = 0.6
"""From this association on, two factors are named as changed together (common practice, no source)."""


def association(one: Sequence[Hashable], other: Sequence[Hashable]) -> float:
    """Give the bias-corrected strength of association of two factors over the same cells: 0 none, 1 full.

    Where either factor has one level only, there is nothing to tell apart and the result is 0.

    References
    ----------
    Bergsma, W., J. Korean Stat. Soc. 42 (2013) 323, correction of Cramer's V.
    """
    rows, i = _numbered(one)
    columns, j = _numbered(other)
    n = len(one)
    if rows < 2 or columns < 2 or n < 2:
        return 0.0
    table = np.zeros((rows, columns))
    np.add.at(table, (i, j), 1)
    expected = np.outer(table.sum(axis=1), table.sum(axis=0)) / n
    phi2 = float(((table - expected) ** 2 / expected).sum()) / n
    corrected = max(0.0, phi2 - (rows - 1) * (columns - 1) / (n - 1))
    r, c = rows - (rows - 1) ** 2 / (n - 1), columns - (columns - 1) ** 2 / (n - 1)
    room = min(r, c) - 1
    return min(1.0, sqrt(corrected / room)) if room > 0 else 0.0


def determines(one: Sequence[Hashable], other: Sequence[Hashable]) -> bool:
    """Tell whether each level of ``one`` holds a single level of ``other``, and ``one`` has two or more."""
    held: dict[Hashable, Hashable] = {}
    for a, b in zip(one, other, strict=True):
        if held.setdefault(a, b) != b:
            return False
    return len(held) > 1


def _numbered(values: Sequence[Hashable]) -> tuple[int, list[int]]:
    known: dict[Hashable, int] = {}
    numbers = [known.setdefault(value, len(known)) for value in values]
    return len(known), numbers
