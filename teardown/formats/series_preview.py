"""What a cycling file would give, as plain data: the map found, the problems, the first rows, the first
numbers.

``look`` opens a file in a child process with little memory and little time, for uploads from outside.
"""

import json
import sys
from dataclasses import asdict
from math import isfinite
from pathlib import Path
from typing import Any

from teardown.formats import child
from teardown.formats.series import SeriesFile, read_series
from teardown.science.electrochemistry.summary import summarise
from teardown.science.errors import Remark

MEMORY_BYTES = 3_000_000_000
CPU_SECONDS = 120
WALL_SECONDS = 180


def preview(
    data: bytes,
    *,
    name: str,
    column_map: dict[str, Any] | None = None,
    remembered: dict[str, dict[str, Any]] | None = None,
    iron_mass_g: float | None = None,
) -> dict[str, Any]:
    """Read a file and say what it would give.

    Returns
    -------
    dict
        ``names``, ``first_rows``, ``rows``, ``fingerprint``, ``map`` (a column map document), ``remarks``
        (each with code, level, message, value, where, remedy), ``would`` (cycles, complete cycles, hours,
        first and last capacities, efficiency; None where the file is refused).
    """
    found = read_series(data, name=name, column_map=column_map, remembered=remembered)
    remarks = list(found.remarks)
    would = None
    if found.arrays is not None:
        summary = summarise(found.arrays, iron_mass_g=iron_mass_g)
        remarks += summary.remarks
        if not any(r.level == "error" for r in remarks):
            names = (
                "cycles",
                "complete_cycles",
                "duration_h",
                "q_first_Ah",
                "q_ref_Ah",
                "q_last_Ah",
                "coulombic_efficiency",
            )
            would = {n: summary.value(n) for n in names} | {"records": len(found.arrays)}
    return {
        "names": list(found.names),
        "first_rows": [list(row) for row in found.first_rows],
        "rows": found.rows,
        "fingerprint": found.fingerprint,
        "map": found.document(),
        "remarks": [_as_data(r) for r in remarks],
        "would": would,
        "clock": _clock(found),
    }


def _as_data(remark: Remark) -> dict[str, Any]:
    """Give a remark as plain data; a value that is no number for JSON is left out."""
    said = asdict(remark)
    if said["value"] is not None and not isfinite(said["value"]):
        said["value"] = None
    return said


def _clock(found: SeriesFile) -> list[float] | None:
    """Give the first and last time of the clock, seconds since 1970."""
    clock = found.arrays.get("unix_time_second") if found.arrays else None
    return (
        None if clock is None or not isfinite(clock[0] + clock[-1]) else [float(clock[0]), float(clock[-1])]
    )


def look(
    path: Path,
    *,
    name: str,
    column_map: dict[str, Any] | None = None,
    remembered: dict[str, dict[str, Any]] | None = None,
    iron_mass_g: float | None = None,
) -> dict[str, Any]:
    """Do what `preview` does in a limited child process; a file that kills or stalls it is refused."""
    asked = {
        "path": str(path),
        "name": name,
        "column_map": column_map,
        "remembered": remembered,
        "iron_mass_g": iron_mass_g,
    }
    answer = child.ask(
        "teardown.formats.series_preview", said=json.dumps(asked).encode(), wall_s=WALL_SECONDS
    )
    try:
        return dict(json.loads(answer)) if answer else _refused()
    except ValueError:
        return _refused()


def _refused() -> dict[str, Any]:
    remark = Remark(
        "FILE_TOO_LARGE",
        "error",
        "The file takes more time or memory to open than is allowed.",
        None,
        "",
        "Split it at the edges of steps, or export fewer columns.",
    )
    return {
        "names": [],
        "first_rows": [],
        "rows": 0,
        "fingerprint": "",
        "map": {},
        "remarks": [_as_data(remark)],
        "would": None,
        "clock": None,
    }


def _main() -> None:
    child.limit(memory_bytes=MEMORY_BYTES, cpu_s=CPU_SECONDS, data_alone=True)
    asked = json.loads(sys.stdin.read())
    data = Path(asked.pop("path")).read_bytes()
    json.dump(preview(data, **asked), sys.stdout)


if __name__ == "__main__":
    _main()
