"""Cycling histories of known truth: charge and energy of every half-cycle in closed form.

Drawn like iron-air cells - capacity that rises over the first tens of cycles, fades, and may bend; two
discharge plateaus; long discharges; rests. Invented, for tests and for the demo lab.
"""

from dataclasses import dataclass

import numpy as np

from teardown.science.electrochemistry.columns import Array, Series


@dataclass(frozen=True, slots=True)
class Life:
    """How a cell's capacity runs over its life.

    ``gain`` of the capacity comes in over ``gain_cycles``; then it falls by ``fade`` a cycle, by
    ``late_fade`` after ``knee_cycle``. Shares are of ``capacity_Ah``; ``noise`` is the spread of single
    cycles.
    """

    capacity_Ah: float = 0.6
    gain: float = 0.2
    gain_cycles: float = 8.0
    fade: float = 0.0008
    knee_cycle: float | None = None
    late_fade: float = 0.004
    noise: float = 0.0

    def capacities(self, cycles: int, seed: int = 0) -> Array:
        """Give the discharge capacity of each cycle, Ah; shape (cycles,)."""
        n = np.arange(cycles, dtype=float)
        share = 1 - self.gain * np.exp(-n / self.gain_cycles) - self.fade * n
        if self.knee_cycle is not None:
            share -= (self.late_fade - self.fade) * np.maximum(n - self.knee_cycle, 0.0)
        noisy = share + self.noise * np.random.default_rng(seed).standard_normal(cycles)
        return self.capacity_Ah * np.maximum(noisy, 0.02)


@dataclass(frozen=True, slots=True)
class Curve:
    """A voltage curve over the share x of a half-cycle, with a closed integral.

    Two plateaus joined by a smooth step at ``split``; a quick start and, on discharge, a fall at the end.
    """

    first_V: float
    second_V: float
    split: float
    start_V: float
    end_V: float
    width: float = 0.03
    start_width: float = 0.02
    end_width: float = 0.03

    def at(self, x: Array) -> Array:
        """Give the voltage at shares 0 to 1 of the half-cycle."""
        step = 1 / (1 + np.exp(-(x - self.split) / self.width))
        voltage: Array = (
            self.first_V
            + (self.second_V - self.first_V) * step
            + self.start_V * np.exp(-x / self.start_width)
            + self.end_V * np.exp(-(1 - x) / self.end_width)
        )
        return voltage

    def mean(self) -> float:
        """Give the mean over the half-cycle, exactly."""
        step = self.width * (
            np.logaddexp(0, (1 - self.split) / self.width) - np.logaddexp(0, -self.split / self.width)
        )
        ends = self.start_V * self.start_width * -np.expm1(-1 / self.start_width)
        ends += self.end_V * self.end_width * -np.expm1(-1 / self.end_width)
        return float(self.first_V + (self.second_V - self.first_V) * step + ends)


CHARGE = Curve(1.55, 1.72, 0.75, -0.18, 0.03, width=0.06)
DISCHARGE = Curve(0.98, 0.72, 0.68, 0.12, -0.35)


@dataclass(frozen=True, slots=True)
class Phantom:
    """A history and its truth, shape (cycles,): charges, energies, and the place of the knee."""

    series: Series
    charge_Ah: Array
    discharge_Ah: Array
    charge_Wh: Array
    discharge_Wh: Array
    first_plateau_share: float
    knee_cycle: float | None


