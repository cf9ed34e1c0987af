"""Which column is which: names of the trade in several languages, units from the names and never assumed."""

import hashlib
import re
import unicodedata
from dataclasses import dataclass, replace

from teardown.formats.series_alike import one_of_alike
from teardown.formats.series_names import (
    CAPACITY_WORDS,
    CHARGE_WORDS,
    DISCHARGE_WORDS,
    ENERGY_WORDS,
    NAMES,
    OTHER_READINGS,
)
from teardown.formats.series_text import COMPACT, DURATION
from teardown.formats.series_units import factor_of, is_clock_form, split_name
from teardown.science.electrochemistry.columns import QUANTITIES
from teardown.science.errors import Remark

BARE_TIMES = frozenset(
    ("time", "zeit", "temps", "tiempo", "tempo", "tijd", "tid", "t", "uhrzeit", "heure", "hora")
)
FLOW = r"current|strom|stroom|courant|corriente|corrente"
UP = r"charg|lade|laad|chg|carga|carica"
DOWN = r"discharg|entlad|ontlad|ontlaad|decharg|descarg|scaric|dischg|dchg"


@dataclass(frozen=True, slots=True)
class Column:
    """How one column of a file is read: quantity, factor and offset to the canonical unit.

    ``kind`` is "number", "clock" (a date and time), "duration" (hh:mm:ss) or "text".
    """

    name: str
    quantity: str
    factor: float = 1.0
    offset: float = 0.0
    kind: str = "number"
    unit: str = ""


def plain(name: str) -> str:
    """Write a name in lower case, without accents, words apart by one space."""
    spread = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", " ", name)
    spread = (
        spread.replace("ß", "ss").replace("ä", "ae").replace("ö", "oe").replace("ü", "ue").replace("Ü", "Ue")
    )
    bare = unicodedata.normalize("NFKD", spread).encode("ascii", "ignore").decode().lower()
    return " ".join(re.sub(r"[^a-z0-9]+", " ", bare).split())


def fingerprint(names: tuple[str, ...]) -> str:
    """Give 16 hex digits that stand for a header row, whatever its case and spaces."""
    joined = "\u001f".join(" ".join(name.lower().split()) for name in names)
    return hashlib.sha256(joined.encode()).hexdigest()[:16]


def recognise(names: tuple[str, ...], samples: dict[str, list[str]]) -> tuple[list[Column], list[Remark]]:
    """Say what each column is.

    Parameters
    ----------
    names : tuple of str
        The header.
    samples : dict of str to list of str
        Some cells of each column, to tell dates and durations from numbers.

    Returns
    -------
    list of Column, list of Remark
        One column a quantity at most. A unit that is not told, and two columns that might both be meant, are
        errors for time, voltage and current and leave out the others.
    """
    found: dict[str, list[tuple[int, Column]]] = {}
    remarks: list[Remark] = []
    for name in names:
        guess = _quantity(name)
        if guess is None:
            continue
        quantity, rank, base, unit = guess
        column = _with_unit(name, quantity, base, unit, samples.get(name, []), remarks)
        if column is not None:
            found.setdefault(column.quantity, []).append((rank, column))
    apart = _directed_currents(names)
    if apart:
        remarks = [r for r in remarks if r.where not in {f"column «{name}»" for name in apart}]
        found["current_ampere"] = []
    chosen = [
        _best(quantity, one_of_alike(hits, samples), remarks) for quantity, hits in found.items() if hits
    ]
    columns = [column for column in chosen if column is not None]
    columns += _both_currents(apart, samples, remarks) if apart else []
    _missing(columns, names, remarks, current_told=bool(apart))
    return columns, remarks


def _directed_currents(names: tuple[str, ...]) -> tuple[str, ...]:
    """Give the columns of charging and of discharging current, where the current stands in no other."""
    bare = {name: plain(split_name(name)[0]) for name in names}
    squeezed = {n: _squeezed(w) for n, w in bare.items() if re.search(FLOW, w) and not _other(w)}
    down = [n for n in squeezed if flows_down(n)]
    up = [n for n, w in squeezed.items() if n not in down and re.search(UP, w)]
    return (*up, *down) if up and down and len(down) + len(up) == len(squeezed) else ()


