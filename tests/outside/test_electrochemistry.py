"""Cycling against the outside: general libraries, exact constants, and a published vocabulary."""

import numpy as np
import periodictable
import pytest
from scipy import constants, optimize, stats
from scipy import integrate as quadrature

from teardown.science.electrochemistry.columns import QUANTITIES, Series
from teardown.science.electrochemistry.integration import integrate
from teardown.science.electrochemistry.knee import find_knee
from teardown.science.electrochemistry.phantoms import CHARGE, DISCHARGE
from teardown.science.electrochemistry.retention import theil_sen
from teardown.science.electrochemistry.steps import find_steps
from teardown.science.electrochemistry.summary import AH_PER_GRAM_2E, AH_PER_GRAM_3E


def test_the_capacity_of_iron_follows_from_published_constants() -> None:
    """Faraday constant of the SI through scipy.constants; atomic weight of iron through periodictable
    (IUPAC).
    """
    faraday = constants.physical_constants["Faraday constant"][0]
    assert pytest.approx(2 * faraday / 3600 / periodictable.Fe.mass, rel=1e-4) == AH_PER_GRAM_2E
    assert pytest.approx(3 * faraday / 3600 / periodictable.Fe.mass, rel=1e-4) == AH_PER_GRAM_3E


@pytest.mark.parametrize("seed", range(5))
def test_the_fade_estimator_agrees_with_a_general_library(seed: int) -> None:
    """Theil-Sen slope and its limits as scipy.stats.theilslopes gives them (Sen 1968)."""
    rng = np.random.default_rng(seed)
    x = np.arange(60.0)
    y = 1 - 0.003 * x + 0.01 * rng.standard_normal(60)
    slope, _, low, high = stats.theilslopes(y, x)
    assert theil_sen(x, y) == pytest.approx((slope, low, high), rel=1e-9)


def test_the_bend_agrees_with_the_published_form_fitted_by_a_general_library() -> None:
    """y = b0 + b1 (x - c) + b2 (x - c) tanh((x - c)/g) with small g (Fermin-Cueto et al., Energy and AI 1
    (2020) 100006).
    """
    x = np.arange(1.0, 301)
    y = 1 - 1e-4 * x - np.maximum(x - 180, 0) * 2e-3 + 0.002 * np.random.default_rng(3).standard_normal(300)

    def published(x: np.ndarray, b0: float, b1: float, b2: float, c: float) -> np.ndarray:
        return b0 + b1 * (x - c) + b2 * (x - c) * np.tanh((x - c) / 1e-8)

    (_, _, _, bend), _ = optimize.curve_fit(published, x, y, p0=(0.95, -1e-3, -1e-3, 170))
    found = find_knee(x, y)
    assert found is not None
    assert found.cycle == pytest.approx(bend, abs=0.5)


def test_integrals_agree_with_adaptive_quadrature() -> None:
    """Charge and energy of a smooth current against scipy.integrate.quad."""
    time_s = np.linspace(0, 7200, 400)
    current = 0.1 + 0.05 * np.sin(time_s / 2000)
    voltage = 1.5 + 0.1 * np.exp(-time_s / 900)
    series = Series({"test_time_second": time_s, "current_ampere": current, "voltage_volt": voltage})
    sums = integrate(series, find_steps(series))
    charge = quadrature.quad(lambda t: 0.1 + 0.05 * np.sin(t / 2000), 0, 7200)[0] / 3600
    energy = (
        quadrature.quad(lambda t: (0.1 + 0.05 * np.sin(t / 2000)) * (1.5 + 0.1 * np.exp(-t / 900)), 0, 7200)[
            0
        ]
        / 3600
    )
    assert sums.charge_Ah[0].sum() == pytest.approx(charge, rel=1e-8)
    assert sums.energy_Wh[0].sum() == pytest.approx(energy, rel=1e-8)


@pytest.mark.parametrize("curve", [CHARGE, DISCHARGE])
def test_the_phantoms_own_truth_is_true(curve: object) -> None:
    """The closed integral of a phantom's curve against scipy.integrate.quad."""
    mean = quadrature.quad(lambda x: float(curve.at(np.array(x))), 0, 1, limit=200)[0]  # type: ignore[attr-defined]
    assert curve.mean() == pytest.approx(mean, rel=1e-9)  # type: ignore[attr-defined]


def test_the_columns_are_those_of_the_open_standard() -> None:
    """Notations and units as the Battery Data Format ontology 1.3.0 (Battery Data Alliance, Apache-2.0) gives
    them.
    """
    published = {
        "test_time_second": "s",
        "voltage_volt": "V",
        "current_ampere": "A",
        "unix_time_second": "s",
        "cycle_count": "1",
        "step_count": "1",
        "ambient_temperature_celsius": "degC",
        "charging_capacity_ah": "Ah",
        "discharging_capacity_ah": "Ah",
        "net_capacity_ah": "Ah",
        "cumulative_capacity_ah": "Ah",
        "cycle_charging_capacity_ah": "Ah",
        "step_discharging_capacity_ah": "Ah",
        "schedule_charging_capacity_ah": "Ah",
        "charging_energy_wh": "Wh",
        "discharging_energy_wh": "Wh",
        "record_index": "1",
        "step_record_index": "1",
        "step_time_second": "s",
        "power_watt": "W",
        "internal_resistance_ohm": "ohm",
        "surface_temperature_celsius": "degC",
    }
    for notation, unit in published.items():
        assert QUANTITIES[notation].unit == unit
