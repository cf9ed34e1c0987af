"""Phase fractions that someone refined elsewhere: typed, pasted, as a table, or in a powder CIF.

Values are read with their standard uncertainty, ``23.4(5)`` or a column of its own, decimal point or comma.
Nothing is recalculated: names are matched with the phase table, and what does not match is kept and remarked.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from teardown.formats.phase_values import (
    FRACTION_HEADS,
    NOT_BY_MASS,
    PERCENT_HEADS,
    PHASE_HEADS,
    TOTALS,
    NotAFraction,
    NotByMass,
    Value,
    parse_value,
    spread_factor,
)
from teardown.formats.powder_cif import CifFractions, fractions_in_cif
from teardown.science.crystallography.phases import AmbiguousPhase, UnknownPhase, phase_table
from teardown.science.errors import ReadingError, Remark

FOOTER = re.compile(
    r"""^\s*\#?\s*(?P<name>R[\s_-]?wp|R[\s_-]?exp|R[\s_-]?bragg|GoF|software|program|analyst|file)\b
        \s*[:=;,\t ]\s*(?P<rest>.+)$""",
    re.IGNORECASE | re.VERBOSE,
)


class NoFractions(ReadingError):
    """No line of the text holds a phase and a value."""

    code = "powder.E001"
    hint = "Give each phase a line: name, weight percent, standard uncertainty, as in: magnetite 23.4(5)."


@dataclass(frozen=True, slots=True)
class FractionRow:
    """One phase of an external result, as a share of the mass, 0 to 1.

    ``phase`` is the key in the phase table, or None where the name is not matched. A phase below its limit
    has ``weight_fraction`` None and its ``limit``.
    """

    name: str
    phase: str | None
    weight_fraction: float | None
    esd: float | None
    limit: float | None
    line: int
    extra: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ExternalFractions:
    """An external result: its rows, the figures of merit it quotes, and what a reader must know.

    ``figures`` holds Rwp, Rexp, Rbragg (as shares, 0 to 1) and GoF where quoted;
    ``about`` the software, analyst and file.
    """

    rows: tuple[FractionRow, ...]
    figures: Mapping[str, float]
    about: Mapping[str, str]
    remarks: tuple[Remark, ...]
    unit: str


def read_fractions(data: bytes | str, *, unit: str | None = None) -> ExternalFractions:
    """Read phase fractions from typed or pasted text, a table, or a powder CIF.

    Parameters
    ----------
    data : bytes or str
        The text; bytes are taken as UTF-8, else as Latin-1.
    unit : {"percent", "fraction"}, optional
        What the numbers are. When left out, a head of a column decides, then the sum: at most 1.05 is
        taken as fractions.

    Returns
    -------
    ExternalFractions

    Raises
    ------
    NotAFraction, NoFractions
        With the number of the line.
    """
    text = _decoded(data)
    if re.search(r"(?mi)^\s*data_\S*\s*$", text):
        return _from_cif(fractions_in_cif(text))
    lines = [(n, line) for n, line in enumerate(text.splitlines(), 1) if line.strip()]
    figures: dict[str, float] = {}
    about: dict[str, str] = {}
    table: list[tuple[int, str]] = []
    for n, line in lines:
        footer = FOOTER.match(line)
        if footer is None:
            table.append((n, line))
        else:
            _take_footer(footer["name"], footer["rest"], n, figures, about)
    named, head_unit, spread = _table_rows(table)
    named = [row for row in named if row[1].strip(" :").casefold() not in TOTALS]
    if not named:
        raise NoFractions(
            f"{len(lines)} lines were read, and none holds a phase and a value."
            if lines
            else "The text is empty."
        )
    result = _result(named, unit or head_unit or _unit_by_sum(named), figures, about)
    return replace(result, remarks=(*result.remarks, *_of_spread(spread)))


def _decoded(data: bytes | str) -> str:
    """Give text from bytes, without a byte-order mark."""
    if isinstance(data, str):
        return data.removeprefix("\ufeff")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _take_footer(name: str, rest: str, line: int, figures: dict[str, float], about: dict[str, str]) -> None:
    """Keep a quoted figure of merit, or who and what made the result."""
    plain = re.sub(r"[\s_-]", "", name).casefold()
    words = {"software": "software", "program": "software", "analyst": "analyst", "file": "file"}
    if plain in words:
        about[words[plain]] = rest.strip(" \t:=;,")
        return
    key = {"rwp": "Rwp", "rexp": "Rexp", "rbragg": "Rbragg", "gof": "GoF"}[plain]
    try:
        value = parse_value(rest.strip(" \t:=;,")).value
    except NotAFraction as refusal:
        raise NotAFraction(
            f"Line {line}: {name} is given as {rest.strip()!r}, which is not a number."
        ) from refusal
    figures[key] = value if key == "GoF" else value / 100 if value > 1 else value


NamedValue = tuple[int, str, Value, dict[str, str]]


def _table_rows(table: Sequence[tuple[int, str]]) -> tuple[list[NamedValue], str | None, float]:
    """Split the lines into fields, take heads if there are any, and read each row: rows, unit, spread."""
    split = [(n, _fields(line)) for n, line in table if not line.lstrip().startswith("#")]
    heads = [h.casefold() for h in split[0][1]] if split else []
    if not heads or not any(h in PHASE_HEADS for h in heads):
        return [row for n, fields in split if (row := _plain_row(n, fields)) is not None], None, 1.0
    name_at = next(i for i, h in enumerate(heads) if h in PHASE_HEADS)
    esd_at = next((i for i, h in enumerate(heads) if spread_factor(h) is not None), None)
    value_at = next((i for i, h in enumerate(heads) if h in PERCENT_HEADS | FRACTION_HEADS), name_at + 1)
    if value_at < len(heads) and NOT_BY_MASS.search(heads[value_at]):
        raise NotByMass(f'Line {split[0][0]}: the values are headed "{split[0][1][value_at]}".')
    unit = "fraction" if value_at < len(heads) and heads[value_at] in FRACTION_HEADS else None
    rows = [_headed_row(n, f, split[0][1], name_at, value_at, esd_at) for n, f in split[1:]]
    spread = 1.0 if esd_at is None else spread_factor(heads[esd_at]) or 1.0
    return rows, unit or ("percent" if value_at < len(heads) and "%" in heads[value_at] else None), spread


def _of_spread(factor: float) -> tuple[Remark, ...]:
    """Remark on spreads that were brought to one standard uncertainty."""
    if factor == 1:
        return ()
    message = f"The spreads were given as {factor:g} standard uncertainties, and are kept as one."
    return (Remark("EXT_SPREAD", "info", message, factor, remedy="Check the head of their column."),)


def _headed_row(
    n: int, fields: list[str], heads: list[str], name_at: int, value_at: int, esd_at: int | None
) -> NamedValue:
    """Read a row below heads; a column that is not asked for is kept as it was written."""
    if len(fields) <= max(name_at, value_at):
        raise NotAFraction(f"Line {n} has {len(fields)} fields where the heads name {len(heads)}.")
    value = _value_at(n, fields[value_at])
    if esd_at is not None and len(fields) > esd_at and fields[esd_at].strip(" -–"):
        factor = spread_factor(heads[esd_at]) or 1.0
        value = Value(value.value, _value_at(n, fields[esd_at]).value / factor, value.is_limit)
    used = {name_at, value_at, esd_at}
    extra = {h: f for i, (h, f) in enumerate(zip(heads, fields, strict=False)) if i not in used and f}
    return n, fields[name_at], value, extra


def _plain_row(n: int, fields: list[str]) -> NamedValue | None:
    """Read a row without heads: a name, then a value, then perhaps its uncertainty."""
    if len(fields) < 2:
        raise NotAFraction(f"Line {n}, {fields[0] if fields else ''!r}, has a name or a value but not both.")
    value = _value_at(n, fields[1])
    if len(fields) > 2 and fields[2]:
        value = Value(value.value, _value_at(n, fields[2]).value, value.is_limit)
    return n, fields[0], value, {}


def _value_at(line: int, text: str) -> Value:
    """Read a value and say in which line it failed."""
    try:
        return parse_value(text)
    except NotAFraction as refusal:
        raise NotAFraction(f"Line {line}: {text.strip()!r} is not a value.") from refusal


def _fields(line: str) -> list[str]:
    """Split a line at tabs or semicolons, else at commas that are no decimal marks, else at spaces."""
    for mark in ("\t", ";"):
        if mark in line:
            return [f.strip().strip('"') for f in line.split(mark)]
    before = line.partition(",")[0].split()
    if "," in line and before and re.search(r"[^\d<.+-]", before[-1]):
        return [f.strip().strip('"') for f in line.split(",")]
    found = re.match(
        r"^\s*(?P<name>.*?\S)\s*[:=]?\s+(?P<value><?\s*[+-]?\d[\d.,]*(?:\(\d+(?:[.,]\d+)?\))?\s*%?(?:\s*(?:±|\+/-|\+-)\s*\d[\d.,]*)?)(?:\s+(?P<esd>\d[\d.,]*))?\s*(?:%|wt\.?\s?%)?\s*$",
        line,
    )
    if found is None:
        return [line.strip()]
    return [part.strip() for part in (found["name"].rstrip(" :="), found["value"], found["esd"]) if part]


def _unit_by_sum(rows: Sequence[NamedValue]) -> str:
    """Take numbers that add up to about one as fractions, others as percent."""
    return "fraction" if sum(v.value for _, _, v, _ in rows if not v.is_limit) <= 1.05 else "percent"


def _result(
    rows: Sequence[NamedValue], unit: str, figures: Mapping[str, float], about: Mapping[str, str]
) -> ExternalFractions:
    """Match the names, bring the values to shares of the mass, and check them against one another."""
    factor = 1.0 if unit == "fraction" else 0.01
    remarks: list[Remark] = []
    found: list[FractionRow] = []
    for line, name, written, extra in rows:
        value = written.scaled(factor)
        if not 0 <= value.value <= 1:
            most = 1 if factor == 1 else 100
            raise NotAFraction(f"Line {line}: {name} has {written.value:g}, which is outside 0 to {most}.")
        key = _match(name, line, remarks)
        below = value.is_limit
        found.append(
            FractionRow(
                name,
                key,
                None if below else value.value,
                None if below else value.esd,
                value.value if below else None,
                line,
                extra,
            )
        )
    _refuse_twice(found)
    return ExternalFractions(tuple(found), figures, about, tuple(remarks) + checks(found, figures), unit)


def _refuse_twice(rows: Sequence[FractionRow]) -> None:
    """Refuse a phase that is given on two lines."""
    seen: dict[str, int] = {}
    for row in rows:
        key = row.phase or row.name.casefold()
        if key in seen:
            raise NotAFraction(f"Lines {seen[key]} and {row.line} both give {row.phase or row.name}.")
        seen[key] = row.line


def _match(name: str, line: int, remarks: list[Remark]) -> str | None:
    """Find the key of a phase, or keep the name and remark that it is not matched."""
    try:
        return phase_table().key_of(name)
    except AmbiguousPhase as refusal:
        remarks.append(
            Remark(
                "EXT_AMBIGUOUS_PHASE",
                "error",
                str(refusal),
                where=f"line {line}",
                remedy="Write the phase by its mineral name.",
            )
        )
    except UnknownPhase:
        message = f'"{name}" is not a name of the phase table; it is kept as written and joins no group.'
        remarks.append(
            Remark(
                "EXT_OLD_PHASE",
                "warning",
                message,
                where=f"line {line}",
                remedy="Choose the phase it stands for.",
            )
        )
    return None


def checks(rows: Sequence[FractionRow], figures: Mapping[str, float]) -> tuple[Remark, ...]:
    """Check an external result against itself: its sum, its uncertainties, its figures of merit."""
    remarks = []
    total = sum(row.weight_fraction or 0.0 for row in rows)
    if abs(total - 1) > 0.01:
        message = f"The fractions add up to {100 * total:.1f} %, not 100 ± 1 %."
        remarks.append(
            Remark("EXT_SUM", "warning", message, total, remedy="Say whether an amorphous share is left out.")
        )
    bare = [row.name for row in rows if row.weight_fraction is not None and not row.esd]
    if bare:
        message = f"No standard uncertainty is given for {', '.join(bare)}."
        remarks.append(
            Remark("EXT_NO_ESD", "warning", message, remedy="Write it in brackets, as in 23.4(5).")
        )
    if {"Rwp", "Rexp", "GoF"} <= figures.keys() and figures["Rexp"] > 0:
        expected = figures["Rwp"] / figures["Rexp"]
        if abs(figures["GoF"] / expected - 1) > 0.05:
            message = f"GoF is given as {figures['GoF']:.2f}, but Rwp / Rexp is {expected:.2f}."
            remarks.append(
                Remark(
                    "EXT_GOF",
                    "warning",
                    message,
                    figures["GoF"],
                    remedy="Some programs quote the square; check which.",
                )
            )
    return tuple(remarks)


def _from_cif(found: CifFractions) -> ExternalFractions:
    """Bring the phases of a powder CIF into the same rows."""
    rows: list[NamedValue] = []
    for n, (name, text) in enumerate(found.percent_by_phase, 1):
        rows.append((n, name, _value_at(n, text), {}))
    if not rows:
        raise NoFractions("The CIF holds no _pd_phase_mass percent of any phase.")
    return _result(rows, "percent", found.figures, found.about)
