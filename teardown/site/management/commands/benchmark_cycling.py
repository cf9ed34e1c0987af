"""How long cycling files take: reading, computing, keeping, drawing on."""

import io
import json
import resource
import subprocess
import sys
import tempfile
import time
from argparse import ArgumentParser
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from django.core.management.base import BaseCommand

if TYPE_CHECKING:
    from teardown.science.electrochemistry.phantoms import Phantom


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
        made, data = _large(options["rows"])
        cycles = len(made.discharge_Ah)
        self._say("file", 0.0, f"{len(made.series):,} rows, {len(data) / 1e6:.1f} MB, {cycles} cycles")
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder, "large.bdf.csv")
            path.write_bytes(data)
            found = _in_a_child(path)
        for what, spent, more in found["steps"]:
            self._say(what, spent, more)
        worst = max(abs(a / b - 1) for a, b in zip(found["discharge_Ah"], made.discharge_Ah, strict=True))
        self._say("everything", found["seconds"], f"largest error of a discharge {worst:.1e}")
        peak, idle = found["peak_MB"], found["idle_MB"]
        self.stdout.write(
            f"memory of the process           {peak:5.0f} MB at most, {idle:.0f} MB before the file"
        )
        self._say("a loop that only sums", _loop(data), "csv module, one column")
        self._say("50 curves of 1,000 cycles", _curves(), "unpacked from packed columns")
        self._say("a balance of one cell", *_balance())

    def _say(self, what: str, spent: float, more: str) -> None:
        self.stdout.write(f"{what:28} {spent:8.3f} CPU-s  {more}")


def _timed(do: Callable[[], Any]) -> tuple[Any, float]:
    start = time.process_time()
    result = do()
    return result, time.process_time() - start


def _large(rows: int) -> "tuple[Phantom, bytes]":
    """Draw a history, and write it with the digits that a cycler prints."""
    from teardown.formats.series_write import BDF_HEADERS, Dialect, write_text
    from teardown.science.electrochemistry.phantoms import Life, cycling_history

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
    return made, write_text(made.series, Dialect(BDF_HEADERS, digits=digits))


def _in_a_child(path: Path) -> dict[str, Any]:
    """Have a fresh process do everything with a file, so that its memory is its own."""
    command = [sys.executable, "-c", f"import {__name__} as made; made.child({str(path)!r})"]
    # the command is this very module, and the path one that was just made
    done = subprocess.run(command, capture_output=True, check=True, cwd=Path(__file__).parents[4])  # noqa: S603
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def child(path: str) -> None:
    """Do everything with a file, as a warm worker would, and print what it took."""
    from teardown.formats.series import read_series
    from teardown.formats.series_write import write_parquet
    from teardown.science.electrochemistry.curves import voltage_curves
    from teardown.science.electrochemistry.summary import summarise

    with Path(path).open("rb") as file:
        small = read_series(file.read(400_000).rpartition(b"\n")[0], name="warm.bdf.csv")
    assert small.arrays is not None
    write_parquet(small.arrays)
    summarise(small.arrays)  # a worker is warm: what is loaded once is not counted
    idle = _peak_MB()
    steps: list[tuple[str, float, str]] = []
    found, spent = _timed(lambda: read_series(Path(path).read_bytes(), name="large.bdf.csv"))
    assert found.arrays is not None
    steps.append(("read and check", spent, f"{len(found.remarks)} remarks"))
    series = found.arrays
    summary, spent = _timed(lambda: summarise(series, iron_mass_g=1.2))
    steps.append(("cycles and summary", spent, ""))
    _, spent = _timed(lambda: voltage_curves(series, summary.cycles))
    steps.append(("voltage curves", spent, ""))
    kept, spent = _timed(lambda: write_parquet(series))
    steps.append(("series kept", spent, f"{len(kept) / len(series):.1f} bytes a row"))
    told = {
        "steps": steps,
        "seconds": sum(step[1] for step in steps),
        "discharge_Ah": summary.cycles["discharge_Ah"].tolist(),
        "idle_MB": idle,
        "peak_MB": _peak_MB(),
    }
    sys.stdout.write(json.dumps(told))


def _peak_MB() -> float:
    """Give the most memory this process has held; what it inherited from its parent does not count."""
    status = Path("/proc/self/status")
    if status.exists():
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
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


def _balance() -> tuple[float, str]:
    """Close one invented cell measured badly: every kind of doubt is drawn."""
    from teardown.science.balance.closing import DRAWS, close_cell
    from teardown.science.balance.phantoms import invent

    inputs = invent(4, doubtful=True).inputs
    close_cell(inputs)
    _, spent = _timed(lambda: [close_cell(inputs) for _ in range(5)])
    return spent / 5, f"{DRAWS:,} draws"
