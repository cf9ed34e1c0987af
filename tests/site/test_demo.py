"""The invented laboratory is made by its command, whole or not at all, and never over a real one."""

import json
from pathlib import Path

import pytest

from tests.lab import Lab

COUNTS = {
    "cells": "SELECT count(*) FROM cells_cell",
    "builds": "SELECT count(*) FROM cells_build",
    "ended tests": "SELECT count(*) FROM cells_test WHERE ended_at IS NOT NULL",
    "summaries": "SELECT count(*) FROM cycling_testsummary",
    "entries": "SELECT count(*) FROM dissection_entry",
    "photographs": "SELECT count(*) FROM dissection_photograph",
    "samples": "SELECT count(*) FROM dissection_sample",
    "measures": "SELECT count(*) FROM imaging_fieldmeasure",
    "phases": "SELECT count(*) FROM diffraction_phasefraction",
    "judgements": "SELECT count(*) FROM findings_judgement",
    "signatures": "SELECT count(*) FROM dissection_signature",
}


def demo_lab(data: Path) -> Lab:
    """Give a lab with the application's own settings."""
    return Lab(data, DJANGO_SETTINGS_MODULE="teardown.site.settings", TEARDOWN_WORK_LEASE_SECONDS="30")


@pytest.mark.long
def test_a_small_laboratory_is_made_whole_after_a_making_that_was_cut_short(tmp_path: Path) -> None:
    lab = demo_lab(tmp_path / "data")
    lab.data.mkdir()
    (lab.data / "demo.json").write_text(
        json.dumps({"state": "being made", "cells": 6, "seed": 3, "now": "2031-03-04T14:00:00+00:00"})
    )
    (lab.data / "teardown.sqlite3").write_bytes(b"half of a database")
    said = lab.manage("demo", "--cells", "6", "--no-serve")
    assert "cut short; beginning again" in said
    assert "No cell of it ever existed." in said
    counts = {name: lab.ask(sql)[0][0] for name, sql in COUNTS.items()}
    assert counts["cells"] == 6
    assert min(counts.values()) > 0, counts
    assert counts["photographs"] >= 31
    assert lab.ask("SELECT count(*) FROM files_run WHERE state IN ('queued', 'running')") == [(0,)]
    assert lab.ask("SELECT min(code), max(code) FROM cells_cell") == [("SP-0401", "SP-0406")]
    assert json.loads((lab.data / "demo.json").read_text())["state"] == "whole"
    assert json.loads(lab.manage("verify_files", "--json"))["sound"]
    again = lab.manage("demo", "--no-serve", "--cells", "7")
    assert "stands already, with 6 cells" in again
    assert "Inventing" not in again
    assert {name: lab.ask(sql)[0][0] for name, sql in COUNTS.items()} == counts


@pytest.mark.long
def test_the_demo_never_mixes_with_a_real_laboratory(tmp_path: Path) -> None:
    lab = demo_lab(tmp_path / "data")
    lab.manage("migrate", "-v0")
    lab.python(
        "from teardown.accounts.actions import welcome\n"
        "welcome(username='someone', name='Someone', password='a long password', roles=['lead'], by=None)"
    )
    lab.manage("demo", "--no-serve", code=1)
    assert lab.ask("SELECT username FROM accounts_user") == [("someone",)]
