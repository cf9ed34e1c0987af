"""Units that older records write the same quantity in, turned exactly: 3410 mg are 3.410 g."""

from decimal import Decimal

_SIZES: tuple[dict[str, str], ...] = (
    {"kg": "1000", "g": "1", "mg": "0.001", "µg": "0.000001"},
    {"m": "1000", "cm": "10", "mm": "1", "µm": "0.001"},
    {"L": "1000", "mL": "1", "µL": "0.001"},
    {"V": "1", "mV": "0.001"},
    {"Ω": "1000", "mΩ": "1"},
    {"Ah": "1000", "mAh": "1"},
    {"mol/L": "1", "mmol/L": "0.001"},
    {"S/cm": "1", "mS/cm": "0.001", "S/m": "0.01"},
    {"g/mL": "1", "kg/m³": "0.001"},
    {"bar": "1000", "mbar": "1", "hPa": "1", "Pa": "0.01", "kPa": "10"},
)
_SAME = {
    "um": "µm", "μm": "µm", "ug": "µg", "μg": "µg", "ul": "µL", "μl": "µL", "ml": "mL", "l": "L",
    "grams": "g",
    "g/cm3": "g/mL", "g/cm³": "g/mL", "kg/m3": "kg/m³", "kg/l": "g/mL", "ohm": "Ω", "mohm": "mΩ",
    "mol/dm3": "mol/L", "mol/dm³": "mol/L", "c": "°C", "degc": "°C", "deg c": "°C", "hours": "h",
    "hour": "h", "minutes": "min", "minute": "min",
}  # fmt: skip


class OtherQuantity(ValueError):
    """The unit is not one of this quantity."""


def plain_unit(text: str) -> str:
    """Write a unit as it is kept here."""
    bare = text.strip().strip("[]()")
    return _SAME.get(bare.lower(), bare)


def turned(number: str, unit: str, into: str) -> str:
    """Give a number of one unit as a number of another, to the last digit that was written.

    ``number`` is one that was read as a number; where nothing is turned, it stays as it was typed.

    Raises
    ------
    OtherQuantity
        If they do not measure the same.
    """
    unit = plain_unit(unit)
    if not unit or unit == into:
        return number
    size = next((each for each in _SIZES if unit in each and into in each), None)
    if size is None:
        raise OtherQuantity(f"{unit} cannot be turned into {into}.")
    ratio = Decimal(size[unit]) / Decimal(size[into])
    plain = "".join(number.split()).replace(",", ".").replace("−", "-")
    return f"{Decimal(plain) * ratio:f}"


def units_beside(unit: str) -> tuple[str, ...]:
    """Give the units that may stand for this one, itself first."""
    size: dict[str, str] = next((each for each in _SIZES if unit in each), {})
    return (unit, *(each for each in size if each != unit))