def flows_down(name: str) -> bool:
    """Tell whether a column is named for the discharge."""
    return re.search(DOWN, _squeezed(plain(split_name(name)[0]))) is not None


def _both_currents(
    names: tuple[str, ...], samples: dict[str, list[str]], remarks: list[Remark]
) -> list[Column]:
    """Read a current that stands in two columns, one for each direction: the discharge counts below zero."""
    if len(names) > 2:
        text = f"The current stands in {len(names)} columns: {', '.join(f'«{n}»' for n in names)}."
        remedy = "Map one column for charge and one for discharge, or one current with its sign."
        remarks.append(Remark("CURRENT_IN_TWO_COLUMNS", "error", text, float(len(names)), "header", remedy))
        return []
    read = [_with_unit(n, "current_ampere", *split_name(n), samples.get(n, []), remarks) for n in names]
    return [replace(c, factor=-c.factor) if c.name == names[1] else c for c in read if c is not None]


def _other(words: str) -> bool:
    return bool(set(words.split()) & OTHER_READINGS - {"di"})


def _squeezed(words: str) -> str:
    """Close the gaps between words, but not so that what is "de charge" becomes a discharge."""
    return re.sub(r"\bde charg", "charg", words).replace(" ", "")


def _quantity(name: str) -> tuple[str, int, str, str] | None:
    """Give quantity, rank (0 is surest), bare name and unit."""
    flat = re.sub(r"\s+", "", name).lower()
    for notation, q in QUANTITIES.items():
        if flat in (notation, re.sub(r"\s+", "", q.label).lower()):
            return notation, 0, notation, q.unit
    base, unit = split_name(name)
    words = plain(base)
    if not unit and (named := _unit_alone(base)):
        return named, 50, words, base
    counter = _counter(words, unit)
    if counter:
        return counter, 1, words, unit
    hits = [(q, 2 + known.index(words)) for q, (_, known) in NAMES.items() if words in known]
    fitting = [hit for hit in hits if not unit or _fits(hit[0], unit, words)]
    if fitting or hits:
        quantity, rank = (fitting or hits)[0]
        return quantity, rank, words, unit
    return _by_words(words, unit)


def _fits(quantity: str, unit: str, words: str) -> bool:
    """Tell whether a unit is one of the quantity: T in K is no time."""
    dimension = dimension_of(quantity)
    if dimension in ("number", "text", "clock"):
        return True
    return factor_of(unit, dimension, words) is not None or (dimension == "time" and is_clock_form(unit))


def _unit_alone(name: str) -> str | None:
    """Recognise a column that is named by nothing but its unit written out, such as Volts."""
    if len(name) < 3:
        return None
    for dimension, quantity in (
        ("voltage", "voltage_volt"),
        ("current", "current_ampere"),
        ("charge", "cumulative_capacity_ah"),
        ("energy", "cumulative_energy_wh"),
    ):
        if factor_of(name, dimension, "") is not None:
            return quantity
    return None


def _by_words(words: str, unit: str) -> tuple[str, int, str, str] | None:
    """Fall back on single telling words, unless another word says that it is not the cell's own reading."""
    held = set(words.split())
    if held & OTHER_READINGS:
        return None
    for quantity, telling in (
        ("step_time_second", {"steptime", "schrittzeit"}),
        ("voltage_volt", {"voltage", "spannung", "zellspannung", "tension", "voltaje", "tensione", "tensao"}),
        ("current_ampere", {"current", "strom", "courant", "corriente", "corrente"}),
        ("cycle_count", {"cycle", "zyklus", "ciclo"}),
        ("step_id", {"step", "schritt"}),
        ("ambient_temperature_celsius", {"temperature", "temperatur", "temperatura"}),
        ("test_time_second", {"time", "zeit", "temps", "tiempo", "tempo"}),
    ):
        if held & telling:
            if quantity == "step_id" and held & {"time", "zeit", "type", "mode", "name"}:
                continue
            return quantity, 100, words, unit
    return None


