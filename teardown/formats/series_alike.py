"""Columns of a file that say the same in two units."""

import re
from typing import Protocol, TypeVar


class Read(Protocol):
    """A column of a file and how it is read."""

    @property
    def name(self) -> str: ...
    @property
    def factor(self) -> float: ...
    @property
    def offset(self) -> float: ...
    @property
    def kind(self) -> str: ...
    @property
    def unit(self) -> str: ...


C = TypeVar("C", bound=Read)


def one_of_alike(hits: list[tuple[int, C]], samples: dict[str, list[str]]) -> list[tuple[int, C]]:
    """Leave out columns that say the same in another unit: of V and mV, the one with finer digits is kept."""
    kept: list[tuple[int, C]] = []
    for rank, column in hits:
        at = next((k for k, (_, one) in enumerate(kept) if _say_the_same(column, one, samples)), None)
        if at is None:
            kept.append((rank, column))
            continue
        other_rank, other = kept[at]
        finer = column if _finest(column, samples) < _finest(other, samples) else other
        kept[at] = (min(rank, other_rank), finer)
    return kept


def _read_sample(column: Read, samples: dict[str, list[str]]) -> list[float | None]:
    """Read some cells of a column in the canonical unit; None where one is no plain number."""
    out: list[float | None] = []
    for cell in samples.get(column.name, []):
        try:
            out.append(float(cell if "." in cell else cell.replace(",", ".")) * column.factor + column.offset)
        except ValueError:
            out.append(None)
    return out


def _say_the_same(one: Read, other: Read, samples: dict[str, list[str]]) -> bool:
    """Tell whether two columns of numbers agree wherever both were looked at, but for rounding."""
    if (
        one.name == other.name
        or one.kind != "number"
        or other.kind != "number"
        or "?" in (one.unit, other.unit)
    ):
        return False
    pairs = zip(_read_sample(one, samples), _read_sample(other, samples), strict=False)
    both = [(a, b) for a, b in pairs if a is not None and b is not None]
    slack = _finest(one, samples) + _finest(other, samples)
    moves = len({a for a, _ in both}) > 1
    return moves and len(both) >= 5 and all(abs(a - b) <= slack + 1e-9 * abs(a) for a, b in both)


def _finest(column: Read, samples: dict[str, list[str]]) -> float:
    """Give the last printed digit of a column in the canonical unit."""
    digits = [
        len(c.replace(",", ".").rpartition(".")[2]) if re.search("[.,]", c) else 0
        for c in samples.get(column.name, [])
    ]
    return float(10.0 ** -max(digits, default=0)) * abs(column.factor)
