"""Differential capacity keeps its area, and the first plateau ends where it was made to."""

import numpy as np
import pytest

from teardown.science.electrochemistry.curves import voltage_curves
from teardown.science.electrochemistry.differential import (
    CurveTooShort,
    differential_capacity,
    first_plateau_Ah,
)
from teardown.science.electrochemistry.phantoms import Curve, cycling_history
from teardown.science.electrochemistry.table import tabulate

TWO_STEPS = Curve(0.98, 0.72, 0.6, 0.1, -0.3)


@pytest.mark.parametrize("noise_V", [0.0, 0.0002, 0.003])
def test_the_area_is_the_charge_however_the_voltage_wavers(noise_V: float) -> None:
    share = np.linspace(0, 1, 500)
    voltage = TWO_STEPS.at(share) + noise_V * np.random.default_rng(1).standard_normal(500)
    found = differential_capacity(0.64 * share, voltage)
    assert found.charge_Ah.sum() == pytest.approx(0.64, rel=1e-8)
    assert np.all(found.charge_Ah > -1e-9)


def test_a_straight_line_has_one_height() -> None:
    share = np.linspace(0, 1, 200)
    found = differential_capacity(share, 1.0 - 0.5 * share)
    assert np.allclose(found.dQdV_Ah_per_V[1:-1], 2.0)


def test_a_voltage_that_stands_still_keeps_its_charge() -> None:
    found = differential_capacity(np.linspace(0, 1, 10), np.full(10, 0.9))
    assert found.charge_Ah.sum() == pytest.approx(1.0)


@pytest.mark.parametrize("noise_V", [0.0002, 0.001, 0.003])
def test_a_known_split_is_recovered(noise_V: float) -> None:
    share = np.linspace(0, 1, 400)
    off = []
    for seed in range(20):
        voltage = TWO_STEPS.at(share) + noise_V * np.random.default_rng(seed).standard_normal(400)
        off.append(first_plateau_Ah(differential_capacity(0.64 * share, voltage)) - 0.64 * 0.6)
    assert np.sqrt(np.mean(np.square(off))) < 0.02


def test_one_plateau_is_not_split() -> None:
    share = np.linspace(0, 1, 400)
    one = Curve(0.98, 0.98, 0.5, 0.1, -0.3)
    assert np.isnan(first_plateau_Ah(differential_capacity(0.64 * share, one.at(share))))


def test_three_records_are_no_curve() -> None:
    with pytest.raises(CurveTooShort, match=r"3 record"):
        differential_capacity(np.arange(3.0), np.arange(3.0))


def test_curves_on_common_grids_keep_charge_and_ends() -> None:
    phantom = cycling_history(cycles=4, records=60)
    table = tabulate(phantom.series)
    kept = voltage_curves(phantom.series, table)
    assert np.allclose(kept.charge_Ah[0], phantom.charge_Ah)
    assert np.allclose(kept.charge_Ah[1], phantom.discharge_Ah)
    assert np.allclose(kept.binned_Ah[1].sum(axis=1), phantom.discharge_Ah, rtol=1e-5)
    assert np.allclose(kept.voltage_V[1, :, -1], table["end_discharge_V"], atol=1e-4)
