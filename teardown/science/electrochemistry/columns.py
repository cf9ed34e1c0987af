"""The names of a cycling history's columns, and the history itself.

The vocabulary is that of the Battery Data Format ontology 1.3.0 (Battery Data Alliance, Apache-2.0): one
notation a quantity, units fixed, current positive on charge. A reader of files turns whatever it finds into
these; everything in this package computes from these alone.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from teardown.science.errors import MeasurementError

Array = NDArray[np.float64]
Index = NDArray[np.int64]
BDF = "https://w3id.org/battery-data-alliance/ontology/battery-data-format#"


@dataclass(frozen=True, slots=True)
class Quantity:
    """One column of a history: its machine name, the label people read, and the fixed unit."""

    notation: str
    label: str
    unit: str

    @property
    def iri(self) -> str:
        """The name of the term in the ontology."""
        return BDF + self.notation


def _counters() -> list[Quantity]:
    made = []
    for scope, words in (("", ""), ("cycle_", "Cycle "), ("step_", "Step "), ("schedule_", "Schedule ")):
        for way in ("charging", "discharging", "net", "cumulative"):
            for what, unit in (("capacity", "Ah"), ("energy", "Wh")):
                label = f"{words}{way.capitalize()} {what.capitalize()} / {unit}"
                made.append(Quantity(f"{scope}{way}_{what}_{unit.lower()}", label, unit))
    return made


QUANTITIES: dict[str, Quantity] = {
    q.notation: q
    for q in (
        Quantity("test_time_second", "Test Time / s", "s"),
        Quantity("voltage_volt", "Voltage / V", "V"),
        Quantity("current_ampere", "Current / A", "A"),
        Quantity("unix_time_second", "Unix Time / s", "s"),
        Quantity("cycle_count", "Cycle Count / 1", "1"),
        Quantity("step_count", "Step Count / 1", "1"),
        Quantity("ambient_temperature_celsius", "Ambient Temperature / degC", "degC"),
        Quantity("surface_temperature_celsius", "Surface Temperature / degC", "degC"),
        Quantity("record_index", "Record Index / 1", "1"),
        Quantity("step_record_index", "Step Record Index / 1", "1"),
        Quantity("step_id", "Step ID", ""),
        Quantity("step_type", "Step Type", ""),
        Quantity("step_time_second", "Step Time / s", "s"),
        Quantity("power_watt", "Power / W", "W"),
        Quantity("internal_resistance_ohm", "Internal Resistance / ohm", "ohm"),
        Quantity("dc_internal_resistance_ohm", "DC Internal Resistance / ohm", "ohm"),
        Quantity("ac_internal_resistance_ohm", "AC Internal Resistance / ohm", "ohm"),
        Quantity("frequency_hertz", "Frequency / Hz", "Hz"),
        Quantity("real_impedance_ohm", "Real Impedance / ohm", "ohm"),
        Quantity("imaginary_impedance_ohm", "Imaginary Impedance / ohm", "ohm"),
        Quantity("absolute_impedance_ohm", "Absolute Impedance / ohm", "ohm"),
        Quantity("phase_degree", "Phase / deg", "deg"),
        *_counters(),
    )
}

REQUIRED = ("test_time_second", "voltage_volt", "current_ampere")


def total(owner: Index, amount: Array, size: int) -> Array:
    """Add up amounts by their owner, 0 to ``size`` - 1; shape (size,)."""
    summed: Array = np.bincount(owner, weights=amount, minlength=size).astype(np.float64)
    return summed


def ratio(above: Array, below: Array) -> Array:
    """Divide, with NaN where there is nothing above zero to divide by."""
    divided: Array = np.divide(above, below, out=np.full(np.shape(above), np.nan), where=below > 0)
    return divided


class SeriesTooShort(MeasurementError):
    """Two records are the least that a history can be."""

    code = "electrochemistry.E001"
    hint = "Give at least two records with time, voltage and current."


@dataclass(frozen=True, slots=True)
class Series:
    """One cell's history in canonical columns and units, current positive on charge.

    Attributes
    ----------
    columns : mapping of str to ndarray of float, each of shape (records,)
        Keys are notations of `QUANTITIES`; time, voltage and current are always there and finite, and time
        never decreases. Others may hold NaN.
    resolution : mapping of str to float
        The smallest step that each column was written with, in its canonical unit; 0 where not known.
    parts : tuple of int
        First records of parts that were joined after a restart of unknown length.
    ends_unseen : bool
        True where test time was added up from step time: what lies behind the last record of a step is not
        in it.
    """

    columns: Mapping[str, Array]
    resolution: Mapping[str, float] = field(default_factory=dict)
    parts: tuple[int, ...] = ()
    ends_unseen: bool = False

    def __post_init__(self) -> None:
        """Refuse a history without time, voltage and current, or with too few records."""
        missing = [name for name in REQUIRED if name not in self.columns]
        if missing:
            raise SeriesTooShort(f"The history has no {', '.join(missing)}.")
        if self.time_s.size < 2:
            raise SeriesTooShort(f"The history has {self.time_s.size} record(s).")

    @property
    def time_s(self) -> Array:
        """Time since the test began, s."""
        return self.columns["test_time_second"]

    @property
    def voltage_V(self) -> Array:
        """Voltage across the terminals, V."""
        return self.columns["voltage_volt"]

    @property
    def current_A(self) -> Array:
        """Current, A, positive on charge."""
        return self.columns["current_ampere"]

    def get(self, notation: str) -> Array | None:
        """Give a column, or None where the file has none."""
        return self.columns.get(notation)

    def step_of(self, notation: str) -> float:
        """Give the smallest written step of a column, 0 where not known."""
        return float(self.resolution.get(notation, 0.0))

    def __len__(self) -> int:
        """Count the records."""
        return int(self.time_s.size)