def cycling_history(
    *,
    cycles: int = 60,
    life: Life | None = None,
    discharge_h: float = 10.0,
    charge_h: float | None = None,
    rest_h: float = 0.5,
    coulombic_efficiency: float = 0.9,
    efficiency_gain: float = 0.0,
    efficiency_noise: float = 0.0,
    records: int = 30,
    rest_records: int = 5,
    resistance_ohm: float = 0.3,
    resistance_growth: float = 0.0,
    temperature_C: float = 25.0,
    voltage_noise_V: float = 0.0,
    start_unix_s: float | None = None,
    seed: int = 0,
) -> Phantom:
    """Draw one cell's history at constant currents, with its closed-form truth.

    Parameters
    ----------
    cycles : int
    life : Life
        Capacity against cycle.
    discharge_h, charge_h : float
        Hours that the nominal capacity takes at the constant currents; charge like discharge if not given.
    rest_h : float
        Rest after every half-cycle.
    coulombic_efficiency, efficiency_gain, efficiency_noise : float
        Discharge over charge: where it settles, how far below it begins (it comes in with the capacity), and
        the spread of single cycles.
    records, rest_records : int
        Records of a half-cycle and of a rest; first and last lie on the switch.
    resistance_ohm, resistance_growth : float
        Ohmic part, and its growth as a share a cycle.
    temperature_C, voltage_noise_V, start_unix_s, seed
        Chamber temperature, noise of single voltages, clock at the start if there is one, seed of all noise.

    Returns
    -------
    Phantom
        Its series has cycle, step, step time, temperature and both charge counters.
    """
    life = life or Life()
    capacity = life.capacities(cycles, seed)
    rng = np.random.default_rng(seed + 2)
    efficiency = coulombic_efficiency - efficiency_gain * np.exp(-np.arange(cycles) / life.gain_cycles)
    taken = capacity / np.clip(efficiency + efficiency_noise * rng.standard_normal(cycles), 0.05, 1.0)
    discharge_A = life.capacity_Ah / discharge_h
    charge_A = life.capacity_Ah / coulombic_efficiency / (charge_h or discharge_h)
    ohm = resistance_ohm * (1 + resistance_growth * np.arange(cycles))
    x = _shares(records, 10 / (3600 * discharge_h))
    blocks = [
        _Block(taken / charge_A, x, charge_A, CHARGE.at(x)[None, :] + (ohm * charge_A)[:, None]),
        _rest(rest_h, rest_records, cycles, 1.16, 0.3),
        _Block(
            capacity / discharge_A, x, -discharge_A, DISCHARGE.at(x)[None, :] - (ohm * discharge_A)[:, None]
        ),
        _rest(rest_h, rest_records, cycles, 0.93, -0.2),
    ]
    series = _lay_out(blocks, cycles, temperature_C, voltage_noise_V, start_unix_s, seed)
    return Phantom(
        series,
        taken,
        capacity,
        taken * (CHARGE.mean() + ohm * charge_A),
        capacity * (DISCHARGE.mean() - ohm * discharge_A),
        DISCHARGE.split,
        life.knee_cycle,
    )


@dataclass(frozen=True, slots=True)
class _Block:
    """One step of every cycle: hours it takes, shares of its records, current, voltages (cycles, records)."""

    hours: Array
    share: Array
    current_A: float
    voltage_V: Array


def _shares(records: int, early: float) -> Array:
    """Give record places that lie denser towards both ends, where the voltage bends, and one early one."""
    even = np.linspace(0, 1, records - 1)
    return np.sort(np.append(even - 0.85 * np.sin(2 * np.pi * even) / (2 * np.pi), early))


def _rest(hours: float, records: int, cycles: int, settled_V: float, change_V: float) -> _Block:
    share = np.linspace(0, 1, records) ** 2
    voltage = settled_V + change_V * np.exp(-share / 0.15)
    return _Block(np.full(cycles, hours), share, 0.0, np.broadcast_to(voltage, (cycles, records)))


def _lay_out(
    blocks: list[_Block], cycles: int, temperature_C: float, noise_V: float, start: float | None, seed: int
) -> Series:
    """Lay the blocks of all cycles one behind the other."""
    rng = np.random.default_rng(seed + 1)
    lengths = np.stack([b.hours for b in blocks], axis=1) * 3600
    begin = np.concatenate(([0.0], np.cumsum(lengths.ravel())[:-1])).reshape(lengths.shape)
    within = [lengths[:, k, None] * b.share[None, :] for k, b in enumerate(blocks)]
    step_s = np.concatenate(within, axis=1).ravel()
    time_s = np.concatenate([begin[:, k, None] + w for k, w in enumerate(within)], axis=1).ravel()
    width = [b.share.size for b in blocks]
    current = np.tile(np.repeat([b.current_A for b in blocks], width), cycles)
    voltage = np.concatenate([b.voltage_V for b in blocks], axis=1).ravel()
    rows = sum(width)
    columns = {
        "test_time_second": time_s,
        "current_ampere": current,
        "voltage_volt": voltage + noise_V * rng.standard_normal(voltage.size),
        "cycle_count": np.repeat(np.arange(1.0, cycles + 1), rows),
        "step_count": np.repeat(np.arange(1.0, cycles * len(blocks) + 1), width * cycles),
        "step_time_second": step_s,
        "ambient_temperature_celsius": temperature_C + 0.1 * np.round(2 * rng.standard_normal(voltage.size)),
    }
    for sign, name in ((1, "charging_capacity_ah"), (-1, "discharging_capacity_ah")):
        flow = [
            np.diff(w, prepend=0.0, axis=1) * max(sign * b.current_A, 0.0) / 3600
            for w, b in zip(within, blocks, strict=True)
        ]
        columns[name] = np.cumsum(np.concatenate(flow, axis=1).ravel())
    if start is not None:
        columns["unix_time_second"] = start + time_s
    return Series(columns)
