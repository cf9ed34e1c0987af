"""Units as they stand in the names of columns, and what they are worth in the canonical one."""

import re
import unicodedata

# written in lower case, without spaces, dots and middle dots; value: dimension, factor to the canonical unit
UNITS: dict[str, tuple[str, float]] = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sek", "sekunden"), ("time", 1.0)),
    **dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), ("time", 1e-3)),
    **dict.fromkeys(("µs", "us"), ("time", 1e-6)),
    **dict.fromkeys(("min", "mins", "minute", "minutes", "minuten"), ("time", 60.0)),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours", "std", "stunden", "heures"), ("time", 3600.0)),
    **dict.fromkeys(("d", "day", "days", "tage", "jours"), ("time", 86400.0)),
    **dict.fromkeys(("v", "volt", "volts"), ("voltage", 1.0)),
    **dict.fromkeys(("mv", "millivolt", "millivolts"), ("voltage", 1e-3)),
    **dict.fromkeys(("µv", "uv"), ("voltage", 1e-6)),
    **dict.fromkeys(("a", "amp", "amps", "ampere", "amperes"), ("current", 1.0)),
    **dict.fromkeys(("ma", "milliamp", "milliamps", "milliampere"), ("current", 1e-3)),
    **dict.fromkeys(("µa", "ua", "microamp"), ("current", 1e-6)),
    **dict.fromkeys(("na",), ("current", 1e-9)),
    **dict.fromkeys(
        ("ah", "a-h", "a*h", "amph", "amp-hr", "amphr", "amp-hrs", "amperehour", "amperehours"),
        ("charge", 1.0),
    ),
    **dict.fromkeys(("mah", "ma-h", "ma*h"), ("charge", 1e-3)),
    **dict.fromkeys(("µah", "uah"), ("charge", 1e-6)),
    **dict.fromkeys(("as", "coulomb", "coulombs"), ("charge", 1 / 3600)),
    **dict.fromkeys(("wh", "w-h", "w*h", "watthour", "watt-hr", "watthr"), ("energy", 1.0)),
    **dict.fromkeys(("mwh", "mw-h", "mw*h"), ("energy", 1e-3)),
    **dict.fromkeys(("µwh", "uwh"), ("energy", 1e-6)),
    **dict.fromkeys(("kwh",), ("energy", 1e3)),
    **dict.fromkeys(("j", "joule", "ws"), ("energy", 1 / 3600)),
    **dict.fromkeys(("w", "watt", "watts"), ("power", 1.0)),
    **dict.fromkeys(("mw",), ("power", 1e-3)),
    **dict.fromkeys(("ohm", "ohms", "ω"), ("resistance", 1.0)),
    **dict.fromkeys(("mohm", "mω", "milliohm"), ("resistance", 1e-3)),
    **dict.fromkeys(("hz", "hertz"), ("frequency", 1.0)),
    **dict.fromkeys(("khz",), ("frequency", 1e3)),
    **dict.fromkeys(("°", "degrees"), ("angle", 1.0)),
    **dict.fromkeys(("°c", "degc", "celsius", "deg", "degreec"), ("temperature", 1.0)),
    **dict.fromkeys(("k", "kelvin"), ("temperature", 1.0)),
    **dict.fromkeys(
        ("mah/g", "ah/kg", "ah/g", "ma/g", "a/g", "ma/cm2", "ma/cm²", "a/m2", "a/m²", "mah/cm2", "mah/cm²"),
        ("per mass or area", 1.0),
    ),
    **dict.fromkeys(("1", "-", "#", "none", "n/a", "%"), ("number", 1.0)),
}
KELVIN_OFFSET = -273.15


def tidy(unit: str) -> str:
    """Write a unit in lower case without spaces and dots."""
    plain = unicodedata.normalize("NFKC", unit).replace("μ", "µ").replace("Ω", "ω").lower()
    return re.sub(r"[\s.·⋅]", "", plain)


def is_unit(text: str) -> bool:
    """Tell whether a text is a unit, or the form of a clock."""
    return tidy(text) in UNITS or is_clock_form(text) or tidy(text) == "c"


def is_clock_form(text: str) -> bool:
    """Tell whether a unit is the form of a clock, such as hh:mm:ss."""
    low = text.lower()
    letters = set(re.sub(r"[^a-z]", "", low))
    hours = {"h", "m"} <= letters <= set("dhminsxzf") and ":" in low
    return hours or ({"y", "m", "d"} <= letters <= set("ymdhisft"))


def split_name(name: str) -> tuple[str, str]:
    """Split a column name into what it is and its unit; the unit is empty where none stands there.

    Forms: ``x / u``, ``x (u)``, ``x [u]``, ``x <u>``, ``x{u}``, ``x, u``, ``x in u``, ``x_in_u``, ``x_u``.
    """
    name = " ".join(name.replace("\n", " ").split())
    bracket = re.match(r"^(.*?)\s*[\[(<{]\s*([^\[\](){}<>]*)\s*[\])>}]\s*$", name)
    if bracket and (is_unit(bracket[2]) or not bracket[2]):
        return bracket[1].rstrip(" /_"), bracket[2]
    inner = re.match(r"^(.*?)\s*[\[(]\s*([^\[\]()]*)\s*[\])]\s*(.+)$", name)
    if inner and is_unit(inner[2]):
        return f"{inner[1]} {inner[3]}".strip(), inner[2]
    for pattern in (
        r"^(.*\S)\s*/\s*(\S+(?:\s?\S+)?)$",
        r"^(.*\S),\s*(\S+)$",
        r"^(.*\S)\s+in\s+(\S+)$",
        r"^(.*\S)_in_(\S+?)$",
        r"^(.*\S)_(\S+?)$",
        r"^(.*\S)\s+(\S+)$",
    ):
        found = re.match(pattern, name)
        if (
            found
            and is_unit(found[2])
            and tidy(found[2]) not in ("-", "none", "na")
            and _is_told(pattern, found[2])
        ):
            return found[1].rstrip(" /_"), found[2]
    return name, ""


def _is_told(pattern: str, unit: str) -> bool:
    """Let a bare last word count as a unit only if it cannot be part of a name."""
    if pattern.endswith(r"\s+(\S+)$") and "in" not in pattern:
        return tidy(unit) in (
            "mah",
            "ah",
            "wh",
            "mwh",
            "ma",
            "mv",
            "°c",
            "degc",
            "ohm",
            "mohm",
            "seconds",
            "hours",
        )
    return True


def factor_of(unit: str, dimension: str, base: str) -> tuple[float, float] | None:
    """Give factor and offset to the canonical unit, or None where the unit is not one of the dimension.

    A bare C is Celsius behind a temperature; behind a charge it may be coulomb, and is not assumed.
    """
    short = tidy(unit)
    if short == "c" and dimension == "temperature":
        return 1.0, 0.0
    if short == "c" and dimension == "charge" and "temp" not in base:
        return None
    if short == "ms" and unit.strip() == "MS":
        return None
    found = UNITS.get(short)
    if found is None or found[0] != dimension:
        return None
    return found[1], KELVIN_OFFSET if short in ("k", "kelvin") else 0.0
