"""Processes are killed at random moments: nothing that was acknowledged is lost, nothing is doubled."""

import json
import random
import threading
import time

import pytest

from tests.faults.hands import Hand
from tests.lab import Lab, wait_for

HANDS, RUNS = 3, 24
ASK = f"""
from django.db import transaction
from teardown.accounts.models import User
from teardown.files import runs, tasks
user = User.objects.get(username="analyst")
for number in range({RUNS}):
    with transaction.atomic():
        run = runs.ask("tests.slowly", subject=user, by=user, settings_={{"seconds": 0.3, "number": number}})
        tasks.ring_on_commit(run)
"""


@pytest.mark.parametrize("kills", [10, pytest.param(100, marks=pytest.mark.long)])
def test_kills_lose_nothing_acknowledged_and_double_nothing(lab: Lab, kills: int) -> None:
    chance = random.Random(20310304)
    lab.python(ASK)
    stop = threading.Event()
    hands = [Hand(lab, number, stop) for number in range(HANDS)]
    threads = [hand.start() for hand in hands]
    for number in range(kills):
        time.sleep(chance.uniform(0.1, 1.2))
        hurt(lab, ("granian", "db_worker", "everything")[number % 3])
    wait_for(lab.answers)
    wait_for(lambda: _acknowledged(hands), within_s=300)  # a busy machine is slow, and proves as much
    stop.set()
    for thread in threads:
        thread.join(240)
    wait_for(
        lambda: lab.ask("SELECT count(*) FROM files_run WHERE state = 'done'") == [(RUNS,)], within_s=300
    )
    nothing_lost_nothing_doubled(lab, hands)


def _acknowledged(hands: list[Hand]) -> bool:
    return sum(len(hand.entries) for hand in hands) > 20 and sum(len(hand.photographs) for hand in hands) > 2


def hurt(lab: Lab, what: str) -> None:
    """Kill -9 the server, the worker, or all there is; with all gone, start again as a person would."""
    if what != "everything":
        assert lab.kill(what), f"{what} did not run"
        wait_for(lambda: lab.processes(what) and lab.answers(), within_s=240)
        return
    lab.kill("")
    assert lab.process is not None
    lab.process.wait()
    lab.process = None
    lab.serve()


def nothing_lost_nothing_doubled(lab: Lab, hands: list[Hand]) -> None:
    """Compare what was acknowledged with what is there."""
    assert [hand.refusals for hand in hands] == [[] for _ in hands]
    entries = {key: words for hand in hands for key, words in hand.entries.items()}
    photographs = {key: digest for hand in hands for key, digest in hand.photographs.items()}
    rows = lab.ask(
        "SELECT key, value_text FROM dissection_entry WHERE term_id = "
        "(SELECT id FROM vocabulary_term WHERE key = 'note.words')"
    )
    kept = {_dashed(key): words for key, words in rows}
    assert len(kept) == len(rows) == len(set(kept.values())), "something was doubled"
    assert {key: kept.get(key) for key in entries} == entries, "something acknowledged was lost"
    rows = lab.ask(
        "SELECT p.key, f.sha256 FROM dissection_photograph p "
        "JOIN files_receipt r ON r.id = p.receipt_id JOIN files_storedfile f ON f.id = r.file_id"
    )
    pictures = {_dashed(key): digest for key, digest in rows}
    assert len(pictures) == len(rows) == len(set(pictures.values()))
    assert {key: pictures.get(key) for key in photographs} == photographs
    assert lab.ask("SELECT count(*), count(DISTINCT run_id) FROM files_runinput WHERE role = 'result'") == [
        (RUNS, RUNS)
    ]
    assert lab.ask("PRAGMA integrity_check") == [("ok",)]
    assert lab.ask("PRAGMA foreign_key_check") == []
    assert json.loads(lab.manage("verify_files", "--json"))["sound"]


def _dashed(key: str) -> str:
    import uuid

    return str(uuid.UUID(key))
