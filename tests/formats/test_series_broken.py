"""Whatever a file holds, it gives a history with finite numbers or a refusal in words; never a crash."""

import numpy as np
import pytest

from teardown.formats.series import read_series
from teardown.formats.series_write import write_parquet
from teardown.science.electrochemistry.curves import voltage_curves
from teardown.science.electrochemistry.summary import summarise
from tests.formats.series_broken import broken
from tests.formats.series_hostile import HOSTILE
from tests.formats.series_traps import TRAPS

WHOLE = [*TRAPS, *HOSTILE]


def _hold(seeds: range) -> int:
    """Read broken files all the way to what is kept of them, and count those that were taken."""
    taken = 0
    for seed in seeds:
        trap = WHOLE[seed % len(WHOLE)]()
        found = read_series(broken(seed, trap.data), name=trap.name)
        assert all(r.message and (r.level != "error" or r.remedy) for r in found.remarks), seed
        if found.arrays is None:
            assert found.errors, seed
            continue
        for name in ("test_time_second", "voltage_volt", "current_ampere"):
            assert np.isfinite(found.arrays.columns[name]).all(), (seed, name)
        assert np.all(np.diff(found.arrays.time_s) >= 0), seed
        summary = summarise(found.arrays, iron_mass_g=1.2 if seed % 2 else None, end="capacity limit")
        for name in (
            "charge_Ah",
            "discharge_Ah",
            "u_charge_Ah",
            "u_discharge_Ah",
            "charge_Wh",
            "discharge_Wh",
        ):
            assert np.isfinite(summary.cycles[name]).all(), (seed, name)
            assert np.all(summary.cycles[name] >= 0) or name.endswith("Wh"), (seed, name)
        if not any(r.level == "error" for r in (*found.remarks, *summary.remarks)):
            taken += 1
            voltage_curves(found.arrays, summary.cycles)
            write_parquet(found.arrays)
    return taken


def test_broken_files_are_read_or_refused() -> None:
    assert 0 < _hold(range(10)) < 10


@pytest.mark.long
def test_many_broken_files_are_read_or_refused() -> None:
    assert 60 < _hold(range(10, 330)) < 250
