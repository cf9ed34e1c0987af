"""How long cycling files take: reading, computing, keeping, drawing on."""

import io
import resource
import time
from argparse import ArgumentParser
from collections.abc import Callable
from typing import Any

import numpy as np
from django.core.management.base import BaseCommand


class Command(BaseCommand):
    """Measure the import of one large file and the unpacking of many curves."""

    help = "Time the reading of a large cycling file, its summary, what is kept of it, and fifty curves."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the size."""
        parser.add_argument("--rows", type=int, default=1_000_000)

    def handle(self, *args: Any, **options: Any) -> None:
        """Print one line a step: CPU seconds, and what came of it."""
        del args
        from teardown.formats.series import read_series
        from teardown.formats.series_write import BDF_HEADERS, Dialect, write_parquet, write_text
        from teardown.science.electrochemistry.curves import voltage_curves
        from teardown.science.electrochemistry.phantoms import Life, cycling_history
        from teardown.science.electrochemistry.summary import summarise

        rows: int = options["rows"]
        made = cycling_history(
            cycles=max(rows // 2000, 2), life=Life(knee_cycle=None, fade=2e-4), records=900, rest_records=100
        )
        digits = {
            "test_time_second": 2,
            "current_ampere": 6,
            "voltage_volt": 5,
            "charging_capacity_ah": 7,
            "discharging_capacity_ah": 7,
            "step_time_second": 2,
            "ambient_temperature_celsius": 1,
        }
        data = write_text(made.series, Dialect(BDF_HEADERS, digits=digits))
        small = read_series(data[: data.index(b"\n", min(2_000_000, len(data) // 2))], name="warm.bdf.csv")
        assert small.arrays is not None
        summarise(small.arrays)  # a worker is warm: what is loaded once is not counted
        self._say(
            "file",
            0.0,
            f"{len(made.series):,} rows, {len(data) / 1e6:.1f} MB, {len(made.discharge_Ah)} cycles",
        )
        before = _peak_MB()
        total = 0.0
        found, spent = _timed(lambda: read_series(data, name="large.bdf.csv"))
        total += spent
        self._say("read and check", spent, f"{len(found.remarks)} remarks")
        assert found.arrays is not None
        series = found.arrays
        summary, spent = _timed(lambda: summarise(series, iron_mass_g=1.2))
        total += spent
        worst = float(np.max(np.abs(summary.cycles["discharge_Ah"] / made.discharge_Ah - 1)))
        self._say("cycles and summary", spent, f"largest error of a discharge {worst:.1e}")
        _, spent = _timed(lambda: voltage_curves(series, summary.cycles))
        total += spent
        self._say("voltage curves", spent, "")
        kept, spent = _timed(lambda: write_parquet(series))
        total += spent
        self._say("series kept", spent, f"{len(kept) / len(series):.1f} bytes a row")
        self._say(
            "everything",
            total,
            f"{_peak_MB() - before:.0f} MB above the peak before",
        )
        self._say("a loop that only sums", _loop(data), "csv module, one column")
        self._say("50 curves of 1,000 cycles", _curves(), "unpacked from packed columns")

    def _say(self, what: str, spent: float, more: str) -> None:
        self.stdout.write(f"{what:28} {spent:8.3f} CPU-s  {more}")


def _timed(do: Callable[[], Any]) -> tuple[Any, float]:
    start = time.process_time()
    result = do()
    return result, time.process_time() - start


def _peak_MB() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _loop(data: bytes) -> float:
    """Sum one column with the csv module, for comparison."""
    import csv

    start = time.process_time()
    reader = csv.reader(io.StringIO(data.decode()))
    next(reader)
    sum(float(row[1]) for row in reader)
    return time.process_time() - start


def _curves() -> float:
    """Unpack fifty tests of a thousand cycles each."""
    from teardown.cycling.models import Curves
    from teardown.cycling.store import unpack
    from teardown.science.electrochemistry.table import CYCLE_COLUMNS

    blob = np.zeros((len(CYCLE_COLUMNS), 1000), dtype="<f4").tobytes()
    packed = [Curves(n=1000, columns=list(CYCLE_COLUMNS), blob=blob) for _ in range(50)]
    start = time.process_time()
    for curves in packed:
        unpack(curves)
    return time.process_time() - start