def _counter(words: str, unit: str) -> str | None:
    """Recognise a counter of charge or energy, with its direction and the scope of its resets."""
    held = words.split()
    dims = [d for d in ("charge", "energy") if unit and factor_of(unit, d, words) is not None]
    if unit and not dims and unit.lower() != "c":
        return None
    squeezed = _squeezed(words)
    down = any(w in DISCHARGE_WORDS for w in held) or re.search(DOWN, squeezed) is not None
    rest = re.sub(rf"(?:{DOWN})\w*", "", squeezed)
    up = not down and (any(w in CHARGE_WORDS for w in held) or re.search(UP, rest) is not None)
    amount = (
        any(w in CAPACITY_WORDS for w in held)
        or re.search(r"capac|kapaz|ladungs|cap$|^q", squeezed) is not None
    )
    energy = any(w in ENERGY_WORDS for w in held) or re.search(r"energ", squeezed) is not None
    if dims == ["charge"]:
        energy = False
        amount = True
    elif dims == ["energy"]:
        energy, amount = True, False
    if not amount and not energy:
        return None
    if set(held) & OTHER_READINGS or (not dims and not re.search(r"capac|kapaz|energ|ladungs", squeezed)):
        return None
    if up and dims == ["charge"] and not down and words in ("charge", "ladung", "q charge total", "carga"):
        up = False  # a bare "charge" in Ah is an amount, not a direction
    scope = (
        "cycle_"
        if re.search(r"cycle|zykl|ciclo|cyclus", squeezed)
        else "step_"
        if re.search(r"step|schritt|etape|paso|passo|stap", squeezed)
        else ""
    )
    if "net" in held or "netto" in held:
        down = up = False
    way = (
        "discharging"
        if down
        else "charging"
        if up
        else "net"
        if re.search(r"net|netto", squeezed)
        else "cumulative"
    )
    return f"{scope}{way}_{'energy_wh' if energy and not amount else 'capacity_ah'}"


def dimension_of(quantity: str) -> str:
    """Name the dimension that a quantity's unit must have."""
    if quantity in NAMES:
        return NAMES[quantity][0]
    return "charge" if quantity.endswith("_ah") else "energy" if quantity.endswith("_wh") else "number"


def _with_unit(
    name: str, quantity: str, base: str, unit: str, sample: list[str], remarks: list[Remark]
) -> Column | None:
    """Settle factor and kind of a column, or say why it cannot be read."""
    dimension = dimension_of(quantity)
    form = _form(sample)
    if dimension == "text":
        return Column(name, quantity, kind="text")
    if dimension == "number":
        return Column(name, quantity)
    if dimension in ("time", "clock") and form == "clock":
        return Column(name, "unix_time_second", kind="clock")
    if dimension == "time" and form == "duration":
        return Column(name, quantity, kind="duration")
    if dimension == "clock":
        return _number_clock(name, unit, sample)
    required = quantity in ("test_time_second", "voltage_volt", "current_ampere")
    if base == quantity:
        return Column(name, quantity, unit=unit)
    if is_clock_form(unit):
        unit = ""
    scale = factor_of(unit, dimension, base) if unit else None
    if scale is None:
        said = f"says «{unit}», which is no unit of {dimension}" if unit else "tells no unit"
        if unit in ("C", "c") and dimension == "charge":
            said = "says «C», which may be coulomb or degrees Celsius"
        remarks.append(
            Remark(
                "UNIT_MISSING",
                "error" if required else "warning",
                f"Column «{name}» looks like {quantity.rsplit('_', 1)[0].replace('_', ' ')} but {said}"
                + ("." if required else "; it was left out."),
                None,
                f"column «{name}»",
                "Name the unit in a column map; none is assumed.",
            )
        )
        return Column(name, quantity, unit="?") if required else None
    return Column(name, quantity, scale[0], scale[1], unit=unit)


