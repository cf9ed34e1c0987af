"""Per-cycle and per-cell values of a cycling file, without a database."""

import json
from argparse import ArgumentParser
from dataclasses import asdict
from math import isfinite
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from teardown.science.errors import Remark

REFUSED = 2


class Command(BaseCommand):
    """Read a cycler's export and print what it comes to."""

    help = (
        "Read a cycling file (text, workbook, or Battery Data Format) and print its cycles, summary and "
        "problems. Ends with 2 where the file is refused."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare file, column map and what is known of the cell."""
        parser.add_argument("file", type=Path)
        parser.add_argument(
            "--map", type=Path, metavar="MAP.json", help="column map (Table Schema with rdfType)"
        )
        parser.add_argument(
            "--iron-mass-g", type=float, help="iron built in, g; gives utilisation and a check of size"
        )
        parser.add_argument(
            "--end", default=None, help='how the test ended, e.g. "capacity limit"; running if not given'
        )
        parser.add_argument("--json", action="store_true", help="print one JSON document instead of a table")

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the result; a refused file is a result too."""
        del args
        answer = _answer(options)
        if options["json"]:
            self.stdout.write(json.dumps(answer, indent=None, allow_nan=False))
        else:
            self.stdout.write("\n".join(_table(answer)))
        if answer["refused"]:
            raise SystemExit(REFUSED)


def _answer(options: dict[str, Any]) -> dict[str, Any]:
    """Read, compute, and put everything into one document."""
    from teardown.formats.series import VERSION as READER
    from teardown.formats.series import read_series
    from teardown.science.electrochemistry.summary import VERSION, summarise

    file: Path = options["file"]
    mass = options["iron_mass_g"]
    answer: dict[str, Any] = {
        "file": file.name,
        "cycles": [],
        "summary": None,
        "problems": [],
        "refused": [],
        "map": None,
        "settings": {"iron_mass_g": mass, "end": options["end"]},
        "version": f"{READER}.{VERSION}",
    }
    remarks = _beforehand(file, mass, options["end"])
    document = None
    if not remarks and options["map"] is not None:
        document, remarks = _map(options["map"])
    if not remarks:
        found = read_series(file.read_bytes(), name=file.name, column_map=document)
        remarks = list(found.remarks)
        answer["map"] = found.document() or None
        if found.arrays is not None:
            summary = summarise(found.arrays, iron_mass_g=mass, end=options["end"])
            remarks += summary.remarks
            if not any(r.level == "error" for r in remarks):
                answer["cycles"] = _cycles(summary.cycles)
                answer["summary"] = {n: _plain(m) for n, m in summary.metrics.items()} | {
                    "status": summary.status
                }
    answer["problems"] = [{k: _plain(v) for k, v in asdict(r).items()} for r in remarks]
    answer["refused"] = [
        {"file": file.name, "reason": f"{r.message} {r.remedy}".strip()}
        for r in remarks
        if r.level == "error"
    ]
    return answer


def _beforehand(file: Path, mass: float | None, end: str | None) -> list[Remark]:
    """Say what is wrong with the question itself."""
    from teardown.science.electrochemistry.retention import ENDS

    if not file.is_file():
        return [
            Remark("FILE_MISSING", "error", f"There is no file {file.name}.", None, "", "Check the path.")
        ]
    if mass is not None and not mass > 0:
        return [
            Remark(
                "IRON_MASS",
                "error",
                f"An iron mass of {mass:g} g is not above zero.",
                mass,
                "",
                "Give it in g.",
            )
        ]
    if end is not None and end not in ENDS:
        return [
            Remark(
                "END_UNKNOWN",
                "error",
                f"“{end}” is no end of a test.",
                None,
                "",
                f"Known are: {', '.join(ENDS)}.",
            )
        ]
    return []


def _map(path: Path) -> tuple[dict[str, Any] | None, list[Remark]]:
    remedy = "Give a Table Schema in JSON, as --json prints it under map."
    try:
        document = json.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, ValueError) as fault:
        return None, [
            Remark(
                "MAP_INVALID",
                "error",
                f"{path.name} cannot be read as JSON: {fault}.",
                None,
                path.name,
                remedy,
            )
        ]
    if not isinstance(document, dict):
        return None, [
            Remark("MAP_INVALID", "error", f"{path.name} is no JSON object.", None, path.name, remedy)
        ]
    return document, []


def _cycles(table: Any) -> list[dict[str, Any]]:
    """Turn columns into one object a cycle; whole numbers and yes or no as such."""
    from teardown.science.electrochemistry.table import CYCLE_COLUMNS

    whole, yes_or_no = {"cycle", "records", "rate_class"}, {"complete", "check_up", "uncertain"}
    lists = {n: table[n].tolist() for n in CYCLE_COLUMNS}
    return [
        {
            n: int(v[k]) if n in whole else bool(v[k]) if n in yes_or_no else _plain(v[k])
            for n, v in lists.items()
        }
        for k in range(len(table))
    ]


def _plain(value: Any) -> Any:
    """Give a value as JSON can hold it: an interval as an object, what is not known as null."""
    if hasattr(value, "as_dict"):
        return value.as_dict()
    if isinstance(value, float):
        return value if isfinite(value) else None
    return value


def _table(answer: dict[str, Any]) -> list[str]:
    """Set a readable table: cycles, summary, problems."""
    lines = []
    if answer["cycles"]:
        heads = (
            "cycle",
            "charge_Ah",
            "discharge_Ah",
            "charge_Wh",
            "discharge_Wh",
            "coulombic_efficiency",
            "energy_efficiency",
        )
        lines.append("  ".join(f"{h:>12.20}" for h in heads))
        lines += [
            "  ".join(f"{_cell(c[h]):>{max(12, min(len(h), 20))}}" for h in heads) for c in answer["cycles"]
        ]
    for name, value in (answer["summary"] or {}).items():
        lines.append(f"{name:24} {_said(value)}")
    lines += [f"{p['level']}: {p['code']}: {p['message']} {p['remedy']}".rstrip() for p in answer["problems"]]
    return lines


def _cell(value: Any) -> str:
    return "–" if value is None else f"{value:.5g}"


def _said(value: Any) -> str:
    if isinstance(value, dict):
        limits = f"{value['low']:.5g} to {value['high']:.5g}"
        return f"{value['value']:.5g} ({limits}) {value['unit']}, n = {value['n']}"
    return _cell(value) if not isinstance(value, str) else value
