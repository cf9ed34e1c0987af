"""The command that sums a cycling file up without a database."""

import json
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from jsonschema import validate

from teardown.formats.series_write import write_bdf
from teardown.science.electrochemistry.phantoms import cycling_history
from tests.formats.series_traps import hours_said_seconds_meant, no_units, unsigned

SCHEMA = json.loads(Path("static/schemas/summarise_cycling.schema.json").read_text())
PHANTOM = cycling_history(cycles=12)


def _ask(path: Path, **options: Any) -> tuple[dict[str, Any], int]:
    out, code = StringIO(), 0
    try:
        call_command("summarise_cycling", str(path), "--json", stdout=out, **options)
    except SystemExit as ended:
        code = int(ended.code or 0)
    answer = json.loads(out.getvalue())
    validate(answer, SCHEMA)
    return answer, code


def test_a_good_file_gives_the_truth(tmp_path: Path) -> None:
    path = tmp_path / "cell.bdf.csv"
    path.write_bytes(write_bdf(PHANTOM.series))
    answer, code = _ask(path, iron_mass_g=1.2)
    assert code == 0
    assert [c["cycle"] for c in answer["cycles"]] == list(range(1, 13))
    assert answer["cycles"][5]["discharge_Ah"] == pytest.approx(PHANTOM.discharge_Ah[5], rel=1e-6)
    assert answer["cycles"][5]["discharge_Wh"] == pytest.approx(PHANTOM.discharge_Wh[5], rel=1e-4)
    assert answer["cycles"][5]["coulombic_efficiency"] == pytest.approx(0.9)
    assert answer["summary"]["utilisation_2e"]["value"] > 0.3
    assert answer["refused"] == []


@pytest.mark.parametrize("make", [hours_said_seconds_meant, no_units, unsigned])
def test_a_bad_file_gives_its_reason_and_ends_with_two(tmp_path: Path, make: Any) -> None:
    trap = make()
    path = tmp_path / trap.name
    path.write_bytes(trap.data)
    answer, code = _ask(path)
    assert code == 2
    assert answer["cycles"] == []
    assert answer["summary"] is None
    assert trap.refused in {p["code"] for p in answer["problems"]}
    assert answer["refused"][0]["reason"]


@pytest.mark.parametrize(
    "options", [{"iron_mass_g": -1.0}, {"end": "bored"}, {"map": Path("/nowhere/map.json")}]
)
def test_a_wrong_question_is_answered_in_words(tmp_path: Path, options: dict[str, Any]) -> None:
    path = tmp_path / "cell.bdf.csv"
    path.write_bytes(write_bdf(PHANTOM.series))
    answer, code = _ask(path, **options)
    assert code == 2
    assert answer["refused"]


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    assert _ask(tmp_path / "none.csv")[1] == 2


def test_a_map_names_what_the_header_does_not(tmp_path: Path) -> None:
    trap = no_units()
    path, chart = tmp_path / "cell.csv", tmp_path / "map.json"
    path.write_bytes(trap.data)
    fields = [
        {"name": n, "type": "number", "rdfType": q, "factor": 1}
        for n, q in (("Time", "test_time_second"), ("Current", "current_ampere"), ("Voltage", "voltage_volt"))
    ]
    chart.write_text(json.dumps({"schema": {"fields": fields}}))
    answer, code = _ask(path, map=chart)
    assert code == 0
    assert answer["cycles"]


def test_a_readable_table_is_printed_without_json(tmp_path: Path) -> None:
    path = tmp_path / "cell.bdf.csv"
    path.write_bytes(write_bdf(PHANTOM.series))
    out = StringIO()
    call_command("summarise_cycling", str(path), stdout=out)
    assert "coulombic_efficiency" in out.getvalue()
    assert "q_ref_Ah" in out.getvalue()