def _number_clock(name: str, unit: str, sample: list[str]) -> Column | None:
    """Tell epochs in s, ms and µs, and spreadsheet days, by their size."""
    bare = [re.sub(r"(?<=\d)[ '’](?=\d{3})", "", cell) for cell in sample]
    values = [
        float(cell.replace(",", "."))
        for cell in bare
        if re.fullmatch(r"\d+(?:[.,]\d+)?(?:[eE]\+?\d+)?", cell)
    ]
    if not values:
        return None
    if 8e8 < values[0] < 5e9:
        return Column(name, "unix_time_second")
    if 8e11 < values[0] < 5e12:
        return Column(name, "unix_time_second", 1e-3)
    if 8e14 < values[0] < 5e15:
        return Column(name, "unix_time_second", 1e-6)
    if 20_000 < values[0] < 80_000:
        return Column(name, "unix_time_second", 86400.0, -25569 * 86400.0)
    del unit
    return None


def _form(sample: list[str]) -> str:
    """Tell from some cells whether a column holds numbers, durations or dates with times."""
    held = [cell for cell in sample if cell][:50]
    if not held:
        return "number"
    durations = sum(bool(DURATION.match(c) or re.fullmatch(r"\d+:\d{2}:\d{2}(?:[.,]\d+)?", c)) for c in held)
    dates = sum(
        bool(re.search(r"\d{1,4}[./-](?:\d{1,2}|[A-Za-z]{3})[./-]\d{1,4}", c) or COMPACT.match(c))
        for c in held
    )
    if dates > 0.5 * len(held):
        return "clock"
    return "duration" if durations > 0.5 * len(held) else "number"


def _best(quantity: str, hits: list[tuple[int, Column]], remarks: list[Remark]) -> Column | None:
    """Choose among columns that could be the same quantity; where none is surer, ask."""
    hits.sort(key=lambda hit: hit[0])
    if len(hits) == 1 or (hits[0][0] < hits[1][0] and (hits[0][0] < 2 or hits[1][0] >= 100)):
        return hits[0][1]
    if quantity == "test_time_second":  # a time of day may stand beside what is named for the test
        told = [hit for hit in hits if plain(split_name(hit[1].name)[0]) not in BARE_TIMES]
        if len(told) == 1 and told[0][1].unit != "?":
            return told[0][1]
    known = [hit for hit in hits if hit[1].unit != "?"]
    if len(known) == 1:
        return known[0][1]
    names = ", ".join(f"«{column.name}»" for _, column in hits[:4])
    if quantity in ("voltage_volt", "current_ampere", "test_time_second"):
        remarks.append(
            Remark(
                "COLUMN_AMBIGUOUS",
                "error",
                f"{len(hits)} columns may be {quantity.rsplit('_', 1)[0].replace('_', ' ')}: {names}.",
                None,
                names,
                "Say in a column map which one is the cell's.",
            )
        )
        return hits[0][1]
    return hits[0][1]


def _missing(
    columns: list[Column], names: tuple[str, ...], remarks: list[Remark], *, current_told: bool
) -> None:
    have = {column.quantity for column in columns}
    lacking = [q for q in ("voltage_volt", "current_ampere") if q not in have]
    if current_told and "current_ampere" in lacking:
        lacking.remove("current_ampere")
    if not have & {"test_time_second", "unix_time_second", "step_time_second"}:
        lacking.insert(0, "test_time_second")
    if lacking:
        words = ", ".join(q.rsplit("_", 1)[0].replace("_", " ") for q in lacking)
        shown = ", ".join(f"«{n}»" for n in names[:12]) + (" …" if len(names) > 12 else "")
        remarks.append(
            Remark(
                "COLUMN_MISSING",
                "error",
                f"No column is known as {words}; the file has {shown}.",
                None,
                "header",
                "Name the columns in a column map.",
            )
        )
